// The quick part of the adversary: about 60,000 starts. adversary_slow_test.cpp plays ten million.
#include "adversary.hpp"

#include <gtest/gtest.h>

namespace perdure::adversary {
namespace {

Counts expect_none_lost(Family family, uint64_t runs) {
    const Outcome outcome = play_many(family, 1, runs, {});
    EXPECT_FALSE(outcome.failure) << outcome.failure->what;
    // Whatever a start writes over a weak unit would rest on it: the store only ever puts pads there.
    if (family != Family::failing) { EXPECT_EQ(outcome.counts.over_weak, 0u); }
    return outcome.counts;
}

TEST(Adversary, LosesNothingOnSmallRings) {
    const Counts counts = expect_none_lost(Family::basic, 150);
    EXPECT_GT(counts.cut_puts, 5'000u);
    EXPECT_GT(counts.nested, 5'000u);
    EXPECT_GT(counts.cut_services, 500u);
}

TEST(Adversary, LosesNothingWithManyRecordsBlocksAndLargeUnits) {
    expect_none_lost(Family::wide, 130);
}

TEST(Adversary, LosesNothingBesideChanceMatchesOfNarrowCheckCodes) {
    const Counts byte_wide = expect_none_lost(Family::narrow_8, 60);
    // A torn entry is tried once at its own place, so no more than one in 256 may pass.
    EXPECT_LE(byte_wide.chance * 256, byte_wide.cut_puts + byte_wide.cut_services + byte_wide.nested);
    EXPECT_LE(expect_none_lost(Family::narrow_16, 60).chance, 1u);
}

TEST(Adversary, LosesNothingWhereRestartEntriesAreCut) {
    expect_none_lost(Family::restarts, 150);
}

TEST(Adversary, SetsAFailingBlockAsideAndLosesNothing) {
    const Counts counts = expect_none_lost(Family::failing, 100);
    EXPECT_EQ(counts.set_aside, counts.runs);
}

TEST(Adversary, LosesNothingWithThreeHundredRecords) {
    expect_none_lost(Family::many, 3);
}

TEST(Adversary, LosesNothingOnTwoThousandBlocks) {
    Options options;
    options.starts = 20;
    const Outcome outcome = play_many(Family::ring, 1, 1, options);
    EXPECT_FALSE(outcome.failure) << outcome.failure->what;
}

/// Runs that once showed a loss (README.md names the mends).
TEST(Adversary, NoLongerLosesWhatItOnceLost) {
    struct Once {
        Family family;
        uint64_t run;
    };
    constexpr Once once[] = {
        {Family::short_turns, 100'294}, {Family::short_turns, 200'655}, {Family::short_turns, 351'740},
        {Family::format, 16},           {Family::format, 22},           {Family::format, 34},
        {Family::format, 46},           {Family::format, 5'440},        {Family::format, 7'489},
        {Family::format, 100'360},      {Family::failing, 1'006'867},   {Family::format, 7},
        {Family::format, 554},          {Family::format, 20'401},       {Family::format, 100'176},
    };
    for (const Once& one : once) {
        const Outcome outcome = play(one.family, one.run, {});
        EXPECT_FALSE(outcome.failure) << outcome.failure->what;
    }
}

TEST(Adversary, PlaysARunAlikeEachTime) {
    const Outcome first = play(Family::wide, 77, {});
    const Outcome second = play(Family::wide, 77, {});
    EXPECT_EQ(first.counts.starts, second.counts.starts);
    EXPECT_EQ(first.counts.programs, second.counts.programs);
    EXPECT_EQ(first.counts.puts, second.counts.puts);
}

} // namespace
} // namespace perdure::adversary
