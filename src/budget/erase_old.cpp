// How long a record's old copies stay readable in flash, and what it costs to have them gone at once.
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sources.hpp"
#include "project/units.hpp"

namespace perdure {
namespace {

/// One record that asks for it.
Finding erase_finding(const Project& project, const AreaBudget& budget, const Record& record) {
    const FlashGeometry& geometry = budget.layout.geometry;
    constexpr double day_s = 86400;
    Finding out = named("old copies of " + record.name, budget.name, "d");
    const double light = project.conditions.retention ? project.conditions.retention->light_user : 1;
    const double turn_s = light > 0 ? budget.nominal_wear.block_s * geometry.ring_blocks / light : HUGE_VAL;
    judge(out, turn_s / day_s, *record.erase_within_s / day_s, project.requirements.margin_min);
    const uint32_t erases = geometry.ring_blocks * geometry.erase_blocks_per_ring_block;
    const uint32_t units = geometry.ring_blocks * geometry.units_per_ring_block();
    out.note = std::isfinite(turn_s)
                   ? fmt::format("by themselves once the ring has turned, after {:.3g} d", turn_s / day_s)
                   : std::string("by themselves never: nothing turns the ring");
    out.note += fmt::format("; at once with the emitted {}_erase_old_copies: {} erases and {} units", record.name,
                            erases, units);
    if (const auto times = operation_times(project.part)) {
        const double at_once_s = erases * times->erase_ms / 1e3 + units * times->program_us / 1e6;
        out.note += fmt::format(", {}", show_seconds(at_once_s));
        out.from.push_back(by_formula("at once", at_once_s, "s",
                                      fmt::format("{} erases x {:g} ms + {} units x {:g} us", erases, times->erase_ms,
                                                  units, times->program_us)));
    }
    out.note += ", one erase of every block";
    out.from.push_back(by_formula(
        "one turn", turn_s / day_s, "d",
        fmt::format("{} ring blocks x {:.6g} s that one takes to fill at the nominal demand{}", geometry.ring_blocks,
                    budget.nominal_wear.block_s, light == 1 ? "" : fmt::format(" / {:g} light user", light))));
    out.from.push_back(from_file(project, record.erase_place, "erase_within", *record.erase_within_s / day_s, "d"));
    return out;
}

} // namespace

std::vector<Finding> erase_findings(const Project& project, const Area& area, const AreaBudget& budget) {
    std::vector<Finding> out;
    for (const Record* record : records_of(project, area)) {
        if (record->erase_within_s) { out.push_back(erase_finding(project, budget, *record)); }
    }
    return out;
}

} // namespace perdure
