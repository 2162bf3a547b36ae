// Devices that count: how often a unit is programmed between two erases, cut programs and pads included.
#include <gtest/gtest.h>

#include "tests/cuts/tiny_ring.hpp"

namespace perdure::tiny {
namespace {

/// `depth` more cuts in starts, on a part that takes so many programs of a unit.
SearchResult search_with_limit(uint32_t programs_max, unsigned depth) {
    const Ring ring({2, 4, false, 0xFF, 32});
    Search search = ring.search(Begin::nearly_full, depth);
    search.device.all_torn_bits = false;
    search.device.programs_a_unit_max = programs_max;
    return search_sequences(search, Ring::actions(), 1);
}

// A start programs its pads over what the cut has left, and one that is cut is followed by one that programs them
// again.
TEST(CutDevices, AUnitIsProgrammedOnceMoreForEachCutInARowAndOnceMore) {
    for (const unsigned depth : {0U, 1U}) {
        const SearchResult enough = search_with_limit(depth + 2, depth);
        EXPECT_FALSE(enough.failure) << enough.failure->what;
        EXPECT_TRUE(enough.complete);
        EXPECT_GT(enough.counts.trials, 100U);
        const SearchResult less = search_with_limit(depth + 1, depth);
        ASSERT_TRUE(less.failure) << depth;
        EXPECT_NE(less.failure->what.find("more programs of a unit than the part allows"), std::string::npos)
            << less.failure->what;
    }
}

// A search goes deep first; what is reported is shorter, and the same part plays it again.
TEST(CutDevices, OfTheFailuresAShortOneIsReported) {
    const Ring ring({2, 4, false, 0xFF, 32});
    ProofPart part;
    part.search = ring.search(Begin::nearly_full, 1);
    part.search.device.all_torn_bits = false;
    part.search.device.programs_a_unit_max = 1;
    part.actions = Ring::actions();
    part.length = 2;
    const SearchResult first = search_sequences(part.search, part.actions, part.length);
    const SearchResult shown = run_part(part, {}, 0, {});
    ASSERT_TRUE(first.failure && shown.failure);
    EXPECT_LT(shown.failure->path.size(), first.failure->path.size()) << path_text(first.failure->path);
    part.search.replay = shown.failure->path;
    const SearchResult again = run_part(part, {}, 0, {});
    ASSERT_TRUE(again.failure) << path_text(shown.failure->path);
    EXPECT_EQ(again.failure->what, shown.failure->what);
}

} // namespace
} // namespace perdure::tiny
