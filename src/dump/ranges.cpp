#include "dump/ranges.hpp"

#include <algorithm>

namespace perdure {
namespace {

constexpr size_t stamp_bytes = 16;

struct KindName {
    std::string_view name;
    char sign;
    int rank; ///< the highest in a stretch is shown
};
constexpr std::array<KindName, byte_kind_count> kinds{{{"stamp", 'S', 7},
                                                       {"current", '#', 8},
                                                       {"superseded", 'o', 5},
                                                       {"void", 'v', 4},
                                                       {"not believed", '?', 9},
                                                       {"mark", 'm', 6},
                                                       {"fill", '.', 1},
                                                       {"pad", 'p', 3},
                                                       {"free", '.', 0},
                                                       {"bad", 'X', 11},
                                                       {"unread", 'u', 2},
                                                       {"missing", '_', 10}}};

ByteKind kind_of(const UnitLabel& label) {
    switch (label.kind) {
    case UnitKind::blank:
        return ByteKind::free;
    case UnitKind::pad:
        return ByteKind::pad;
    case UnitKind::stamp:
        return ByteKind::stamp;
    case UnitKind::bad:
        return ByteKind::bad;
    case UnitKind::faulting:
        return ByteKind::missing;
    case UnitKind::entry:
        if (label.state == "stands") { return ByteKind::current; }
        if (label.state == "superseded") { return ByteKind::superseded; }
        if (label.state == "void") { return ByteKind::voided; }
        return label.state == "mark" ? ByteKind::mark : ByteKind::not_believed;
    default:
        return ByteKind::unread;
    }
}

/// Bytes of what begins at each unit, its filler left out; 0: no entry does.
std::vector<uint32_t> entry_bytes(const AreaShape& shape, const Decoded& decoded) {
    std::vector<uint32_t> out(size_t{shape.blocks} * shape.block_units);
    for (const auto* list : {&decoded.entries, &decoded.doubted}) {
        for (const DumpEntry& entry : *list) {
            out[size_t{entry.block} * shape.block_units + entry.unit] = entry.bytes;
        }
    }
    return out;
}

} // namespace

std::string_view name_of(ByteKind kind) {
    return kinds[static_cast<size_t>(kind)].name;
}

std::vector<ByteRange> label_bytes(const AreaView& view, const Decoded& decoded, const std::vector<UnitLabel>& units) {
    const std::vector<uint32_t> bytes_at = entry_bytes(view.shape, decoded);
    std::vector<ByteRange> out;
    const auto add = [&](uint64_t bytes, ByteKind kind, const std::string& text) {
        if (bytes == 0) { return; }
        const uint64_t offset = out.empty() ? 0 : out.back().offset + out.back().bytes;
        if (!out.empty() && out.back().kind == kind && out.back().text.empty() && text.empty()) {
            out.back().bytes += bytes;
        } else {
            out.push_back({offset, bytes, kind, text});
        }
    };
    for (size_t unit = 0; unit < units.size();) {
        size_t end = unit + 1;
        while (end < units.size() && units[end].kind == UnitKind::more) { end++; }
        const ByteKind kind = kind_of(units[unit]);
        const uint64_t whole = (end - unit) * uint64_t{view.shape.unit_bytes};
        uint64_t own = whole;
        if (kind == ByteKind::stamp) {
            own = std::min<uint64_t>(whole, stamp_bytes);
        } else if (bytes_at[unit] != 0) {
            own = std::min<uint64_t>(whole, bytes_at[unit]);
        }
        add(own, kind, units[unit].text);
        add(whole - own, ByteKind::fill, "");
        unit = end;
    }
    return out;
}

std::array<uint64_t, byte_kind_count> byte_totals(const std::vector<ByteRange>& ranges) {
    std::array<uint64_t, byte_kind_count> out{};
    for (const ByteRange& range : ranges) { out[static_cast<size_t>(range.kind)] += range.bytes; }
    return out;
}

std::vector<std::string> area_map(const AreaView& view, const std::vector<ByteRange>& ranges, size_t columns) {
    const uint64_t block_bytes = uint64_t{view.shape.block_units} * view.shape.unit_bytes;
    const uint64_t stretch_units = (view.shape.block_units + columns - 1) / columns;
    const uint64_t stretch = stretch_units * view.shape.unit_bytes;
    const uint64_t signs = (view.shape.block_units + stretch_units - 1) / stretch_units;
    std::vector<std::string> lines(view.shape.blocks, std::string(signs, '.'));
    std::vector<std::vector<int>> ranks(view.shape.blocks, std::vector<int>(signs, -1));
    for (const ByteRange& range : ranges) {
        const KindName& kind = kinds[static_cast<size_t>(range.kind)];
        for (uint64_t at = range.offset; at < range.offset + range.bytes;) {
            const uint64_t block = at / block_bytes;
            const uint64_t sign = at % block_bytes / stretch;
            if (kind.rank > ranks[block][sign]) {
                ranks[block][sign] = kind.rank;
                lines[block][sign] = kind.sign;
            }
            at = block * block_bytes + std::min((sign + 1) * stretch, block_bytes);
        }
    }
    return lines;
}

std::string_view map_legend() {
    return "S stamp, # current, o superseded, v void, m mark, p pad, . free, X bad, ? not believed, u unread, _ "
           "missing";
}

} // namespace perdure
