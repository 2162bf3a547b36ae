// What a reviewer looks at as a curve: wear over the years, what another size, life or rate would do, stalls fresh and
// aged, how long data stay at each temperature, and the supply while a save runs. Pure functions over a budget.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "budget/findings.hpp"

namespace perdure {

/// Erases of the most worn block of an area at the end of each year, those before shipment and of formatting included.
struct WearYears {
    std::string area;
    std::vector<double> years;
    std::vector<double> nominal, heavy; ///< an ordinary product, and the one the area is sized for
    double allowed = 0;                 ///< guaranteed x spend limit / margin
    double guaranteed = 0;
};
std::vector<WearYears> wear_over_years(const Project& project, const Budget& budget);

/// The wear's need against its limit while one input is moved and the rest stays.
struct WhatIf {
    std::string area;
    std::string input; ///< "blocks", "life" or "saves"
    std::string unit;  ///< of `at`
    double now = 0;
    std::vector<double> at;
    std::vector<double> erases; ///< as a finding counts them: formatting included, what was spent before is not
    double allowed = 0;         ///< of them
};

/// Ring blocks around those there are, lives and rates of saving from a quarter to four times. `points` each.
std::vector<WhatIf> what_if(const Project& project, const Budget& budget, unsigned points);

/// How long calls take at worst on a fresh part and on one at the end of its life.
struct StallRow {
    std::string area, call;
    double fresh_ms = 0, aged_ms = 0;
    std::optional<double> asked_ms; ///< of [require]
};
std::vector<StallRow> stalls_of(const Project& project, const Budget& budget);

/// Years that the guarantees are worth at each temperature.
struct KeptAt {
    double temperature_c = 0, years = 0;
};
struct RetentionCurve {
    double cycles = 0, temperature_c = 0, years = 0; ///< the guarantee itself
    std::vector<KeptAt> carried;                     ///< to other temperatures; empty where no energy was stated
};
struct RetentionPicture {
    std::optional<double> activation_ev;
    std::vector<RetentionCurve> guarantees;
    std::vector<ProfileStep> profile;
};
RetentionPicture retention_picture(const Project& project);

/// The voltage at the capacitor from the trip on, with the load of a save, for as much capacitance as was asked for
/// and for what may be left of it. Volts each `step_ms`.
struct SupplyDecay {
    double capacitance_uf = 0, left_uf = 0;
    bool capacitance_found = false; ///< none was given: the least that holds
    double step_ms = 0;
    std::vector<double> nominal_v, left_v;
    double trips_at_v = 0, end_v = 0;
    double detection_ms = 0, under_way_ms = 0, programming_ms = 0; ///< one after the other
};
std::optional<SupplyDecay> supply_decay(const Project& project, const Budget& budget);

} // namespace perdure
