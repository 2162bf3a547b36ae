// What a dump is held against, and the files of dumps.
#include <fmt/format.h>

#include "inspect/inspection.hpp"

namespace perdure {

RecordLabels labels_of(const std::vector<const Record*>& records) {
    RecordLabels labels;
    for (const Record* record : records) {
        RecordLabel& label = labels[record->id];
        label.name = record->name;
        if (record->log && record->log->short_log) {
            label.samples_in_payload = static_cast<uint32_t>(record->log->depth_samples);
        }
        for (const Field& field : record->fields) {
            const bool is_float = field.type == FieldType::f32 || field.type == FieldType::f64;
            const bool is_signed = field.type == FieldType::i8 || field.type == FieldType::i16 ||
                                   field.type == FieldType::i32 || field.type == FieldType::i64;
            label.fields.push_back({field.name, field.bytes, is_signed, is_float});
        }
    }
    return labels;
}

tl::expected<Expected, Refusal> make_expected(const Project& project, std::optional<uint64_t> flash_start) {
    const auto budget = make_budget(project);
    if (!budget) { return tl::unexpected(budget.error()); }
    Expected out;
    out.project = &project;
    std::vector<uint64_t> bytes;
    for (const AreaBudget& of : budget->areas) {
        if (!of.laid_out) {
            return tl::unexpected(Refusal{
                fmt::format("area {} cannot be laid out; see perdure budget {}", of.name, project.path), 0, 0, ""});
        }
        const FlashGeometry& geometry = of.layout.geometry;
        ExpectedArea& area = out.areas.emplace_back();
        area.name = of.name;
        area.shape = {geometry.ring_blocks, geometry.units_per_ring_block(), geometry.unit_bytes,
                      of.layout.check_bytes * 8, geometry.blank};
        for (const Area& named : project.areas) {
            if (named.name == of.name) { area.records = records_of(project, named); }
        }
        area.labels = labels_of(area.records);
        area.endurance = project.part.endurance_cycles.value_or(0);
        area.erases_allowed = of.erases_allowed;
        area.erases_per_year = of.erases.per_block_mean / project.product.life_years;
        bytes.push_back(area.bytes());
    }
    out.start_known = project.flash_start_address.has_value() || flash_start.has_value();
    const auto places = place_areas(project, bytes, flash_start);
    if (!places) { return tl::unexpected(places.error()); }
    for (size_t i = 0; i < out.areas.size(); i++) { out.areas[i].place = (*places)[i]; }
    return out;
}

DumpFile read_dump(std::string name, std::string_view contents, std::optional<HexFormat> format,
                   std::optional<uint64_t> base) {
    DumpFile out;
    out.format = format ? *format : format_of_name(name).value_or(format_of_contents(contents));
    out.name = std::move(name);
    out.addressed = out.format != HexFormat::binary || base.has_value();
    switch (out.format) {
    case HexFormat::intel_hex:
        out.read = read_intel_hex(contents);
        break;
    case HexFormat::s_records:
        out.read = read_s_records(contents);
        break;
    default:
        if (!contents.empty()) {
            const auto* bytes = reinterpret_cast<const uint8_t*>(contents.data());
            out.read.memory.segments.push_back({base.value_or(0), {bytes, bytes + contents.size()}});
        }
    }
    return out;
}

} // namespace perdure
