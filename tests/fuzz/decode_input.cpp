#include "tests/fuzz/decode_input.hpp"

#include <algorithm>
#include <vector>

#include <fmt/format.h>

#include "dump/listing.hpp"
#include "tests/fuzz/area_input.hpp"

namespace perdure::fuzz {
namespace {

using Bytes = std::vector<uint8_t>;

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
