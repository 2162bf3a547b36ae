// A whole product life on the real store, and the simulated flash under it alone.
#include <benchmark/benchmark.h>

#include "bench/orchard.hpp"
#include "flash/flash.hpp"

namespace perdure::bench {
namespace {

/// Twelve years of the orchard valve; items are saves, each of them read back.
void life_run(benchmark::State& state) {
    const LifeDemand demand = sizing_demand(orchard().project, orchard_records());
    int64_t saves = 0;
    for (auto _ : state) {
        const LifeResult result = live(orchard().layout, orchard_records(), orchard().costs, demand, {});
        if (!result.failure.empty() || result.mismatches() != 0) { state.SkipWithError("the life run failed"); }
        saves += static_cast<int64_t>(result.saves);
    }
    state.SetItemsProcessed(saves);
}
BENCHMARK(life_run)->Unit(benchmark::kMillisecond);

/// What the flash under a life costs without the store: the ring programmed from end to end, each unit read back, each
/// block erased. Items are units.
void flash_replay(benchmark::State& state) {
    const FlashGeometry& geometry = orchard().layout.geometry;
    Flash flash(geometry, orchard().costs);
    std::vector<uint8_t> unit(geometry.unit_bytes, 0x5A), back(geometry.unit_bytes);
    int64_t units = 0;
    for (auto _ : state) {
        for (uint32_t block = 0; block < geometry.ring_blocks; ++block) {
            if (flash.erase(block) != FlashResult::ok) { state.SkipWithError("erase failed"); }
            const uint32_t first = block * geometry.ring_block_bytes();
            for (uint32_t at = first; at < first + geometry.ring_block_bytes(); at += geometry.unit_bytes) {
                if (flash.program(at, unit.data(), geometry.unit_bytes) != FlashResult::ok ||
                    flash.read(at, back.data(), geometry.unit_bytes) != FlashResult::ok) {
                    state.SkipWithError("program or read failed");
                }
            }
        }
        units += geometry.ring_blocks * geometry.units_per_ring_block();
        benchmark::DoNotOptimize(back.data());
    }
    state.SetItemsProcessed(units);
}
BENCHMARK(flash_replay)->Unit(benchmark::kMicrosecond);

} // namespace
} // namespace perdure::bench
