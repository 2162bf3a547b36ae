// A log beside a value, saves when the supply fails and lazy starts: the exhaustive search on tiny rings, the short
// form of what grid_slow_test.cpp tries.
#include <gtest/gtest.h>

#include "tests/cuts/tiny_ring.hpp"

namespace perdure::tiny {
namespace {

constexpr Begin begins[] = {Begin::fresh, Begin::nearly_full, Begin::wrapped};

void expect_none_lost(const SearchResult& result, uint64_t trials_least, Begin begin) {
    EXPECT_FALSE(result.failure) << perdure::name_of(begin) << ": " << result.failure->what << ", path "
                                 << path_text(result.failure->path);
    EXPECT_TRUE(result.complete);
    EXPECT_GT(result.counts.trials, trials_least) << perdure::name_of(begin);
    EXPECT_EQ(result.counts.chance, 0U) << "at 32 bits none is expected";
}

TEST(LogCuts, SequencesOfTwoFromEachBeginning) {
    for (const uint32_t blocks : {2U, 4U}) {
        const LogRing ring({blocks, 8, false, 0xFF, 32});
        for (const Begin begin : begins) {
            expect_none_lost(search_sequences(ring.search(begin, 0), ring.actions(), 2), 400, begin);
            Search once_more = ring.search(begin, 1);
            once_more.device.all_torn_bits = false;
            expect_none_lost(search_sequences(once_more, ring.actions(), 1), 1000, begin);
        }
    }
}

TEST(LogCuts, AnAppendAtEveryFillOfTheRing) {
    const LogRing ring({2, 8, true, 0xFF, 32});
    expect_none_lost(search_workload(ring.search(Begin::fresh, 0), ring.puts(ring.units() * 3 / 2), 1), 800,
                     Begin::fresh);
}

TEST(SaveCuts, InEachOperationAndReadOfEachAction) {
    for (const uint32_t blocks : {2U, 4U}) {
        const LogRing ring({blocks, 8, false, 0xFF, 32});
        for (const Begin begin : begins) {
            Search search = ring.search(begin, 0);
            search.saves = search.saves_in_reads = true;
            search.device.all_torn_bits = false;
            const SearchResult result = search_sequences(search, ring.actions(), 2);
            expect_none_lost(result, 400, begin);
            EXPECT_GT(result.counts.saves, 100U);
        }
    }
}

TEST(SaveCuts, BesideATotalWithShortEntries) {
    for (const Begin begin : begins) {
        const Ring ring({3, 8, true, 0xFF, 32}, true);
        Search search = ring.search(begin, 0);
        search.saves = true;
        search.device.all_torn_bits = false;
        expect_none_lost(search_sequences(search, ring.actions(), 2), 400, begin);
    }
}

TEST(LazyCuts, InTheFirstPutAfterALazyStart) {
    for (const uint32_t blocks : {2U, 4U}) {
        for (const Begin begin : begins) {
            const LogRing logs({blocks, 8, false, 0xFF, 32});
            Search search = logs.search(begin, 1);
            search.lazy = true;
            search.device.all_torn_bits = false;
            expect_none_lost(search_sequences(search, logs.actions(), 1), 1000, begin);
            const Ring totals({blocks, 8, false, 0xFF, 32});
            search = totals.search(begin, 1);
            search.lazy = true;
            search.device.all_torn_bits = false;
            expect_none_lost(search_sequences(search, totals.actions(), 1), 1000, begin);
        }
    }
}

} // namespace
} // namespace perdure::tiny
