#include "tests/fuzz/area_input.hpp"

#include <algorithm>

namespace perdure::fuzz {
namespace {

uint32_t always_zero(uint32_t, const uint8_t*, size_t) {
    return 0;
}

void put_stamp(Area& area, uint32_t block, uint32_t number) {
    const AreaShape& shape = area.shape;
    const size_t block_bytes = size_t{shape.block_units} * shape.unit_bytes;
    if (block_bytes < 16) { return; }
    uint8_t* const begin = area.bytes.data() + block * block_bytes;
    uint8_t* at = begin;
    const auto put = [&](uint32_t value, unsigned count) {
        for (; count != 0; count--, value >>= 8) { *at++ = static_cast<uint8_t>(value); }
    };
    put(0x10 + shape.check_bits / 8, 1);
    put(shape.unit_bytes, 2);
    put(shape.blocks, 2);
    put(shape.block_units, 2);
    put(number, 4);
    put(1, 3);
    const CheckFunction check = area.check != nullptr && shape.check_bits == 16 ? area.check : format_check(16);
    put(check(0xFFFF0000U, begin, 14) >> 16, 2);
}

} // namespace

Area make_area(std::span<const uint8_t> input) {
    const auto next = [&] {
        const uint8_t byte = input.empty() ? 0 : input[0];
        input = input.subspan(input.empty() ? 0 : 1);
        return byte;
    };
    Area area;
    const uint32_t sizes = next();
    area.shape.blocks = (sizes & 7) + 1;
    area.shape.unit_bytes = (sizes >> 3) + 1;
    area.shape.block_units = (next() & 63) + 1U;
    const uint32_t flags = next();
    area.check = (flags & 2) != 0 ? always_zero : nullptr;
    area.shape.blank = (flags & 4) != 0 ? 0x00 : 0xFF;
    area.shape.check_bits = 8 * ((flags >> 3 & 3) + 1);
    const uint32_t number = next();
    const size_t units = size_t{area.shape.blocks} * area.shape.block_units;
    area.bytes.assign(units * area.shape.unit_bytes, area.shape.blank);
    std::copy_n(input.begin(), std::min(input.size(), area.bytes.size()), area.bytes.begin());
    for (uint32_t block = 0; (flags & 1) != 0 && block < area.shape.blocks; block++) {
        put_stamp(area, block, number + block);
    }
    if (flags >> 5 != 0) {
        area.faulting.resize(units);
        for (size_t unit = number; unit < units; unit += 1 + (flags >> 5) * 3) { area.faulting[unit] = 1; }
    }
    return area;
}

} // namespace perdure::fuzz
