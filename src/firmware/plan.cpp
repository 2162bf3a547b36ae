#include "firmware/plan.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "budget/search.hpp"
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

/// A piece of flash that is given away already.
struct Taken {
    uint64_t offset_bytes = 0;
    uint64_t bytes = 0;
    std::string by;
};

const Taken* taken_from(const std::vector<Taken>& all, uint64_t begin, uint64_t bytes) {
    const auto met = std::find_if(all.begin(), all.end(), [&](const Taken& taken) {
        return begin < taken.offset_bytes + taken.bytes && taken.offset_bytes < begin + bytes;
    });
    return met == all.end() ? nullptr : &*met;
}

/// Puts the area as far up in `run` as what is taken leaves room.
bool place_on_top(PlannedArea& area, const BlockRun& run, const std::vector<Taken>& all) {
    uint64_t end = run.offset_bytes + run.bytes();
    while (end >= run.offset_bytes + area.bytes()) {
        const uint64_t begin = end - area.bytes();
        const Taken* met = taken_from(all, begin, area.bytes());
        if (met == nullptr) {
            area.offset_bytes = begin;
            return true;
        }
        if (met->offset_bytes < run.offset_bytes) { return false; }
        end = met->offset_bytes - (met->offset_bytes - run.offset_bytes) % run.erase_bytes;
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
        area.totals_bytes += kept_in_ram_bytes(*record);
        if (record->has_log_entries() && record->log->batch > 1) {
            area.waiting_bytes += record->log->batch * record->payload_bytes() + 1;
        }
    }
    const auto records = static_cast<uint32_t>(area.records.size());
    area.urgent_bytes = area.urgent ? area.records[*area.urgent]->payload_bytes() : 0;
    area.ram_bytes = 4 * (records + unknown_max + 1) + 2 * unknown_max + area.totals_bytes +
                     area.layout.geometry.ring_blocks + area.layout.geometry.unit_bytes + 1;
}

/// Finds the record that is saved when the supply fails.
std::optional<Diagnostic> choose_urgent(const Project& project, PlannedArea& area) {
    for (size_t i = 0; i < area.records.size(); ++i) {
        const Record& record = *area.records[i];
        if (!record.saved_at_power_fail()) { continue; }
        if (area.urgent) {
            return at(project, record.place,
                      fmt::format("[record.{}] and [record.{}] of [area.{}] are both saved when the supply fails",
                                  area.records[*area.urgent]->name, record.name, area.name),
                      "one record an area, which may hold the fields of both");
        }
        area.urgent = i;
    }
    return std::nullopt;
}

void add_guard(PlannedArea& area, const Project& project, const RingWear& wear) {
    const Requirements& asked = project.requirements;
    area.erases_allowed = static_cast<uint32_t>(erases_spendable(project) / asked.margin_min);
    const double units = wear.saved_units + wear.copied_units + wear.start_units + wear.mark_units;
    const double day_s = 86400;
    area.units_a_day = wear.block_s > 0 ? units / wear.block_s * day_s : 0;
}

} // namespace

uint32_t kept_in_ram_bytes(const Record& record) {
    constexpr uint32_t log_state_bytes = 6; // store.h, perdure_record
    if (record.has_log_entries()) { return log_state_bytes; }
    return record.kind == RecordKind::total ? record.payload_bytes() : 0;
}

tl::expected<FirmwarePlan, Diagnostic> plan_firmware(const Project& project, const Budget& budget) {
    FirmwarePlan plan;
    plan.areas.resize(project.areas.size());
    std::vector<Taken> taken;
    for (const ProtectedRange& range : project.protected_ranges) {
        taken.push_back({range.start_address - project.flash_start_address.value_or(0), range.size_bytes,
                         fmt::format("\"{}\"", range.name)});
    }
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
        if (auto refused = choose_urgent(project, out)) { return tl::unexpected(std::move(*refused)); }
        if (!budget.areas[i].laid_out) {
            return tl::unexpected(at(project, area.place,
                                     fmt::format("[area.{}] cannot be laid out; perdure budget says why", area.name),
                                     "a larger area or less data"));
        }
        out.layout = budget.areas[i].layout;
        add_ram(out, plan.unknown_max);
        add_guard(out, project, budget.areas[i].wear);
        if (const auto& times = budget.areas[i].latency) {
            out.service = {times->service_can_help, times->service_every_s, times->put_later_ms,
                           times->put_alone_ms,     times->service_step_ms, times->open_ms};
        }
        for (const Record* record : out.records) {
            plan.payload_bytes_max = std::max(plan.payload_bytes_max, record->payload_bytes());
        }
        if (!area.start_address) { continue; }
        const auto offset = offset_of(project, area, out.layout);
        if (!offset) { return tl::unexpected(offset.error()); }
        out.offset_bytes = *offset;
        if (const Taken* other = taken_from(taken, out.offset_bytes, out.bytes())) {
            return tl::unexpected(
                at(project, area.place,
                   fmt::format("[area.{}] with {} overlaps {}", out.name, show_bytes(out.bytes()), other->by),
                   "areas apart from each other and from what is protected"));
        }
        taken.push_back({out.offset_bytes, out.bytes(), fmt::format("[area.{}]", out.name)});
    }
    const BlockRun run = *best_run(project.part); // the budget laid areas out on it
    for (size_t i = 0; i < plan.areas.size(); ++i) {
        PlannedArea& area = plan.areas[i];
        if (project.areas[i].start_address) { continue; }
        area.placed_by_us = true;
        if (!place_on_top(area, run, taken)) {
            return tl::unexpected(at(project, area.place,
                                     fmt::format("no room for the {} of [area.{}] beside the other areas",
                                                 show_bytes(area.bytes()), area.name),
                                     "smaller areas, or a start for each"));
        }
        taken.push_back({area.offset_bytes, area.bytes(), fmt::format("[area.{}]", area.name)});
    }
    return plan;
}

} // namespace perdure
