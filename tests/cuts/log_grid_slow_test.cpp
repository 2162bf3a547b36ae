// The power-cut proof of a log beside a value, of saves when the supply fails and of lazy starts, over a grid of
// program units, blank values, ECC or not, and two to five blocks. One torn state stands for all.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include "tests/cuts/tiny_ring.hpp"

namespace perdure::tiny {
namespace {

std::string name_of_shape(const testing::TestParamInfo<Shape>& info) {
    const Shape& shape = info.param;
    return fmt::format("Unit{}Blank{:02X}{}Blocks{}", shape.unit_bytes, shape.blank, shape.ecc ? "Ecc" : "",
                       shape.blocks);
}

class LogGrid : public testing::TestWithParam<Shape> {
protected:
    /// Units of a few bytes make long entries, and so long searches.
    static bool small_units() { return GetParam().unit_bytes < 4; }
    template <class AnyRing>
    static void expect_none_lost(const AnyRing& ring, const Search& wanted, unsigned length, Begin begin) {
        Search search = wanted;
        search.device.all_torn_bits = false;
        const SearchResult result = length == 0 ? search_workload(search, ring.puts(ring.units() * 3 / 2), 1)
                                                : search_sequences(search, ring.actions(), length);
        EXPECT_FALSE(result.failure) << perdure::name_of(begin) << ": " << result.failure->what << ", path "
                                     << path_text(result.failure->path);
        EXPECT_TRUE(result.complete);
        EXPECT_GT(result.counts.trials, 200U) << perdure::name_of(begin);
        EXPECT_EQ(result.counts.chance, 0U) << perdure::name_of(begin) << ": at 32 bits none is expected";
    }
};

constexpr Begin begins[] = {Begin::fresh, Begin::nearly_full, Begin::wrapped};

TEST_P(LogGrid, Appends) {
    const LogRing ring(GetParam());
    for (const Begin begin : begins) {
        expect_none_lost(ring, ring.search(begin, 0), small_units() ? 2 : 3, begin);
        expect_none_lost(ring, ring.search(begin, 1), 1, begin);
    }
    expect_none_lost(ring, ring.search(Begin::fresh, 0), 0, Begin::fresh);
}

TEST_P(LogGrid, SavesInEachOperationAndRead) {
    const LogRing logs(GetParam());
    const Ring totals(GetParam(), true);
    for (const Begin begin : begins) {
        Search search = logs.search(begin, 0);
        search.saves = search.saves_in_reads = true;
        expect_none_lost(logs, search, small_units() ? 1 : 2, begin);
        search = totals.search(begin, 0);
        search.saves = true;
        expect_none_lost(totals, search, small_units() ? 1 : 2, begin);
    }
}

TEST_P(LogGrid, FirstPutsAfterLazyStarts) {
    const LogRing logs(GetParam());
    const Ring totals(GetParam());
    for (const Begin begin : begins) {
        Search search = logs.search(begin, GetParam().unit_bytes < 2 ? 0 : 1);
        search.lazy = true;
        expect_none_lost(logs, search, 1, begin);
        search = totals.search(begin, GetParam().unit_bytes < 2 ? 0 : 1);
        search.lazy = true;
        expect_none_lost(totals, search, 1, begin);
    }
}

constexpr Shape shapes[] = {
    {2, 1, false, 0xFF, 32}, {3, 2, false, 0x00, 32}, {4, 3, false, 0xFF, 32},  {3, 4, false, 0xFF, 32},
    {4, 6, false, 0x00, 32}, {2, 8, true, 0xFF, 32},  {5, 8, true, 0xFF, 32},   {2, 8, false, 0x00, 32},
    {3, 16, true, 0xFF, 32}, {4, 32, true, 0x00, 32}, {2, 32, false, 0xFF, 32},
};
INSTANTIATE_TEST_SUITE_P(Cuts, LogGrid, testing::ValuesIn(shapes), name_of_shape);

// The room for a save is kept at every fill of the ring, not only where a search begins.
TEST(LogGridFill, SavesAtEveryFill) {
    for (const uint32_t blocks : {2U, 5U}) {
        const LogRing ring({blocks, 8, true, 0xFF, 32});
        Search search = ring.search(Begin::fresh, 0);
        search.saves = true;
        search.device.all_torn_bits = false;
        const SearchResult result = search_workload(search, ring.puts(ring.units() * 3 / 2), 1);
        EXPECT_FALSE(result.failure) << result.failure->what << ", path " << path_text(result.failure->path);
        EXPECT_GT(result.counts.saves, 1000U);
    }
}

// With a narrow check code: chance matches are told from losses of a log as well.
TEST(LogGridFill, ChanceMatchesOfEightBitsAreTold) {
    const LogRing ring({2, 8, false, 0xFF, 8});
    for (const Begin begin : begins) {
        const SearchResult result = search_sequences(ring.search(begin, 0), ring.actions(), 2);
        EXPECT_FALSE(result.failure) << result.failure->what << ", path " << path_text(result.failure->path);
        EXPECT_LT(static_cast<double>(result.counts.chance), static_cast<double>(result.counts.torn) / 256 + 1);
    }
}

} // namespace
} // namespace perdure::tiny
