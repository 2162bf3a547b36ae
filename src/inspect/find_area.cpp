#include "inspect/find_area.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "dump/locate.hpp"

namespace perdure {
namespace {

constexpr uint64_t units_max = 1U << 20U; ///< of a ring of another shape

struct Candidate {
    int64_t begin = 0;
    std::string what; ///< for a note; empty: as expected
};

std::string hex_place(int64_t place) {
    return place < 0 ? fmt::format("{} bytes before the dump", -place) : fmt::format("0x{:08X}", place);
}

/// Where the area may stand, the likeliest first.
std::vector<Candidate> candidates(const ExpectedArea& expected, const Expected& all, const DumpFile& dump) {
    std::vector<Candidate> out;
    const auto offset = static_cast<int64_t>(expected.place.offset);
    if (dump.addressed) {
        if (expected.place.address) { out.push_back({static_cast<int64_t>(*expected.place.address), ""}); }
        out.push_back({offset, expected.place.address ? "its addresses count from the start of flash" : ""});
        return out;
    }
    const uint64_t bytes = dump.read.memory.byte_count();
    if (bytes > expected.bytes() || all.areas.size() > 1) { out.push_back({offset, ""}); }
    out.push_back({0, ""});
    return out;
}

bool same_shape(const AreaShape& a, const AreaShape& b) {
    return a.blocks == b.blocks && a.block_units == b.block_units && a.unit_bytes == b.unit_bytes &&
           a.check_bits == b.check_bits;
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

struct Look {
    uint64_t known = 0;
    std::vector<uint8_t> bytes;
    Decoded decoded; ///< points into `bytes`
};

Look look_at(const DumpFile& dump, int64_t begin, const AreaShape& shape) {
    const uint64_t units = uint64_t{shape.blocks} * shape.block_units;
    Look look;
    look.bytes.assign(units * shape.unit_bytes, shape.blank);
    std::vector<uint8_t> known(look.bytes.size());
    look.known = copy_area(dump.read.memory, begin, look.bytes, known);
    if (look.known == 0) { return look; }
    std::vector<uint8_t> missing;
    if (look.known != look.bytes.size()) {
        missing.resize(units);
        for (size_t i = 0; i < known.size(); i++) {
            if (known[i] == 0) { missing[i / shape.unit_bytes] = 1; }
        }
    }
    look.decoded = decode({shape, look.bytes, missing});
    return look;
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

AreaFound find_area(const ExpectedArea& expected, const Expected& all, const DumpFile& dump) {
    const std::vector<Candidate> places = candidates(expected, all, dump);
    const Candidate* fallback = nullptr;
    for (const Candidate& place : places) {
        Look look = look_at(dump, place.begin, expected.shape);
        if (look.decoded.contents == Contents::ring) {
            AreaFound out{place.begin, expected.shape, {}, {}, {}};
            if (look.known == look.bytes.size()) {
                out.bytes = std::move(look.bytes);
                out.decoded = std::move(look.decoded);
            }
            if (!place.what.empty()) { out.notes.push_back(place.what); }
            return out;
        }
        if (look.known != 0 && fallback == nullptr) { fallback = &place; }
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
        const int64_t asked = fallback != nullptr ? fallback->begin : places.front().begin;
        if (ring.begin == asked && same) { break; } // looked at already
        AreaFound out{ring.begin, ring.shape, {}, {}, {}};
        if (ring.begin != asked) {
            const int64_t by = ring.begin - asked;
            out.notes.push_back(fmt::format(
                "{} stamp{} say that it begins at {}, not at {}: {} bytes {}; the dump is shifted, or its base or the "
                "area's place is another",
                ring.stamps.size(), ring.stamps.size() == 1 ? "" : "s", hex_place(ring.begin), hex_place(asked),
                by < 0 ? -by : by, by < 0 ? "before" : "behind"));
        }
        if (!same) {
            out.notes.push_back(fmt::format("it was written with another shape: {}; the project has {}",
                                            shape_text(ring.shape), shape_text(expected.shape)));
        }
        for (const FoundArea& other : rings) {
            if (&other != &ring && same_shape(other.shape, ring.shape)) {
                out.notes.push_back(fmt::format("{} more of its stamps say that it begins at {}: bytes are missing in "
                                                "the middle of the dump, or too many",
                                                other.stamps.size(), hex_place(other.begin)));
            }
        }
        return out;
    }
    return {fallback != nullptr ? fallback->begin : places.front().begin, expected.shape, {}, {}, {}};
}

} // namespace perdure
