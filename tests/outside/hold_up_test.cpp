// Hold-up capacitors against figures that others published. Web calculators and articles, not makers' notes.
#include <gtest/gtest.h>

#include "budget/hold_up.hpp"

namespace perdure {
namespace {

// vbatpower.com/formulas/holdup-time: 200 W for 20 ms, 400 V down to 300 V: 114 uF.
TEST(OutsideHoldUp, TwoHundredWatts) {
    EXPECT_NEAR(farads_for(0.020, 400, 300, Load{0, 200}) * 1e6, 114, 0.5);
    EXPECT_NEAR(farads_for(0.020, 400, 300, Load{0, 200}) * 1e6, 114.2857, 1e-4); // our own arithmetic, to more digits
}

// infoneva.com, on a buffer module: 100 W for 20 ms, 400 V down to 300 V: 57.1 uF.
TEST(OutsideHoldUp, OneHundredWatts) {
    EXPECT_NEAR(farads_for(0.020, 400, 300, Load{0, 100}) * 1e6, 57.1, 0.05);
}

// huntsvilleengineers.com/tools/power-supply-holdup: from 390 V to 300 V a capacitor gives 41 % of its energy, over a
// droop of 10 % it gives 19 %.
TEST(OutsideHoldUp, ShareOfTheEnergy) {
    EXPECT_NEAR(energy_share(390, 300), 0.41, 0.005);
    EXPECT_NEAR(energy_share(1, 0.9), 0.19, 1e-12);
}

// Our own arithmetic, done apart from this program: 470 uF from 5 V to 3 V.
TEST(OutsideHoldUp, SmallCapacitor) {
    EXPECT_NEAR(hold_up_s(470e-6, 5, 3, Load{0.010, 0}) * 1e3, 94.0, 1e-9);    // 10 mA
    EXPECT_NEAR(hold_up_s(470e-6, 5, 3, Load{0, 0.033}) * 1e3, 113.939, 5e-4); // 33 mW
}

// Our own arithmetic: a fifth missing twice, 114.2857 uF / 0.64.
TEST(OutsideHoldUp, TwoFifthsMissing) {
    EXPECT_NEAR(farads_for(0.020, 400, 300, Load{0, 200}) / (0.8 * 0.8) * 1e6, 178.571, 1e-3);
}

} // namespace
} // namespace perdure
