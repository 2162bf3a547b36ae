// How long an entry stays in the ring before it is written again, held against what the flash keeps.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sources.hpp"

namespace perdure {

namespace {

struct Guarantees {
    std::vector<RetentionGuarantee> rows;
    std::vector<Source> sources; ///< one a row: its years
};

/// The file's pairs, or the part's own figure, which holds after the rated erases.
Guarantees guarantees_of(const Project& project) {
    Guarantees out;
    if (project.conditions.retention) {
        for (const RetentionPair& pair : project.conditions.retention->pairs) {
            out.rows.push_back(pair.guarantee);
            out.sources.push_back(from_file(project, pair.place, "retention", pair.guarantee.years, "y"));
        }
    }
    const Device& part = project.part;
    if (out.rows.empty() && part.retention_years && part.retention_temp_c && part.endurance_cycles) {
        out.rows.push_back({*part.endurance_cycles, *part.retention_temp_c, *part.retention_years});
        out.sources.push_back(from_part(part, "retention_years", *part.retention_years, "y"));
    }
    return out;
}

struct Stays {
    std::vector<Stay> turning;   ///< what lasts as long as the ring's turn
    std::vector<Stay> storage;   ///< before use
    std::vector<Stay> soldering; ///< hotter than any guarantee
    double turn_years = 0;
    [[nodiscard]] std::vector<Stay> within() const {
        std::vector<Stay> out = turning;
        out.insert(out.end(), storage.begin(), storage.end());
        return out;
    }
};

/// `guarantee_c` stands in for the profile where there is none.
Stays stays_of(const Project& project, const AreaBudget& budget, double guarantee_c) {
    const Conditions& conditions = project.conditions;
    const double year_s = project.product.year_days * 86400;
    const double light = conditions.retention ? conditions.retention->light_user : 1;
    // Every entry is copied, or overtaken, before its block is erased, which each turn of the ring does.
    const double turn_s = budget.nominal_wear.block_s * budget.layout.geometry.ring_blocks;
    Stays out;
    out.turn_years = project.product.life_years;
    if (std::isfinite(turn_s) && light > 0) { out.turn_years = std::min(out.turn_years, turn_s / light / year_s); }
    for (const ProfileStep& step : conditions.profile) {
        out.turning.push_back({step.temperature_c, step.share * out.turn_years});
    }
    if (conditions.profile.empty()) { out.turning.push_back({guarantee_c, out.turn_years}); }
    if (conditions.retention) {
        const RetentionTerms& terms = *conditions.retention;
        if (terms.storage_years > 0) { out.storage.push_back({terms.storage_c, terms.storage_years}); }
        if (terms.reflow_s > 0) { out.soldering.push_back({terms.reflow_c, terms.reflow_s / year_s}); }
    }
    return out;
}

void add_sources(const Project& project, const Stays& stays, const RetentionStep& step, double at_c, Finding& out) {
    const Conditions& conditions = project.conditions;
    out.from.push_back(by_formula("longest stay", stays.turn_years, "y",
                                  "one turn of the ring at the nominal demand, or the whole life"));
    for (const ProfileStep& each : conditions.profile) {
        out.from.push_back(
            from_file(project, each.place, fmt::format("share at {:g} C", each.temperature_c), each.share, ""));
    }
    if (conditions.profile.empty()) {
        out.from.push_back(assume("temperature", at_c, "C", "no [[profile]]: taken to be never above the guarantee's"));
    }
    if (!conditions.retention) { return; }
    const RetentionTerms& terms = *conditions.retention;
    if (terms.light_place.line != 0) {
        out.from.push_back(from_file(project, terms.light_place, "light_user", terms.light_user, "of nominal"));
    }
    if (terms.storage_years > 0) {
        out.from.push_back(from_file(project, terms.storage_place, "storage", terms.storage_years, "y"));
    }
    if (terms.reflow_s > 0) {
        out.from.push_back(assume("soldering", terms.reflow_s, "s",
                                  fmt::format("for data programmed before it; {}:{}, at {:g} C", project.path,
                                              terms.reflow_place.line, terms.reflow_c)));
    }
    if (step.by_energy) {
        out.from.push_back(from_file(project, terms.activation_place, "activation energy", *terms.activation_ev, "eV"));
        out.from.push_back(
            by_formula("stay", step.need_years, "y",
                       fmt::format("sum of years x exp(E/k (1/{:.2f} K - 1/T))", at_c + zero_celsius_k)));
    }
}

/// The longest stay that just holds, where storage and soldering leave something.
std::string rewrite_hint(const Project& project, const Stays& stays, const RetentionStep& step, double at_c) {
    const auto carried = [&](const std::vector<Stay>& some) {
        if (step.by_energy) { return equivalent_years(some, at_c, *project.conditions.retention->activation_ev); }
        double years = 0;
        for (const Stay& stay : some) { years += stay.years; }
        return years;
    };
    const double left =
        step.have_years / project.requirements.margin_min - carried(stays.storage) - carried(stays.soldering);
    const double rate = carried(stays.turning) / stays.turn_years;
    if (left <= 0) { return "; storage and soldering alone are too much"; }
    return fmt::format("; put every record again each {:.3g} y and it holds", left / rate);
}

/// A stay in years, in days where it is short.
std::string stay_text(double years, const Project& project) {
    return years < 0.1 ? fmt::format("{:.3g} days", years * project.product.year_days) : fmt::format("{:.3g} y", years);
}

} // namespace

std::vector<Finding> retention_findings(const Project& project, const AreaBudget& budget) {
    Finding out = named("retention", budget.name, "y");
    const Guarantees guarantees = guarantees_of(project);
    const bool asked = !project.conditions.profile.empty() || project.conditions.retention;
    if (guarantees.rows.empty()) {
        if (!asked) { return {}; }
        out.status = FindingStatus::unknown;
        out.note = "needs the part's retention with its temperature ([[retention.pair]]): not known";
        return {out};
    }
    double hottest_guarantee_c = guarantees.rows.front().temperature_c;
    for (const auto& row : guarantees.rows) { hottest_guarantee_c = std::max(hottest_guarantee_c, row.temperature_c); }
    const Stays stays = stays_of(project, budget, hottest_guarantee_c);
    const double erases = erases_of(project, budget);
    const std::optional<double> energy =
        project.conditions.retention ? project.conditions.retention->activation_ev : std::nullopt;
    const auto step = retention_step(guarantees.rows, erases, stays.within(), stays.soldering, energy);
    if (!step) {
        out.status = asked ? FindingStatus::unknown : FindingStatus::informs;
        out.note =
            fmt::format("no guarantee covers {:.0f} erases at {:g} C, and {}", erases,
                        hottest_c(stays.within()).value_or(hottest_guarantee_c),
                        energy ? "none covers the erases at all" : "no activation energy is stated to carry one there");
        return {out};
    }
    const RetentionGuarantee& row = guarantees.rows[step->guarantee];
    judge(out, step->need_years, asked ? std::optional(step->have_years) : std::nullopt,
          project.requirements.margin_min);
    out.note = fmt::format("unwritten for {} at most; guaranteed {:g} y at {:g} C after {:g} erases{}",
                           stay_text(stays.turn_years, project), row.years, row.temperature_c, row.cycles,
                           step->below_stays ? "; carried UPWARD from a cooler guarantee" : "");
    if (out.status == FindingStatus::fails) { out.note += rewrite_hint(project, stays, *step, row.temperature_c); }
    out.from.push_back(guarantees.sources[step->guarantee]);
    add_sources(project, stays, *step, row.temperature_c, out);
    return {out};
}

} // namespace perdure
