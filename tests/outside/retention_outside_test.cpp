// Ageing by temperature against published acceleration factors. The sources differ in Boltzmann's constant and in the
// zero of the Celsius scale (273, 273.15, 273.16), which moves a factor by up to 0.4 %: each tolerance says so.
#include <gtest/gtest.h>

#include "physics/retention.hpp"

namespace perdure {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, 8.1.5.1: 133 from 25 C to 125 C with 0.5 eV (the energy from
// memory), 17,597 with 1.0 eV (from memory; computed there with 1/k = 11605 and 273.16, so 0.03 % off here).
TEST(OutsideRetention, NistAccelerationFactors) {
    EXPECT_NEAR(acceleration(25, 125, 0.5), 133, 0.5);
    EXPECT_NEAR(acceleration(25, 125, 1.0), 17597, 17597 * 0.0003);
}

// ABLIC, frequently asked questions on composite ICs (ablic.com): 52 from 40 C to 125 C with 0.5 eV; so 1000 h are 5.9
// years and 2000 h 11.8 (from the rounded 52).
TEST(OutsideRetention, AblicFactorOfFiftyTwo) {
    EXPECT_NEAR(acceleration(40, 125, 0.5), 52, 0.52);
    EXPECT_NEAR(equivalent_years({{125, 1000.0 / 8760}}, 40, 0.5), 5.9, 0.059 * 1.1);
    EXPECT_NEAR(equivalent_years({{125, 2000.0 / 8760}}, 40, 0.5), 11.8, 0.13);
}

// ReliaWiki, Arrhenius-Exponential Model, check of G. Yang, Life Cycle Reliability Engineering, 2007, example 7.1: 3.46
// from 35 C to 70 C with 0.323 eV.
TEST(OutsideRetention, YangExample) {
    EXPECT_NEAR(acceleration(35, 70, 0.323), 3.46, 0.005);
}

// AEC-Q100 appendix 7, table A7.1 (from memory): 12,000 h at 87 C are 1393 h at 125 C with 0.7 eV.
TEST(OutsideRetention, AecMissionProfile) {
    EXPECT_NEAR(equivalent_years({{87, 12'000}}, 125, 0.7), 1393, 1393 * 0.001);
}

// A reading of JESD47 (from memory): bakes at 1.1 eV stand for about 1 year at 55 C after all cycles (96 h at 100 C, 10
// h at 125 C) and about 10 years after a tenth of them (1000 h at 100 C, 100 h at 125 C).
TEST(OutsideRetention, BakesOfTheQualificationStandard) {
    const auto years = [](double hours, double at_c) { return equivalent_years({{at_c, hours / 8760}}, 55, 1.1); };
    EXPECT_NEAR(years(96, 100), 1.19, 0.01);
    EXPECT_NEAR(years(10, 125), 1.07, 0.01);
    EXPECT_NEAR(years(1000, 100), 12.4, 0.1);
    EXPECT_NEAR(years(100, 125), 10.7, 0.1);
}

// Not published: computed apart from this program (30 % at 25 C, 50 % at 55 C, 20 % at 85 C).
TEST(OutsideRetention, EffectiveTemperatureComputedApart) {
    const std::vector<Stay> profile{{25, 0.3}, {55, 0.5}, {85, 0.2}};
    EXPECT_NEAR(effective_temperature_c(profile, 0.6), 63.5908, 1e-4);
    EXPECT_NEAR(effective_temperature_c(profile, 1.1), 70.3821, 1e-4);
}

// STM32L4 data sheet (from memory): 10,000 cycles: 30 y at 55 C, 15 y at 85 C, 10 y at 105 C; 1,000: 30 y at 85 C, 15 y
// at 105 C, 7 y at 125 C. Taken as steps, never as a line: between two pairs the hotter one counts.
TEST(OutsideRetention, DataSheetPairsAreSteps) {
    const std::vector<RetentionGuarantee> sheet{{10'000, 55, 30}, {10'000, 85, 15}, {10'000, 105, 10},
                                                {1'000, 85, 30},  {1'000, 105, 15}, {1'000, 125, 7}};
    EXPECT_DOUBLE_EQ(retention_step(sheet, 10'000, {{56, 1}}, {}, {})->have_years, 15);
    EXPECT_DOUBLE_EQ(retention_step(sheet, 10'000, {{55, 1}}, {}, {})->have_years, 30);
    EXPECT_DOUBLE_EQ(retention_step(sheet, 1'001, {{105, 1}}, {}, {})->have_years, 10);
    EXPECT_DOUBLE_EQ(retention_step(sheet, 1'000, {{106, 1}}, {}, {})->have_years, 7);
    EXPECT_FALSE(retention_step(sheet, 1'001, {{106, 1}}, {}, {}));
}

} // namespace
} // namespace perdure
