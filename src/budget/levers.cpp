// The inputs that sensitivity moves.
#include <algorithm>

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
void scale_saves(Record& record, double factor) {
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
        out.push_back({"fleet", double(product.fleet_units), "units", product.place, true, false, 1, 1e15,
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
    add_conditions(project, out);
    return out;
}

} // namespace perdure
