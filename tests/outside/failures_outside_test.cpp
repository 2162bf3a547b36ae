// Shares of failing units against published limits and tables.
#include <cmath>

#include <boost/math/distributions/chi_squared.hpp>
#include <gtest/gtest.h>

#include "physics/failures.hpp"
#include "physics/retention.hpp"

namespace perdure {
namespace {

// NIST/SEMATECH e-Handbook, 7.2.4.2: 4 of 20, two-sided 90 %: 0.071354 and 0.401029. The published upper limit is
// 0.9e-6 high (found there by a spreadsheet's search).
TEST(OutsideFailures, NistExactLimitsOfFourInTwenty) {
    EXPECT_NEAR(failing_share_lower(20, 4, 0.95), 0.071354, 2e-6);
    EXPECT_NEAR(failing_share_upper(20, 4, 0.95), 0.401029, 2e-6);
    // 95 % two-sided: an oracle value in another program's tests, second-hand.
    EXPECT_NEAR(failing_share_lower(20, 4, 0.975), 0.0573340, 1e-7);
    EXPECT_NEAR(failing_share_upper(20, 4, 0.975), 0.4366140, 1e-7);
}

// The LTPD table for no failure at 90 % (MIL-S-19500, MIL-PRF-38535; from memory). It mixes the binomial and the
// Poisson law: within 2 units.
TEST(OutsideFailures, SampleSizesOfTheLtpdTable) {
    const std::pair<double, uint64_t> table[] = {{50, 5},  {30, 8},    {20, 11},  {15, 15}, {10, 22},
                                                 {7, 32},  {5, 45},    {3, 76},   {2, 116}, {1.5, 153},
                                                 {1, 231}, {0.7, 328}, {0.5, 461}};
    for (const auto& [percent, units] : table) {
        EXPECT_NEAR(double(units_to_show(percent / 100, 0.9)), double(units), 2) << percent;
    }
}

// Three lots of 77, none failing (JESD47 table 1a as quoted by iST, istgroup.com): about 1 % at 90 %, not parts per
// million. The digits are computed apart: 0.99184 % exact, 0.99679 % Poisson; 114 units: 1.99955 %.
TEST(OutsideFailures, ThreeLotsOfSeventySeven) {
    EXPECT_NEAR(failing_share_upper(231, 0, 0.9), 0.0099184, 5e-8);
    EXPECT_NEAR(failing_share_upper_chi_square(231, 0, 0.9), 0.0099679, 5e-8);
    EXPECT_NEAR(failing_share_upper(114, 0, 0.9), 0.0199955, 5e-8);
}

// NIST 8.4.5.1 (formula read; numbers from memory): 2 failures in 800 h, 90 % limits of the mean time between failures:
// 127 h to 2251 h.
TEST(OutsideFailures, NistMeanTimeLimits) {
    EXPECT_NEAR(1 / failures_an_hour_upper(2, 800, 0.95), 127, 0.5);
    EXPECT_NEAR(1 / failures_an_hour_lower(2, 800, 0.95), 2251, 0.5);
}

// TI SPRABY3 as quoted on e2e.ti.com (thread 1313976): 231 units, 1000 h at 125 C, no failure, 60 % confidence, use at
// 55 C: 50.9 FIT. The activation energy of 0.7 eV is from memory; 273 instead of 273.15 makes 0.4 %.
TEST(OutsideFailures, FitOfALifeTest) {
    const double hours = 231 * 1000 * acceleration(55, 125, 0.7);
    EXPECT_NEAR(failures_an_hour_upper(0, hours, 0.6) * 1e9, 50.9, 50.9 * 0.005);
}

// NIST 1.3.6.7.4, critical values of chi-square (from memory): our limits are built on these.
TEST(OutsideFailures, ChiSquareTable) {
    const double table[][3] = {{.9, 2, 4.605},  {.95, 2, 5.991}, {.95, 4, 9.488}, {.95, 6, 12.592},
                               {.99, 2, 9.210}, {.6, 2, 1.833},  {.6, 4, 4.045}};
    for (const auto& [confidence, freedom, value] : table) {
        const auto failures = static_cast<uint64_t>(freedom / 2 - 1);
        EXPECT_NEAR(failures_an_hour_upper(failures, 0.5, confidence), value, 6e-4);
    }
    EXPECT_NEAR(failures_an_hour_lower(2, 0.5, 0.95), 0.711, 6e-4); // chi-square(0.05; 4)
}

// NIST 8.1.6.2 (formulas read, numbers from memory; the share stands in another program's tests too, 0.0855593563928):
// Weibull, shape 1.5, characteristic life 5000, at 1000.
TEST(OutsideFailures, NistWeibull) {
    const LifeModel model{LifeLaw::weibull, 1.5, 5000};
    EXPECT_NEAR(failed_by(model, 1000), 0.0855593563928, 1e-12);
    EXPECT_NEAR(used_when_failed(model, 0.5), 3916.0988, 1e-3); // median, computed apart
}

} // namespace
} // namespace perdure
