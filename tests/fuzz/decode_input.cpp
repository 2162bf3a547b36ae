#include "tests/fuzz/decode_input.hpp"

#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "dump/listing.hpp"

namespace perdure::fuzz {
namespace {

using Bytes = std::vector<uint8_t>;

struct Area {
    AreaShape shape;
    Bytes bytes;
    Bytes faulting;
    CheckFunction check = nullptr;
};

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

/// Are the entries in order of age, each inside its block and its spans inside itself?
std::string wrong_entry(const Area& area, const std::vector<DumpEntry>& entries) {
    const AreaShape& shape = area.shape;
    int64_t last_end = -1;
    for (const DumpEntry& entry : entries) {
        const std::string name = fmt::format("the entry at {}:{}", entry.block, entry.unit);
        if (entry.age < last_end) { return name + " overlaps the one before"; }
        last_end = entry.age + entry.units;
        if (entry.block >= shape.blocks || entry.units == 0 || entry.unit + entry.units > shape.block_units) {
            return name + " does not lie in its block";
        }
        const uint8_t* const begin =
            area.bytes.data() + (size_t{entry.block} * shape.block_units + entry.unit) * shape.unit_bytes;
        const uint8_t* const end = begin + size_t{entry.units} * shape.unit_bytes;
        const uint8_t* const payload = entry.payload.data();
        if (!entry.payload.empty() && (payload < begin || payload + entry.payload.size() > end)) {
            return name + " has a payload from elsewhere";
        }
        for (uint32_t unit = 0; !area.faulting.empty() && unit < entry.units; unit++) {
            if (area.faulting[size_t{entry.block} * shape.block_units + entry.unit + unit] != 0) {
                return name + " stands on a unit that faults";
            }
        }
    }
    return {};
}

std::string wrong_listing(const Area& area, const AreaView& view, const Decoded& decoded) {
    Bytes before = area.bytes;
    for (size_t i = 0; i < before.size(); i += 37) { before[i] ^= 0x5A; }
    const std::vector<UnitLabel> labels = label_units(view, decoded, {});
    if (labels.size() * area.shape.unit_bytes != area.bytes.size()) { return "not every unit has a label"; }
    for (size_t unit = 0; unit < labels.size(); unit++) {
        const bool faults = !area.faulting.empty() && area.faulting[unit] != 0;
        if (faults != (labels[unit].kind == UnitKind::faulting)) { return fmt::format("unit {}: fault", unit); }
    }
    // A second image for every other area, told by a byte of it.
    const std::string text =
        listing(view, {}, area.bytes[0] % 2 == 0 ? std::span<const uint8_t>(before) : std::span<const uint8_t>{});
    for (size_t begin = 0; begin < text.size();) {
        const size_t end = text.find('\n', begin);
        if (end == std::string::npos) { return "the last line has no end"; }
        if (end - begin > 100) { return "a line is too long: " + text.substr(begin, end - begin); }
        begin = end + 1;
    }
    return {};
}

} // namespace

std::string try_decode(std::span<const uint8_t> input) {
    static Decoder decoder; // one for all inputs: what it keeps from one must not show in the next
    static Decoded decoded;
    const Area area = make_area(input);
    const AreaView view{area.shape, area.bytes, area.faulting, area.check};
    decoder.decode(view, decoded);
    const Decoded fresh = decode(view);
    if (decoded.contents != fresh.contents || decoded.sequence != fresh.sequence || decoded.pending != fresh.pending ||
        decoded.blanks != fresh.blanks || decoded.entries.size() != fresh.entries.size()) {
        return "a decoder that has been used reads otherwise than a new one";
    }
    for (uint32_t id = 0; id <= 0xFFFF; id++) {
        if (id == 64) { id = 0xFFF0; }
        const Bytes* one = decoded.find(id);
        const Bytes* two = fresh.find(id);
        if ((one == nullptr) != (two == nullptr) || (one != nullptr && *one != *two)) {
            return fmt::format("record {}: a decoder that has been used reads otherwise than a new one", id);
        }
    }
    std::string wrong = wrong_entry(area, decoded.entries);
    if (wrong.empty()) { wrong = wrong_entry(area, decoded.doubted); }
    return wrong.empty() ? wrong_listing(area, view, decoded) : wrong;
}

std::vector<std::string> kinds_met(std::span<const uint8_t> input) {
    const Area area = make_area(input);
    const Decoded decoded = decode({area.shape, area.bytes, area.faulting, area.check});
    std::vector<std::string> met;
    if (decoded.contents != Contents::ring) {
        met.emplace_back(decoded.contents == Contents::nothing ? "nothing" : "foreign");
    }
    if (decoded.pending) { met.emplace_back("pending"); }
    if (decoded.voided != 0) { met.emplace_back("voided"); }
    if (!decoded.doubted.empty()) { met.emplace_back("doubted"); }
    for (const DumpEntry& entry : decoded.entries) {
        const bool is_total = !entry.is_short && !entry.fields.empty();
        met.emplace_back(entry.mark       ? "mark"
                         : entry.restart  ? entry.id ? "restart" : "lone restart"
                         : entry.is_short ? "short"
                         : is_total       ? "total"
                                          : "full");
    }
    return met;
}

} // namespace perdure::fuzz
