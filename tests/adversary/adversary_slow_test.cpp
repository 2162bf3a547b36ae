// More than ten million starts, on two threads. README.md says what is drawn and what is held.
#include "adversary.hpp"

#include <gtest/gtest.h>

#include <array>
#include <thread>

namespace perdure::adversary {
namespace {

/// Plays `runs` runs from number `first` on, the two halves at the same time; reports the first failure of each.
Counts expect_none_lost(Family family, uint64_t first, uint64_t runs) {
    std::array<Outcome, 2> halves;
    std::thread other([&] { halves[1] = play_many(family, first + runs / 2, runs - runs / 2, {}); });
    halves[0] = play_many(family, first, runs / 2, {});
    other.join();
    Counts counts;
    for (const Outcome& half : halves) {
        counts += half.counts;
        EXPECT_FALSE(half.failure) << half.failure->what;
    }
    ::testing::Test::RecordProperty("starts", std::to_string(counts.starts));
    return counts;
}

constexpr uint64_t beyond_quick = 1'000'000; ///< run numbers that the quick tests do not play

TEST(AdversarySlow, LosesNothingOnSmallRings) {
    const Counts counts = expect_none_lost(Family::basic, beyond_quick, 33'000);
    EXPECT_GT(counts.starts, 3'300'000u);
    EXPECT_EQ(counts.over_weak, 0u);
}

TEST(AdversarySlow, LosesNothingWithManyRecordsBlocksAndLargeUnits) {
    const Counts counts = expect_none_lost(Family::wide, beyond_quick, 21'000);
    EXPECT_GT(counts.starts, 2'100'000u);
    EXPECT_EQ(counts.over_weak, 0u);
}

TEST(AdversarySlow, LosesNothingBesideChanceMatchesOfNarrowCheckCodes) {
    const Counts byte_wide = expect_none_lost(Family::narrow_8, beyond_quick, 4'000);
    EXPECT_LE(byte_wide.chance * 256, byte_wide.cut_puts + byte_wide.cut_services + byte_wide.nested);
    const Counts two_wide = expect_none_lost(Family::narrow_16, beyond_quick, 14'000);
    EXPECT_LE(two_wide.chance * 65536, two_wide.cut_puts + two_wide.cut_services + two_wide.nested);
}

TEST(AdversarySlow, SetsAFailingBlockAsideAndLosesNothing) {
    const Counts counts = expect_none_lost(Family::failing, beyond_quick, 14'000);
    EXPECT_EQ(counts.set_aside, counts.runs);
}

TEST(AdversarySlow, LosesNothingWithThreeHundredRecords) {
    expect_none_lost(Family::many, beyond_quick, 400);
}

TEST(AdversarySlow, LosesNothingOnTwoThousandBlocks) {
    expect_none_lost(Family::ring, beyond_quick, 40);
}

TEST(AdversarySlow, LosesNothingWhereEveryStartMeetsABlocksEnd) {
    expect_none_lost(Family::short_turns, 100'001, 12'000);
}

TEST(AdversarySlow, LosesNothingWhereRestartEntriesAreCut) {
    expect_none_lost(Family::restarts, beyond_quick, 10'000);
}

TEST(AdversarySlow, LosesNothingInFormatsThatAreCut) {
    expect_none_lost(Family::format, 1, 5'000);
}

} // namespace
} // namespace perdure::adversary
