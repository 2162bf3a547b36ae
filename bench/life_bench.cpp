// A whole product life on the real store, and the simulated flash under it alone.
#include <algorithm>

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

/// Every operation once, all of them successful; else false.
[[gnu::noinline]] bool replay(Flash& flash, const FlashRecording& recording, std::vector<uint8_t>& to) {
    const uint8_t* unit = recording.programmed.data();
    for (const FlashRecording::Operation& operation : recording.operations) {
        FlashResult result = FlashResult::ok;
        switch (operation.kind) {
        case FlashRecording::Kind::program:
            result = flash.program(operation.address, unit, operation.bytes);
            unit += operation.bytes;
            break;
        case FlashRecording::Kind::read:
            result = flash.read(operation.address, to.data(), operation.bytes);
            break;
        case FlashRecording::Kind::erase:
            result = flash.erase(operation.address);
            break;
        }
        if (result != FlashResult::ok) { return false; }
    }
    return true;
}

constexpr uint64_t turns = 60; ///< of the ring, in the two measurements that are held against each other

[[gnu::noinline]] LifeResult live_turns(FlashRecording* recording) {
    LifeOptions options;
    options.turns_max = turns;
    options.recording = recording;
    const LifeDemand demand = sizing_demand(orchard().project, orchard_records());
    return live(orchard().layout, orchard_records(), orchard().costs, demand, options);
}

/// The first turns of that life; items are saves.
void life_turns(benchmark::State& state) {
    (void)orchard(); // read outside of what is counted
    int64_t saves = 0;
    for (auto _ : state) {
        const LifeResult result = live_turns(nullptr);
        if (!result.failure.empty() || result.mismatches() != 0) { state.SkipWithError("the life run failed"); }
        saves += static_cast<int64_t>(result.saves);
    }
    state.SetItemsProcessed(saves);
    state.counters["saves"] = double(saves);
}
BENCHMARK(life_turns)->Unit(benchmark::kMillisecond);

/// The very flash operations of life_turns (each program, read and erase, from the format on), without the store and
/// the life around it. Items are the saves they were made for.
void flash_replay(benchmark::State& state) {
    FlashRecording recording;
    const LifeResult lived = live_turns(&recording);
    if (!lived.failure.empty()) { state.SkipWithError("the life run failed"); }
    const FlashGeometry& geometry = orchard().layout.geometry;
    std::vector<uint8_t> to(geometry.unit_bytes);
    for (const FlashRecording::Operation& operation : recording.operations) {
        to.resize(std::max<size_t>(to.size(), operation.bytes));
    }
    int64_t saves = 0;
    for (auto _ : state) {
        Flash flash(geometry, orchard().costs);
        if (!replay(flash, recording, to)) { state.SkipWithError("an operation failed"); }
        benchmark::DoNotOptimize(to.data());
        saves += static_cast<int64_t>(lived.saves);
    }
    state.SetItemsProcessed(saves);
    state.counters["saves"] = double(saves);
    state.counters["operations_a_save"] = double(recording.operations.size()) / double(lived.saves);
}
BENCHMARK(flash_replay)->Unit(benchmark::kMillisecond);

} // namespace
} // namespace perdure::bench
