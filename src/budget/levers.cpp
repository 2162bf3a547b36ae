// The inputs that sensitivity moves.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sensitivity.hpp"

namespace perdure {

namespace {

/// Saves a day, nominal, of every reason but starts and failures of the supply, which have a figure of their own.
double saves_a_day(const RecordDemand& record, double life_days) {
    double out = 0;
    for (const PolicyDemand& policy : record.policies) {
        if (policy.when != SaveWhen::at_start && policy.when != SaveWhen::at_power_fail) {
            out += policy.nominal_saves / life_days;
        }
    }
    return out;
}

/// The same reasons come so many times as often. What waits for the data to settle follows less than in proportion.
/// A total that is saved more rarely moves further between two saves.
void scale_saves(Record& record, double factor) {
    widen_movement(record, 1 / factor);
    for (SavePolicy& policy : record.saves) {
        policy.every_s /= factor;
        policy.events_per_day *= factor;
        policy.moved_by /= factor;
    }
}

void add_product(const Project& project, std::vector<Lever>& out) {
    const Product& product = project.product;
    out.push_back({"life", product.life_years, "y", product.life_place, true, false, 0.01, 1000,
                   [](Project& p, double value) { p.product.life_years = value; }});
    if (product.starts_per_day > 0) {
        out.push_back({"starts", product.starts_per_day, "a day", product.starts_place, true, false, 1e-6, 86400,
                       [](Project& p, double value) { p.product.starts_per_day = value; }});
    }
    if (product.fleet_units > 1) {
        out.push_back({"fleet", double(product.fleet_units), "units", product.fleet_place, true, false, 1, 1e15,
                       [](Project& p, double value) { p.product.fleet_units = static_cast<uint64_t>(value); }});
    }
    const Demand demand = demand_of(project);
    for (size_t i = 0; i < project.records.size(); ++i) {
        const double a_day = saves_a_day(demand.records[i], product.life_days());
        if (a_day <= 0) { continue; }
        const Place place = project.records[i].saves.front().place;
        out.push_back({"saves of " + project.records[i].name, a_day, "a day", place, true, false, 1e-9, 1e9,
                       [i, a_day](Project& p, double value) { scale_saves(p.records[i], value / a_day); }});
    }
}

void add_part(const Project& project, std::vector<Lever>& out) {
    const Device& part = project.part;
    const Conditions& conditions = project.conditions;
    if (part.endurance_cycles && conditions.endurance.empty()) {
        out.push_back(
            {"endurance", *part.endurance_cycles, "erases", {}, false, false, 1, 1e15, [](Project& p, double value) {
                 p.part.endurance_cycles = value;
             }});
    }
    const auto times = operation_times(part);
    if (times && conditions.aged.empty()) {
        out.push_back({"erase time", times->erase_ms, "ms", {}, true, false, 1e-6, 1e9, [](Project& p, double value) {
                           p.part.erase_ms_max.assign(std::max<size_t>(p.part.runs.size(), 1), value);
                       }});
        out.push_back(
            {"program time", times->program_us, "us", {}, true, false, 1e-6, 1e9, [](Project& p, double value) {
                 p.part.program_us_max = value;
             }});
    }
    if (!conditions.aged.empty()) {
        const double longest = times_after(project, 1e300)->erase_ms;
        out.push_back({"erase time, aged", longest, "ms", conditions.aged.back().place, true, false, 1e-6, 1e9,
                       [longest](Project& p, double value) {
                           for (AgedTimes& row : p.conditions.aged) {
                               if (row.erase_ms_max) { *row.erase_ms_max *= value / longest; }
                           }
                       }});
    }
    const bool pairs = conditions.retention && !conditions.retention->pairs.empty();
    if (part.retention_years && !pairs) {
        out.push_back(
            {"retention", *part.retention_years, "y", {}, false, false, 1e-6, 1e6, [](Project& p, double value) {
                 p.part.retention_years = value;
             }});
    }
    if (part.program_ma && conditions.energy) {
        out.push_back(
            {"program current", *part.program_ma, "mA", {}, true, false, 1e-6, 1e6, [](Project& p, double value) {
                 p.part.program_ma = value;
             }});
    }
}

/// Sizes, and what a log keeps: in whole numbers.
void add_layout(const Project& project, std::vector<Lever>& out) {
    for (size_t i = 0; i < project.areas.size(); ++i) {
        const auto run = best_run(project.part);
        if (!project.areas[i].size_bytes || !run) { continue; }
        // Where it cannot be laid out as it is, in erase blocks.
        const auto layout = lay_out_sized(project, project.areas[i]);
        const double bytes = layout ? double(layout->geometry.ring_block_bytes()) : double(run->erase_bytes);
        Lever blocks{"blocks of " + project.areas[i].name,
                     double(*project.areas[i].size_bytes) / bytes,
                     layout ? "ring blocks" : "erase blocks",
                     project.areas[i].place,
                     false,
                     false,
                     2,
                     std::floor(double(run->bytes()) / bytes),
                     [i, bytes](Project& p, double value) {
                         p.areas[i].size_bytes = static_cast<uint64_t>(std::llround(value * bytes));
                     }};
        blocks.whole = true;
        out.push_back(blocks);
    }
    for (size_t i = 0; i < project.records.size(); ++i) {
        const Record& record = project.records[i];
        if (!record.log) { continue; }
        Lever depth{"depth of " + record.name,
                    double(record.log->depth_samples),
                    "samples",
                    record.log->depth_place,
                    true,
                    false,
                    1,
                    1e9,
                    [i](Project& p, double value) {
                        p.records[i].log->depth_samples = static_cast<uint64_t>(std::llround(value));
                    }};
        depth.whole = true;
        out.push_back(depth);
        if (!record.has_log_entries()) { continue; }
        Lever batch{
            "batch of " + record.name,
            double(record.log->batch),
            "samples",
            record.log->batch_place,
            false,
            false,
            1,
            log_batch_max,
            [i](Project& p, double value) { p.records[i].log->batch = static_cast<uint32_t>(std::lround(value)); }};
        batch.whole = true;
        out.push_back(batch);
    }
}

/// The capacitor, its load and how often the supply fails.
void add_supply(const Project& project, std::vector<Lever>& out) {
    if (!project.supply) { return; }
    const Supply& supply = *project.supply;
    const auto add = [&](const char* name, double Supply::*figure, const char* unit, const Place& place,
                         bool more_is_worse, double least, double most) {
        if (supply.*figure <= 0) { return; } // a factor of nothing is nothing
        out.push_back({name, supply.*figure, unit, place, more_is_worse, false, least, most,
                       [figure](Project& p, double value) { (*p.supply).*figure = value; }});
    };
    if (supply.capacitance_uf) {
        out.push_back({"capacitance", *supply.capacitance_uf, "uF", supply.capacitance_place, false, false, 1e-6, 1e12,
                       [](Project& p, double value) { p.supply->capacitance_uf = value; }});
    }
    add("load", &Supply::load_ma, "mA", supply.load_place, true, 1e-9, 1e6);
    add("load", &Supply::load_mw, "mW", supply.load_place, true, 1e-9, 1e6);
    add("trips_at", &Supply::trips_at_v, "V", supply.trips_place, false, 1e-3, supply.charged_to_v);
    add("cpu_min", &Supply::cpu_min_v, "V", supply.cpu_place, true, 1e-3, 1e3);
    add("dropout", &Supply::dropout_v, "V", supply.dropout_place, true, 0, 1e3);
    add("detection", &Supply::detection_s, "s", supply.detection_place, true, 0, 1e3);
    add("tolerance", &Supply::tolerance, "missing", supply.tolerance_place, true, 0, 0.999);
    add("cold", &Supply::cold, "missing", supply.cold_place, true, 0, 0.999);
    add("ageing", &Supply::ageing, "missing", supply.ageing_place, true, 0, 0.999);
    add("aged_program", &Supply::aged_program, "times", supply.aged_place, true, 1, 1e3);
    add("dips", &Supply::dips_per_day, "a day", supply.dips_place, true, 0, 86400);
    add("storms", &Supply::storms_per_day, "a day", supply.storms_place, true, 0, 86400);
    if (supply.storm_gap_s) {
        out.push_back({"storm_gap", *supply.storm_gap_s, "s", supply.gap_place, false, false, 1e-9, 1e9,
                       [](Project& p, double value) { p.supply->storm_gap_s = value; }});
    }
    if (project.part.erase_abort_us) {
        out.push_back({"erase_abort",
                       *project.part.erase_abort_us,
                       "us",
                       {},
                       true,
                       false,
                       1e-3,
                       1e9,
                       [](Project& p, double value) { p.part.erase_abort_us = value; }});
    }
}

/// What the file says of the part's guarantees in place of the catalogue.
void add_guarantees(const Project& project, std::vector<Lever>& out) {
    const Conditions& conditions = project.conditions;
    if (!conditions.endurance.empty()) {
        const double least =
            std::min_element(conditions.endurance.begin(), conditions.endurance.end(),
                             [](const EndurancePair& a, const EndurancePair& b) { return a.erases < b.erases; })
                ->erases;
        out.push_back({"endurance, all pairs", least, "erases", conditions.endurance.front().place, false, false, 1,
                       1e15, [least](Project& p, double value) {
                           for (EndurancePair& pair : p.conditions.endurance) { pair.erases *= value / least; }
                       }});
    }
    if (conditions.wear_out) {
        out.push_back({"scale of wear_out", conditions.wear_out->model.scale, "erases", conditions.wear_out->place,
                       false, false, 1e-3, 1e15,
                       [](Project& p, double value) { p.conditions.wear_out->model.scale = value; }});
    }
    if (conditions.retention && !conditions.retention->pairs.empty()) {
        const double least = std::min_element(conditions.retention->pairs.begin(), conditions.retention->pairs.end(),
                                              [](const RetentionPair& a, const RetentionPair& b) {
                                                  return a.guarantee.years < b.guarantee.years;
                                              })
                                 ->guarantee.years;
        out.push_back({"retention, all pairs", least, "y", conditions.retention->pairs.front().place, false, false,
                       1e-6, 1e6, [least](Project& p, double value) {
                           for (RetentionPair& pair : p.conditions.retention->pairs) {
                               pair.guarantee.years *= value / least;
                           }
                       }});
    }
}

void add_conditions(const Project& project, std::vector<Lever>& out) {
    const Conditions& conditions = project.conditions;
    out.push_back({"spend_limit", project.requirements.spend_limit, "of erases", project.requirements.spend_limit_place,
                   false, false, 1e-6, 1, [](Project& p, double value) { p.requirements.spend_limit = value; }});
    if (const auto hottest = hottest_of(project)) {
        out.push_back({"hottest temperature", *hottest, "C", conditions.profile.front().place, true, true, -60, 300,
                       [hottest](Project& p, double value) {
                           for (ProfileStep& step : p.conditions.profile) {
                               if (step.temperature_c == *hottest) { step.temperature_c = value; }
                           }
                       }});
    }
    if (conditions.errors.bit_flip > 0) {
        out.push_back({"bit_flip", conditions.errors.bit_flip, "a bit", conditions.errors.bit_flip_place, true, false,
                       1e-300, 0.5, [](Project& p, double value) { p.conditions.errors.bit_flip = value; }});
    }
    if (conditions.require.service_every_s) {
        out.push_back({"service_every", *conditions.require.service_every_s, "s",
                       conditions.require.service_every_place, true, false, 1e-6, 1e12,
                       [](Project& p, double value) { p.conditions.require.service_every_s = value; }});
    }
    if (!conditions.energy) { return; }
    if (conditions.energy->battery_mah) {
        out.push_back({"battery", *conditions.energy->battery_mah, "mAh", conditions.energy->battery_place, false,
                       false, 1e-6, 1e9, [](Project& p, double value) { p.conditions.energy->battery_mah = value; }});
    }
    if (conditions.energy->supply_min_v) {
        out.push_back({"supply_min", *conditions.energy->supply_min_v, "V", conditions.energy->supply_min_place, false,
                       false, 1e-3, 20, [](Project& p, double value) { p.conditions.energy->supply_min_v = value; }});
    }
}

} // namespace

std::vector<Lever> levers_of(const Project& project) {
    std::vector<Lever> out;
    add_product(project, out);
    add_part(project, out);
    add_layout(project, out);
    add_guarantees(project, out);
    add_supply(project, out);
    add_conditions(project, out);
    return out;
}

} // namespace perdure
