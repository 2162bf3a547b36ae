// Every state that the smallest ring can come to, whatever was put and cut before.
#include <gtest/gtest.h>

#include "tests/closure/closure.hpp"

namespace perdure::tiny {
namespace {

void expect_closed(const ClosureShape& shape) {
    const ClosureResult result = close_over(shape);
    EXPECT_EQ(result.failure, "");
    EXPECT_TRUE(result.closed) << result.states << " states and more to come";
    EXPECT_GT(result.states, 100'000U);
    EXPECT_GT(result.runs, 2 * result.states);
    EXPECT_GT(result.checked, 10'000U) << "states that were taken as another one, gone on from";
    if (shape.formats_from > 0) { EXPECT_GT(result.cut_formats, 1000U); }
    testing::Test::RecordProperty("states", std::to_string(result.states));
    testing::Test::RecordProperty("runs", std::to_string(result.runs));
}

TEST(Closure, OneValueOnTwoBlocksWithFormats) {
    ClosureShape shape{2, 8, 0xFF};
    shape.formats_from = 1000;
    expect_closed(shape);
}

TEST(Closure, EveryTornState) {
    ClosureShape shape{2, 8, 0xFF};
    shape.every_tear = true;
    expect_closed(shape);
}

TEST(Closure, BlankIsZero) {
    expect_closed({2, 8, 0x00});
}

} // namespace
} // namespace perdure::tiny
