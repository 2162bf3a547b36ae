// What saving takes from the supply.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sources.hpp"
#include "physics/energy.hpp"

namespace perdure {

namespace {

/// Milliseconds of programming and erasing over life, all areas.
double busy_ms(const Demand& demand, const std::vector<AreaBudget>& areas, const OperationTimes& times) {
    double out = 0;
    for (const AreaBudget& area : areas) {
        if (!area.laid_out || !std::isfinite(area.wear.block_s) || area.wear.block_s <= 0) { continue; }
        const double blocks = demand.life_s / area.wear.block_s;
        const double units = area.layout.capacity_units - area.wear.waste_units + area.layout.stamp_units;
        out += blocks *
               (units * times.program_us / 1e3 + area.layout.geometry.erase_blocks_per_ring_block * times.erase_ms);
    }
    return out;
}

Finding missing(const std::string& name, const std::string& unit, bool asked, const std::string& what) {
    Finding out = named(name, "", unit);
    out.status = asked ? FindingStatus::unknown : FindingStatus::informs;
    out.note = fmt::format("needs {} of the part: not known", what);
    return out;
}

std::vector<Source> current_sources(const Project& project, double flash_ma) {
    const EnergyTerms& terms = *project.conditions.energy;
    std::vector<Source> out{from_part(project.part, "program_ma", flash_ma, "mA"),
                            from_file(project, terms.voltage_place, "voltage", terms.voltage_v, "V")};
    if (terms.run_place.line != 0) {
        out.push_back(from_file(project, terms.run_place, "run_current", terms.run_ma, "mA"));
    } else {
        out.push_back(assume("processor", 0, "mA", "no run_current in [energy]: the flash's own current only"));
    }
    return out;
}

void add_supply(const Project& project, std::vector<Finding>& out) {
    const EnergyTerms& terms = *project.conditions.energy;
    const Device& part = project.part;
    if (terms.supply_min_v) {
        if (part.vdd_min_v) {
            Finding lowest = named("lowest supply", "", "V");
            judge(lowest, *part.vdd_min_v, terms.supply_min_v);
            lowest.note = "what the flash needs while it programs against what the supply falls to";
            lowest.from = {from_part(part, "vdd_min", *part.vdd_min_v, "V"),
                           from_file(project, terms.supply_min_place, "supply_min", *terms.supply_min_v, "V")};
            out.push_back(lowest);
        } else {
            out.push_back(missing("lowest supply", "V", true, "vdd_min"));
        }
    }
    if (terms.peak_max_ma && part.program_ma) {
        Finding peak = named("peak current", "", "mA");
        judge(peak, *part.program_ma + terms.run_ma, terms.peak_max_ma);
        peak.note = "mean while programming or erasing, with the processor; short peaks may be higher";
        peak.from = current_sources(project, *part.program_ma);
        peak.from.push_back(from_file(project, terms.peak_place, "peak_max", *terms.peak_max_ma, "mA"));
        out.push_back(peak);
    } else if (terms.peak_max_ma) {
        out.push_back(missing("peak current", "mA", true, "program_ma"));
    }
}

} // namespace

std::vector<Finding> energy_findings(const Project& project, const Demand& demand,
                                     const std::vector<AreaBudget>& areas) {
    if (!project.conditions.energy) { return {}; }
    const EnergyTerms& terms = *project.conditions.energy;
    const std::optional<double> allowed = project.conditions.require.battery_share_max;
    std::vector<Finding> out;
    const auto times = operation_times(project.part);
    if (!project.part.program_ma || !times) {
        out.push_back(missing("energy a day", "J", allowed.has_value(), "program_ma and its times"));
        add_supply(project, out);
        return out;
    }
    const double current_ma = *project.part.program_ma + terms.run_ma;
    const std::vector<Source> sources = current_sources(project, *project.part.program_ma);
    uint32_t largest = 0;
    for (const AreaBudget& area : areas) {
        if (area.latency) { largest = std::max(largest, area.latency->put_later_units); }
    }
    Finding save = named("energy a save", "", "mJ");
    judge(save, energy_mj(terms.voltage_v, current_ma, largest * times->program_us / 1e3), std::nullopt);
    save.note = "the largest record, without erasing, at the maximum times";
    save.from = sources;
    save.from.push_back(by_formula("units", largest, "units", "of the largest put"));
    out.push_back(save);

    const double life_j = energy_mj(terms.voltage_v, current_ma, busy_ms(demand, areas, *times)) / 1e3;
    Finding day = named("energy a day", "", "J");
    judge(day, life_j / project.product.life_days(), std::nullopt);
    day.note = "programming and erasing at the maximum times; reading not counted";
    day.from = sources;
    day.from.push_back(by_formula("over life", life_j, "J", "voltage x current x time of all programs and erases"));
    out.push_back(day);

    if (terms.battery_mah) {
        Finding share = named("battery share", "", "of it");
        judge(share, life_j / battery_j(*terms.battery_mah, terms.voltage_v), allowed);
        share.note = "over the whole life; what the battery loses by itself is not counted";
        share.from = {from_file(project, terms.battery_place, "battery", *terms.battery_mah, "mAh"),
                      by_formula("over life", life_j, "J", "as for the energy a day")};
        if (allowed) {
            share.from.push_back(
                from_file(project, project.conditions.require.battery_share_place, "battery_share", *allowed, "of it"));
        }
        out.push_back(share);
    } else if (allowed) {
        Finding share = named("battery share", "", "of it");
        share.status = FindingStatus::unknown;
        share.note = "needs battery in [energy]";
        out.push_back(share);
    }
    add_supply(project, out);
    return out;
}

} // namespace perdure
