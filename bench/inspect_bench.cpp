// Dumps of the orchard valve, read and inspected as a fleet's are: file contents to findings, on one thread.
#include <algorithm>

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

/// The valve with an area of 64 KiB, as it stands after many turns, read right before the head is full: but for the two
/// blocks that the ring keeps blank there is nothing blank in it.
struct WornArea {
    Project project = orchard().project;
    std::vector<uint8_t> bytes;
    double used = 0; ///< share of the bytes that stand in units not blank

    WornArea() {
        project.areas.front().size_bytes = 65'536;
        const auto layout = lay_out_sized(project, project.areas.front());
        if (!layout) { return; }
        Unit unit(*layout, records_of(project, project.areas.front()), {});
        if (unit.format() != PERDURE_OK) { return; }
        std::vector<uint8_t> water(8);
        std::vector<uint8_t> settings(unit.payload_bytes(1), 7);
        const uint32_t unit_bytes = layout->geometry.unit_bytes;
        const uint32_t aim = 5 * layout->geometry.ring_blocks;
        const auto room = [&] { return unit.config().block_units - unit.store().unit; };
        for (uint32_t save = 1; unit.store().sequence < aim || room() > 4; save++) {
            for (size_t i = 0; i < 3; i++) { water[i] = static_cast<uint8_t>(save >> (8 * i)); }
            if (unit.put(0, water.data()) != PERDURE_OK) { return; }
            if (save % 200 == 0 && unit.put(1, settings.data()) != PERDURE_OK) { return; }
            if (save % 1440 == 0 && unit.open() != PERDURE_OK) { return; }
        }
        bytes = unit.flash().image();
        size_t blank = 0;
        for (size_t at = 0; at < bytes.size(); at += unit_bytes) {
            blank += std::all_of(&bytes[at], &bytes[at] + unit_bytes, [](uint8_t b) { return b == 0xFF; }) ? 1 : 0;
        }
        used = 1 - static_cast<double>(blank * unit_bytes) / static_cast<double>(bytes.size());
    }
};

const WornArea& worn() {
    static const WornArea area;
    return area;
}

/// Findings of a full, worn area, as a fleet's binaries are read. `used`: the share of it that is not blank.
void inspect_worn(benchmark::State& state) {
    const auto expected = make_expected(worn().project, 0x08000000);
    if (worn().bytes.empty() || !expected) { return state.SkipWithError("no dump to inspect"); }
    InspectOptions options;
    options.texts = false;
    const std::string contents(worn().bytes.begin(), worn().bytes.end());
    for (auto _ : state) {
        const DumpFile dump = read_dump("dump.bin", contents, std::nullopt, std::nullopt);
        const Inspection inspection = inspect(*expected, dump, options);
        if (!inspection.holds()) { return state.SkipWithError("the dump is not in order"); }
    }
    state.SetBytesProcessed(state.iterations() * static_cast<int64_t>(contents.size()));
    state.counters["used"] = worn().used;
}
BENCHMARK(inspect_worn)->Unit(benchmark::kMicrosecond);

/// The reader alone on the same area.
void decode_worn(benchmark::State& state) {
    const auto expected = make_expected(worn().project, 0x08000000);
    if (worn().bytes.empty() || !expected) { return state.SkipWithError("no dump to read"); }
    const AreaView view{expected->areas[0].shape, worn().bytes, {}};
    Decoder decoder;
    Decoded decoded;
    for (auto _ : state) {
        decoder.decode(view, decoded);
        benchmark::DoNotOptimize(decoded.sequence);
    }
    state.SetBytesProcessed(state.iterations() * static_cast<int64_t>(worn().bytes.size()));
    state.counters["used"] = worn().used;
}
BENCHMARK(decode_worn)->Unit(benchmark::kMicrosecond);

} // namespace
} // namespace perdure::bench
