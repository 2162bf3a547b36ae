// What a record's section says about its life through versions of the product.
#include <algorithm>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

void read_from(const Section& section, Record& record) {
    constexpr std::string_view expected = "the names of retired records, such as from = [\"settings_1\"]";
    const toml::node* node = section.table.get("from");
    if (node == nullptr) { return; }
    record.from_place = span_of_value(section, "from").place;
    if (const auto* text = node->as_string()) {
        record.from.push_back(text->get());
    } else if (const auto* list = node->as_array()) {
        for (const toml::node& element : *list) {
            if (const auto* name = element.as_string()) {
                record.from.push_back(name->get());
            } else {
                section.source.complain(span_of(element), "\"from\" names records", std::string(expected));
            }
        }
    }
    if (record.from.empty()) {
        section.source.complain(span_of_value(section, "from"), "\"from\" names no record", std::string(expected));
    } else if (record.retired || record.kind == RecordKind::log) {
        section.source.complain(span_of_key(section, "from"),
                                fmt::format("\"from\" is not for a {}", record.retired ? "retired record" : "log"),
                                "a value or a total that is in use");
    }
}

void refuse_key(const Section& section, std::string_view key, std::string_view why, std::string_view expected) {
    if (!section.table.contains(key)) { return; }
    section.source.complain(span_of_key(section, key), fmt::format("\"{}\" is not for {}", key, why),
                            std::string(expected));
}

} // namespace

void read_life_in_versions(const Section& section, bool kind_known, Record& record) {
    record.retired = get_yes(section, "retired").value_or(false);
    read_from(section, record);
    const auto lost = get_choice(section, "if_lost", {"default", "last_good", "refuse"});
    record.if_lost = lost == "default"     ? IfLost::defaults
                     : lost == "last_good" ? IfLost::last_good
                     : lost == "refuse"    ? IfLost::refuse
                                           : IfLost::tell;
    constexpr double year_s = 366 * 86400.0;
    record.erase_within_s = get_quantity(section, "erase_within", Dimension::time_s,
                                         {0, 100 * year_s, true, false, "above 0 and at most 100 y"});
    record.erase_place = span_of_value(section, "erase_within").place;
    if (kind_known && record.kind == RecordKind::log) {
        refuse_key(section, "if_lost", "logs, which show a gap where samples are lost", "no \"if_lost\"");
        refuse_key(section, "erase_within", "logs, whose samples go with their block",
                   "no \"erase_within\"; format ends a log");
        refuse_key(section, "retired", "logs, which keep their samples for as long as the area holds them",
                   "no \"retired\"");
    }
    if (!record.retired) { return; }
    for (const char* key : {"saves", "heavy_user", "loss_time", "erase_within"}) {
        refuse_key(section, key, "a retired record, which is never saved",
                   fmt::format("no \"{}\", or no \"retired\"", key));
    }
}

void check_sources(Source& source, const std::vector<std::pair<Record, Span>>& records) {
    std::vector<std::string> retired;
    for (const auto& entry : records) {
        if (entry.first.retired) { retired.push_back(entry.first.name); }
    }
    for (const auto& entry : records) {
        const Record& record = entry.first;
        for (const std::string& name : record.from) {
            const auto meant = std::find_if(records.begin(), records.end(),
                                            [&](const auto& other) { return other.first.name == name; });
            if (meant == records.end() || !meant->first.retired) {
                source.complain({record.from_place, 1}, fmt::format("no retired record is named \"{}\"", name),
                                "a record with retired = true, which keeps the id and the fields it was shipped with",
                                nearest(name, retired));
            } else if (meant->first.area != record.area) {
                source.complain({record.from_place, 1},
                                fmt::format("record \"{}\" is in area {}, and [record.{}] in {}", name,
                                            meant->first.area, record.name, record.area),
                                "both in one area");
            }
        }
    }
}

} // namespace perdure
