#include "image/image.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "unit/unit.hpp"

namespace perdure {
namespace {

std::vector<uint8_t> payload_of(const Record& record, const UnitData& data) {
    if (record.log) { return std::vector<uint8_t>(record.payload_bytes()); } // no samples yet
    std::vector<uint8_t> payload;
    for (size_t i = 0; i < record.fields.size(); i++) {
        const auto given = data.values.find({record.id, i});
        const std::vector<uint8_t> bytes =
            bytes_of(record.fields[i], given != data.values.end() ? given->second : default_of(record.fields[i]));
        payload.insert(payload.end(), bytes.begin(), bytes.end());
    }
    return payload;
}

bool is_given(const Record& record, const UnitData& data) {
    const auto first = data.values.lower_bound({record.id, 0});
    return first != data.values.end() && first->first.first == record.id;
}

/// By unit, 1: programmed since the last erase.
std::vector<uint8_t> programmed_units(const FlashRecording& recording, const FlashGeometry& geometry) {
    std::vector<uint8_t> units(geometry.area_bytes() / geometry.unit_bytes);
    for (const FlashRecording::Operation& operation : recording.operations) {
        if (operation.kind == FlashRecording::Kind::program) {
            units[operation.address / geometry.unit_bytes] = 1;
        } else if (operation.kind == FlashRecording::Kind::erase) {
            const auto first = units.begin() + std::ptrdiff_t{operation.address} * geometry.units_per_ring_block();
            std::fill(first, first + geometry.units_per_ring_block(), uint8_t{0});
        }
    }
    return units;
}

std::vector<Segment> segments_of(const std::vector<uint8_t>& bytes, const std::vector<uint8_t>& units,
                                 uint32_t unit_bytes) {
    std::vector<Segment> out;
    for (size_t unit = 0; unit < units.size(); unit++) {
        if (units[unit] == 0) { continue; }
        const uint64_t at = uint64_t{unit} * unit_bytes;
        if (out.empty() || out.back().end() != at) { out.push_back({at, {}}); }
        const auto from = bytes.begin() + static_cast<std::ptrdiff_t>(at);
        out.back().bytes.insert(out.back().bytes.end(), from, from + unit_bytes);
    }
    return out;
}

/// Opens the image anew and reads everything back. Empty, or what is wrong.
std::string wrong_when_read(const ImageArea& area, const std::vector<uint8_t>& bytes,
                            const std::vector<std::vector<uint8_t>>& payloads) {
    Unit unit(area.layout, area.records, {});
    unit.flash().load(bytes);
    if (unit.open() != PERDURE_OK) { return "the image does not open"; } // as the product will, on a copy
    for (size_t i = 0; i < area.records.size(); i++) {
        if (area.records[i]->has_log_entries()) { continue; }
        std::vector<uint8_t> read(payloads[i].size());
        const perdure_status status = unit.get(static_cast<uint16_t>(i), read.data());
        if ((status != PERDURE_OK && status != PERDURE_DEFAULT) || read != payloads[i]) {
            return fmt::format("record '{}' does not read as it was put", area.records[i]->name);
        }
    }
    return {};
}

} // namespace

uint64_t address_of(const ImageArea& area) {
    return area.place.address.value_or(area.place.offset);
}

tl::expected<ImagePlan, Refusal> make_image_plan(const Project& project, std::optional<uint64_t> flash_start) {
    const auto budget = make_budget(project);
    if (!budget) { return tl::unexpected(budget.error()); }
    ImagePlan plan;
    plan.project = &project;
    std::vector<uint64_t> bytes;
    for (const AreaBudget& of : budget->areas) {
        if (!of.laid_out) {
            return tl::unexpected(Refusal{
                fmt::format("area {} cannot be laid out; see perdure budget {}", of.name, project.path), 0, 0, ""});
        }
        ImageArea& area = plan.areas.emplace_back();
        area.name = of.name;
        area.layout = of.layout;
        for (const Area& named : project.areas) {
            if (named.name == of.name) { area.records = records_of(project, named); }
        }
        bytes.push_back(of.layout.geometry.area_bytes());
    }
    const auto places = place_areas(project, bytes, flash_start);
    if (!places) { return tl::unexpected(places.error()); }
    for (size_t i = 0; i < plan.areas.size(); i++) { plan.areas[i].place = (*places)[i]; }
    return plan;
}

tl::expected<AreaImage, std::string> make_area_image(const ImageArea& area, const UnitData& data, bool only_given) {
    Unit unit(area.layout, area.records, {});
    FlashRecording recording;
    unit.flash().record(&recording);
    if (unit.format() != PERDURE_OK) { return tl::unexpected(fmt::format("area {} cannot be formatted", area.name)); }
    AreaImage image;
    std::vector<std::vector<uint8_t>> payloads;
    const UnitData defaults;
    for (size_t i = 0; i < area.records.size(); i++) {
        const Record& record = *area.records[i];
        // A log begins without an entry; and what a firmware must not take a default for is not made one here.
        const bool refused = record.if_lost == IfLost::refuse;
        const bool given = is_given(record, data);
        const bool stored = !record.has_log_entries() && (given || !(only_given || refused));
        if (refused && !given) { image.left_out.push_back(&record); }
        for (size_t field = 0; refused && given && field < record.fields.size(); field++) {
            if (data.values.contains({record.id, field})) { continue; }
            image.defaulted.push_back(record.name + "." + record.fields[field].name);
        }
        payloads.push_back(payload_of(record, stored ? data : defaults));
        if (!stored) { continue; }
        if (unit.put(static_cast<uint16_t>(i), payloads.back().data()) != PERDURE_OK) {
            return tl::unexpected(fmt::format("record '{}' cannot be put", record.name));
        }
        image.records_stored++;
    }
    image.bytes = unit.flash().image();
    image.programmed =
        segments_of(image.bytes, programmed_units(recording, area.layout.geometry), area.layout.geometry.unit_bytes);
    const std::string wrong = wrong_when_read(area, image.bytes, payloads);
    if (!wrong.empty()) { return tl::unexpected(wrong); }
    return image;
}

Memory memory_of(const ImagePlan& plan, const std::vector<AreaImage>& images) {
    Memory memory;
    for (size_t i = 0; i < images.size(); i++) {
        for (const Segment& segment : images[i].programmed) {
            memory.segments.push_back({address_of(plan.areas[i]) + segment.address, segment.bytes});
        }
    }
    std::sort(memory.segments.begin(), memory.segments.end(),
              [](const Segment& a, const Segment& b) { return a.address < b.address; });
    return memory;
}

std::string add_firmware(Memory& memory, const ImagePlan& plan, const Memory& firmware) {
    for (const ImageArea& area : plan.areas) {
        const uint64_t begin = address_of(area);
        const uint64_t end = begin + area.layout.geometry.area_bytes();
        for (const Segment& segment : firmware.segments) {
            const uint64_t from = std::max(begin, segment.address);
            const uint64_t to = std::min(end, segment.end());
            if (from >= to) { continue; }
            return fmt::format("it holds 0x{:08X} to 0x{:08X}, {} bytes of area {} (0x{:08X} to 0x{:08X})", from,
                               to - 1, to - from, area.name, begin, end - 1);
        }
    }
    if (const auto overlap = merge(memory, firmware)) {
        return fmt::format("0x{:08X} to 0x{:08X} is in both", overlap->from, overlap->to);
    }
    return {};
}

} // namespace perdure
