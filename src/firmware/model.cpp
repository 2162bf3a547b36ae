#include "firmware/model.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <filesystem>

#include <fmt/format.h>

#include "firmware/embedded.hpp"
#include "firmware/field_code.hpp"
#include "firmware/names.hpp"
#include "firmware/traps.hpp"
#include "project/default_bytes.hpp"
#include "project/show_save.hpp"

namespace perdure {
namespace {

using kainjow::mustache::data;

template <class Number> std::string number(Number value) {
    return fmt::format("{}", value);
}

data flag(bool on) {
    return on ? data(data::type::bool_true) : data(data::type::bool_false);
}

/// A list of objects that each hold one text by the name `key`.
data texts(const std::string& key, const std::vector<std::string>& lines) {
    data out(data::type::list);
    for (const std::string& line : lines) { out << data(key, line); }
    return out;
}

/// A text that its section is left out for when it is empty.
data optional_text(const std::string& text) {
    return text.empty() ? data(data::type::bool_false) : data(text);
}

data field_values(const Field& field, size_t place, size_t count, uint32_t offset, const RecordLayout& layout) {
    data out;
    out.set("f", field.name);
    out.set("declaration", declaration(field));
    out.set("comment", optional_text(field_comment(field)));
    out.set("pack", pack_statement(field, offset));
    out.set("pack_now", pack_statement(field, offset, "now"));
    out.set("unpack", unpack_statement(field, offset));
    out.set("size_log2", number(std::countr_zero(field.bytes)));
    out.set("short_bits", number(place < layout.short_bits.size() ? layout.short_bits[place] : 0));
    out.set("fill", fill_statement(field, place));
    out.set("same", same_expression(field));
    out.set("default_literal", optional_text(default_literal(field)));
    out.set("last", flag(place + 1 == count));
    return out;
}

/// What the emitted load does besides: the line for the header, without its comment marks.
std::string lost_text(IfLost if_lost) {
    switch (if_lost) {
    case IfLost::tell:
        return "";
    case IfLost::defaults:
        return "If what is stored cannot be read, this load gives the defaults with PERDURE_DEFAULT; it never fails.";
    case IfLost::last_good:
        return "If what is stored cannot be read, this load opens the area again, as a start does, and gives the "
               "newest older "
               "copy that is good.";
    case IfLost::refuse:
        return "Never a default: PERDURE_FAULT too when nothing was ever saved. The product must not go on without it.";
    }
    return "";
}

/// What it takes to erase a record's old copies at once.
std::string erase_cost(const PlannedArea& area) {
    const FlashGeometry& geometry = area.layout.geometry;
    return fmt::format(
        "It erases {} ring blocks and programs up to {} units; a project file's budget says how long that takes.",
        geometry.ring_blocks, geometry.ring_blocks * geometry.units_per_ring_block());
}

/// What a record's life through versions adds: retired, its conversion, what is done when it is lost.
void set_versions(const PlannedArea& area, size_t index, const EmitOptions& options, data& out) {
    const Record& record = *area.records[index];
    out.set("retired", flag(record.retired));
    out.set("converted", flag(!record.from.empty()));
    out.set("from_text", fmt::format("{}", fmt::join(record.from, ", ")));
    out.set("lost_default", flag(record.if_lost == IfLost::defaults));
    out.set("lost_last_good", flag(record.if_lost == IfLost::last_good));
    out.set("lost_refuse", flag(record.if_lost == IfLost::refuse));
    const std::vector<std::string> lines = broken_lines(lost_text(record.if_lost), 110);
    data said(data::type::bool_false);
    if (record.if_lost != IfLost::tell) {
        said = data();
        said.set("text", fmt::format("{}", fmt::join(lines, "\n * ")));
    }
    out.set("lost_text", said);
    out.set("erase_old", flag(record.erase_within_s.has_value()));
    out.set("erase_cost", erase_cost(area));
    data sources(data::type::list);
    std::vector<std::string> arguments;
    std::vector<std::string> parameters;
    for (const std::string& name : record.from) {
        for (size_t i = 0; i < area.records.size(); ++i) {
            if (area.records[i]->name != name) { continue; }
            data source;
            source.set("source", name);
            source.set("source_index", number(i));
            source.set("source_bytes", number(area.records[i]->payload_bytes()));
            sources << source;
            arguments.push_back("&from_" + name);
            parameters.push_back(fmt::format("const struct {}_{} *from_{}", options.prefix, name, name));
        }
    }
    out.set("sources", sources);
    out.set("source_arguments", fmt::format("{}", fmt::join(arguments, ", ")));
    out.set("source_parameters", fmt::format("{}", fmt::join(parameters, ", ")));
}

data record_values(const Project& project, const PlannedArea& area, size_t index, uint32_t total_offset,
                   const EmitOptions& options) {
    const Record& record = *area.records[index];
    const bool total = record.kind == RecordKind::total;
    data out;
    out.set("r", record.name);
    out.set("R", upper_case(record.name));
    out.set("area", area.name);
    out.set("AREA", upper_case(area.name));
    out.set("id", number(record.id));
    out.set("kind", total ? "total, whose fields only grow" : "value");
    out.set("payload", number(record.payload_bytes()));
    out.set("index", number(index));
    out.set("line", number(record.place.line));
    std::vector<std::string> saves;
    for (const SavePolicy& save : record.saves) { saves.push_back(show_save(record, save, project.product.year_days)); }
    if (record.heavy_user_factor > 1) {
        saves.back() += fmt::format("; by a heavy user {:g} times as often", record.heavy_user_factor);
    }
    out.set("saves", texts("saved", saves));
    data fields(data::type::list);
    std::vector<uint8_t> defaults;
    std::vector<uint8_t> packed;
    std::vector<std::string> said;
    for (size_t i = 0; i < record.fields.size(); ++i) {
        const Field& field = record.fields[i];
        fields << field_values(field, i, record.fields.size(), static_cast<uint32_t>(defaults.size()),
                               area.layout.records[index]);
        const std::vector<uint8_t> bytes = default_bytes(field);
        const std::vector<uint8_t> filled = filled_bytes(field, i);
        defaults.insert(defaults.end(), bytes.begin(), bytes.end());
        packed.insert(packed.end(), filled.begin(), filled.end());
        if (field.default_value) { said.push_back(fmt::format("{} {}", field.name, *field.default_value)); }
    }
    const bool has_defaults = std::any_of(defaults.begin(), defaults.end(), [](uint8_t b) { return b != 0; });
    out.set("fields", fields);
    out.set("is_total", flag(total));
    out.set("save_now", flag(area.urgent == index));
    set_versions(area, index, options, out);
    out.set("field_count", number(record.fields.size()));
    out.set("total_fields", number(total ? record.fields.size() : 0));
    out.set("total_offset", number(total ? total_offset : 0));
    out.set("has_defaults", flag(has_defaults));
    out.set("defaults_text", fmt::format("{}", fmt::join(said, ", ")));
    out.set("default_lines", texts("line", byte_lines(defaults)));
    out.set("packed_lines", texts("line", byte_lines(packed)));
    out.set("defaults_name", has_defaults ? record.name + "_defaults" : "NULL");
    out.set("fields_name", total ? record.name + "_fields" : "NULL");
    return out;
}

data area_values(const Project& project, const PlannedArea& area, size_t index, const EmitOptions& options) {
    const FlashGeometry& geometry = area.layout.geometry;
    data out;
    out.set("a", area.name);
    out.set("A", upper_case(area.name));
    out.set("index", number(index));
    out.set("offset", fmt::format("0x{:X}", area.offset_bytes));
    out.set("bytes", number(area.bytes()));
    out.set("blocks", number(geometry.ring_blocks));
    out.set("block_units", number(geometry.units_per_ring_block()));
    out.set("ring_block_bytes", number(geometry.ring_block_bytes()));
    out.set("check_bits", number(area.layout.check_bytes * 8));
    out.set("record_count", number(area.records.size()));
    out.set("urgent", number(area.urgent ? *area.urgent + 1 : 0));
    out.set("urgent_text", area.urgent
                               ? area.records[*area.urgent]->name + " is put when the supply fails; counted from 1"
                               : std::string("no record is put when the supply fails"));
    out.set("totals_bytes", optional_text(area.totals_bytes == 0 ? "" : number(area.totals_bytes)));
    out.set("ram_bytes", number(area.ram_bytes));
    const Requirements& asked = project.requirements;
    out.set("erases_allowed", number(area.erases_allowed));
    out.set("allowed_formula",
            fmt::format("{:g} guaranteed x {:g} spent at most / margin {:g}", project.part.endurance_cycles.value_or(0),
                        asked.spend_limit, asked.margin_min));
    out.set("units_a_day", number(static_cast<uint32_t>(std::ceil(std::min(area.units_a_day, 4e9)))));
    out.set("line", optional_text(area.place.line == 0 ? "" : number(area.place.line)));
    data records(data::type::list);
    uint32_t total_offset = 0;
    for (size_t i = 0; i < area.records.size(); ++i) {
        records << record_values(project, area, i, total_offset, options);
        if (area.records[i]->kind == RecordKind::total) { total_offset += area.records[i]->payload_bytes(); }
    }
    out.set("records", records);
    return out;
}

/// Which helpers the emitted code needs, and for whom.
void set_uses(const Project& project, data& out) {
    std::vector<std::string> f32;
    std::vector<std::string> f64;
    std::array<bool, 9> whole{};
    std::array<bool, 9> saved{}; // of records that are put; a retired one is only read
    bool saves_f32 = false;
    bool saves_f64 = false;
    for (const Record& record : project.records) {
        for (const Field& field : record.fields) {
            const std::string name = record.name + "." + field.name;
            if (field.type == FieldType::f32) { f32.push_back(name); }
            if (field.type == FieldType::f64) { f64.push_back(name); }
            if (field.type == FieldType::bytes) { continue; }
            whole[field.bytes] = true;
            if (record.retired) { continue; }
            saved[field.bytes] = true;
            saves_f32 = saves_f32 || field.type == FieldType::f32;
            saves_f64 = saves_f64 || field.type == FieldType::f64;
        }
    }
    out.set("uses_16", flag(whole[2]));
    out.set("uses_32", flag(whole[4]));
    out.set("uses_64", flag(whole[8]));
    out.set("puts_16", flag(saved[2]));
    out.set("puts_32", flag(saved[4]));
    out.set("puts_64", flag(saved[8]));
    out.set("puts_f32", flag(saves_f32));
    out.set("puts_f64", flag(saves_f64));
    out.set("uses_f32", flag(!f32.empty()));
    out.set("uses_f64", flag(!f64.empty()));
    out.set("uses_f32_in", fmt::format("{}", fmt::join(f32, ", ")));
    out.set("uses_f64_in", fmt::format("{}", fmt::join(f64, ", ")));
}

void set_part(const Project& project, const EmitOptions& options, data& out) {
    const Device& part = project.part;
    const bool ecc = part.program_rule.rfind("ecc", 0) == 0;
    std::string name = part.example_part.empty() ? part.id : part.example_part;
    if (name != part.id && !part.id.empty()) { name += " (" + part.id + ")"; }
    out.set("part", for_comment(name));
    out.set("part_id", for_comment(part.id));
    std::vector<std::string> traps;
    for (std::string trap : traps_of(part)) {
        if (const size_t at = trap.find("{p}"); at != std::string::npos) { trap.replace(at, 3, options.prefix); }
        const std::vector<std::string> lines = broken_lines(trap, 115);
        traps.push_back(fmt::format("{}", fmt::join(lines, "\n *   ")));
    }
    out.set("traps", texts("text", traps));
    data notes(data::type::bool_false);
    if (!part.note.empty()) {
        notes = data();
        notes.set("lines", texts("text", broken_lines(for_comment(part.note), 115)));
    }
    out.set("notes", notes);
    out.set("avr", flag(reads_flash_by_instruction(part)));
    out.set("ecc_advice", ecc ? "This part has such a code." : "Leave it as it is on a part without such a code.");
    out.set("program_time", program_time_text(part));
    out.set("erase_time", erase_time_text(part));
    out.set("flash_start",
            optional_text(project.flash_start_address ? fmt::format("0x{:08X}", *project.flash_start_address) : ""));
}

/// The emitted README's example: one field of the first record that has a number to change.
data first_record(const Project& project) {
    for (const Record& record : project.records) {
        if (record.retired) { continue; }
        for (const Field& field : record.fields) {
            if (field.type == FieldType::bytes) { continue; }
            data out;
            out.set("r", record.name);
            out.set("first_field", field.name);
            out.set("first_field_change", field.movement_max != 0 ? " += 1" : " = 1");
            return out;
        }
    }
    return data(data::type::bool_false);
}

/// The number after PERDURE_STORE_VERSION in the store.h that this program carries.
std::string store_version() {
    constexpr std::string_view name = "#define PERDURE_STORE_VERSION ";
    const std::string_view header = firmware_file("store.h");
    const size_t at = header.find(name) + name.size();
    return std::string(header.substr(at, header.find('\n', at) - at));
}

} // namespace

data template_values(const Project& project, const FirmwarePlan& plan, const EmitOptions& options) {
    data out;
    out.set("p", options.prefix);
    out.set("P", upper_case(options.prefix));
    out.set("product", for_comment(project.product.name));
    out.set("project_file", for_comment(std::filesystem::path(project.path).filename().string()));
    out.set("project_sha256", options.project_sha256);
    out.set("store_version", store_version());
    const FlashGeometry& geometry = plan.areas.front().layout.geometry;
    out.set("unit_bytes", number(geometry.unit_bytes));
    out.set("erase_block_bytes", number(geometry.erase_block_bytes));
    out.set("blank", fmt::format("0x{:02X}", geometry.blank));
    out.set("alarm_spent_percent", number(std::lround(project.requirements.alarm_spent * 100)));
    out.set("alarm_day_percent", number(std::lround(project.requirements.alarm_day * 100)));
    out.set("unknown_max", number(plan.unknown_max));
    out.set("payload_max", number(plan.payload_bytes_max));
    out.set("several", flag(plan.areas.size() > 1));
    out.set("area_count", number(plan.areas.size()));
    set_part(project, options, out);
    set_uses(project, out);
    out.set("first_record", first_record(project));
    data areas(data::type::list);
    data records(data::type::list);
    uint64_t lowest = UINT64_MAX;
    bool by_us = false;
    bool totals = false;
    bool urgent = false;
    for (size_t i = 0; i < plan.areas.size(); ++i) {
        const PlannedArea& area = plan.areas[i];
        const data values = area_values(project, area, i, options);
        areas << values;
        for (const data& record : values.get("records")->list_value()) { records << record; }
        lowest = std::min(lowest, area.offset_bytes);
        by_us = by_us || area.placed_by_us;
        urgent = urgent || area.urgent;
        totals = totals || area.totals_bytes != 0;
    }
    out.set("areas", areas);
    out.set("records", records);
    data saved(data::type::list);
    bool converts = false;
    bool erases = false;
    size_t at = 0;
    for (const PlannedArea& area : plan.areas) {
        for (const Record* record : area.records) {
            const data& values = records.list_value().at(at++);
            if (!record->retired) { saved << values; }
            converts = converts || !record->from.empty();
            erases = erases || record->erase_within_s;
        }
    }
    out.set("saved_records", saved);
    out.set("has_conversions", flag(converts));
    out.set("has_erase_old", flag(erases));
    out.set("lowest", fmt::format("0x{:X}", lowest));
    out.set("placed_by_us", flag(by_us));
    out.set("has_totals", flag(totals));
    out.set("has_save_now", flag(urgent));
    return out;
}

} // namespace perdure
