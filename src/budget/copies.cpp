#include "budget/copies.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "budget/newest.hpp"

namespace perdure {

double SeenTraffic::unsaved(double s) const {
    const double even = saves.period_s > 0 ? std::max(0.0, 1 - s / saves.period_s) : 1.0;
    const double after_starts = saves.at_start > 0 ? no_start_within(s * starts_per_s) : 1.0;
    const double left_to_chance = std::max(0.0, 1 - saves.at_start);
    return even * std::exp(-saves.random_per_s * s) * (after_starts + (1 - after_starts) * left_to_chance);
}

double SeenTraffic::saved_after_s() const {
    const double even_s = saves.period_s > 0 ? saves.period_s : std::numeric_limits<double>::infinity();
    return saves.at_start >= 1 ? std::min(even_s, 2 / starts_per_s) : even_s;
}

double copies_a_block(const SeenTraffic& seen, double block_s, double wait_s, double again_s) {
    const RecordTraffic& saves = seen.saves;
    const double random = saves.random_per_s + (saves.at_start < 1 ? seen.starts_per_s * saves.at_start : 0);
    const double certain_s = seen.saved_after_s();
    const auto at_random = [&](double per_s) {
        if (per_s * again_s < 1e-12) { return block_s / again_s; }
        return std::exp(-per_s * (wait_s + seen.later_s)) * std::expm1(-per_s * block_s) / std::expm1(-per_s * again_s);
    };
    if (!std::isfinite(certain_s)) { return at_random(random); }
    const double first_s = wait_s + seen.later_s;
    if (certain_s <= first_s) { return 0; }
    const double times = std::ceil((certain_s - first_s) / again_s);
    if (random <= 0 && saves.at_start <= 0) {
        const double last_s = std::min(block_s, certain_s - first_s - (times - 1) * again_s);
        return ((times - 1) * block_s + last_s) / certain_s;
    }
    constexpr double times_max = 32;
    if (times > times_max) {
        return at_random(random + (saves.period_s > 0 ? 1 / saves.period_s : 0) +
                         (saves.at_start >= 1 ? seen.starts_per_s : 0));
    }
    double sum = 0;
    for (double k = 0; k < times; ++k) {
        const double from_s = first_s + k * again_s;
        sum += seen.unsaved(from_s) - seen.unsaved(from_s + block_s);
    }
    return sum;
}

} // namespace perdure
