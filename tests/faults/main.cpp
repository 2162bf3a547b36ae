// The prover proved: this program searches a fixed set of tiny rings with whatever store it is linked with. With a
// store that has a fault in it, it has to find one; with the real store it must not.
#include <cstdio>
#include <cstring>
#include <ctime>
#include <span>
#include <vector>

#include <fmt/format.h>

#include "tests/closure/closure.hpp"
#include "tests/cuts/tiny_ring.hpp"

namespace {

using namespace perdure;

/// What the ring holds: a total and a value; or a log and a value, which may be saved when the supply fails, or whose
/// starts are lazy.
enum class Kind : uint8_t { total, log, saves, lazy };

struct Try {
    uint32_t blocks, unit_bytes;
    bool ecc;
    Begin begin;
    unsigned length, depth, chain; ///< length 0: a put at every fill of the ring, one after another
    Kind kind = Kind::total;
    unsigned next_puts = 1; ///< after the last start; with more, service is called, and cut is what erases or opens
};

// From short to long: what is found first is short. What cuts nothing but a first start comes first, then a cut in it
// too.
constexpr Try tries[] = {
    {2, 8, false, Begin::fresh, 1, 0, 0},
    {2, 8, false, Begin::nearly_full, 2, 0, 0},
    {2, 8, true, Begin::nearly_full, 2, 0, 0},
    {4, 8, false, Begin::wrapped, 2, 0, 0},
    {2, 8, false, Begin::fresh, 2, 0, 0, Kind::log},
    {2, 8, false, Begin::wrapped, 2, 0, 0, Kind::log},
    {2, 8, true, Begin::nearly_full, 2, 0, 0, Kind::log},
    {2, 8, false, Begin::fresh, 0, 0, 0},
    {4, 8, false, Begin::fresh, 0, 0, 0},
    {2, 8, false, Begin::fresh, 0, 0, 0, Kind::log},
    {2, 8, false, Begin::fresh, 1, 1, 0},
    {2, 8, true, Begin::wrapped, 1, 1, 0},
    {2, 8, false, Begin::nearly_full, 1, 1, 0},
    {2, 8, false, Begin::fresh, 1, 0, 1},
    {2, 8, false, Begin::nearly_full, 1, 0, 1},
    {2, 8, true, Begin::nearly_full, 2, 1, 0},
    {2, 8, true, Begin::wrapped, 1, 1, 0, Kind::lazy},
    {2, 8, false, Begin::fresh, 1, 1, 0, Kind::lazy},
    {2, 8, false, Begin::fresh, 2, 0, 0, Kind::saves},
    {2, 8, false, Begin::nearly_full, 2, 0, 0, Kind::saves},
    {2, 8, true, Begin::wrapped, 2, 0, 0, Kind::saves},
    {4, 8, false, Begin::nearly_full, 2, 0, 0, Kind::saves},
    {2, 8, false, Begin::nearly_full, 2, 1, 0},
    {2, 8, false, Begin::fresh, 0, 0, 0, Kind::saves},
    {3, 3, false, Begin::nearly_full, 1, 1, 0},
    {2, 16, false, Begin::fresh, 0, 1, 0},
    {4, 16, false, Begin::fresh, 0, 1, 0},
    {4, 8, false, Begin::nearly_full, 2, 1, 0},
    {4, 8, false, Begin::bad_block, 1, 1, 0},
};

// With many puts behind the start: what a cut erase leaves weak is built upon only when its block's turn comes.
constexpr Try tries_with_puts[] = {
    {2, 8, false, Begin::fresh, 0, 0, 0, Kind::total, 60},
    {3, 8, false, Begin::fresh, 0, 0, 1, Kind::total, 40},
};

/// Seconds of the processor since the program began, in its one thread: what else the machine does does not count.
double spent_s() {
    return double(std::clock()) / CLOCKS_PER_SEC;
}

template <class AnyRing> SearchResult search_ring(const AnyRing& ring, const Try& one) {
    Search search = ring.search(one.begin, one.depth);
    search.chain = one.chain;
    search.saves = one.kind == Kind::saves;
    search.lazy = one.kind == Kind::lazy;
    search.next_puts = one.next_puts;
    search.cut_one_in = one.next_puts > 1 ? 1000 : 1;
    std::vector<Action> puts;
    for (const Action& put : ring.puts(ring.units() * 3 / (one.depth == 0 || one.blocks == 2 ? 2 : 6))) {
        puts.push_back(put);
        if (one.next_puts > 1) { puts.insert(puts.end(), 2, {Action::Kind::service, 0}); }
    }
    return one.length == 0 ? search_workload(search, puts, 1) : search_sequences(search, ring.actions(), one.length);
}

/// The closure's first states only: what a cut leaves plain to see, within a few calls.
int search_closure() {
    tiny::ClosureShape shape;
    shape.states_max = 20'000;
    const tiny::ClosureResult result = tiny::close_over(shape);
    fmt::print("{} in {:.2f} s, {} states: {}\n", result.failure.empty() ? "nothing found" : "caught", spent_s(),
               result.states, result.failure);
    return result.failure.empty() ? 0 : 1;
}

} // namespace

int main(int argc, char** argv) {
    if (argc > 1 && std::strcmp(argv[1], "--closure") == 0) { return search_closure(); }
    const bool verbose = argc > 1 && std::strcmp(argv[1], "-v") == 0;
    const bool with_puts = argc > 1 && std::strcmp(argv[1], "--puts") == 0;
    SearchCounts counts;
    for (const Try& one : with_puts ? std::span<const Try>(tries_with_puts) : std::span<const Try>(tries)) {
        tiny::Shape shape;
        shape.blocks = one.blocks;
        shape.unit_bytes = one.unit_bytes;
        shape.ecc = one.ecc;
        const SearchResult result =
            one.kind == Kind::total ? search_ring(tiny::Ring(shape), one) : search_ring(tiny::LogRing(shape), one);
        counts += result.counts;
        if (verbose) {
            fmt::print(stderr,
                       "{} blocks of {} B units, {}, length {}, depth {}, chain {}, kind {}: {:.2f} s so far, {} "
                       "starts, {} equal\n",
                       one.blocks, one.unit_bytes, name_of(one.begin), one.length, one.depth, one.chain, int(one.kind),
                       spent_s(), result.counts.starts, result.counts.equal);
        }
        if (result.failure) {
            fmt::print("caught in {:.2f} s, {} starts: {} blocks of {} B units, {}: {}\n", spent_s(), counts.starts,
                       one.blocks, one.unit_bytes, name_of(one.begin), result.failure->what);
            fmt::print("path {}\n", path_text(result.failure->path));
            return 1;
        }
    }
    fmt::print("nothing found in {:.2f} s, {} cut points, {} starts\n", spent_s(), counts.cuts, counts.starts);
    return 0;
}
