// Dumps of the orchard valve, read and inspected as a fleet's are: file contents to findings, on one thread.
#include <benchmark/benchmark.h>

#include "bench/orchard.hpp"
#include "inspect/inspection.hpp"
#include "unit/unit.hpp"

namespace perdure::bench {
namespace {

/// A unit that has counted water for some turns of its ring, with a start after every 500 saves.
std::vector<uint8_t> used_orchard() {
    Unit unit(orchard().layout, orchard_records(), {});
    if (unit.format() != PERDURE_OK) { return {}; }
    std::vector<uint8_t> water(8);
    std::vector<uint8_t> settings(unit.payload_bytes(1), 7);
    for (uint32_t save = 1; save <= 5000; save++) {
        water[0] = static_cast<uint8_t>(save);
        water[1] = static_cast<uint8_t>(save >> 8U);
        if (unit.put(0, water.data()) != PERDURE_OK) { return {}; }
        if (save % 200 == 0 && unit.put(1, settings.data()) != PERDURE_OK) { return {}; }
        while (unit.service()) {}
        if (save % 500 == 0 && unit.open() != PERDURE_OK) { return {}; }
    }
    return unit.flash().image();
}

/// Bytes are those of the file.
void inspect_dump(benchmark::State& state) {
    const std::vector<uint8_t> area = used_orchard();
    const auto expected = make_expected(orchard().project, 0x08000000);
    if (area.empty() || !expected) { return state.SkipWithError("no dump to inspect"); }
    const bool hex = state.range(0) != 0;
    InspectOptions options;
    options.texts = state.range(1) != 0; // a fleet's dumps are inspected without
    const Memory memory{{{*expected->areas[0].place.address, area}}, {}, {}, {}};
    const std::string contents = hex ? write_intel_hex(memory) : std::string(area.begin(), area.end());
    for (auto _ : state) {
        const DumpFile dump = read_dump("dump", contents, std::nullopt, std::nullopt);
        const Inspection inspection = inspect(*expected, dump, options);
        if (!inspection.holds()) { return state.SkipWithError("the dump is not in order"); }
    }
    state.SetBytesProcessed(state.iterations() * static_cast<int64_t>(contents.size()));
}
BENCHMARK(inspect_dump)->ArgNames({"hex", "texts"})->ArgsProduct({{0, 1}, {0, 1}})->Unit(benchmark::kMicrosecond);

} // namespace
} // namespace perdure::bench
