#include "firmware/model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>

#include <fmt/format.h>

#include "firmware/embedded.hpp"
#include "firmware/model_record.hpp"
#include "firmware/names.hpp"
#include "firmware/traps.hpp"

namespace perdure {
namespace {

using kainjow::mustache::data;

/// "12.5 h", in three figures at most; never more than `seconds`.
std::string at_most(double seconds) {
    struct Step {
        double factor;
        const char* unit;
    };
    for (const Step& step : {Step{86400, "d"}, Step{3600, "h"}, Step{60, "min"}, Step{1, "s"}, Step{1e-3, "ms"}}) {
        const double value = seconds / step.factor;
        if (value < 2 && step.factor > 1e-3) { continue; }
        const double tick = value >= 100 ? 1 : value >= 10 ? 0.1 : 0.01;
        return fmt::format("{:.6g} {}", std::floor(value / tick) * tick, step.unit);
    }
    return "";
}

std::string milliseconds(double ms) {
    return ms < 999.5 ? fmt::format("{:.3g} ms", ms) : fmt::format("{:.3g} s", ms / 1e3);
}

/// How often service has to run in an area, and what happens when it comes later.
data service_values(const ServiceNeed& need) {
    data out;
    out.set("helps", flag(need.helps));
    out.set("every", optional_text(std::isfinite(need.every_s) ? at_most(need.every_s) : ""));
    out.set("put", milliseconds(need.put_ms));
    out.set("put_late", milliseconds(need.put_late_ms));
    return out;
}

/// What one call of service, and of open, takes at most in all areas.
void set_times(const FirmwarePlan& plan, data& out) {
    double step_ms = 0;
    double open_ms = 0;
    bool known = true;
    for (const PlannedArea& area : plan.areas) {
        known = known && area.service;
        if (!area.service) { continue; }
        step_ms = std::max(step_ms, area.service->step_ms);
        open_ms += area.service->open_ms;
    }
    out.set("service_step", optional_text(known ? milliseconds(step_ms) : ""));
    out.set("open_time", optional_text(known ? milliseconds(open_ms) : ""));
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
    out.set("waiting_bytes", optional_text(area.waiting_bytes == 0 ? "" : number(area.waiting_bytes)));
    const Requirements& asked = project.requirements;
    out.set("erases_allowed", number(area.erases_allowed));
    out.set("allowed_formula",
            fmt::format("{:g} guaranteed x {:g} spent at most / margin {:g}", project.part.endurance_cycles.value_or(0),
                        asked.spend_limit, asked.margin_min));
    out.set("units_a_day", number(static_cast<uint32_t>(std::ceil(std::min(area.units_a_day, 4e9)))));
    out.set("service", area.service ? service_values(*area.service) : flag(false));
    out.set("line", optional_text(area.place.line == 0 ? "" : number(area.place.line)));
    data records(data::type::list);
    uint32_t total_offset = 0;
    for (size_t i = 0; i < area.records.size(); ++i) {
        records << record_values(project, area, i, total_offset, options);
        total_offset += kept_in_ram_bytes(*area.records[i]);
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
        const bool numbered = record.log && !record.has_log_entries(); // by its next sample's number
        whole[4] = whole[4] || numbered;
        saved[4] = saved[4] || numbered;
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
            if (field.type == FieldType::bytes || record.log) { continue; }
            data out;
            out.set("r", record.name);
            out.set("first_field", field.name);
            out.set("first_field_change", field.movement_max != 0 ? " += 1" : " = 1");
            return out;
        }
    }
    return data(data::type::bool_false);
}

/// Which kinds of records there are, and what the store can do that none of them needs.
void set_abilities(const Project& project, data& out) {
    const auto any = [&](auto&& holds) { return std::any_of(project.records.begin(), project.records.end(), holds); };
    const bool totals = any([](const Record& r) { return r.kind == RecordKind::total; });
    const bool logs = any([](const Record& r) { return r.has_log_entries(); });
    const bool stamps = any([](const Record& r) { return r.log && r.log->time_stamp; });
    out.set("has_totals", flag(totals));
    out.set("has_logs", flag(logs));
    out.set("has_histories", flag(any([](const Record& r) { return r.log.has_value(); })));
    out.set("has_kept", flag(any([](const Record& r) { return !r.log; })));
    out.set("has_batches", flag(any([](const Record& r) { return r.has_log_entries() && r.log->batch > 1; })));
    out.set("uses_grown", flag(totals || stamps));
    data left_out(data::type::list);
    for (const auto& [macro, used] : {std::pair{"PERDURE_TOTALS", totals}, std::pair{"PERDURE_LOGS", logs}}) {
        if (used) { continue; }
        data one("macro", macro);
        one.set("first", flag(left_out.list_value().empty()));
        left_out << one;
    }
    out.set("may_leave_out", left_out);
    const bool lazy = project.product.lazy_start;
    out.set("lazy", flag(lazy));
    out.set("lazy_start", lazy ? "true" : "false");
    out.set("open_mode", lazy ? "PERDURE_LAZY" : "PERDURE_WRITE");
}

/// The number after PERDURE_STORE_VERSION in the store.h that this program carries.
std::string store_version() {
    constexpr std::string_view name = "#define PERDURE_STORE_VERSION ";
    const std::string_view header = firmware_file("store.h");
    const size_t at = header.find(name) + name.size();
    return std::string(header.substr(at, header.find('\n', at) - at));
}

/// The most that one call of the bench moves, and the most records of an area.
void set_largest(const FirmwarePlan& plan, data& out) {
    uint32_t bench_bytes = plan.payload_bytes_max;
    size_t records_max = 0;
    for (const PlannedArea& area : plan.areas) {
        records_max = std::max(records_max, area.records.size());
        for (const Record* record : area.records) {
            if (record->has_log_entries()) {
                bench_bytes = std::max(bench_bytes, record->log->batch * record->payload_bytes());
            }
        }
    }
    out.set("bench_bytes", number(bench_bytes));
    out.set("records_max", number(records_max));
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
    out.set("bench", flag(options.bench));
    set_largest(plan, out);
    out.set("several", flag(plan.areas.size() > 1));
    out.set("area_count", number(plan.areas.size()));
    set_part(project, options, out);
    set_times(plan, out);
    set_uses(project, out);
    out.set("first_record", first_record(project));
    set_abilities(project, out);
    data areas(data::type::list);
    data records(data::type::list);
    data batched(data::type::list);
    uint64_t lowest = UINT64_MAX;
    bool by_us = false;
    bool urgent = false;
    for (size_t i = 0; i < plan.areas.size(); ++i) {
        const PlannedArea& area = plan.areas[i];
        const data values = area_values(project, area, i, options);
        areas << values;
        for (const data& record : values.get("records")->list_value()) {
            records << record;
            if (record.get("batched")->is_true()) { batched << record; }
        }
        lowest = std::min(lowest, area.offset_bytes);
        by_us = by_us || area.placed_by_us;
        urgent = urgent || area.urgent;
    }
    out.set("areas", areas);
    out.set("records", records);
    out.set("batched_records", batched);
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
    out.set("has_save_now", flag(urgent));
    out.set("yours", urgent ? "five" : "four");
    out.set("yours_number", urgent ? "5" : "4");
    return out;
}

} // namespace perdure
