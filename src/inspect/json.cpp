#include "inspect/json.hpp"

#include <algorithm>
#include <cmath>

namespace perdure {
namespace {

using nlohmann::json;

json json_of(const HistoryEntry& entry) {
    return {{"block", entry.block},    {"unit", entry.unit},       {"offset", entry.offset}, {"state", entry.state},
            {"short", entry.is_short}, {"restart", entry.restart}, {"text", entry.text}};
}

json json_of(const InspectedRecord& record) {
    json out{{"id", record.id},
             {"name", record.record != nullptr ? json(record.record->name) : json()},
             {"stored", record.stored},
             {"load_refuses", record.load_refuses()},
             {"differs", record.differs},
             {"may_be_old", record.may_be_old},
             {"newest", record.newest ? json_of(*record.newest) : json()},
             {"fields", json::array()},
             {"history", json::array()}};
    if (record.stored) {
        std::string hex;
        constexpr const char* digits = "0123456789ABCDEF";
        for (const uint8_t byte : record.payload) { (hex += digits[byte >> 4U]) += digits[byte & 0xFU]; }
        out["payload"] = hex;
    }
    for (size_t i = 0; record.record != nullptr && !record.record->log && i < record.record->fields.size(); i++) {
        const Field& field = record.record->fields[i];
        const bool stored = i < record.values.size();
        out["fields"].push_back({{"name", field.name},
                                 {"unit", field.unit},
                                 {"stored", stored},
                                 {"value", perdure::json_of(stored ? record.values[i] : default_of(field))}});
    }
    if (record.log_next) {
        out["next_sample"] = *record.log_next;
        out["samples"] = record.samples.size();
    }
    for (const HistoryEntry& entry : record.history) { out["history"].push_back(json_of(entry)); }
    return out;
}

json json_of(const Wear& wear) {
    json out{{"erases", json::array()},
             {"most", wear.most},
             {"mean", wear.mean},
             {"left_rated", wear.left_rated},
             {"left_allowed", wear.left_allowed},
             {"years_left_seen", json()},
             {"years_left_budgeted", json()},
             {"reaches_life", json()}};
    for (const auto& erases : wear.erases) { out["erases"].push_back(erases ? json(*erases) : json()); }
    if (wear.years_left_seen) { out["years_left_seen"] = *wear.years_left_seen; }
    if (wear.years_left_budgeted) { out["years_left_budgeted"] = *wear.years_left_budgeted; }
    if (wear.reaches_life) { out["reaches_life"] = *wear.reaches_life; }
    return out;
}

json json_of(const Damage& damage) {
    return {{"cause", name_of(damage.cause)},
            {"block", damage.block},
            {"unit", damage.unit},
            {"units", damage.units},
            {"harmless", damage.harmless},
            {"record", damage.id ? json(*damage.id) : json()},
            {"what", damage.what},
            {"why", damage.why}};
}

std::string_view contents_word(Contents contents) {
    return contents == Contents::ring ? "ring" : contents == Contents::foreign ? "foreign" : "nothing";
}

json json_of(const InspectedArea& area, const InspectShown& shown) {
    const std::array<uint64_t, byte_kind_count> totals = byte_totals(area.ranges);
    json out{{"area", area.expected->name},
             {"holds", area.holds()},
             {"contents", contents_word(area.decoded.contents)},
             {"begin", area.begin},
             {"bytes", area.bytes.size()},
             {"bytes_known", area.known},
             {"shape",
              {{"blocks", area.shape.blocks},
               {"block_units", area.shape.block_units},
               {"unit_bytes", area.shape.unit_bytes},
               {"check_bits", area.shape.check_bits},
               {"blank", area.shape.blank}}},
             {"head", area.decoded.head},
             {"sequence", area.decoded.sequence},
             {"blank_blocks", area.decoded.blanks},
             {"pending", area.decoded.pending ? json(*area.decoded.pending) : json()},
             {"restarts", area.restarts},
             {"notes", area.notes},
             {"wear", json_of(area.wear)},
             {"records", json::array()},
             {"damage", json::array()},
             {"byte_totals", json::object()}};
    for (const InspectedRecord& record : area.records) { out["records"].push_back(json_of(record)); }
    for (const Damage& damage : area.damage) { out["damage"].push_back(json_of(damage)); }
    for (size_t i = 0; i < totals.size(); i++) {
        out["byte_totals"][std::string(name_of(static_cast<ByteKind>(i)))] = totals[i];
    }
    out["map"] = area_map(area.view(), area.ranges);
    if (!shown.listing) { return out; }
    out["ranges"] = json::array();
    for (const ByteRange& range : area.ranges) {
        out["ranges"].push_back(
            {{"offset", range.offset}, {"bytes", range.bytes}, {"kind", name_of(range.kind)}, {"text", range.text}});
    }
    return out;
}

} // namespace

json json_of(const FieldValue& value) {
    if (const auto* u = std::get_if<uint64_t>(&value)) { return *u; }
    if (const auto* i = std::get_if<int64_t>(&value)) { return *i; }
    if (const auto* f = std::get_if<float>(&value)) { return std::isfinite(*f) ? json(*f) : json(); }
    if (const auto* d = std::get_if<double>(&value)) { return std::isfinite(*d) ? json(*d) : json(); }
    return show_value(value);
}

json json_of(const Expected& expected, const DumpFile& dump, const Inspection& inspection, const InspectShown& shown) {
    const DumpPlace& place = inspection.place;
    const auto first = static_cast<int64_t>(dump.read.memory.segments.front().address) - place.origin;
    json out{{"project", expected.project->product.name},
             {"dump", dump.name},
             {"format", name_of(dump.format)},
             {"holds", inspection.holds() && dump.read.error_count == 0},
             {"dump_bytes", inspection.dump_bytes},
             {"outside_bytes", inspection.outside_bytes},
             {"first_byte", {{"offset", first}, {"address", json()}, {"is", place.first_byte}, {"why", place.why}}},
             {"file_errors", json::array()},
             {"areas", json::array()}};
    if (const AreaPlace& area = expected.areas.front().place; area.address) {
        out["first_byte"]["address"] = static_cast<int64_t>(*area.address - area.offset) + first;
    }
    for (const HexError& error : dump.read.errors) {
        out["file_errors"].push_back(
            {{"line", error.line}, {"column", error.column}, {"message", error.message}, {"expected", error.expected}});
    }
    for (const InspectedArea& area : inspection.areas) { out["areas"].push_back(json_of(area, shown)); }
    return out;
}

} // namespace perdure
