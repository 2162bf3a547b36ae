#include "tests/format/area.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure::format_examples {

namespace {

/// False once the power has gone.
bool operation_happens(Area& area) {
    if (area.operations_left > 0) { area.operations_left--; }
    return area.operations_left != 0;
}

bool read_flash(void* context, uint32_t address, void* to, uint32_t bytes) {
    auto& area = *static_cast<Area*>(context);
    if (area.reads_left == 0) {
        area.reads_left = area.reads_go_on ? -1 : 0;
        return false;
    }
    if (area.reads_left > 0) { area.reads_left--; }
    const int unit_bytes = area.shape.unit_bytes;
    const int first = static_cast<int>(address) / unit_bytes;
    const int last = static_cast<int>(address + bytes - 1) / unit_bytes;
    if (first <= area.faulting_unit && area.faulting_unit <= last) { return false; }
    std::memcpy(to, area.flash.data() + address, bytes);
    return true;
}

bool program_flash(void* context, uint32_t address, const void* unit) {
    auto& area = *static_cast<Area*>(context);
    if (!operation_happens(area)) { return false; }
    if (area.programs_left >= 0 && area.programs_left-- == 0) { return false; }
    std::memcpy(area.flash.data() + address, unit, area.shape.unit_bytes);
    return true;
}

bool erase_flash(void* context, uint32_t block) {
    auto& area = *static_cast<Area*>(context);
    if (!operation_happens(area) || static_cast<int>(block) == area.erase_that_fails) { return false; }
    const size_t bytes = size_t{area.shape.block_units} * area.shape.unit_bytes;
    const auto first = area.flash.begin() + static_cast<std::ptrdiff_t>(block * bytes);
    const int units = area.shape.block_units;
    if (area.faulting_unit >= 0 && area.faulting_unit / units == static_cast<int>(block)) { area.faulting_unit = -1; }
    std::fill(first, first + static_cast<std::ptrdiff_t>(bytes), area.shape.blank);
    return true;
}

} // namespace

Area::Area(const Shape& wanted)
    : shape(wanted), flash(size_t{wanted.blocks} * wanted.block_units * wanted.unit_bytes, wanted.blank) {
    records[record_1].id = 1;
    records[record_1].bytes = 4;
    records[record_2].id = 2;
    records[record_2].bytes = 6;
    records[record_2].fields = fields;
    records[record_2].field_count = 2;
    records[record_100].id = 100;
    records[record_100].bytes = 3;
    records[record_300].id = 300;
    records[record_300].bytes = 130;
    port = {read_flash, program_flash, erase_flash, nullptr, this};
    config.port = &port;
    config.records = records;
    config.newest = newest;
    config.unknown_ids = unknown_ids;
    config.totals = totals;
    config.block_flags = block_flags;
    config.unit_buffer = unit_buffer;
    config.record_count = 3; // the 130-byte record takes part only where an example says so
    config.unknown_max = 3;
    config.blocks = shape.blocks;
    config.block_units = shape.block_units;
    config.unit_bytes = shape.unit_bytes;
    config.check_bits = shape.check_bits;
    config.blank = shape.blank;
}

std::vector<std::string> Area::units(uint16_t block, uint16_t first, uint16_t end) const {
    std::vector<std::string> lines;
    for (uint16_t unit = first; unit < std::min(end, shape.block_units); unit++) {
        const size_t at = (size_t{block} * shape.block_units + unit) * shape.unit_bytes;
        std::string line = fmt::format("{}:{}", block, unit);
        bool blank = true;
        for (size_t i = at; i < at + shape.unit_bytes; i++) {
            line += fmt::format(" {:02X}", flash[i]);
            blank = blank && flash[i] == shape.blank;
        }
        if (!blank) { lines.push_back(line); }
    }
    return lines;
}

Totals totals_of(uint32_t first, uint16_t second) {
    Totals totals{};
    for (unsigned i = 0; i < 4; i++) { totals.bytes[i] = static_cast<uint8_t>(first >> (8 * i)); }
    totals.bytes[4] = static_cast<uint8_t>(second);
    totals.bytes[5] = static_cast<uint8_t>(second >> 8);
    return totals;
}

} // namespace perdure::format_examples
