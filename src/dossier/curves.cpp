#include "dossier/curves.hpp"

#include <algorithm>
#include <cmath>

#include "budget/conditions.hpp"
#include "budget/ring_wear.hpp"
#include "budget/search.hpp"
#include "physics/retention.hpp"

namespace perdure {
namespace {

double erases_after(const RingWear& wear, const AreaBudget& area, const Project& project, double years) {
    const double seconds = years * project.product.year_days * 86400;
    return project.conditions.erases_spent + format_erases +
           erases_over(wear, area.layout.geometry.ring_blocks, seconds).per_block_max;
}

/// Erases of the most worn block of `area`, laid out as `layout`.
double erases_with(const Project& project, const Area& area, const AreaLayout& layout, double saves_factor) {
    const Demand demand = demand_of(project);
    Traffic traffic = traffic_of(project, area, demand, Figures::sizing);
    for (RecordTraffic& record : traffic.records) {
        record.period_s /= saves_factor;
        record.random_per_s *= saves_factor;
    }
    const RingWear wear = ring_wear(layout, traffic, Precision::coarse);
    return format_erases + erases_over(wear, layout.geometry.ring_blocks, demand.life_s).per_block_max;
}

/// `points` factors from a quarter to four, evenly by ratio; 1 is among them when `points` is odd.
std::vector<double> factors(unsigned points) {
    std::vector<double> out;
    for (unsigned i = 0; i < points; i++) { out.push_back(std::exp2(-2.0 + 4.0 * i / (points - 1.0))); }
    return out;
}

WhatIf by_blocks(const Project& met, const Area& area, const AreaBudget& budget, unsigned points) {
    const uint32_t now = budget.layout.geometry.ring_blocks;
    WhatIf out{area.name, "blocks", "ring blocks", double(now), {}, {}, erases_allowed(met)};
    const auto run = best_run(met.part);
    const uint32_t most = std::min(run ? run->count : now, std::max(2 * now, now + 6));
    const uint32_t least = std::max<uint32_t>(2, now / 2);
    const uint32_t step = std::max<uint32_t>(1, (most - std::min(most, least)) / points);
    for (uint32_t blocks = least; blocks <= most; blocks += step) {
        const auto layout = lay_out(met, area, blocks);
        if (!layout) { continue; }
        out.at.push_back(blocks);
        out.erases.push_back(erases_with(met, area, *layout, 1));
    }
    return out;
}

const Area& area_named(const Project& project, const std::string& name) {
    return *std::find_if(project.areas.begin(), project.areas.end(),
                         [&](const Area& area) { return area.name == name; });
}

void add_stall(std::vector<StallRow>& out, const AreaBudget& area, const char* call, double Latency::*figure,
               const Latency& fresh, const Latency& aged, std::optional<double> asked_ms = std::nullopt) {
    out.push_back({area.name, call, fresh.*figure, aged.*figure, asked_ms});
}

} // namespace

std::vector<WearYears> wear_over_years(const Project& project, const Budget& budget) {
    std::vector<WearYears> out;
    const double life = project.product.life_years;
    for (const AreaBudget& area : budget.areas) {
        if (!area.laid_out) { continue; }
        const Project met = as_met(project, area_named(project, area.name));
        WearYears& wear = out.emplace_back();
        wear.area = area.name;
        wear.guaranteed = met.part.endurance_cycles.value_or(0);
        wear.allowed = wear.guaranteed * project.requirements.spend_limit / project.requirements.margin_min;
        constexpr int steps = 24;
        for (int i = 0; i <= steps; i++) {
            const double year = life * i / steps;
            wear.years.push_back(year);
            wear.nominal.push_back(erases_after(area.nominal_wear, area, project, year));
            wear.heavy.push_back(erases_after(area.wear, area, project, year));
        }
    }
    return out;
}

std::vector<WhatIf> what_if(const Project& project, const Budget& budget, unsigned points) {
    std::vector<WhatIf> out;
    for (const AreaBudget& of : budget.areas) {
        if (!of.laid_out) { continue; }
        const Area& area = area_named(project, of.name);
        const Project met = as_met(project, area);
        out.push_back(by_blocks(met, area, of, points));
        WhatIf life{area.name, "life", "y", project.product.life_years, {}, {}, erases_allowed(met)};
        WhatIf saves{area.name, "saves", "times as often", 1, {}, {}, erases_allowed(met)};
        for (const double factor : factors(points)) {
            Project changed = met;
            changed.product.life_years *= factor;
            life.at.push_back(changed.product.life_years);
            life.erases.push_back(erases_with(changed, area, of.layout, 1));
            saves.at.push_back(factor);
            saves.erases.push_back(erases_with(met, area, of.layout, factor));
        }
        out.push_back(std::move(life));
        out.push_back(std::move(saves));
    }
    return out;
}

std::vector<StallRow> stalls_of(const Project& project, const Budget& budget) {
    std::vector<StallRow> out;
    for (const AreaBudget& area : budget.areas) {
        if (!area.laid_out) { continue; }
        const auto fresh_times = times_after(project, 0);
        const auto aged_times = times_after(project, erases_of(project, area));
        if (!fresh_times || !aged_times) { continue; }
        const Latency fresh = latency_of(area.layout, *fresh_times, area.wear, area.lazy_start);
        const Latency aged = latency_of(area.layout, *aged_times, area.wear, area.lazy_start);
        const Requirements& asked = project.requirements;
        add_stall(out, area, "put, service in time", &Latency::put_serviced_ms, fresh, aged, asked.put_stall_max_ms);
        add_stall(out, area, "put that empties a block", &Latency::put_alone_ms, fresh, aged);
        if (fresh.service_can_help) {
            add_stall(out, area, "one service call", &Latency::service_step_ms, fresh, aged);
        }
        add_stall(out, area, "open after a cut", &Latency::open_ms, fresh, aged, asked.start_up_max_ms);
    }
    return out;
}

RetentionPicture retention_picture(const Project& project) {
    RetentionPicture out;
    const Conditions& conditions = project.conditions;
    out.profile = conditions.profile;
    std::vector<RetentionGuarantee> rows;
    if (conditions.retention) {
        out.activation_ev = conditions.retention->activation_ev;
        for (const RetentionPair& pair : conditions.retention->pairs) { rows.push_back(pair.guarantee); }
    }
    const Device& part = project.part;
    if (rows.empty() && part.retention_years && part.retention_temp_c && part.endurance_cycles) {
        rows.push_back({*part.endurance_cycles, *part.retention_temp_c, *part.retention_years});
    }
    double coolest = 1e9, hottest = -1e9;
    for (const auto& row : rows) { hottest = std::max(hottest, row.temperature_c); }
    for (const auto& row : rows) { coolest = std::min(coolest, row.temperature_c); }
    for (const ProfileStep& step : out.profile) {
        coolest = std::min(coolest, step.temperature_c);
        hottest = std::max(hottest, step.temperature_c);
    }
    for (const RetentionGuarantee& row : rows) {
        RetentionCurve curve{row.cycles, row.temperature_c, row.years, {}};
        constexpr int steps = 24;
        for (int i = 0; out.activation_ev && i <= steps; i++) {
            const double at = coolest + (hottest - coolest) * i / steps;
            curve.carried.push_back({at, row.years * acceleration(at, row.temperature_c, *out.activation_ev)});
        }
        out.guarantees.push_back(std::move(curve));
    }
    return out;
}

std::optional<SupplyDecay> supply_decay(const Project& project, const Budget& budget) {
    if (!project.supply || !budget.hold_up) { return std::nullopt; }
    const Supply& supply = *project.supply;
    const HoldUp& hold_up = *budget.hold_up;
    SupplyDecay out;
    out.capacitance_found = !supply.capacitance_uf;
    out.capacitance_uf = supply.capacitance_uf.value_or(hold_up.need_uf);
    if (!std::isfinite(out.capacitance_uf) || out.capacitance_uf <= 0) { return std::nullopt; }
    out.left_uf = out.capacitance_uf * hold_up.left_share;
    out.trips_at_v = supply.trips_at_v;
    out.end_v = hold_up.end_v;
    out.detection_ms = hold_up.detection_ms;
    out.under_way_ms = hold_up.save.under_way_ms;
    out.programming_ms = hold_up.save.programming_ms;
    const Load load{supply.load_ma / 1e3, supply.load_mw / 1e3};
    const double nominal_ms = hold_up_s(out.capacitance_uf * 1e-6, out.trips_at_v, out.end_v, load) * 1e3;
    constexpr int steps = 60;
    out.step_ms = std::max(nominal_ms, hold_up.need_ms) * 1.1 / steps;
    const auto volts = [&](double farads, double seconds) {
        const double v = out.trips_at_v;
        if (load.current_a > 0) { return std::max(0.0, v - load.current_a * seconds / farads); }
        return std::sqrt(std::max(0.0, v * v - 2 * load.power_w * seconds / farads));
    };
    for (int i = 0; i <= steps; i++) {
        out.nominal_v.push_back(volts(out.capacitance_uf * 1e-6, i * out.step_ms / 1e3));
        out.left_v.push_back(volts(out.left_uf * 1e-6, i * out.step_ms / 1e3));
    }
    return out;
}

} // namespace perdure
