// Erases guaranteed where and at what temperature the area is, times of the aged part, and the wear of the fleet.
#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/ring_wear.hpp"
#include "budget/search.hpp"
#include "budget/sources.hpp"

namespace perdure {

namespace {

/// The upper end of a catalogued range of temperatures such as "-40..105" or "-40..85 or -40..105 by suffix": the
/// lowest upper end named. Nothing where the text names none.
std::optional<double> upper_end_c(const std::string& text) {
    std::optional<double> out;
    for (size_t at = text.find(".."); at != std::string::npos; at = text.find("..", at + 2)) {
        double value = 0;
        const char* first = text.data() + at + 2;
        if (std::from_chars(first, text.data() + text.size(), value).ec != std::errc{}) { continue; }
        out = std::min(value, out.value_or(value));
    }
    return out;
}

/// True when the area lies wholly in the pair's stretch of flash, as far as the project file says where it lies.
bool holds_area(const EndurancePair& pair, const Project& project, const Area& area) {
    if (!pair.from_bytes || !pair.size_bytes) { return true; }
    if (!area.size_bytes) { return false; }
    const auto run = best_run(project.part);
    if (!run || (area.start_address && !project.flash_start_address)) { return false; }
    const uint64_t start = area.start_address ? *area.start_address - *project.flash_start_address
                                              : run->offset_bytes + run->bytes() - *area.size_bytes;
    return start >= *pair.from_bytes && start + *area.size_bytes <= *pair.from_bytes + *pair.size_bytes;
}

/// The pair that counts: of those that hold the area and the hottest temperature, the one with most erases.
const EndurancePair* governing(const Project& project, const Area& area) {
    const std::optional<double> hottest = hottest_of(project);
    const EndurancePair* best = nullptr;
    for (const EndurancePair& pair : project.conditions.endurance) {
        const bool hot_enough = !pair.up_to_c || !hottest || *pair.up_to_c >= *hottest;
        if (!hot_enough || !holds_area(pair, project, area)) { continue; }
        if (best == nullptr || pair.erases > best->erases) { best = &pair; }
    }
    return best;
}

Traffic scaled(Traffic traffic, const std::vector<const Record*>& records, const Uncertainty& terms,
               const std::vector<double>& factors) {
    for (size_t i = 0; i < terms.inputs.size(); ++i) {
        const UncertainInput& input = terms.inputs[i];
        if (input.what == UncertainWhat::starts) { traffic.starts_per_s *= factors[i]; }
        if (input.what != UncertainWhat::saves) { continue; }
        for (size_t record = 0; record < records.size(); ++record) {
            if (!input.record.empty() && records[record]->name != input.record) { continue; }
            traffic.records[record].period_s /= factors[i];
            traffic.records[record].random_per_s *= factors[i];
        }
    }
    return traffic;
}

const char* word_of(UncertainWhat what) {
    return what == UncertainWhat::saves ? "saves" : what == UncertainWhat::starts ? "starts" : "endurance";
}

std::string spread_text(const UncertainInput& input) {
    const Spread& spread = input.spread;
    std::string of = word_of(input.what);
    if (!input.record.empty()) { of += " of " + input.record; }
    switch (spread.law) {
    case SpreadLaw::lognormal:
        return fmt::format("{}: lognormal, 95 % below {:g} x the median", of, spread.high);
    case SpreadLaw::triangular:
        return fmt::format("{}: triangular, {:g} to {:g}, most likely {:g}", of, spread.low, spread.high,
                           spread.likely);
    case SpreadLaw::uniform:
        return fmt::format("{}: uniform, {:g} to {:g}", of, spread.low, spread.high);
    }
    return of;
}

} // namespace

std::optional<double> hottest_of(const Project& project) {
    std::optional<double> out;
    for (const ProfileStep& step : project.conditions.profile) {
        if (step.share > 0) { out = std::max(step.temperature_c, out.value_or(step.temperature_c)); }
    }
    return out;
}

std::optional<OperationTimes> times_after(const Project& project, double erases) {
    std::optional<OperationTimes> out = operation_times(project.part);
    if (!out) { return out; }
    // The first step that reaches so far counts; beyond the last one it is the last, or the part's own where longer.
    const auto pick = [&](double own, std::optional<double> AgedTimes::*figure) {
        std::optional<double> last;
        for (const AgedTimes& row : project.conditions.aged) {
            if (!(row.*figure)) { continue; }
            last = row.*figure;
            if (row.erases >= erases) { return *last; }
        }
        return last ? std::max(own, *last) : own;
    };
    out->erase_ms = pick(out->erase_ms, &AgedTimes::erase_ms_max);
    out->program_us = pick(out->program_us, &AgedTimes::program_us_max);
    return out;
}

Project as_met(const Project& project, const Area& area) {
    Project out = project;
    Device& part = out.part;
    if (!project.conditions.endurance.empty()) {
        const EndurancePair* pair = governing(project, area);
        part.endurance_cycles = pair == nullptr ? 0 : pair->erases;
        part.provenance["endurance_cycles"] = {
            pair == nullptr ? "no pair of [endurance] covers the temperature and the area's place"
                            : fmt::format("{}:{}", project.path, pair->place.line),
            false};
    }
    const auto times = times_after(project, part.endurance_cycles.value_or(0) * project.requirements.spend_limit);
    for (const AgedTimes& row : project.conditions.aged) {
        if (!times) { break; }
        const Provenance source{fmt::format("{}:{}", project.path, row.place.line), false};
        if (row.erase_ms_max) {
            part.erase_ms_max.assign(std::max<size_t>(part.runs.size(), 1), times->erase_ms);
            part.provenance["erase_ms_max"] = source;
        }
        if (row.program_us_max) {
            part.program_us_max = times->program_us;
            part.provenance["program_us_max"] = source;
        }
    }
    return out;
}

double erases_of(const Project& project, const AreaBudget& area) {
    return format_erases + area.erases.per_block_max + project.conditions.erases_spent;
}

std::vector<Finding> endurance_findings(const Project& project, const Area& area, const AreaBudget&) {
    const std::optional<double> hottest = hottest_of(project);
    if (!hottest) { return {}; }
    Finding out = named("endurance at", area.name, "C");
    const auto from_profile = [&] {
        for (const ProfileStep& step : project.conditions.profile) {
            if (step.temperature_c == *hottest && step.share > 0) { return step.place; }
        }
        return Place{};
    }();
    out.from.push_back(from_file(project, from_profile, "hottest", *hottest, "C"));
    out.need = *hottest;
    std::optional<double> up_to;
    if (project.conditions.endurance.empty()) {
        up_to = upper_end_c(project.part.endurance_temp_c);
        out.note = "up to where the erases are guaranteed, as catalogued";
        if (up_to) { out.from.push_back(from_part(project.part, "endurance_temp_c", *up_to, "C")); }
    } else if (const EndurancePair* pair = governing(project, area)) {
        up_to = pair->up_to_c;
        out.note = fmt::format("{:g} erases guaranteed{}", pair->erases, up_to ? "" : " wherever the part may be used");
        out.from.push_back(from_file(project, pair->place, "erases", pair->erases, "erases"));
    } else {
        for (const EndurancePair& other : project.conditions.endurance) {
            if (other.up_to_c) { up_to = std::max(*other.up_to_c, up_to.value_or(*other.up_to_c)); }
        }
        out.status = FindingStatus::fails;
        out.have = up_to.value_or(0);
        out.note = "no pair of [endurance] covers the hottest temperature and the area's place; a stretch of flash "
                   "counts only for an area whose size is given";
        return {out};
    }
    if (!up_to) {
        if (project.conditions.endurance.empty()) {
            out.from.push_back(assume("guarantee", *hottest, "C", "taken to hold there: no range is known"));
        }
        return {out};
    }
    out.have = *up_to;
    out.margin = *hottest > 0 ? *up_to / *hottest : 1e9;
    out.status = *up_to >= *hottest ? FindingStatus::holds : FindingStatus::fails;
    return {out};
}

std::vector<Finding> fleet_findings(const Project& project, const Area& area, const Demand& demand,
                                    const AreaBudget& budget) {
    if (!project.conditions.uncertainty || project.conditions.uncertainty->inputs.empty()) { return {}; }
    const Uncertainty& terms = *project.conditions.uncertainty;
    const std::vector<const Record*> records = records_of(project, area);
    const Traffic nominal = traffic_of(project, area, demand, Figures::nominal);
    const auto needed = [&](const std::vector<double>& factors, Precision precision) {
        const RingWear wear = ring_wear(budget.layout, scaled(nominal, records, terms, factors), precision);
        const Erases erases = erases_over(wear, budget.layout.geometry.ring_blocks, demand.life_s);
        double need = format_erases + erases.per_block_max + project.conditions.erases_spent;
        for (size_t i = 0; i < factors.size(); ++i) {
            // Flash that stands fewer erases is worn as if more were needed.
            if (terms.inputs[i].what == UncertainWhat::endurance) { need /= factors[i]; }
        }
        return need;
    };
    Finding out = named("wear of the fleet", area.name, "erases");
    std::string how;
    double need = 0;
    if (terms.inputs.size() == 1) {
        const bool falls = terms.inputs[0].what == UncertainWhat::endurance;
        need =
            needed({spread_quantile(terms.inputs[0].spread, falls ? 1 - terms.share : terms.share)}, Precision::fine);
        how = "exact: the wear of that quantile of the only spread input";
    } else {
        std::vector<Spread> spreads;
        for (const UncertainInput& input : terms.inputs) { spreads.push_back(input.spread); }
        const std::vector<double> ones(spreads.size(), 1);
        const double finer = needed(ones, Precision::fine) / needed(ones, Precision::coarse);
        const DrawnQuantile drawn = drawn_quantile(
            spreads, [&](const auto& factors) { return finer * needed(factors, Precision::coarse); }, terms.share,
            terms.trials, terms.seed);
        need = drawn.value;
        how = fmt::format("drawn {} times with seed {}; 95 % sure between {:.0f} and {:.0f}", drawn.trials, drawn.seed,
                          drawn.low, drawn.high);
    }
    judge(out, need, erases_spendable(project), project.requirements.margin_min);
    out.note = fmt::format("{:g} % of the fleet stay below; {}", terms.share * 100, how);
    out.from.push_back(from_file(project, terms.share_place, "share of the fleet", terms.share, ""));
    for (const UncertainInput& input : terms.inputs) {
        Source source = from_file(project, input.place, "spread", input.spread.high, "at high");
        source.text += ": " + spread_text(input);
        out.from.push_back(source);
    }
    out.from.push_back(by_formula("quantile", need, "erases", how));
    return {out};
}

} // namespace perdure
