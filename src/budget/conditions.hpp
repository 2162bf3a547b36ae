// What the conditions of a project do to its part, and the findings about them: temperatures, ageing, failing shares,
// wrong entries, deadlines, energy. Each function gives the findings of its subject, none where the project file does
// not speak of it.
#pragma once

#include <string>
#include <vector>

#include "budget/findings.hpp"

namespace perdure {

/// The project with the part as `area` meets it: its guaranteed erases at the hottest temperature of the profile and at
/// the area's place ([[endurance.pair]]), and its maximum times at the last erase that may be spent ([[aged]]).
/// Where no pair covers the hottest temperature, 0 erases are guaranteed.
Project as_met(const Project& project, const Area& area);

/// The part's maximum times once a block has been erased so often; absent where the part's own are not known.
std::optional<OperationTimes> times_after(const Project& project, double erases);

/// Erases of the most worn block over life: those of the budget, and those spent before shipment.
double erases_of(const Project& project, const AreaBudget& area);

/// The hottest temperature of the profile; absent without one.
std::optional<double> hottest_of(const Project& project);

/// That the guaranteed erases are guaranteed at the profile's hottest temperature.
std::vector<Finding> endurance_findings(const Project& project, const Area& area, const AreaBudget& budget);

/// The wear that [uncertainty].share of the fleet stays below, from the nominal demand and the spreads.
std::vector<Finding> fleet_findings(const Project& project, const Area& area, const Demand& demand,
                                    const AreaBudget& budget);

/// How long an entry stays unwritten in the ring, carried to the temperatures of the guarantees.
std::vector<Finding> retention_findings(const Project& project, const AreaBudget& budget);

/// How long the old copies of records with `erase_within` stay readable, in ordinary use and at once.
std::vector<Finding> erase_findings(const Project& project, const Area& area, const AreaBudget& budget);

/// Units that fail, from the user's wear-out data or bounded by the qualification sample.
std::vector<Finding> failing_findings(const Project& project, const std::vector<AreaBudget>& areas);

/// Entries that pass their check though they are wrong, in the fleet over life; proposes the narrowest code that is
/// enough.
std::vector<Finding> wrong_entry_findings(const Project& project, const Demand& demand,
                                          const std::vector<AreaBudget>& areas);

/// Each deadline against the longest call or flash operation that may hold it up, and how often service has to run.
std::vector<Finding> deadline_findings(const Project& project, const std::vector<AreaBudget>& areas);

/// Energy of a save and of a day, share of the battery, peak current, lowest supply.
std::vector<Finding> energy_findings(const Project& project, const Demand& demand,
                                     const std::vector<AreaBudget>& areas);

/// What to say where failing shares, wrong entries or deadlines were asked about: no safety case.
std::string caution_of(const Conditions& conditions);

} // namespace perdure
