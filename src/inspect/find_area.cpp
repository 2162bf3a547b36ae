#include "inspect/find_area.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "dump/locate.hpp"

namespace perdure {
namespace {

constexpr uint64_t units_max = 1U << 20U; ///< of a ring of another shape

std::string hex_place(int64_t place) {
    return place < 0 ? fmt::format("{} bytes before the dump", -place) : fmt::format("0x{:08X}", place);
}

/// Rings anywhere in the dump: those of the expected shape first, then those with the most stamps.
std::vector<FoundArea> rings_in(const DumpFile& dump, const AreaShape& shape) {
    std::vector<FoundArea> rings;
    for (const Segment& segment : dump.read.memory.segments) {
        for (FoundArea& found : find_areas(segment.bytes, shape.blank)) {
            found.begin += static_cast<int64_t>(segment.address);
            const auto same = std::ranges::find_if(rings, [&](const FoundArea& ring) {
                return ring.begin == found.begin && same_shape(ring.shape, found.shape);
            });
            if (same == rings.end()) {
                rings.push_back(std::move(found));
            } else {
                same->stamps.insert(same->stamps.end(), found.stamps.begin(), found.stamps.end());
            }
        }
    }
    std::ranges::stable_sort(rings, [&](const FoundArea& a, const FoundArea& b) {
        const bool first = same_shape(a.shape, shape);
        const bool second = same_shape(b.shape, shape);
        return first != second ? first : a.stamps.size() > b.stamps.size();
    });
    return rings;
}

std::string shift_text(size_t stamps, int64_t begin, int64_t asked) {
    const int64_t by = begin - asked;
    return fmt::format(
        "{} stamp{} say that it begins at {}, not at {}: {} bytes {}; the dump is shifted, or its base or "
        "the area's place is another",
        stamps, stamps == 1 ? "" : "s", hex_place(begin), hex_place(asked), by < 0 ? -by : by,
        by < 0 ? "before" : "behind");
}

size_t stamps_of(const Decoded& decoded) {
    return static_cast<size_t>(std::ranges::count_if(
        decoded.stamps, [](const DumpStamp& stamp) { return stamp.counts && stamp.number != 0; }));
}

/// Does another area of the project stand there, or does it hold records of one?
bool is_of_another(const FoundArea& ring, size_t number, const Expected& all, const DumpFile& dump,
                   const PlacedDump& placed) {
    for (size_t i = 0; i < all.areas.size(); i++) {
        if (i != number && placed.looks[i].fits && placed.looks[i].begin == ring.begin) { return true; }
    }
    if (all.areas.size() == 1 || !same_shape(ring.shape, all.areas[number].shape)) { return false; }
    const int64_t origin = ring.begin - static_cast<int64_t>(all.areas[number].place.offset);
    const AreaLook look = look_at(all, all.areas[number], dump, origin);
    return look.decoded.contents == Contents::ring && !look.fits;
}

std::string shape_text(const AreaShape& shape) {
    return fmt::format("{} blocks of {} units of {} bytes, check code of {} bits", shape.blocks, shape.block_units,
                       shape.unit_bytes, shape.check_bits);
}

} // namespace

uint64_t copy_area(const Memory& memory, int64_t begin, std::span<uint8_t> to, std::span<uint8_t> known) {
    const auto before = static_cast<uint64_t>(begin < 0 ? -begin : 0);
    if (before >= to.size()) { return 0; }
    return copy_known(memory, static_cast<uint64_t>(std::max<int64_t>(begin, 0)), to.subspan(before),
                      known.subspan(before));
}

AreaFound find_area(size_t number, const Expected& all, const DumpFile& dump, PlacedDump& placed) {
    const ExpectedArea& expected = all.areas[number];
    AreaLook& look = placed.looks[number];
    const int64_t asked = placed.place.told.value_or(placed.place.origin) + static_cast<int64_t>(expected.place.offset);
    if (look.fits) {
        AreaFound out{look.begin, expected.shape, {}, {}, {}};
        if (look.begin != asked) { out.notes.push_back(shift_text(stamps_of(look.decoded), look.begin, asked)); }
        if (look.known == look.bytes.size()) {
            out.bytes = std::move(look.bytes);
            out.decoded = std::move(look.decoded);
        }
        return out;
    }
    const std::vector<FoundArea> rings = rings_in(dump, expected.shape);
    for (const FoundArea& ring : rings) {
        // A ring of another shape is believed with two stamps.
        const bool same = same_shape(ring.shape, expected.shape);
        if (!same && ring.stamps.size() < 2) { continue; }
        // Nor is one of which the dump holds next to nothing: it would be labelled at length for nothing.
        const uint64_t units = uint64_t{ring.shape.blocks} * ring.shape.block_units;
        if (!same && (units > units_max || units * ring.shape.unit_bytes > 8 * dump.read.memory.byte_count())) {
            continue;
        }
        if (ring.begin == look.begin && same) {                        // looked at already
            if (look.decoded.contents == Contents::ring) { continue; } // another area's
            break;
        }
        if (is_of_another(ring, number, all, dump, placed)) { continue; }
        AreaFound out{ring.begin, ring.shape, {}, {}, {}};
        if (ring.begin != asked) { out.notes.push_back(shift_text(ring.stamps.size(), ring.begin, asked)); }
        if (!same) {
            out.notes.push_back(fmt::format("it was written with another shape: {}; the project has {}",
                                            shape_text(ring.shape), shape_text(expected.shape)));
        }
        for (const FoundArea& other : rings) {
            if (&other != &ring && same_shape(other.shape, ring.shape) &&
                !is_of_another(other, number, all, dump, placed)) {
                out.notes.push_back(fmt::format("{} more of its stamps say that it begins at {}: bytes are missing in "
                                                "the middle of the dump, or too many",
                                                other.stamps.size(), hex_place(other.begin)));
            }
        }
        return out;
    }
    AreaFound out{look.begin, expected.shape, {}, {}, {}};
    if (look.decoded.contents == Contents::ring) {
        out.notes.emplace_back("the ring that stands there holds a record that the project keeps in another area");
    }
    return out;
}

} // namespace perdure
