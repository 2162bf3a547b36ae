#include "physics/retention.hpp"

#include <cmath>

namespace perdure {

double acceleration(double from_c, double to_c, double energy_ev) {
    return std::exp(energy_ev / boltzmann_ev_per_k * (1 / (from_c + zero_celsius_k) - 1 / (to_c + zero_celsius_k)));
}

std::optional<double> hottest_c(const std::vector<Stay>& stays) {
    std::optional<double> out;
    for (const Stay& stay : stays) {
        if (stay.years > 0 && (!out || stay.temperature_c > *out)) { out = stay.temperature_c; }
    }
    return out;
}

double equivalent_years(const std::vector<Stay>& stays, double at_c, double energy_ev) {
    double out = 0;
    for (const Stay& stay : stays) { out += stay.years * acceleration(at_c, stay.temperature_c, energy_ev); }
    return out;
}

double effective_temperature_c(const std::vector<Stay>& stays, double energy_ev) {
    constexpr double reference_c = 25; // any would do: the result does not depend on it
    double years = 0;
    for (const Stay& stay : stays) { years += stay.years; }
    const double faster = equivalent_years(stays, reference_c, energy_ev) / years;
    const double per_k = 1 / (reference_c + zero_celsius_k) - boltzmann_ev_per_k / energy_ev * std::log(faster);
    return 1 / per_k - zero_celsius_k;
}

namespace {

std::optional<RetentionStep> as_steps(const std::vector<RetentionGuarantee>& guarantees, double cycles,
                                      const std::vector<Stay>& stays, std::optional<double> hottest) {
    std::optional<RetentionStep> best;
    double years = 0;
    for (const Stay& stay : stays) { years += stay.years; }
    for (size_t i = 0; i < guarantees.size(); ++i) {
        const RetentionGuarantee& guarantee = guarantees[i];
        if (guarantee.cycles < cycles || (hottest && guarantee.temperature_c < *hottest)) { continue; }
        if (!best || guarantee.years > best->have_years) {
            best = RetentionStep{i, years, guarantee.years, false, false};
        }
    }
    return best;
}

std::optional<RetentionStep> by_energy(const std::vector<RetentionGuarantee>& guarantees, double cycles,
                                       const std::vector<Stay>& stays, std::optional<double> hottest,
                                       double energy_ev) {
    std::optional<RetentionStep> worst;
    for (size_t i = 0; i < guarantees.size(); ++i) {
        const RetentionGuarantee& guarantee = guarantees[i];
        if (guarantee.cycles < cycles) { continue; }
        const bool below = hottest && guarantee.temperature_c < *hottest;
        const RetentionStep step{i, equivalent_years(stays, guarantee.temperature_c, energy_ev), guarantee.years, true,
                                 below};
        const bool replaces = !worst || (worst->below_stays && !below) ||
                              (worst->below_stays == below && step.margin() < worst->margin());
        if (replaces) { worst = step; }
    }
    return worst;
}

} // namespace

std::optional<RetentionStep> retention_step(const std::vector<RetentionGuarantee>& guarantees, double cycles,
                                            const std::vector<Stay>& stays, const std::vector<Stay>& beyond,
                                            std::optional<double> energy_ev) {
    const std::optional<double> hottest = hottest_c(stays);
    std::optional<RetentionStep> step;
    if (!hottest_c(beyond)) { step = as_steps(guarantees, cycles, stays, hottest); }
    if (!energy_ev) { return step; }
    std::vector<Stay> all = stays;
    all.insert(all.end(), beyond.begin(), beyond.end());
    const auto carried = by_energy(guarantees, cycles, all, hottest, *energy_ev);
    return step && (!carried || step->margin() >= carried->margin()) ? step : carried;
}

} // namespace perdure
