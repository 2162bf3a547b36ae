// The store on the PC, bound to the simulated flash: saving the fastest record, opening a used area.
#include <benchmark/benchmark.h>

#include "bench/orchard.hpp"
#include "unit/unit.hpp"

namespace perdure::bench {
namespace {

/// Raises the first field of the record's payload by one, so that each save has something to store and a total never
/// falls.
void count_up(std::vector<uint8_t>& payload) {
    for (uint8_t& byte : payload) {
        if (++byte != 0) { return; }
    }
}

void store_put(benchmark::State& state) {
    Unit unit(orchard().layout, orchard_records(), orchard().costs);
    if (unit.format() != PERDURE_OK) { state.SkipWithError("format failed"); }
    std::vector<uint8_t> payload(unit.payload_bytes(0));
    for (auto _ : state) {
        count_up(payload);
        if (unit.put(0, payload.data()) != PERDURE_OK) {
            state.SkipWithError("put failed");
            break;
        }
        while (unit.service()) {}
    }
    state.SetItemsProcessed(state.iterations());
}
BENCHMARK(store_put);

/// Opening reads the whole area and appends a restart entry; the argument is the saves between two starts.
void store_open(benchmark::State& state) {
    Unit unit(orchard().layout, orchard_records(), orchard().costs);
    if (unit.format() != PERDURE_OK) { state.SkipWithError("format failed"); }
    std::vector<uint8_t> payload(unit.payload_bytes(0));
    for (auto _ : state) {
        state.PauseTiming();
        for (int64_t save = 0; save < state.range(0); ++save) {
            count_up(payload);
            if (unit.put(0, payload.data()) != PERDURE_OK) { state.SkipWithError("put failed"); }
            while (unit.service()) {}
        }
        state.ResumeTiming();
        if (unit.open() != PERDURE_OK) {
            state.SkipWithError("open failed");
            break;
        }
    }
    state.SetBytesProcessed(state.iterations() * static_cast<int64_t>(orchard().layout.geometry.area_bytes()));
}
BENCHMARK(store_open)->Arg(1)->Arg(100)->Unit(benchmark::kMicrosecond);

} // namespace
} // namespace perdure::bench
