#include "physics/failures.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace perdure {
namespace {

TEST(Failures, NoFailureHasClosedForms) {
    for (const double confidence : {0.6, 0.9, 0.95}) {
        EXPECT_NEAR(failing_share_upper(231, 0, confidence), 1 - std::pow(1 - confidence, 1.0 / 231), 1e-12);
        EXPECT_NEAR(failures_an_hour_upper(0, 5e5, confidence), -std::log(1 - confidence) / 5e5, 1e-18);
    }
    EXPECT_EQ(failing_share_upper(3, 3, 0.9), 1);
    EXPECT_EQ(failing_share_lower(3, 0, 0.9), 0);
    EXPECT_EQ(failures_an_hour_lower(0, 100, 0.9), 0);
}

TEST(Failures, UnitsToShowIsTheFewest) {
    for (const double share : {0.5, 0.1, 0.01, 1e-6}) {
        const uint64_t units = units_to_show(share, 0.9);
        EXPECT_LE(failing_share_upper(units, 0, 0.9), share * (1 + 1e-9));
        EXPECT_GT(failing_share_upper(units - 1, 0, 0.9), share);
    }
}

TEST(Failures, LifeLawsInvert) {
    for (const LifeModel model :
         {LifeModel{LifeLaw::weibull, 2.5, 40'000}, LifeModel{LifeLaw::lognormal, 0.4, 40'000}}) {
        EXPECT_NEAR(failed_by(model, used_when_failed(model, 0.001)), 0.001, 1e-12);
        EXPECT_EQ(failed_by(model, 0), 0);
        const double by_15 = failed_by(model, 15'000), by_20 = failed_by(model, 20'000);
        EXPECT_NEAR(by_15 + (1 - by_15) * failed_between(model, 15'000, 20'000), by_20, 1e-12);
    }
}

TEST(Failures, SparesAreTheFewest) {
    const auto spares = spares_needed(8, 0.02, 1e-3, 20);
    ASSERT_TRUE(spares);
    ASSERT_GT(*spares, 0U);
    EXPECT_LE(chance_of_too_few(8, *spares, 0.02), 1e-3);
    EXPECT_GT(chance_of_too_few(8, *spares - 1, 0.02), 1e-3);
    // No spare: any of the eight may be the one.
    EXPECT_NEAR(chance_of_too_few(8, 0, 0.02), 1 - std::pow(0.98, 8), 1e-12);
    EXPECT_FALSE(spares_needed(8, 0.9, 1e-3, 3));
}

} // namespace
} // namespace perdure
