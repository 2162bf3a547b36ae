// Inputs that are not known to the digit: how they spread over a fleet, and what that does to a result.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

namespace perdure {

enum class SpreadLaw { uniform, triangular, lognormal };

/// How a factor spreads around the stated figure. Uniform: between `low` and `high`. Triangular: the same with the most
/// likely one. Lognormal: median 1, and `high` is what 95 of 100 stay below.
struct Spread {
    SpreadLaw law = SpreadLaw::uniform;
    double low = 1;
    double likely = 1;
    double high = 1;
};

/// The factor that this share of the fleet stays below; share inside 0..1. Exact.
double spread_quantile(const Spread& spread, double share);

/// A quantile found by drawing, and how far it may be off.
struct DrawnQuantile {
    double value = 0;
    double low =
        0; ///< two order statistics that hold the true quantile between them with 95 % confidence, whatever the
    double high = 0; ///< distribution (binomial)
    uint64_t trials = 0;
    uint64_t seed = 0;
};

/// The quantile of `result` over the fleet, its factors drawn from `spreads` independently of each other. The same seed
/// gives the same figures on every machine. Trials 100 at the least.
DrawnQuantile drawn_quantile(const std::vector<Spread>& spreads,
                             const std::function<double(const std::vector<double>&)>& result, double share,
                             uint64_t trials, uint64_t seed);

} // namespace perdure
