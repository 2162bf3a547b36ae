#include "physics/retention.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

TEST(Retention, EffectiveTemperatureIsWhereTheSameTimeAgesAsMuch) {
    const std::vector<Stay> stays{{-20, 2}, {25, 5}, {60, 3}};
    for (const double energy : {0.3, 0.6, 1.1}) {
        const double at = effective_temperature_c(stays, energy);
        EXPECT_NEAR(equivalent_years(stays, at, energy), 10, 1e-9);
        EXPECT_GT(at, 25); // the hot part counts for more
        EXPECT_LT(at, 60);
    }
}

TEST(Retention, WithoutAnEnergyOnlyGuaranteesThatCoverCount) {
    const std::vector<RetentionGuarantee> sheet{{10'000, 55, 30}, {10'000, 105, 10}, {1'000, 85, 60}};
    const std::vector<Stay> warm{{25, 4}, {70, 1}};
    const auto after_many = retention_step(sheet, 9'000, warm, {}, {});
    ASSERT_TRUE(after_many);
    EXPECT_EQ(after_many->guarantee, 1U); // 55 C does not cover 70 C
    EXPECT_DOUBLE_EQ(after_many->need_years, 5);
    EXPECT_DOUBLE_EQ(after_many->margin(), 2);
    EXPECT_FALSE(after_many->by_energy);
    EXPECT_EQ(retention_step(sheet, 900, warm, {}, {})->guarantee, 2U);
    EXPECT_FALSE(retention_step(sheet, 20'000, warm, {}, {}));              // more erases than any
    EXPECT_FALSE(retention_step(sheet, 9'000, {{110, 1}}, {}, {}));         // hotter than any
    EXPECT_TRUE(retention_step(sheet, 9'000, {{110, 0}, {20, 1}}, {}, {})); // no time there
}

TEST(Retention, AnEnergyTakesTheLeastFavourableGuaranteeNotBelowTheStays) {
    const std::vector<RetentionGuarantee> sheet{{10'000, 105, 10}, {10'000, 85, 15}, {10'000, 40, 100}};
    const std::vector<Stay> stays{{70, 40}}; // longer than any step guarantees
    const auto step = retention_step(sheet, 1, stays, {}, 0.6);
    ASSERT_TRUE(step);
    EXPECT_TRUE(step->by_energy);
    EXPECT_FALSE(step->below_stays);
    EXPECT_EQ(step->guarantee, 1U); // 105 C is worth more at 70 C, 40 C lies below
    EXPECT_NEAR(step->need_years, 40 * acceleration(85, 70, 0.6), 1e-12);
}

TEST(Retention, FromBelowTheStaysItSaysSo) {
    const auto step = retention_step({{10'000, 55, 30}}, 1, {{85, 1}}, {}, 1.1);
    ASSERT_TRUE(step);
    EXPECT_TRUE(step->below_stays);
    EXPECT_GT(step->need_years, 1);
}

TEST(Retention, SolderingCountsByTheEnergyOnly) {
    const std::vector<RetentionGuarantee> sheet{{10'000, 85, 15}};
    const std::vector<Stay> solder{{260, 180 / (365.25 * 86400)}};
    EXPECT_FALSE(retention_step(sheet, 1, {{40, 1}}, solder, {}));
    const auto with = retention_step(sheet, 1, {{40, 1}}, solder, 1.1);
    ASSERT_TRUE(with);
    EXPECT_TRUE(with->by_energy);
    EXPECT_FALSE(with->below_stays);
    EXPECT_NEAR(with->need_years, acceleration(85, 40, 1.1) + solder[0].years * acceleration(85, 260, 1.1), 1e-12);
}

} // namespace
} // namespace perdure
