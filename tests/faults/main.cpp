// The prover proved: this program searches a fixed set of tiny rings with whatever store it is linked with. With a
// store that has a fault in it, it has to find one; with the real store it must not.
#include <chrono>
#include <cstdio>
#include <cstring>

#include <fmt/format.h>

#include "cuts/proof.hpp"

namespace {

using namespace perdure;

/// A total and a value, small, on rings of `blocks` blocks as short as they may be.
struct Ring {
    Record total, value;
    AreaLayout layout;

    Ring(uint32_t blocks, uint32_t unit_bytes, bool ecc, uint32_t check_bits) {
        total.name = "total";
        total.id = 1;
        total.kind = RecordKind::total;
        total.fields = {Field{"count", FieldType::u32, 4, std::nullopt, 10, {}}};
        value.name = "value";
        value.id = 2;
        value.fields = {Field{"setting", FieldType::u16, 2, std::nullopt, 0, {}}};
        FlashGeometry geometry;
        geometry.unit_bytes = unit_bytes;
        geometry.ring_blocks = blocks;
        geometry.ecc = ecc;
        geometry.rule = ProgramRule::once_or_full;
        for (uint32_t units = 8;; units++) {
            geometry.erase_block_bytes = units * unit_bytes;
            const auto fits = lay_out_ring(geometry, check_bits, {&total, &value});
            if (fits) {
                layout = *fits;
                return;
            }
        }
    }
};

struct Try {
    uint32_t blocks, unit_bytes;
    bool ecc;
    Begin begin;
    unsigned length, depth, chain; ///< length 0: a put at every fill of the ring, one after another
};

// From short to long: what is found first is short.
constexpr Try tries[] = {
    {2, 8, false, Begin::fresh, 1, 0, 0},       {2, 8, false, Begin::nearly_full, 2, 0, 0},
    {4, 8, false, Begin::wrapped, 2, 0, 0},     {2, 8, true, Begin::nearly_full, 2, 0, 0},
    {2, 8, false, Begin::fresh, 0, 0, 0},       {4, 8, false, Begin::fresh, 0, 0, 0},
    {2, 8, false, Begin::fresh, 1, 1, 0},       {2, 8, false, Begin::nearly_full, 1, 1, 0},
    {2, 8, false, Begin::nearly_full, 2, 1, 0}, {2, 8, true, Begin::wrapped, 1, 1, 0},
    {2, 8, false, Begin::fresh, 1, 0, 1},       {2, 8, false, Begin::nearly_full, 1, 0, 1},
    {4, 8, false, Begin::bad_block, 1, 1, 0},   {3, 3, false, Begin::nearly_full, 1, 1, 0},
    {2, 16, false, Begin::fresh, 0, 1, 0},      {4, 16, false, Begin::fresh, 0, 1, 0},
    {4, 8, false, Begin::nearly_full, 2, 1, 0},
};

} // namespace

int main(int argc, char** argv) {
    const bool verbose = argc > 1 && std::strcmp(argv[1], "-v") == 0;
    const auto begun = std::chrono::steady_clock::now();
    const auto spent = [&] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count(); };
    SearchCounts counts;
    for (const Try& one : tries) {
        const Ring ring(one.blocks, one.unit_bytes, one.ecc, 32);
        Search search;
        search.layout = ring.layout;
        search.records = {&ring.total, &ring.value};
        search.begin = one.begin;
        search.depth = one.depth;
        search.chain = one.chain;
        const std::vector<Action> actions{{Action::Kind::put_small, 0},
                                          {Action::Kind::put_small, 1},
                                          {Action::Kind::put_large, 0},
                                          {Action::Kind::service, 0},
                                          {Action::Kind::restart, 0}};
        std::vector<Action> turn;
        for (uint32_t i = 0; i < one.blocks * ring.layout.geometry.units_per_ring_block() * 3 /
                                     (one.depth == 0 || one.blocks == 2 ? 2 : 6);
             i++) {
            turn.push_back({Action::Kind::put_small, static_cast<uint16_t>(i % 5 == 4 ? 1 : 0)});
        }
        const SearchResult result =
            one.length == 0 ? search_workload(search, turn, 1) : search_sequences(search, actions, one.length);
        counts += result.counts;
        if (verbose) {
            fmt::print(
                stderr,
                "{} blocks of {} B units, {}, length {}, depth {}, chain {}: {:.2f} s so far, {} starts, {} equal\n",
                one.blocks, one.unit_bytes, name_of(one.begin), one.length, one.depth, one.chain, spent(),
                result.counts.starts, result.counts.equal);
        }
        if (result.failure) {
            fmt::print("caught in {:.2f} s, {} starts: {} blocks of {} B units, {}: {}\n", spent(), counts.starts,
                       one.blocks, one.unit_bytes, name_of(one.begin), result.failure->what);
            fmt::print("path {}\n", path_text(result.failure->path));
            return 1;
        }
    }
    fmt::print("nothing found in {:.2f} s, {} cut points, {} starts\n", spent(), counts.cuts, counts.starts);
    return 0;
}
