// The case that the power-cut proof keeps for each cell of its table: played again, it is that cell's.
#include <gtest/gtest.h>

#include "tests/cuts/tiny_ring.hpp"

namespace perdure::tiny {
namespace {

uint64_t sum_of(const SearchCounts& counts) {
    uint64_t sum = 0;
    for (const auto& call : counts.cells) {
        for (const auto& operation : call) {
            for (const Cell& cell : operation) { sum += cell.as_before + cell.as_new + cell.nothing; }
        }
    }
    return sum;
}

/// How many outcomes of cells have been met.
size_t met_in(const SearchCounts& counts) {
    size_t met = 0;
    for (const auto& call : counts.cells) {
        for (const auto& operation : call) {
            for (const Cell& cell : operation) {
                met += (cell.as_before != 0 ? 1U : 0U) + (cell.as_new != 0 ? 1U : 0U) + (cell.nothing != 0 ? 1U : 0U);
            }
        }
    }
    return met;
}

/// Runs the part, then plays each case that it kept: how many there were.
size_t play_all(const ProofPart& part, unsigned threads = 1) {
    ProofOptions options;
    options.threads = threads;
    const SearchResult found = run_part(part, options, 0, {});
    EXPECT_FALSE(found.failure);
    EXPECT_FALSE(found.played) << "nothing was asked to be played";
    EXPECT_EQ(found.cases.size(), met_in(found.counts)) << "one for each outcome of each cell";
    for (const CellCase& one : found.cases) {
        ProofPart again = part;
        again.search.replay = path_from(path_text(one.path));
        SearchResult result = run_part(again, options, 0, {});
        EXPECT_FALSE(result.failure) << path_text(one.path);
        EXPECT_EQ(sum_of(result.counts), 1U) << path_text(one.path) << " is one case";
        Cell& cell =
            result.counts.cells[static_cast<size_t>(one.call)][static_cast<size_t>(one.operation)][one.reading];
        EXPECT_EQ(cell.of(one.outcome), 1U) << path_text(one.path);
        if (!result.played) {
            ADD_FAILURE() << path_text(one.path) << " was not played";
            continue;
        }
        EXPECT_EQ(result.played->outcome, one.outcome);
        EXPECT_EQ(result.played->before.size(), part.search.layout.geometry.area_bytes());
        EXPECT_EQ(result.played->after.size(), result.played->before.size());
        std::string story;
        for (const std::string& line : result.played->story) { story += line + "\n"; }
        const char* const cut = one.operation == CutOperation::between   ? "\npower cut just before the "
                                : one.operation == CutOperation::program ? "\npower cut inside the program of "
                                                                         : "\npower cut inside the erase of ";
        EXPECT_NE(story.find(cut), std::string::npos) << path_text(one.path) << "\n" << story;
    }
    return found.cases.size();
}

ProofPart part_of(const Search& search, std::vector<Action> actions, bool workload, unsigned length) {
    ProofPart part;
    part.search = search;
    part.search.device.all_torn_bits = false;
    part.actions = std::move(actions);
    part.workload = workload;
    part.length = length;
    return part;
}

TEST(CutCases, OfSequencesFromEachBeginning) {
    const Ring ring({4, 8, true, 0xFF, 32});
    for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped, Begin::bad_block}) {
        EXPECT_GT(play_all(part_of(ring.search(begin, 1), Ring::actions(), false, 1)), 5U) << name_of(begin);
    }
    EXPECT_GT(play_all(part_of(ring.search(Begin::wrapped, 0), Ring::actions(), false, 2)), 10U);
}

TEST(CutCases, OfAWholeTurnOnTwoThreads) {
    const Ring ring({3, 8, false, 0xFF, 32});
    EXPECT_GT(play_all(part_of(ring.search(Begin::wrapped, 0), Ring::puts(ring.units()), true, 3), 2), 8U);
}

TEST(CutCases, OfLogsAndOfSavesWhenTheSupplyFails) {
    const LogRing ring({2, 8, false, 0xFF, 32});
    ProofPart part = part_of(ring.search(Begin::nearly_full, 0), LogRing::actions(), false, 1);
    EXPECT_GT(play_all(part), 5U);
    part.search.saves = part.search.saves_in_reads = true;
    EXPECT_GT(play_all(part), 5U);
}

TEST(CutCases, OfLazyStarts) {
    const Ring ring({2, 8, false, 0xFF, 32});
    ProofPart part = part_of(ring.search(Begin::wrapped, 0), Ring::actions(), false, 1);
    part.search.lazy = true;
    EXPECT_GT(play_all(part), 5U);
}

TEST(CutCases, APathThatLeadsNowhereIsNotPlayed) {
    const Ring ring({2, 8, false, 0xFF, 32});
    ProofPart part = part_of(ring.search(Begin::fresh, 0), Ring::actions(), false, 1);
    for (const char* path : {"a0", "a0.t99.r0", "a9.t0.r0", "a0.t0.r77", "x0.r0"}) {
        part.search.replay = path_from(path);
        ASSERT_FALSE(part.search.replay->empty());
        const SearchResult result = run_part(part, {}, 0, {});
        EXPECT_FALSE(result.played) << path;
        EXPECT_FALSE(result.failure) << path;
    }
}

TEST(CutCases, TheFirstOfEachOutcomeIsKept) {
    const CellCase one{CutCall::put, CutOperation::erase, 3, Outcome::as_new, {1, 2}};
    CellCase other = one;
    other.path = {7};
    std::vector<CellCase> cases{one};
    add_cases(cases, {other});
    ASSERT_EQ(cases.size(), 1U);
    EXPECT_EQ(cases[0].path, one.path);
    other.outcome = Outcome::as_before;
    add_cases(cases, {other});
    EXPECT_EQ(cases.size(), 2U);
}

} // namespace
} // namespace perdure::tiny
