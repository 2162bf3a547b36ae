// The first states of what closure_slow_test.cpp closes over, and of shapes whose states are too many for that.
#include <gtest/gtest.h>

#include "tests/closure/closure.hpp"

namespace perdure::tiny {
namespace {

void expect_none_lost(ClosureShape shape) {
    shape.states_max = 40'000;
    const ClosureResult result = close_over(shape);
    EXPECT_EQ(result.failure, "");
    EXPECT_GE(result.states, shape.states_max);
    EXPECT_FALSE(result.closed);
}

TEST(ClosureBegun, OneMoreCutInStarts) {
    ClosureShape shape;
    shape.cuts_in_row = 1;
    expect_none_lost(shape);
}

TEST(ClosureBegun, TwoValuesOnThreeBlocks) {
    ClosureShape shape;
    shape.blocks = 3;
    shape.records = 2;
    expect_none_lost(shape);
}

TEST(ClosureBegun, AShapeItCannotTakeIsRefused) {
    ClosureShape shape;
    shape.blocks = 4;
    EXPECT_NE(close_over(shape).failure, "");
    shape.blocks = 2;
    shape.records = 3;
    EXPECT_NE(close_over(shape).failure, "");
}

} // namespace
} // namespace perdure::tiny
