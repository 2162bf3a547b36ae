#include "budget/hold_up.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sources.hpp"

namespace perdure {

double energy_share(double from_v, double to_v) {
    return 1 - (to_v / from_v) * (to_v / from_v);
}

double hold_up_s(double farads, double from_v, double to_v, const Load& load) {
    if (from_v <= to_v) { return 0; }
    if (load.current_a > 0) { return farads * (from_v - to_v) / load.current_a; }
    return farads * (from_v * from_v - to_v * to_v) / (2 * load.power_w);
}

double farads_for(double seconds, double from_v, double to_v, const Load& load) {
    if (from_v <= to_v) { return std::numeric_limits<double>::infinity(); }
    if (load.current_a > 0) { return seconds * load.current_a / (from_v - to_v); }
    return 2 * seconds * load.power_w / (from_v * from_v - to_v * to_v);
}

namespace {

Load load_of(const Supply& supply) {
    return {supply.load_ma / 1e3, supply.load_mw / 1e3};
}

/// The record of an area that is saved at power failure; nothing where there is none, or no layout.
const RecordLayout* saved_record(const AreaBudget& area) {
    if (!area.laid_out || !area.layout.power_fail_record) { return nullptr; }
    return &area.layout.records[*area.layout.power_fail_record];
}

/// The project with the part as the area of a record that is saved at power failure meets it, worn as it may be.
Project as_worn(const Project& project, const std::string& area) {
    for (const Area& of : project.areas) {
        if (of.name == area) { return as_met(project, of); }
    }
    return project;
}

double aged_program(const Project& project) {
    return project.supply ? project.supply->aged_program : Supply{}.aged_program;
}

void add_chatter(const Project& project, const std::vector<AreaBudget>& areas, const Demand& demand, HoldUp& out) {
    const Supply& supply = *project.supply;
    const double days = project.product.life_days();
    out.dips = supply.trips_per_day() * days;
    out.trips = demand.starts;
    double units_over_life = 0;
    out.rearm_known = true;
    for (const AreaBudget& area : areas) {
        if (!area.laid_out) { continue; }
        const RecordLayout* layout = saved_record(area);
        const double save_units = layout == nullptr ? 0 : area.layout.power_fail_units;
        const double restart_units = layout == nullptr ? area.layout.restart_max_units : layout->restart_units;
        out.trip_units += save_units + area.layout.start_pad_units + restart_units;
        if (std::isfinite(area.wear.block_s) && area.wear.block_s > 0) {
            units_over_life += demand.life_s / area.wear.block_s * area.layout.capacity_units;
        }
        if (layout == nullptr) { continue; }
        out.rearm_known = out.rearm_known && area.latency.has_value();
        if (area.latency) { out.rearmed_ms += area.latency->open_ms + area.latency->put_alone_ms; }
    }
    out.storm_units = supply.dips_a_storm * out.trip_units;
    out.trips_share = units_over_life > 0 ? std::min(1.0, out.trips * out.trip_units / units_over_life) : 0;
}

std::vector<Source> save_sources(const Project& project, const PowerFailSave& save) {
    std::vector<Source> out;
    const Device& part = project.part;
    out.push_back(
        from_part(part, part.program_us_max ? "program_us_max" : "program_us_typ", save.program_us, "us a unit"));
    const Place aged = project.supply ? project.supply->aged_place : Place{};
    if (aged.line > 0) {
        out.push_back(from_file(project, aged, "aged_program", aged_program(project), "x"));
    } else {
        out.push_back(
            assume("aged_program", aged_program(project), "x",
                   "programming near the end of the endurance against its maximum: common practice, no source"));
    }
    out.push_back(assume("reading", save.read_us_per_byte, "us a byte",
                         "reading back with the check code; measure it on the target"));
    out.push_back(by_formula("units", save.units, "units", "the record as a restart entry: no erase, no copying"));
    if (save.erase_aborted) {
        out.push_back(from_part(part, "erase_abort_us", *part.erase_abort_us, "us to stop an erase"));
    } else {
        out.push_back(from_part(part, part.erase_ms_max.empty() ? "erase_ms_typ" : "erase_ms_max", save.erase_ms,
                                "ms an erase block"));
    }
    out.push_back(by_formula("under way", save.under_way_ms, "ms",
                             save.erase_aborted ? "an erase that is stopped, or the program of a unit"
                                                : "an erase that had just begun runs to its end"));
    return out;
}

Finding save_finding(const Project& project, const PowerFailSave& save) {
    Finding out = named("power-fail save", "", "ms");
    judge(out, save.total_ms(), std::nullopt);
    out.note = fmt::format("{} unit{} in {:.3g} ms, {:.3g} ms for {}", save.units, save.units == 1 ? "" : "s",
                           save.programming_ms, save.under_way_ms,
                           save.erase_aborted ? "an erase that is stopped" : "an erase under way");
    out.from = save_sources(project, save);
    return out;
}

Source share_source(const Project& project, Place place, const std::string& what, double value) {
    if (place.line > 0) { return from_file(project, place, what, value, "of the capacitance"); }
    return assume(what, value, "of the capacitance", "may be missing: common practice, no source");
}

/// No capacitance helps where the detector trips below what the flash needs.
Finding trips_too_low(const Project& project, const HoldUp& hold_up) {
    const Supply& supply = *project.supply;
    Finding out = named("hold-up", "", "V");
    judge(out, hold_up.end_v, supply.trips_at_v);
    out.status = FindingStatus::fails; // equal is too low as well: nothing is left for a save
    out.note = "the detector trips too low: the flash cannot be programmed any more";
    out.from = {from_part(project.part, "vdd_min", *project.part.vdd_min_v, "V to program"),
                from_file(project, supply.dropout_place, "dropout", supply.dropout_v, "V"),
                from_file(project, supply.trips_place, "trips_at", supply.trips_at_v, "V")};
    return out;
}

Finding hold_up_finding(const Project& project, const HoldUp& hold_up) {
    const Supply& supply = *project.supply;
    const bool given = supply.capacitance_uf.has_value();
    if (!std::isfinite(hold_up.need_uf)) { return trips_too_low(project, hold_up); }
    Finding out = named("hold-up", "", given ? "ms" : "uF");
    const double margin = project.requirements.margin_min;
    if (given) {
        judge(out, hold_up.need_ms, hold_up.have_ms, margin);
        out.note = fmt::format("{:.4g} uF from {:.4g} V to {:.4g} V; {:.4g} uF would do", *supply.capacitance_uf,
                               supply.trips_at_v, hold_up.end_v, hold_up.need_uf * margin);
    } else {
        judge(out, hold_up.need_uf * margin, std::nullopt);
        out.note = fmt::format("capacitance, nominal, for {:.3g} ms from {:.4g} V to {:.4g} V", hold_up.need_ms,
                               supply.trips_at_v, hold_up.end_v);
    }
    const bool current = supply.load_ma > 0;
    out.from = {from_file(project, supply.load_place, current ? "load" : "load_power",
                          current ? supply.load_ma : supply.load_mw, current ? "mA" : "mW"),
                from_file(project, supply.trips_place, "trips_at", supply.trips_at_v, "V"),
                from_file(project, supply.cpu_place, "cpu_min", supply.cpu_min_v, "V"),
                from_part(project.part, "vdd_min", *project.part.vdd_min_v, "V to program"),
                from_file(project, supply.dropout_place, "dropout", supply.dropout_v, "V"),
                from_file(project, supply.detection_place, "detection", hold_up.detection_ms, "ms"),
                by_formula("save", hold_up.save.total_ms(), "ms", "see power-fail save"),
                share_source(project, supply.tolerance_place, "tolerance", supply.tolerance),
                share_source(project, supply.cold_place, "cold", supply.cold),
                share_source(project, supply.ageing_place, "ageing", supply.ageing),
                by_formula("left", hold_up.left_share, "of the capacitance", "(1 - tolerance)(1 - cold)(1 - ageing)"),
                by_formula("hold-up", hold_up.have_ms.value_or(hold_up.need_ms), "ms",
                           current ? "C (V1 - V2) / I" : "C (V1^2 - V2^2) / (2 P)")};
    if (given) {
        out.from.push_back(
            from_file(project, supply.capacitance_place, "capacitance", *supply.capacitance_uf, "uF, nominal"));
    }
    return out;
}

Finding rearm_finding(const Project& project, const HoldUp& hold_up) {
    Finding out = named("armed again", "", "ms");
    const Supply& supply = *project.supply;
    const auto gap_ms = supply.storm_gap_s ? std::optional(*supply.storm_gap_s * 1e3) : std::nullopt;
    if (!hold_up.rearm_known) {
        out.status = gap_ms ? FindingStatus::unknown : FindingStatus::informs;
        out.note = "needs program_us_max and erase_ms_max of the part: not known";
        return out;
    }
    judge(out, hold_up.rearmed_ms, gap_ms);
    out.note = "after a trip: the start after a cut, and a put that empties a block";
    out.from = {
        by_formula("armed again", hold_up.rearmed_ms, "ms", "start-up and put stall alone, one after the other")};
    if (gap_ms) { out.from.push_back(from_file(project, supply.gap_place, "storm_gap", *gap_ms, "ms")); }
    return out;
}

} // namespace

std::optional<PowerFailSave> power_fail_save(const Project& project, const std::vector<AreaBudget>& areas) {
    PowerFailSave out;
    out.erase_aborted = project.part.erase_abort_us.has_value();
    for (const AreaBudget& area : areas) {
        const RecordLayout* layout = saved_record(area);
        if (layout == nullptr) { continue; }
        const auto times = operation_times(as_worn(project, area.name).part);
        if (!times) { return std::nullopt; }
        const double program_ms = times->program_us * aged_program(project) / 1e3;
        const double erase_ms = out.erase_aborted ? *project.part.erase_abort_us / 1e3 : times->erase_ms;
        out.under_way_ms = std::max({out.under_way_ms, program_ms, erase_ms});
        out.program_us = times->program_us;
        out.erase_ms = times->erase_ms;
        out.read_us_per_byte = times->read_us_per_byte;
        out.records.push_back(layout->id);
        out.units += layout->restart_units;
        const double read_ms = area.layout.geometry.unit_bytes * times->read_us_per_byte / 1e3;
        out.programming_ms += layout->restart_units * (program_ms + read_ms);
    }
    if (out.records.empty()) { return std::nullopt; }
    return out;
}

std::optional<HoldUp> hold_up_of(const Project& project, const std::vector<AreaBudget>& areas, const Demand& demand) {
    const auto save = power_fail_save(project, areas);
    if (!project.supply || !save || !project.part.vdd_min_v) { return std::nullopt; }
    const Supply& supply = *project.supply;
    HoldUp out;
    out.save = *save;
    out.detection_ms = supply.detection_s * 1e3;
    out.end_v = std::max(supply.cpu_min_v, *project.part.vdd_min_v) + supply.dropout_v;
    out.left_share = (1 - supply.tolerance) * (1 - supply.cold) * (1 - supply.ageing);
    out.need_ms = out.detection_ms + out.save.total_ms();
    const Load load = load_of(supply);
    out.need_uf = farads_for(out.need_ms / 1e3, supply.trips_at_v, out.end_v, load) / out.left_share * 1e6;
    if (supply.capacitance_uf) {
        const double farads = *supply.capacitance_uf * out.left_share / 1e6;
        out.have_ms = hold_up_s(farads, supply.trips_at_v, out.end_v, load) * 1e3;
        out.holds = *out.have_ms >= out.need_ms * project.requirements.margin_min * (1 - 1e-12);
    }
    out.charged_v = supply.charged_to_v;
    const double needed_uf = std::isfinite(out.need_uf) ? out.need_uf * project.requirements.margin_min : 0;
    const double most_uf = supply.capacitance_uf.value_or(needed_uf);
    out.energy_j = most_uf / 1e6 * out.charged_v * out.charged_v / 2;
    add_chatter(project, areas, demand, out);
    return out;
}

std::vector<Finding> hold_up_findings(const Project& project, const std::vector<AreaBudget>& areas,
                                      const std::optional<HoldUp>& hold_up) {
    std::vector<Finding> out;
    const bool any = std::any_of(project.records.begin(), project.records.end(),
                                 [](const Record& record) { return record.saved_at_power_fail(); });
    if (!any) { return out; }
    if (const auto save = power_fail_save(project, areas)) { out.push_back(save_finding(project, *save)); }
    if (hold_up) {
        out.push_back(hold_up_finding(project, *hold_up));
        out.push_back(rearm_finding(project, *hold_up));
        return out;
    }
    Finding unknown = named("hold-up", "", "ms");
    unknown.status = FindingStatus::unknown;
    unknown.note = !project.supply           ? "needs [supply]: nothing says how long the product runs on"
                   : !project.part.vdd_min_v ? "needs the lowest voltage for programming: vdd_min in [part]"
                                             : "needs the part's times, and an area that can be laid out";
    out.push_back(unknown);
    return out;
}

} // namespace perdure
