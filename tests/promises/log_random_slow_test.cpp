// Logs over millions of random operations.
#include "tests/promises/log_random.hpp"

namespace perdure {
namespace {

TEST(LogsSlow, HoldTheirOrderAndDepthAgainstADequeOverMillionsOfAppends) {
    uint64_t appended = 0;
    const bool holds =
        rc::check("order, numbers and depth of a log", [&] { log_random::holds_a_deque(4000, appended); });
    EXPECT_TRUE(holds);
    EXPECT_GT(appended, 3'000'000U);
}

} // namespace
} // namespace perdure
