#include "budget/ring_wear.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include <fmt/format.h>

#include "budget/count_walk.hpp"
#include "project/sample_rings.hpp"

namespace perdure {
namespace {

/// Blocks filled over a long walk against the formula, in percent; several walks so that phases average out.
void expect_walk_agrees(const AreaLayout& layout, const Traffic& traffic, double percent, const char* what) {
    const RingWear wear = ring_wear(layout, traffic);
    double walked = 0, expected = 0;
    for (uint64_t draw = 1; draw <= 2; ++draw) {
        const double life_s = wear.block_s * 1500;
        const WalkCount count = walk_counts(layout, traffic, life_s, draw);
        walked += double(count.blocks_emptied);
        const RingWear drawn = ring_wear(layout, as_drawn(traffic, count));
        expected += erases_over(drawn, layout.geometry.ring_blocks, life_s).blocks_emptied;
    }
    EXPECT_NEAR(100 * walked / expected, 100, percent) << what;
}

TEST(Wear, AgreesWithTheWalkOnOneTotal) {
    for (const bool service : {true, false}) {
        for (const uint32_t blocks : {2U, 3U, 5U}) {
            for (const uint32_t unit : {2U, 4U, 6U, 8U}) {
                const AreaLayout layout = sample_ring(unit, 256 * unit, blocks, {sample_record(1, 2, 8, 1023)});
                expect_walk_agrees(layout, {1.0 / 86'400, {{45, 0}}, service}, 0.3, "one total");
            }
        }
    }
}

TEST(Wear, AgreesWithTheWalkOnAMixOfRecords) {
    const std::vector<Record> records{sample_record(1, 2, 8, 1000), sample_record(2, 1, 40), sample_record(3, 1, 24),
                                      sample_record(4, 1, 90), sample_record(5, 1, 8, 50)};
    for (const bool service : {true, false}) {
        for (const uint32_t blocks : {2U, 3U, 4U, 7U}) {
            for (const uint32_t block_bytes : {1024U, 2048U, 8192U}) {
                const AreaLayout layout = sample_ring(8, block_bytes, blocks, records);
                // Often, daily, a few a day at random, never, and now and then.
                const Traffic traffic{
                    2.0 / 86'400, {{60, 0}, {86'400, 0}, {0, 3.0 / 86'400}, {0, 0}, {7000, 1e-5}}, service};
                expect_walk_agrees(layout, traffic, 0.5,
                                   fmt::format("{} blocks of {}, {}", blocks, block_bytes, service).c_str());
            }
        }
    }
}

TEST(Wear, AgreesWithTheWalkWhereCopyingRules) {
    std::vector<Record> records;
    Traffic traffic;
    for (uint16_t id = 1; id <= 30; ++id) {
        records.push_back(sample_record(id, 1, 20));
        traffic.records.push_back({0, 1.0 / (100.0 * id)});
    }
    for (const bool service : {true, false}) {
        traffic.service_in_time = service;
        for (const uint32_t blocks : {2U, 3U, 4U}) {
            // Some 80 entries a block: records copied together stay together, which the formula does not follow.
            expect_walk_agrees(sample_ring(8, 2048, blocks, records), traffic, 0.6,
                               fmt::format("{} blocks, {}", blocks, service).c_str());
        }
    }
}

TEST(Wear, AgreesWithTheWalkWithLiveDataOverSeveralBlocks) {
    std::vector<Record> records;
    Traffic traffic{0, {}, false};
    for (uint16_t id = 1; id <= 60; ++id) {
        records.push_back(sample_record(id, 1, 20));
        traffic.records.push_back({0, 1.0 / 100});
    }
    const AreaLayout layout = sample_ring(8, 1024, 8, records);
    EXPECT_EQ(layout.spare_blocks, 2U);
    // Some 40 entries a block, a third of them copies: here the formula is only good to 2 %.
    expect_walk_agrees(layout, traffic, 2.0, "spread");
}

TEST(Wear, SharesAddUpToTheBlock) {
    const AreaLayout layout = sample_ring(8, 2048, 3, {sample_record(1, 2, 8, 1000), sample_record(2, 1, 40)});
    const RingWear wear = ring_wear(layout, {1e-5, {{60, 0}, {0, 1e-4}}, true});
    double sum = wear.start_units + wear.mark_units + wear.waste_units;
    for (const RecordWear& record : wear.records) { sum += record.units; }
    EXPECT_NEAR(sum, layout.capacity_units, 1e-3);
    EXPECT_NEAR(sum, wear.saved_units + wear.copied_units + wear.start_units + wear.mark_units + wear.waste_units,
                1e-6);
}

TEST(Wear, NothingWrittenNeverTurns) {
    const AreaLayout layout = sample_ring(8, 2048, 2, {sample_record(1, 1, 8)});
    const RingWear wear = ring_wear(layout, {0, {{0, 0}}, true});
    EXPECT_TRUE(std::isinf(wear.block_s));
    EXPECT_EQ(erases_over(wear, 2, 1e9).per_block_max, 0);
}

TEST(Wear, EndOfABlockIsWhatTheEntriesLeave) {
    // One size: exactly the remainder. Fives into 101 units leave one.
    EXPECT_DOUBLE_EQ(end_of_block(101, {{5, 5, 1, {}}}, {}, Precision::fine).waste_units, 1);
    EXPECT_DOUBLE_EQ(end_of_block(100'003, {{5, 5, 1, {}}}, {}, Precision::fine).waste_units, 3);
    EXPECT_DOUBLE_EQ(end_of_block(101, {{5, 5, 1, {}}}, {{2, 1.0}}, Precision::fine).waste_units, 4);
    EXPECT_DOUBLE_EQ(end_of_block(101, {{5, 5, 1, {}}}, {{2, 0.5}}, Precision::fine).waste_units, 2.5);
    // Ones fill everything.
    EXPECT_DOUBLE_EQ(end_of_block(77, {{1, 1, 3, {}}}, {}, Precision::fine).waste_units, 0);
    // Ones and threes at random: the renewal limit, E[n(n-1)] / 2 E[n] = 3 / 4.
    EXPECT_NEAR(end_of_block(500, {{1, 1, 1, {}}, {3, 3, 1, {}}}, {}, Precision::fine).waste_units, 0.75, 1e-9);
    EXPECT_DOUBLE_EQ(end_of_block(500, {{1, 1, 1, {}}, {3, 3, 1, {}}}, {}, Precision::coarse).waste_units, 0.75);
}

} // namespace
} // namespace perdure
