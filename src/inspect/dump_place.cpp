#include "inspect/dump_place.hpp"

#include <algorithm>
#include <map>
#include <tuple>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "dump/locate.hpp"
#include "inspect/find_area.hpp"

namespace perdure {
namespace {

constexpr uint32_t set_aside_id = 0xFFFF;

/// A place that a dump may have, and what speaks for it.
struct Reading {
    int64_t origin = 0;
    std::string why; ///< empty: nothing but the stamps
    std::vector<AreaLook> looks;
    size_t fit = 0, own = 0, stamps = 0; ///< areas that stand there, with records of their own, stamps that count

    [[nodiscard]] auto score() const { return std::tuple(fit, own, stamps); }
};

int64_t offset_of(const ExpectedArea& area) {
    return static_cast<int64_t>(area.place.offset);
}

int64_t first_address(const DumpFile& dump) {
    const std::vector<Segment>& segments = dump.read.memory.segments;
    return segments.empty() ? 0 : static_cast<int64_t>(segments.front().address);
}

/// The first area in flash, and the end of the last one, as offsets.
std::pair<int64_t, int64_t> span_of(const Expected& all) {
    int64_t begin = INT64_MAX;
    int64_t end = 0;
    for (const ExpectedArea& area : all.areas) {
        begin = std::min(begin, offset_of(area));
        end = std::max(end, offset_of(area) + static_cast<int64_t>(area.bytes()));
    }
    return {begin, end};
}

/// What a dump's addresses, or --base, say.
std::vector<Reading> told_places(const Expected& all, const DumpFile& dump) {
    std::vector<Reading> out;
    const AreaPlace& place = all.areas.front().place;
    const bool is_base = dump.format == HexFormat::binary;
    if (place.address) {
        const auto start = static_cast<int64_t>(*place.address - place.offset);
        out.push_back({start, is_base ? "--base says so" : "its addresses say so", {}});
        if (start == 0) { return out; }
    }
    out.push_back(
        {0, is_base ? "--base counts from the start of flash" : "its addresses count from the start of flash", {}});
    return out;
}

/// What the length of a binary speaks for.
std::vector<Reading> places_by_length(const Expected& all, const DumpFile& dump) {
    std::vector<Reading> out;
    const auto bytes = static_cast<int64_t>(dump.read.memory.byte_count());
    const auto add = [&](int64_t length, int64_t begin, std::string why) {
        const auto same = [&](const Reading& known) { return known.origin == -begin; };
        if (bytes == length && std::ranges::none_of(out, same)) { out.push_back({-begin, std::move(why), {}}); }
    };
    const auto [begin, end] = span_of(all);
    if (all.areas.size() > 1) {
        add(end - begin, begin, "it is as long as all from the first area's start to the last one's end");
    }
    for (const ExpectedArea& area : all.areas) {
        add(static_cast<int64_t>(area.bytes()), offset_of(area), fmt::format("it is as long as area {}", area.name));
    }
    add(static_cast<int64_t>(all.project->part.flash_bytes.value_or(0)), 0, "it is as long as the flash");
    return out;
}

/// Every place at which a stamp of the shape of an area would be one of that area's, those with the most stamps first.
std::vector<int64_t> places_by_stamps(const Expected& all, const DumpFile& dump) {
    std::map<int64_t, size_t> stamps; // by origin
    for (const Segment& segment : dump.read.memory.segments) {
        for (const FoundArea& found : find_areas(segment.bytes, all.areas.front().shape.blank)) {
            for (const ExpectedArea& area : all.areas) {
                if (!same_shape(found.shape, area.shape)) { continue; }
                stamps[found.begin + static_cast<int64_t>(segment.address) - offset_of(area)] += found.stamps.size();
            }
        }
    }
    std::vector<int64_t> out;
    for (const auto& [origin, count] : stamps) { out.push_back(origin); }
    std::ranges::stable_sort(out, [&](int64_t a, int64_t b) { return stamps[a] > stamps[b]; });
    constexpr size_t tried_max = 64; // each takes a whole look at all areas
    out.resize(std::min(out.size(), tried_max));
    return out;
}

/// Fills in what stands there.
void look(Reading& at, const Expected& all, const DumpFile& dump) {
    for (const ExpectedArea& area : all.areas) {
        AreaLook& one = at.looks.emplace_back(look_at(all, area, dump, at.origin));
        if (!one.fits) { continue; }
        at.fit++;
        at.own += one.own_records != 0 ? 1 : 0;
        at.stamps += static_cast<size_t>(std::ranges::count_if(
            one.decoded.stamps, [](const DumpStamp& stamp) { return stamp.counts && stamp.number != 0; }));
    }
}

/// Does as much speak for another place? Told by stamps alone: whatever stands there. Else: the same ring stands for
/// another area there.
bool rivals(const Reading& taken, const Reading& other) {
    if (taken.why.empty() && taken.score() == other.score()) { return true; }
    if (taken.fit != other.fit || taken.own != other.own) { return false; }
    for (size_t i = 0; i < taken.looks.size(); i++) {
        for (size_t j = 0; j < other.looks.size(); j++) {
            if (i != j && taken.looks[i].fits && other.looks[j].fits && taken.looks[i].begin == other.looks[j].begin) {
                return true;
            }
        }
    }
    return false;
}

std::string byte_count(int64_t bytes) {
    return fmt::format("{} byte{}", bytes, bytes == 1 ? "" : "s");
}

/// Where in flash an offset is, for people.
std::string place_text(const Expected& all, int64_t offset) {
    const ExpectedArea* behind = nullptr; // the next one behind it
    for (const ExpectedArea& area : all.areas) {
        const int64_t into = offset - offset_of(area);
        if (into == 0) { return fmt::format("the start of area {}", area.name); }
        if (into > 0 && into < static_cast<int64_t>(area.bytes())) {
            return fmt::format("{} into area {}", byte_count(into), area.name);
        }
        if (into < 0 && (behind == nullptr || offset_of(area) < offset_of(*behind))) { behind = &area; }
    }
    if (offset == 0) { return "the start of flash"; }
    if (offset < 0) { return fmt::format("{} before the start of flash", byte_count(-offset)); }
    if (behind == nullptr) { return "behind all areas"; }
    return fmt::format("{} before area {}", byte_count(offset_of(*behind) - offset), behind->name);
}

std::string stamps_text(const Expected& all, const Reading& taken) {
    std::vector<std::string> names;
    for (size_t i = 0; i < taken.looks.size(); i++) {
        if (taken.looks[i].fits) { names.push_back(all.areas[i].name); }
    }
    return fmt::format("the stamps of area{} {}", names.size() == 1 ? "" : "s",
                       fmt::join(names, names.size() == 2 ? " and " : ", "));
}

std::string address_text(const Expected& all, int64_t origin) {
    const AreaPlace& place = all.areas.front().place;
    if (!place.address) { return fmt::format("offset 0x{:X} in flash", -origin); }
    return fmt::format("0x{:08X}", static_cast<int64_t>(*place.address - place.offset) - origin);
}

/// Why nothing says where a binary begins, and where it might.
std::string unclear_text(const Expected& all, const DumpFile& dump, const std::vector<const Reading*>& may) {
    std::string out = fmt::format("nothing says where in flash it begins ({}): ",
                                  byte_count(static_cast<int64_t>(dump.read.memory.byte_count())));
    if (!may.empty()) {
        out += "it may be ";
        constexpr size_t shown_max = 4;
        for (size_t i = 0; i < std::min(may.size(), shown_max); i++) {
            out += fmt::format("{}{} ({})", i == 0 ? "" : " or ", place_text(all, -may[i]->origin),
                               address_text(all, may[i]->origin));
        }
        if (may.size() > shown_max) { out += fmt::format(" or one of {} places more", may.size() - shown_max); }
        return out;
    }
    out += "no stamp of an area stands in it, and it is as long as neither the flash nor an area";
    for (const ExpectedArea& area : all.areas) {
        out += fmt::format("{} {} ({} bytes, at {})", &area == &all.areas.front() ? ":" : ",", area.name, area.bytes(),
                           address_text(all, -offset_of(area)));
    }
    return out;
}

/// The reading to take of a dump in which no ring stands, or has to be read with where nothing tells; says which.
size_t best_without_rings(const Expected& all, const DumpFile& dump, const std::vector<Reading>& readings,
                          size_t spoken_for, DumpPlace& place) {
    size_t best = 0;
    if (dump.addressed) { // where its addresses say, if it holds anything there
        const auto holds = [](const Reading& at) {
            return std::ranges::any_of(at.looks, [](const AreaLook& one) { return one.known != 0; });
        };
        while (best < spoken_for && !holds(readings[best])) { best++; }
        best = best == spoken_for ? 0 : best;
        place.why = readings[best].why;
        return best;
    }
    std::vector<const Reading*> may;
    for (size_t i = 0; i < spoken_for; i++) { may.push_back(&readings[i]); }
    if (may.size() == 1) {
        place.why = readings[0].why + "; no stamp in it says so";
        return 0;
    }
    place.unclear = unclear_text(all, dump, may);
    while (may.empty() && readings[best].origin != -span_of(all).first) { best++; }
    return best;
}

/// The bytes from `begin` on, if one segment has all of them; else none.
std::span<const uint8_t> whole_area(const Memory& memory, int64_t begin, uint64_t bytes) {
    for (const Segment& segment : memory.segments) {
        const auto address = static_cast<int64_t>(segment.address);
        if (begin < address || begin + static_cast<int64_t>(bytes) > static_cast<int64_t>(segment.end())) { continue; }
        return std::span(segment.bytes).subspan(static_cast<size_t>(begin - address), bytes);
    }
    return {};
}

} // namespace

bool same_shape(const AreaShape& a, const AreaShape& b) {
    return a.blocks == b.blocks && a.block_units == b.block_units && a.unit_bytes == b.unit_bytes &&
           a.check_bits == b.check_bits;
}

AreaLook look_at(const Expected& all, const ExpectedArea& area, const DumpFile& dump, int64_t origin) {
    const AreaShape& shape = area.shape;
    const uint64_t units = uint64_t{shape.blocks} * shape.block_units;
    AreaLook look;
    look.begin = origin + offset_of(area);
    std::vector<uint8_t> missing;
    if (const auto whole = whole_area(dump.read.memory, look.begin, units * shape.unit_bytes); !whole.empty()) {
        look.bytes.assign(whole.begin(), whole.end());
        look.known = look.bytes.size();
    } else {
        look.bytes.assign(units * shape.unit_bytes, shape.blank);
        std::vector<uint8_t> known(look.bytes.size());
        look.known = copy_area(dump.read.memory, look.begin, look.bytes, known);
        if (look.known == 0) { return look; }
        missing.resize(units);
        for (size_t i = 0; i < known.size(); i++) {
            if (known[i] == 0) { missing[i / shape.unit_bytes] = 1; }
        }
    }
    look.decoded = decode({shape, look.bytes, missing});
    look.fits = look.decoded.contents == Contents::ring;
    for (const DumpRecord& record : look.decoded.records) {
        if (!record.present || record.id == set_aside_id) { continue; }
        const auto has = [&](const ExpectedArea& of) {
            return std::ranges::any_of(of.records, [&](const Record* one) { return one->id == record.id; });
        };
        if (has(area)) {
            look.own_records++;
        } else if (std::ranges::any_of(all.areas, has)) {
            look.fits = false;
        }
    }
    return look;
}

PlacedDump place_dump(const Expected& expected, const DumpFile& dump) {
    std::vector<Reading> readings = dump.addressed ? told_places(expected, dump) : places_by_length(expected, dump);
    const size_t spoken_for = readings.size();
    const auto add = [&](int64_t origin) {
        const auto same = [&](const Reading& known) { return known.origin == origin; };
        if (std::ranges::none_of(readings, same)) { readings.push_back({origin, "", {}}); }
    };
    if (!dump.addressed) { // the start of flash, and that of the first area
        add(0);
        add(-span_of(expected).first);
    }
    // The first at which all areas stand will do, if more than stamps speaks for it; else they are looked for
    // everywhere.
    size_t best = 0;
    const auto is_told = [&] { return readings[best].fit == expected.areas.size() && !readings[best].why.empty(); };
    for (size_t i = 0; i < readings.size() && !is_told(); i++) {
        look(readings[i], expected, dump);
        if (readings[i].score() > readings[best].score()) { best = i; }
    }
    const size_t looked = readings.size();
    if (!is_told()) {
        for (const int64_t origin : places_by_stamps(expected, dump)) { add(origin); }
    }
    for (size_t i = looked; i < readings.size(); i++) {
        look(readings[i], expected, dump);
        if (readings[i].score() > readings[best].score()) { best = i; }
    }
    PlacedDump out;
    DumpPlace& place = out.place;
    if (dump.addressed) { place.told = readings.front().origin; }
    if (readings[best].fit == 0) {
        best = best_without_rings(expected, dump, readings, spoken_for, place);
    } else {
        const bool said = best < spoken_for;
        place.why = readings[best].why;
        if (!said) { place.why = stamps_text(expected, readings[best]) + " in it say so"; }
        if (said && !dump.addressed) {
            place.why += ", and " + stamps_text(expected, readings[best]) + " say the same";
        }
        std::vector<const Reading*> may{&readings[best]};
        for (const Reading& other : readings) {
            if (&other != may.front() && rivals(*may.front(), other)) { may.push_back(&other); }
        }
        if (may.size() > 1 && !dump.addressed) { place.unclear = unclear_text(expected, dump, may); }
    }
    place.origin = readings[best].origin;
    if (place.told && best < spoken_for) { place.told = place.origin; }
    if (!expected.start_known && dump.format != HexFormat::binary && readings[best].fit > 0 && place.origin >= 0 &&
        place.shifted()) {
        place.why += fmt::format("; flash begins at 0x{:08X} then, which the project does not say", place.origin);
        place.told = place.origin;
    }
    place.misplaced = expected.start_known && dump.format != HexFormat::binary && place.shifted();
    place.as_expected = dump.addressed && best == 0;
    place.first_byte = place_text(expected, first_address(dump) - place.origin);
    out.looks = std::move(readings[best].looks);
    return out;
}

} // namespace perdure
