#include "physics/spread.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace perdure {
namespace {

TEST(Spread, QuantilesAreThoseStated) {
    const Spread lognormal{SpreadLaw::lognormal, 1, 1, 1.8};
    EXPECT_NEAR(spread_quantile(lognormal, 0.5), 1, 1e-12);
    EXPECT_NEAR(spread_quantile(lognormal, 0.95), 1.8, 1e-12);
    EXPECT_DOUBLE_EQ(spread_quantile({SpreadLaw::uniform, 0.5, 1, 1.5}, 0.25), 0.75);
    // (x - low)^2 / ((high - low)(likely - low)) below the likely one.
    EXPECT_NEAR(spread_quantile({SpreadLaw::triangular, 0, 1, 2}, 0.125), 0.5, 1e-12);
    EXPECT_EQ(spread_quantile({SpreadLaw::triangular, 1, 1, 1}, 0.3), 1);
}

TEST(Spread, DrawingFindsAKnownQuantileWithinItsError) {
    const std::vector<Spread> spreads{{SpreadLaw::uniform, 0, 1, 1}, {SpreadLaw::uniform, 0, 1, 1}};
    const auto sum = [](const std::vector<double>& factors) { return factors[0] + factors[1]; };
    // The sum of two: 1 - (2 - x)^2 / 2 stay below x > 1.
    const double exact = 2 - std::sqrt(0.1);
    int inside = 0;
    for (uint64_t seed = 1; seed <= 200; ++seed) {
        const DrawnQuantile drawn = drawn_quantile(spreads, sum, 0.95, 400, seed);
        EXPECT_LE(drawn.low, drawn.value);
        EXPECT_GE(drawn.high, drawn.value);
        inside += drawn.low <= exact && exact <= drawn.high;
    }
    EXPECT_GE(inside, 182); // 95 % of 200 are 190; fewer than 182 come once in some thousands
    EXPECT_LT(inside, 200); // limits that always hold would be too wide
}

TEST(Spread, TheSeedIsAllThatMatters) {
    const std::vector<Spread> spreads{{SpreadLaw::lognormal, 1, 1, 2}};
    const auto same = [](const std::vector<double>& factors) { return factors[0]; };
    EXPECT_EQ(drawn_quantile(spreads, same, 0.9, 300, 7).value, drawn_quantile(spreads, same, 0.9, 300, 7).value);
    EXPECT_NE(drawn_quantile(spreads, same, 0.9, 300, 7).value, drawn_quantile(spreads, same, 0.9, 300, 8).value);
}

} // namespace
} // namespace perdure
