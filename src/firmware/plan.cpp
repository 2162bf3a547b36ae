#include "firmware/plan.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "project/units.hpp"

namespace perdure {
namespace {

Diagnostic at(const Project& project, Place place, std::string message, std::string expected) {
    Diagnostic out;
    out.path = project.path;
    out.span.place = place;
    out.message = std::move(message);
    out.expected = std::move(expected);
    return out;
}

bool meets(const PlannedArea& area, uint64_t begin, uint64_t bytes) {
    return begin < area.offset_bytes + area.bytes() && area.offset_bytes < begin + bytes;
}

/// Puts the area as far up in `run` as the ones in `placed` leave room.
bool place_on_top(PlannedArea& area, const BlockRun& run, const std::vector<const PlannedArea*>& placed) {
    uint64_t end = run.offset_bytes + run.bytes();
    while (end >= run.offset_bytes + area.bytes()) {
        const uint64_t begin = end - area.bytes();
        const auto met = std::find_if(placed.begin(), placed.end(),
                                      [&](const PlannedArea* other) { return meets(*other, begin, area.bytes()); });
        if (met == placed.end()) {
            area.offset_bytes = begin;
            return true;
        }
        end = (*met)->offset_bytes - (*met)->offset_bytes % run.erase_bytes;
    }
    return false;
}

/// The offset of an area that gives its start. Its blocks have to be those that it was laid out for.
tl::expected<uint64_t, Diagnostic> offset_of(const Project& project, const Area& area, const AreaLayout& layout) {
    const uint64_t offset = *area.start_address - project.flash_start_address.value_or(0);
    const uint64_t end = offset + layout.geometry.area_bytes();
    for (const BlockRun& run : project.part.runs) {
        if (offset < run.offset_bytes || offset >= run.offset_bytes + run.bytes()) { continue; }
        if (run.erase_bytes != layout.geometry.erase_block_bytes) {
            return tl::unexpected(
                at(project, area.place,
                   fmt::format("[area.{}] lies among erase blocks of {}, and was laid out for blocks of {}", area.name,
                               show_bytes(run.erase_bytes), show_bytes(layout.geometry.erase_block_bytes)),
                   "a start among the part's smallest equal blocks"));
        }
        if (end > run.offset_bytes + run.bytes()) { break; }
        return offset;
    }
    return tl::unexpected(at(project, area.place,
                             fmt::format("[area.{}] needs {} and reaches beyond its run of equal blocks", area.name,
                                         show_bytes(layout.geometry.area_bytes())),
                             "a start further down"));
}

void add_ram(PlannedArea& area, uint32_t unknown_max) {
    for (const Record* record : area.records) {
        if (record->kind == RecordKind::total) { area.totals_bytes += record->payload_bytes(); }
    }
    const auto records = static_cast<uint32_t>(area.records.size());
    area.ram_bytes = 4 * (records + unknown_max + 1) + 2 * unknown_max + area.totals_bytes +
                     area.layout.geometry.ring_blocks + area.layout.geometry.unit_bytes + 1;
}

} // namespace

tl::expected<FirmwarePlan, Diagnostic> plan_firmware(const Project& project, const Budget& budget) {
    FirmwarePlan plan;
    plan.areas.resize(project.areas.size());
    std::vector<const PlannedArea*> placed;
    for (size_t i = 0; i < project.areas.size(); ++i) {
        const Area& area = project.areas[i];
        PlannedArea& out = plan.areas[i];
        out.name = area.name;
        out.place = area.place;
        out.records = records_of(project, area);
        if (out.records.empty()) {
            return tl::unexpected(at(project, area.place, fmt::format("[area.{}] holds no record", area.name),
                                     "a record, or no such area"));
        }
        if (!budget.areas[i].laid_out) {
            return tl::unexpected(at(project, area.place,
                                     fmt::format("[area.{}] cannot be laid out; perdure budget says why", area.name),
                                     "a larger area or less data"));
        }
        out.layout = budget.areas[i].layout;
        add_ram(out, plan.unknown_max);
        for (const Record* record : out.records) {
            plan.payload_bytes_max = std::max(plan.payload_bytes_max, record->payload_bytes());
        }
        if (!area.start_address) { continue; }
        const auto offset = offset_of(project, area, out.layout);
        if (!offset) { return tl::unexpected(offset.error()); }
        out.offset_bytes = *offset;
        for (const PlannedArea* other : placed) {
            if (!meets(*other, out.offset_bytes, out.bytes())) { continue; }
            return tl::unexpected(
                at(project, area.place,
                   fmt::format("[area.{}] with {} overlaps [area.{}]", out.name, show_bytes(out.bytes()), other->name),
                   "areas apart from each other"));
        }
        placed.push_back(&out);
    }
    const BlockRun run = *best_run(project.part); // the budget laid areas out on it
    for (PlannedArea& area : plan.areas) {
        if (std::find(placed.begin(), placed.end(), &area) != placed.end()) { continue; }
        area.placed_by_us = true;
        if (!place_on_top(area, run, placed)) {
            return tl::unexpected(at(project, area.place,
                                     fmt::format("no room for the {} of [area.{}] beside the other areas",
                                                 show_bytes(area.bytes()), area.name),
                                     "smaller areas, or a start for each"));
        }
        placed.push_back(&area);
    }
    return plan;
}

} // namespace perdure
