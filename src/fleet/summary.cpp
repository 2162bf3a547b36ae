#include "fleet/summary.hpp"

#include <algorithm>
#include <cmath>
#include <set>

namespace perdure {
namespace {

std::string_view contents_word(Contents contents) {
    return contents == Contents::ring ? "ring" : contents == Contents::foreign ? "foreign" : "nothing";
}

void add_fields(AreaRow& row, const InspectedArea& area) {
    for (const InspectedRecord& record : area.records) {
        const bool unsure = !record.may_be_old.empty();
        if (record.log_next) {
            row.fields.push_back({record_name(record.id, area.expected->labels), "samples",
                                  std::to_string(record.sample_count), record.stored, unsure});
            continue;
        }
        if (record.record == nullptr || record.record->log) {
            row.fields.push_back(
                {record_name(record.id, {}), "", payload_text(record.id, record.payload, {}), record.stored, unsure});
            continue;
        }
        for (size_t i = 0; i < record.record->fields.size(); i++) {
            const bool stored = i < record.values.size();
            row.fields.push_back({record.record->name, record.record->fields[i].name,
                                  show_value(stored ? record.values[i] : default_of(record.record->fields[i])), stored,
                                  unsure});
        }
    }
}

} // namespace

bool UnitRow::holds() const {
    return error.empty() && line_errors == 0 &&
           std::ranges::all_of(areas, [](const AreaRow& area) { return area.holds; });
}

UnitRow row_of(const DumpFile& dump, const Inspection& inspection) {
    UnitRow row;
    row.line_errors = dump.read.error_count;
    for (const InspectedArea& area : inspection.areas) {
        AreaRow& to = row.areas.emplace_back();
        to.area = area.expected->name;
        to.contents = contents_word(area.decoded.contents);
        to.begin = area.begin;
        to.bytes = area.bytes.size();
        to.bytes_missing = area.bytes_missing();
        to.sequence = area.decoded.sequence;
        to.restarts = area.restarts;
        to.holds = area.holds() && inspection.in_place(area);
        to.wear = area.wear;
        for (const std::string& note : area.notes) { to.notes += (to.notes.empty() ? "" : "; ") + note; }
        to.damage = area.damage;
        add_fields(to, area);
    }
    return row;
}

void FleetSummary::add(const UnitRow& row) {
    units++;
    file_bytes += row.file_bytes;
    in_order += row.holds() ? 1 : 0;
    unreadable += row.error.empty() ? 0 : 1;
    std::set<Cause> causes;
    bool reaches = true;
    bool known = false;
    for (const AreaRow& area : row.areas) {
        restarts += area.restarts;
        if (area.wear.known != 0) { most.push_back(area.wear.most); }
        if (area.wear.reaches_life) {
            known = true;
            reaches = reaches && *area.wear.reaches_life;
        }
        for (const Damage& of : area.damage) {
            damage[of.cause].second++;
            causes.insert(of.cause);
        }
    }
    for (const Cause cause : causes) { damage[cause].first++; }
    units_with_cuts += causes.contains(Cause::cut) ? 1 : 0;
    if (!known) { return; }
    (reaches ? reach_life : miss_life)++;
    if (!reaches && missing_life.size() < shown_max) { missing_life.push_back(row.serial); }
}

uint32_t quantile(const std::vector<uint32_t>& sorted, double share) {
    const auto rank = static_cast<size_t>(std::ceil(share * static_cast<double>(sorted.size())));
    return sorted[std::clamp<size_t>(rank, 1, sorted.size()) - 1];
}

} // namespace perdure
