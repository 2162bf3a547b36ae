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

} // namespace
} // namespace perdure::tiny
