#include "inspect/inspection.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "inspect/find_area.hpp"
#include "inspect/samples.hpp"

namespace perdure {
namespace {

constexpr uint32_t set_aside_id = 0xFFFF;

HistoryEntry history_of(const InspectedArea& area, const DumpEntry& entry) {
    const size_t unit = size_t{entry.block} * area.shape.block_units + entry.unit;
    return {entry.block,
            entry.unit,
            uint64_t{unit} * area.shape.unit_bytes,
            area.units.empty() ? "stands" : area.units[unit].state, // without texts no other is asked for
            entry.is_short,
            entry.restart,
            area.units.empty() ? std::string() : area.units[unit].text};
}

/// How what is stored differs from what the project says of the record.
std::string difference(const InspectedRecord& of, const Decoded& decoded) {
    if (of.record == nullptr) { return of.id == set_aside_id ? "" : "this project has no record of that id"; }
    const uint32_t expected = of.record->payload_bytes();
    std::string out;
    if (of.stored && of.payload.size() < expected) {
        out = fmt::format("{} of {} bytes are stored: a firmware with fewer fields wrote it", of.payload.size(),
                          expected);
    } else if (of.stored && of.payload.size() > expected) {
        out = fmt::format("{} bytes are stored, the project knows {}: a firmware with more fields wrote it",
                          of.payload.size(), expected);
    }
    // Its newest full entry that stands. Where the record is not taken to be stored, that has to be looked for.
    auto entry = decoded.entries.rbegin();
    const auto known =
        std::ranges::find_if(decoded.records, [&](const DumpRecord& record) { return record.id == of.id; });
    if (known == decoded.records.end()) { return out; } // no full entry of it stands
    if (known->present) { entry = decoded.entries.rend() - known->full - 1; }
    while (entry != decoded.entries.rend() && (entry->id != of.id || entry->is_short || entry->voided)) { ++entry; }
    if (entry == decoded.entries.rend()) { return out; }
    const bool total = !entry->fields.empty();
    if (total != (of.record->kind == RecordKind::total)) {
        return total ? "it is stored as a total; the project says that it is a value"
                     : "it is stored as a value; the project says that it is a total";
    }
    for (size_t i = 0; i < std::min(entry->fields.size(), of.record->fields.size()); i++) {
        const uint32_t bytes = 1U << (entry->fields[i] >> 6U);
        if (bytes != of.record->fields[i].bytes) {
            return fmt::format("field {} is stored in {} bytes, the project says {}: its fields are not these", i + 1,
                               bytes, of.record->fields[i].bytes);
        }
    }
    return out;
}

void decode_values(InspectedRecord& of) {
    size_t at = 0;
    for (const Field& field : of.record->fields) {
        if (field.bytes > of.payload.size() - at) { return; }
        of.values.push_back(value_of(field, std::span(of.payload).subspan(at, field.bytes)));
        at += field.bytes;
    }
}

/// Damage behind the newest entry of a record, which may have taken a newer one.
std::string hidden(const InspectedArea& area, const InspectedRecord& of, int64_t newest_age) {
    for (const Damage& damage : area.damage) {
        if (!damage.hides || (damage.id && *damage.id != of.id) || damage.age < newest_age) { continue; }
        return fmt::format("{}:{} {} ({}): {}", damage.block, damage.unit, name_of(damage.cause), damage.what,
                           damage.id ? "a newer entry of this record was lost there"
                                     : "a newer entry may have stood there");
    }
    return {};
}

void collect_records(InspectedArea& area, bool with_history) {
    std::map<uint32_t, InspectedRecord> all;
    for (const Record* record : area.expected->records) { all[record->id].record = record; }
    for (const DumpRecord& record : area.decoded.records) {
        if (!record.present) { continue; }
        all[record.id].stored = area.decoded.contents == Contents::ring;
        all[record.id].payload = record.payload;
    }
    std::map<uint32_t, int64_t> newest;
    const auto take_newest = [&](uint32_t id, const DumpEntry& entry) {
        all[id].newest = history_of(area, entry);
        newest[id] = entry.age;
    };
    for (size_t i = 0; with_history && i < area.decoded.entries.size(); i++) {
        const DumpEntry& entry = area.decoded.entries[i];
        if (!entry.id) { continue; }
        all[*entry.id].history.push_back(history_of(area, entry));
        const UnitMark& mark = area.marks[size_t{entry.block} * area.shape.block_units + entry.unit];
        if (mark.state == UnitState::stands) { take_newest(*entry.id, entry); }
    }
    for (const DumpRecord& record : area.decoded.records) {
        if (with_history || !record.present || area.decoded.contents != Contents::ring) { continue; }
        take_newest(record.id, area.decoded.entries[record.newest]);
    }
    for (auto& [id, of] : all) {
        of.id = id;
        collect_samples(of, area.decoded, with_history);
        const bool is_log = of.log_next || (of.record != nullptr && of.record->log);
        if (of.record != nullptr && of.stored && !is_log) { decode_values(of); }
        if (!is_log || of.record == nullptr) { of.differs = difference(of, area.decoded); }
        const auto found = newest.find(id);
        of.may_be_old = hidden(area, of, found == newest.end() ? INT64_MIN : found->second);
        area.records.push_back(std::move(of));
    }
}

void note_missing(InspectedArea& area, HexFormat format) {
    if (area.known == area.bytes.size()) { return; }
    area.notes.push_back(area.known == 0
                             ? "the dump holds nothing of it"
                             : fmt::format("{} of its {} bytes are not in the dump ({})",
                                           area.bytes.size() - area.known, area.bytes.size(),
                                           format == HexFormat::binary
                                               ? "it is cut short, or covers less; for blank ones: --blank-gaps"
                                               : "if its writer leaves out blank ones: --blank-gaps"));
}

InspectedArea inspect_area(const Expected& all, size_t number, const DumpFile& dump, PlacedDump& placed,
                           const InspectOptions& options) {
    const ExpectedArea& expected = all.areas[number];
    InspectedArea area;
    area.expected = &expected;
    AreaFound found = find_area(number, all, dump, placed);
    area.begin = found.begin;
    area.shape = found.shape;
    area.notes = std::move(found.notes);
    const uint64_t units = uint64_t{area.shape.blocks} * area.shape.block_units;
    const bool is_read = !found.bytes.empty();
    if (is_read) {
        area.bytes = std::move(found.bytes);
        area.decoded = std::move(found.decoded);
        area.known = area.bytes.size();
    } else {
        area.bytes.assign(units * area.shape.unit_bytes, area.shape.blank);
        std::vector<uint8_t> known(area.bytes.size());
        area.known = copy_area(dump.read.memory, area.begin, area.bytes, known);
        if (area.known != known.size()) { area.missing.assign(units, 0); }
        for (size_t i = 0; i < known.size(); i++) {
            if (known[i] == 0) { area.missing[i / area.shape.unit_bytes] = 1; }
        }
    }
    if (options.gaps_are_blank && area.known != 0 && area.known != area.bytes.size()) {
        area.notes.push_back(
            fmt::format("{} bytes that the dump leaves out are taken as blank", area.bytes.size() - area.known));
        area.missing.clear();
    } else {
        note_missing(area, dump.format);
    }
    if (!is_read) { area.decoded = decode(area.view()); }
    mark_units(area.view(), area.decoded, area.marks);
    if (options.texts) {
        area.units = label_units(area.view(), area.decoded, expected.labels);
        area.ranges = label_bytes(area.view(), area.decoded, area.units);
    }
    area.damage = find_damage(area.view(), area.decoded, area.marks, expected.labels, options.tries_max);
    const AreaShape& own = expected.shape;
    if (area.shape.blocks != own.blocks || area.shape.block_units != own.block_units ||
        area.shape.unit_bytes != own.unit_bytes || area.shape.check_bits != own.check_bits) {
        Damage other;
        other.cause = Cause::shape;
        other.units = static_cast<uint32_t>(units);
        other.what = "a ring of another shape";
        other.why = "its stamps say so (see the note); it was read with their shape";
        area.damage.insert(area.damage.begin(), std::move(other));
    }
    collect_records(area, options.texts);
    area.wear = wear_of(area.decoded, expected, all.project->product, options.age_years);
    area.restarts = area.decoded.restarts;
    return area;
}

} // namespace

Wear wear_of(const Decoded& decoded, const ExpectedArea& expected, const Product& product,
             std::optional<double> age_years) {
    Wear wear;
    uint64_t sum = 0;
    for (const DumpStamp& stamp : decoded.stamps) {
        if (!stamp.counts) {
            wear.erases.emplace_back();
            continue;
        }
        wear.erases.emplace_back(stamp.erases);
        wear.least = wear.known == 0 ? stamp.erases : std::min(wear.least, stamp.erases);
        wear.most = std::max(wear.most, stamp.erases);
        sum += stamp.erases;
        wear.known++;
    }
    if (wear.known == 0) { return wear; }
    wear.mean = static_cast<double>(sum) / static_cast<double>(wear.known);
    wear.left_rated = expected.endurance - wear.most;
    wear.left_allowed = expected.erases_allowed - wear.most;
    const double left = std::max(0.0, wear.left_allowed);
    if (expected.erases_per_year > 0) { wear.years_left_budgeted = left / expected.erases_per_year; }
    constexpr double made_with = 2; // erases of a format
    if (age_years && *age_years > 0 && wear.most > made_with) {
        wear.years_left_seen = left / ((wear.most - made_with) / *age_years);
        wear.reaches_life = *age_years + *wear.years_left_seen >= product.life_years;
    } else if (age_years) {
        wear.reaches_life = true; // not worn at all
    } else if (wear.left_allowed < 0) {
        wear.reaches_life = false;
    }
    return wear;
}

bool InspectedArea::is_missing() const {
    return std::ranges::any_of(missing, [](uint8_t unit) { return unit != 0; });
}

uint64_t InspectedArea::bytes_missing() const {
    return uint64_t{shape.unit_bytes} * static_cast<uint64_t>(std::ranges::count(missing, uint8_t{1}));
}

bool InspectedArea::holds() const {
    const bool harmless = std::ranges::all_of(damage, [](const Damage& of) { return of.harmless; });
    const bool newest = std::ranges::all_of(records, [](const InspectedRecord& of) { return of.may_be_old.empty(); });
    return decoded.contents == Contents::ring && harmless && newest && !is_missing() &&
           wear.reaches_life.value_or(true);
}

bool Inspection::in_place(const InspectedArea& area) const {
    return area.begin == place.origin + static_cast<int64_t>(area.expected->place.offset);
}

bool Inspection::holds() const {
    return !place.misplaced &&
           std::ranges::all_of(areas, [&](const InspectedArea& area) { return area.holds() && in_place(area); });
}

Inspection inspect(const Expected& expected, const DumpFile& dump, const InspectOptions& options) {
    Inspection out;
    out.dump_bytes = dump.read.memory.byte_count();
    out.outside_bytes = out.dump_bytes;
    PlacedDump placed = place_dump(expected, dump);
    out.place = placed.place;
    for (size_t i = 0; i < expected.areas.size(); i++) {
        out.areas.push_back(inspect_area(expected, i, dump, placed, options));
        out.outside_bytes -= std::min(out.outside_bytes, out.areas.back().known);
    }
    return out;
}

} // namespace perdure
