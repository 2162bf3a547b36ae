#include <algorithm>
#include <array>
#include <map>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr uint32_t payload_bytes_max = 32767; // an entry's length has 15 bits

constexpr std::array c_words{"auto",     "break",  "case",   "char",     "const",    "continue", "default",  "do",
                             "double",   "else",   "enum",   "extern",   "float",    "for",      "goto",     "if",
                             "inline",   "int",    "long",   "register", "restrict", "return",   "short",    "signed",
                             "sizeof",   "static", "struct", "switch",   "typedef",  "union",    "unsigned", "void",
                             "volatile", "while",  "bool",   "true",     "false"};

bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

void read_area_name(const Section& section, const Project& project, Record& record) {
    std::vector<std::string> names;
    for (const Area& area : project.areas) { names.push_back(area.name); }
    if (const auto name = get_text(section, "area", "the name of an area")) {
        if (std::find(names.begin(), names.end(), *name) == names.end()) {
            section.source.complain(span_of_value(section, "area"), fmt::format("no area is named \"{}\"", *name),
                                    listed(names), nearest(*name, names));
        }
        record.area = *name;
    } else if (!section.table.contains("area")) {
        if (names.size() > 1) {
            complain_missing(section, "area", fmt::format("area = \"{}\"", names.front()),
                             "there is more than one area");
        }
        record.area = names.front();
    }
}

void read_totals_only(const Section& section, Record& record) {
    const auto lost = get_whole(section, "lost_entries", 0, 255);
    if (lost) { record.lost_entries_max = static_cast<uint32_t>(*lost); }
    if (section.table.contains("lost_entries") && record.kind != RecordKind::total) {
        section.source.complain(span_of_key(section, "lost_entries"),
                                fmt::format("\"lost_entries\" is for totals, and this record is a {}",
                                            record.kind == RecordKind::log ? "log" : "value"),
                                "kind = \"total\", or no \"lost_entries\"");
    }
}

void refuse_log_keys(const Section& section, std::string_view kind) {
    for (const char* key : {"depth", "batch", "among_values", "time_stamp"}) {
        if (!section.table.contains(key)) { continue; }
        section.source.complain(span_of_key(section, key),
                                fmt::format("\"{}\" is for logs, and this record is a {}", key, kind),
                                fmt::format("kind = \"log\", or no \"{}\"", key));
    }
}

Record read_record(const Section& section, std::string_view name, const Project& project) {
    Record record;
    record.name = name;
    record.place = section.span.place;
    check_keys(section,
               {"id", "kind", "area", "heavy_user", "lost_entries", "loss_time", "depth", "batch", "among_values",
                "time_stamp", "fields", "saves", "retired", "from", "if_lost", "erase_within"});
    check_c_name(section.source, section.span, "record", name);
    if (!section.table.contains("id")) { complain_missing(section, "id", "id = 1", "it marks the record for ever"); }
    record.id = static_cast<uint16_t>(get_whole(section, "id", 1, 65534).value_or(0));
    if (!section.table.contains("kind")) {
        complain_missing(section, "kind", "kind = \"value\", \"total\" or \"log\"");
    }
    const auto kind = get_choice(section, "kind", {"value", "total", "log"});
    record.kind = kind == "total" ? RecordKind::total : kind == "log" ? RecordKind::log : RecordKind::value;
    read_area_name(section, project, record);
    record.heavy_user_factor =
        get_number(section, "heavy_user", {1, 1e6, false, false, "from 1 to 1000000"}).value_or(1.0);
    if (kind) { read_totals_only(section, record); }
    record.loss_time_max_s = get_quantity(section, "loss_time", Dimension::time_s, loss_bounds);
    record.loss_place = span_of_value(section, "loss_time").place;
    const double year_days = project.product.year_days;
    record.fields = read_fields(section, kind ? std::optional(record.kind) : std::nullopt, year_days);
    read_life_in_versions(section, kind.has_value(), record);
    if (!record.retired || section.table.contains("saves")) { record.saves = read_saves(section, record, year_days); }
    if (record.kind == RecordKind::log) {
        record.log = read_log(section, record, project);
    } else if (kind) {
        refuse_log_keys(section, *kind);
    }
    if (record.payload_bytes() > payload_bytes_max) {
        section.source.complain(section.span,
                                fmt::format("{} has {} bytes of {}", section.title, record.payload_bytes(),
                                            record.log ? "samples and number" : "fields"),
                                fmt::format("at most {} bytes", payload_bytes_max));
    }
    return record;
}

/// Notes an error for each record whose id an earlier one (by place) has.
void check_ids(Source& source, const std::vector<std::pair<Record, Span>>& records) {
    std::map<uint16_t, const std::pair<Record, Span>*> first;
    for (const auto& entry : records) {
        const Record& record = entry.first;
        if (record.id == 0) { continue; }
        const auto [known, added] = first.emplace(record.id, &entry);
        if (added) { continue; }
        Diagnostic& said = source.complain(
            entry.second,
            fmt::format("[record.{}] has the id {} of [record.{}]", record.name, record.id, known->second->first.name),
            "an id that no other record has or ever had");
        source.see_also(said, known->second->second, "used first here");
    }
}

} // namespace

void check_c_name(Source& source, const Span& span, std::string_view what, std::string_view name) {
    constexpr size_t length_max = 31; // what a C99 compiler must tell apart in external names (C99 5.2.4.1)
    bool fits = !name.empty() && is_letter(name.front()) && name.size() <= length_max;
    std::string meant;
    for (const char c : name.substr(0, length_max)) {
        const bool fine = is_letter(c) || is_digit(c) || c == '_';
        fits = fits && fine;
        meant.push_back(fine ? c : '_');
    }
    const bool taken = std::find(c_words.begin(), c_words.end(), name) != c_words.end();
    if (fits && !taken) { return; }
    if (taken || meant.empty() || !is_letter(meant.front())) { meant.clear(); }
    source.complain(span, fmt::format("\"{}\" cannot be the name of {} {}", name, what == "area" ? "an" : "a", what),
                    fmt::format("a letter, then letters, digits or _, at most {}, no word of C", length_max), meant);
}

void read_records(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    const toml::table* table = get_table(root, "record");
    if (table == nullptr || table->empty()) {
        if ((table != nullptr || !file.contains("record")) && !has_misspelled(root, "record")) {
            complain_missing(root, "[record.NAME]", "[record.energy]", "there is nothing to keep");
        }
        return;
    }
    std::vector<std::pair<Record, Span>> records;
    for (const auto& [key, node] : *table) {
        if (!node.is_table()) {
            source.complain(span_of(key), fmt::format("[record] holds \"{}\", which is no record", key.str()),
                            "a section [record.NAME], such as [record.energy]");
            continue;
        }
        const Section section{source, *node.as_table(), fmt::format("[record.{}]", key.str()), span_of(key)};
        Record record = read_record(section, key.str(), project);
        records.emplace_back(std::move(record), span_of_value(section, "id"));
    }
    std::sort(records.begin(), records.end(),
              [](const auto& a, const auto& b) { return a.second.place.line < b.second.place.line; });
    check_ids(source, records);
    check_area_shares(source, project, records);
    check_sources(source, records);
    for (auto& entry : records) { project.records.push_back(std::move(entry.first)); }
    std::stable_sort(project.records.begin(), project.records.end(),
                     [](const Record& a, const Record& b) { return a.id < b.id; });
}

} // namespace perdure
