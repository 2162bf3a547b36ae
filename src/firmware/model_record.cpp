#include "firmware/model_record.hpp"

#include <algorithm>
#include <bit>

#include "firmware/field_code.hpp"
#include "firmware/names.hpp"
#include "project/default_bytes.hpp"
#include "project/show_save.hpp"

namespace perdure {

using kainjow::mustache::data;

data flag(bool on) {
    return on ? data(data::type::bool_true) : data(data::type::bool_false);
}

data texts(const std::string& key, const std::vector<std::string>& lines) {
    data out(data::type::list);
    for (const std::string& line : lines) { out << data(key, line); }
    return out;
}

data optional_text(const std::string& text) {
    return text.empty() ? data(data::type::bool_false) : data(text);
}

namespace {

data field_values(const Field& field, size_t place, size_t count, uint32_t offset, const RecordLayout& layout) {
    data out;
    out.set("f", field.name);
    out.set("declaration", declaration(field));
    out.set("comment", optional_text(field_comment(field)));
    out.set("pack", pack_statement(field, offset));
    out.set("pack_now", pack_statement(field, offset, "now"));
    out.set("unpack", unpack_statement(field, offset));
    out.set("pack_at", pack_statement(field, offset, "at"));
    out.set("unpack_at", unpack_statement(field, offset, "at"));
    out.set("size_log2", number(std::countr_zero(field.bytes)));
    out.set("short_bits", number(place < layout.short_bits.size() ? layout.short_bits[place] : 0));
    out.set("same", same_expression(field));
    out.set("default_literal", optional_text(default_literal(field)));
    out.set("last", flag(place + 1 == count));
    return out;
}

std::string kind_text(const Record& record) {
    if (record.kind == RecordKind::total) { return "a total, whose fields only grow"; }
    if (record.kind == RecordKind::value) { return "a value"; }
    return record.has_log_entries() ? "a log" : "a short log kept as one value";
}

/// What only logs have.
void set_history(const Record& record, data& out) {
    const bool own_entries = record.has_log_entries();
    const uint32_t batch = own_entries ? record.log->batch : 0;
    out.set("is_kept", flag(!record.log));
    out.set("is_history", flag(record.log.has_value()));
    out.set("is_log", flag(own_entries));
    out.set("is_short_log", flag(record.log && !own_entries));
    out.set("batched", flag(batch > 1));
    out.set("batch", number(batch));
    out.set("log_batch", number(batch));
    out.set("depth", number(record.log ? record.log->depth_samples : 0));
    out.set("sample_bytes", number(record.fields_bytes()));
    if (!record.log || !record.log->time_stamp) {
        out.set("time_stamp", flag(false));
        return;
    }
    const Field& field = record.fields[*record.log->time_stamp];
    data stamp;
    stamp.set("name", field.name);
    stamp.set("type", fmt::format("uint{}_t", field.bytes * 8));
    out.set("time_stamp", stamp);
}

/// The field as the emitted test fills it: a log's time stamp ascends.
Field as_filled(const Record& record, size_t place) {
    Field out = record.fields[place];
    constexpr uint64_t step = 10;
    if (record.log && record.log->time_stamp == place) { out.movement_max = step; }
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

} // namespace

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
    out.set("kind", kind_text(record));
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
        data values = field_values(field, i, record.fields.size(), static_cast<uint32_t>(defaults.size()),
                                   area.layout.records[index]);
        values.set("fill", fill_statement(as_filled(record, i), i));
        fields << values;
        const std::vector<uint8_t> bytes = default_bytes(field);
        const std::vector<uint8_t> filled = filled_bytes(as_filled(record, i), i);
        defaults.insert(defaults.end(), bytes.begin(), bytes.end());
        packed.insert(packed.end(), filled.begin(), filled.end());
        if (field.default_value) { said.push_back(fmt::format("{} {}", field.name, *field.default_value)); }
    }
    const bool has_defaults =
        !record.log && std::any_of(defaults.begin(), defaults.end(), [](uint8_t b) { return b != 0; });
    out.set("fields", fields);
    out.set("is_total", flag(total));
    out.set("save_now", flag(area.urgent == index));
    set_versions(area, index, options, out);
    out.set("field_count", number(record.fields.size()));
    out.set("total_fields", number(total ? record.fields.size() : 0));
    out.set("total_offset", number(total || record.has_log_entries() ? total_offset : 0));
    out.set("has_defaults", flag(has_defaults));
    out.set("defaults_text", fmt::format("{}", fmt::join(said, ", ")));
    out.set("default_lines", texts("line", byte_lines(defaults)));
    out.set("packed_lines", texts("line", byte_lines(packed)));
    out.set("defaults_name", has_defaults ? record.name + "_defaults" : "NULL");
    out.set("fields_name", total ? record.name + "_fields" : "NULL");
    set_history(record, out);
    return out;
}

} // namespace perdure
