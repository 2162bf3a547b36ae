#include "firmware/size_table.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

constexpr const char* document = R"(# Sizes

| target | code and constants | the leanest features | data | bss | largest stack frame | sizeof(perdure_store) |
|---|--:|--:|--:|--:|---|--:|
| Small, cc 1 | 8000 | 5000 | 0 | 0 | 400 (scan) | 60 |
| Large, cc 2 | 9000 | 6000 | 0 | 0 | 410 (scan) | 64 |

| call | Small | Large |
|---|--:|--:|
| perdure_open | 700 | 710 |
| perdure_put_now | 500 | 510 |
| perdure_read_log | 900 | 910 |

| macro | Small | Large |
|---|--:|--:|
| PERDURE_PUT_NOW | 240 | 250 |
)";

TEST(SizeTable, IsReadFromItsTables) {
    const std::vector<TargetSize> read = read_size_table(document);
    ASSERT_EQ(read.size(), 2U);
    EXPECT_EQ(read[1].target, "Large, cc 2");
    EXPECT_EQ(read[1].code_bytes, 9000U);
    EXPECT_EQ(read[1].state_bytes, 64U);
    EXPECT_EQ(read[0].stack_bytes.at("perdure_open"), 700U);
    EXPECT_EQ(read[1].feature_bytes.at("PERDURE_PUT_NOW"), 250U);
}

TEST(SizeTable, CountsWhatTheProjectHas) {
    const TargetSize small = read_size_table(document)[0];
    FirmwarePlan plan;
    plan.areas.resize(1);
    EXPECT_EQ(store_code_bytes(plan, small), 7760U);
    EXPECT_EQ(stack_bytes(plan, small), 700U);
    Record log;
    log.kind = RecordKind::log;
    log.log = LogShape{};
    plan.areas[0].records = {&log};
    EXPECT_EQ(stack_bytes(plan, small), 900U);
    plan.areas[0].urgent = 0;
    EXPECT_EQ(store_code_bytes(plan, small), 8000U);
    EXPECT_EQ(stack_bytes(plan, small), 1400U);
}

TEST(SizeTable, TheOneThatIsCarriedHasEveryTarget) {
    const std::vector<TargetSize> carried = store_sizes();
    ASSERT_EQ(carried.size(), 4U);
    for (const TargetSize& target : carried) {
        EXPECT_GT(target.stack_bytes.at("perdure_put"), 300U) << target.target;
        EXPECT_GT(target.feature_bytes.at("PERDURE_LOGS"), 500U) << target.target;
    }
}

} // namespace
} // namespace perdure
