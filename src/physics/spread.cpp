#include "physics/spread.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/triangular.hpp>

namespace perdure {

double spread_quantile(const Spread& spread, double share) {
    switch (spread.law) {
    case SpreadLaw::uniform:
        return spread.low + share * (spread.high - spread.low);
    case SpreadLaw::triangular:
        if (spread.high <= spread.low) { return spread.low; }
        return boost::math::quantile(
            boost::math::triangular_distribution<double>(spread.low, spread.likely, spread.high), share);
    case SpreadLaw::lognormal: {
        const boost::math::normal_distribution<double> normal;
        return std::exp(std::log(spread.high) * boost::math::quantile(normal, share) /
                        boost::math::quantile(normal, 0.95));
    }
    }
    return 1;
}

DrawnQuantile drawn_quantile(const std::vector<Spread>& spreads,
                             const std::function<double(const std::vector<double>&)>& result, double share,
                             uint64_t trials, uint64_t seed) {
    std::mt19937_64 random(seed);
    std::vector<double> results, factors(spreads.size());
    for (uint64_t trial = 0; trial < trials; ++trial) {
        for (size_t i = 0; i < spreads.size(); ++i) {
            // 53 bits, never 0 nor 1: the standard's own distributions differ between libraries.
            const double drawn = (double(random() >> 11U) + 0.5) * 0x1p-53;
            factors[i] = spread_quantile(spreads[i], drawn);
        }
        results.push_back(result(factors));
    }
    std::sort(results.begin(), results.end());
    const boost::math::binomial_distribution<double> below(double(trials), share);
    const auto at = [&](double rank) {
        return results[static_cast<size_t>(std::clamp(rank, 0.0, double(trials) - 1))];
    };
    DrawnQuantile out;
    out.value = at(std::ceil(share * double(trials)) - 1);
    out.low = at(boost::math::quantile(below, 0.025) - 1);
    out.high = at(boost::math::quantile(below, 0.975)); // quantiles round outward
    out.trials = trials;
    out.seed = seed;
    return out;
}

} // namespace perdure
