// The reader of dumps: whole areas decoded by one Decoder, as the power-cut proof does it at every state.
#include <benchmark/benchmark.h>

#include "dump/decode.hpp"
#include "unit/unit.hpp"

namespace perdure::bench {
namespace {

Record counter() {
    Record record;
    record.name = "counter";
    record.id = 1;
    record.kind = RecordKind::total;
    record.fields.push_back({"count", FieldType::u32, 4, {}, 20, {}});
    return record;
}

Record setting(uint16_t id) {
    Record record;
    record.name = "setting";
    record.id = id;
    record.fields.push_back({"value", FieldType::u16, 2, {}, 0, {}});
    return record;
}

/// A ring that has been filled several times over, with a start after every 16 saves. 16 check bits.
std::vector<uint8_t> used_area(const FlashGeometry& geometry) {
    const std::vector<Record> records{counter(), setting(2)};
    const std::vector<const Record*> pointers{&records[0], &records[1]};
    const auto layout = lay_out_ring(geometry, 16, pointers);
    if (!layout) { return {}; }
    Unit unit(*layout, pointers, {});
    if (unit.format() != PERDURE_OK) { return {}; }
    std::vector<uint8_t> count(4);
    for (uint32_t save = 1; save <= 4 * geometry.area_bytes() / geometry.unit_bytes; save++) {
        count[0] = static_cast<uint8_t>(save);
        count[1] = static_cast<uint8_t>(save >> 8);
        if (unit.put(save % 8 == 0, save % 8 == 0 ? count.data() + 1 : count.data()) != PERDURE_OK) { return {}; }
        while (unit.service()) {}
        if (save % 16 == 0 && unit.open() != PERDURE_OK) { return {}; }
    }
    return unit.flash().image();
}

/// Arguments: blocks, units a block, bytes a unit.
void dump_decode(benchmark::State& state) {
    const auto argument = [&](size_t i) { return static_cast<uint32_t>(state.range(i)); };
    FlashGeometry geometry;
    geometry.ring_blocks = argument(0);
    geometry.unit_bytes = argument(2);
    geometry.erase_block_bytes = argument(1) * argument(2);
    const std::vector<uint8_t> area = used_area(geometry);
    if (area.empty()) { return state.SkipWithError("the area could not be filled"); }
    const AreaView view{{argument(0), argument(1), argument(2), 16, 0xFF}, area, {}};
    Decoder decoder;
    Decoded decoded;
    for (auto _ : state) {
        decoder.decode(view, decoded);
        benchmark::DoNotOptimize(decoded.sequence);
    }
    if (decoded.find(1) == nullptr) { state.SkipWithError("the counter is not found"); }
    state.SetBytesProcessed(state.iterations() * static_cast<int64_t>(area.size()));
}
BENCHMARK(dump_decode)
    ->ArgNames({"blocks", "units", "bytes"})
    ->Args({2, 32, 8})
    ->Args({2, 40, 8})
    ->Args({5, 512, 6})
    ->Unit(benchmark::kMicrosecond);

} // namespace
} // namespace perdure::bench
