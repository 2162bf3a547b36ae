// When the supply fails: how long the save takes, and how long a capacitor keeps the product running for it.
#pragma once

#include <optional>
#include <vector>

#include "budget/demand.hpp"
#include "budget/latency.hpp"
#include "project/layout.hpp"

namespace perdure {

struct Finding;
struct AreaBudget;

/// What draws on the capacitor: one of the two is 0.
struct Load {
    double current_a = 0; ///< constant, as behind a linear regulator
    double power_w = 0;   ///< constant, as behind a switching one
};

/// Share of a capacitor's energy that it gives from one voltage down to another: 1 - (to / from)^2.
double energy_share(double from_v, double to_v);

/// Time that `farads` carry the load from one voltage down to another: C (V1 - V2) / I, or C (V1^2 - V2^2) / (2 P).
/// 0 where that is not down.
double hold_up_s(double farads, double from_v, double to_v, const Load& load);

/// The capacitance that carries the load for `seconds`: the same solved for C. Infinite where that is not down.
double farads_for(double seconds, double from_v, double to_v, const Load& load);

/// The save at power failure at worst, of all areas that have one.
struct PowerFailSave {
    std::vector<uint16_t> records; ///< ids
    uint32_t units = 0;            ///< programmed
    double programming_ms = 0;     ///< units x (maximum program time x aged factor, and reading back)
    double under_way_ms = 0; ///< what was begun before: the rest of an erase, or its abort, or the program of a unit
    bool erase_aborted = false;
    double program_us = 0, erase_ms = 0, read_us_per_byte = 0; ///< behind the figures; of the last area
    [[nodiscard]] double total_ms() const { return programming_ms + under_way_ms; }
};

/// Energy or voltage of a hold-up capacitor from which on it is pointed out (common practice, no source).
constexpr double noted_energy_j = 1, noted_voltage_v = 60;

struct HoldUp {
    PowerFailSave save;
    double detection_ms = 0;
    double end_v = 0;      ///< processor or flash, whichever needs more, and the regulator's dropout
    double left_share = 1; ///< of the nominal capacitance: tolerance, cold and age taken off
    double need_ms = 0;    ///< detection and save
    double need_uf = 0;    ///< nominal capacitance; infinite where the detector trips too low for this part
    std::optional<double> have_ms;
    double energy_j = 0; ///< stored when charged: of the capacitance given, else of the one needed
    double charged_v = 0;
    bool holds = false; ///< false too where no capacitance is given
    // Chatter.
    double trips = 0;       ///< over life, those before ordinary starts included
    double dips = 0;        ///< of them, beside the ordinary starts
    double trip_units = 0;  ///< a save and the start after it, all areas
    double storm_units = 0; ///< one storm
    double trips_share = 0; ///< of all units programmed over life
    double rearmed_ms = 0;  ///< start and emptying a block: from then on the next save has its room
    bool rearm_known = false;
};

/// The save of all records saved at power failure; nothing when there are none, or the part's times are not known.
std::optional<PowerFailSave> power_fail_save(const Project& project, const std::vector<AreaBudget>& areas);

/// Everything about the supply; nothing without [supply], without such a record, or without the part's figures.
std::optional<HoldUp> hold_up_of(const Project& project, const std::vector<AreaBudget>& areas, const Demand& demand);

/// Findings of the two: the save's time, the hold-up, and when it is ready again.
std::vector<Finding> hold_up_findings(const Project& project, const std::vector<AreaBudget>& areas,
                                      const std::optional<HoldUp>& hold_up);

} // namespace perdure
