// The store's own power-cut proof: every cut on tiny rings over a grid of program units, blank values, ECC or not, and
// states to begin from. One test a cell.
#include <cmath>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "tests/cuts/tiny_ring.hpp"

namespace perdure::tiny {
namespace {

struct Cell {
    uint32_t unit_bytes;
    uint8_t blank;
    bool ecc;
    uint32_t blocks;
};

std::string name_of_cell(const testing::TestParamInfo<Cell>& info) {
    const Cell& cell = info.param;
    return fmt::format("Unit{}Blank{:02X}{}Blocks{}", cell.unit_bytes, cell.blank, cell.ecc ? "Ecc" : "", cell.blocks);
}

class Grid : public testing::TestWithParam<Cell> {
protected:
    [[nodiscard]] Ring ring(uint32_t check_bits = 32) const {
        const Cell& cell = GetParam();
        return Ring({cell.blocks, cell.unit_bytes, cell.ecc, cell.blank, check_bits});
    }
    static void expect_none_lost(const SearchResult& result, uint64_t trials_least, const std::string& where) {
        EXPECT_FALSE(result.failure) << where << ": " << result.failure->what << ", path "
                                     << path_text(result.failure->path);
        EXPECT_TRUE(result.complete);
        EXPECT_GT(result.counts.trials, trials_least) << where;
        EXPECT_EQ(result.counts.chance, 0U) << where << ": at 32 bits none is expected";
    }
};

// Cut once more in the starts that follow; torn units in all their ways on two blocks, else blank, whole or half.
TEST_P(Grid, EachActionFromEachBeginning) {
    const Ring tiny = ring();
    for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped, Begin::bad_block}) {
        if (begin == Begin::bad_block && GetParam().blocks < 4) { continue; }
        Search search = tiny.search(begin, 1);
        search.device.all_torn_bits = GetParam().unit_bytes >= 6 && GetParam().blocks == 2;
        expect_none_lost(search_sequences(search, tiny.actions(), 1), 500, std::string(perdure::name_of(begin)));
    }
    if (GetParam().blocks < 3) { return; } // with one of two blocks gone nothing can be put
    // A block begins to fail, as a worn one does: its programs leave units weak, its erases the block torn. No cuts in
    // starts there.
    Search search = tiny.search(Begin::failing, 0);
    search.device.all_torn_bits = false;
    search.ways_max = 64; // each failed program leaves one more weak unit, and together they read in thousands of ways
    expect_none_lost(search_sequences(search, tiny.actions(), 2), 500, "failing");
}

// Sequences of up to four actions, cut everywhere once. A block that has failed or fails is weak all over: 16 of the
// ways it may read are tried at each start.
TEST_P(Grid, SequencesOfFour) {
    const Ring tiny = ring();
    for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped, Begin::bad_block, Begin::failing}) {
        if (GetParam().blocks < (begin == Begin::bad_block ? 4U : begin == Begin::failing ? 3U : 2U)) { continue; }
        Search search = tiny.search(begin, 0);
        if (begin == Begin::bad_block || begin == Begin::failing) { search.ways_max = 16; }
        if (begin == Begin::failing) { search.device.all_torn_bits = false; }
        expect_none_lost(search_sequences(search, tiny.actions(), 4), 1000, std::string(perdure::name_of(begin)));
    }
}

// A put at every fill of the ring, over a turn and a half.
TEST_P(Grid, EveryFillOfTheRing) {
    const Ring tiny = ring();
    Search search = tiny.search(Begin::fresh, 0);
    expect_none_lost(search_workload(search, tiny.puts(tiny.units() * 3 / 2), 1), 500, "a turn and a half");
}

constexpr Cell cells[] = {
    {1, 0xFF, false, 2}, {2, 0x00, false, 3}, {3, 0xFF, false, 4},  {6, 0xFF, false, 2},  {6, 0x00, false, 4},
    {8, 0xFF, false, 2}, {8, 0xFF, false, 4}, {8, 0xFF, true, 2},   {8, 0xFF, true, 4},   {8, 0x00, true, 3},
    {8, 0x00, false, 2}, {16, 0xFF, true, 2}, {16, 0xFF, true, 5},  {32, 0xFF, true, 2},  {32, 0x00, true, 4},
    {4, 0xFF, false, 3}, {4, 0x00, true, 4},  {16, 0x00, false, 3}, {32, 0xFF, false, 3},
};
INSTANTIATE_TEST_SUITE_P(Cuts, Grid, testing::ValuesIn(cells), name_of_cell);

// Two more cuts in starts, from four blocks on (promise 1).
TEST(Cuts, TwoMoreInStartsOnFourBlocks) {
    for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped}) {
        const Ring tiny({4, 8, true, 0xFF, 32});
        Search search = tiny.search(begin, 2);
        search.device.all_torn_bits = false;
        const SearchResult result = search_sequences(search, tiny.actions(), 1);
        EXPECT_FALSE(result.failure) << result.failure->what << ", path " << path_text(result.failure->path);
        EXPECT_GT(result.counts.trials, 10'000U);
    }
}

// After a start that completed the power goes again in the next put, and once more.
TEST(Cuts, ChainsOfThreeWithCompletedStartsBetween) {
    const Ring tiny({2, 8, true, 0xFF, 32});
    Search search = tiny.search(Begin::fresh, 0);
    search.device.all_torn_bits = false;
    search.chain = 2;
    const SearchResult result = search_sequences(search, tiny.actions(), 1);
    EXPECT_FALSE(result.failure) << result.failure->what << ", path " << path_text(result.failure->path);
    EXPECT_GT(result.counts.trials, 10'000U);
}

// With a narrow check code torn bytes do pass by chance, and are told from losses.
TEST(Cuts, ChanceMatchesOfEightBitsAreCountedAndWithinTheirLimit) {
    const Ring tiny({2, 8, false, 0xFF, 8});
    SearchCounts counts;
    for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped}) {
        const SearchResult result = search_sequences(tiny.search(begin, 0), tiny.actions(), 3);
        EXPECT_FALSE(result.failure) << result.failure->what << ", path " << path_text(result.failure->path);
        counts += result.counts;
    }
    EXPECT_GT(counts.chance, 0U);
    // Each violation shows in several trials, so the limit is that of the trials with torn bytes, not a tight one.
    EXPECT_LT(static_cast<double>(counts.chance), static_cast<double>(counts.torn) / 256);
}

} // namespace
} // namespace perdure::tiny
