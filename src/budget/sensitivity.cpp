#include "budget/sensitivity.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/coarse.hpp"

namespace perdure {

namespace {

constexpr double factor_max = 1000;
constexpr double degrees_max = 150;
constexpr double degrees_per_doubling = 10; // common practice, no source: only to put degrees and factors in one list
constexpr double finest = 0.004;            // less than half a per cent of a factor

/// The project without what is drawn for the fleet.
Project undrawn(Project project) {
    auto& spread = project.conditions.uncertainty;
    if (spread && spread->inputs.size() > 1) { spread.reset(); }
    return project;
}

/// The same on the layout that the budget found.
Project fixed(const Project& project, const Budget& budget) {
    Project out = undrawn(project);
    for (size_t i = 0; i < out.areas.size(); ++i) {
        if (!out.areas[i].size_bytes && budget.areas[i].laid_out) {
            out.areas[i].size_bytes = budget.areas[i].layout.geometry.area_bytes();
        }
    }
    return out;
}

double furthest(const Lever& lever) {
    return lever.by_degrees ? degrees_max * std::numbers::ln2 / degrees_per_doubling : std::log(factor_max);
}

/// The value at this distance, to the worse side or, negative, to the better one.
double value_at(const Lever& lever, double distance) {
    const double side = lever.more_is_worse ? distance : -distance;
    const double value =
        lever.by_degrees ? lever.value + side * degrees_per_doubling / std::numbers::ln2 : lever.value * std::exp(side);
    return std::clamp(lever.whole ? std::round(value) : value, lever.least, lever.most);
}

tl::expected<Budget, Refusal> budget_with(const Project& project, const Lever& lever, double value) {
    Project moved = project;
    lever.set(moved, value);
    return make_reckoned_budget(moved);
}

std::string key_of(const Finding& finding) {
    return finding.name + '\n' + finding.area;
}

std::string title_of(const Finding& finding, const Budget& budget) {
    return budget.areas.size() > 1 && !finding.area.empty() ? fmt::format("{} ({})", finding.name, finding.area)
                                                            : finding.name;
}

const Finding* same(const Budget& budget, const Finding& finding) {
    for (const Finding& other : budget.findings) {
        if (key_of(other) == key_of(finding)) { return &other; }
    }
    return nullptr;
}

/// The first finding that held and no longer does; null when all of those still hold.
const Finding* first_broken(const Budget& before, const Budget& now) {
    for (const Finding& finding : before.findings) {
        if (finding.status != FindingStatus::holds) { continue; }
        const Finding* other = same(now, finding);
        if (other != nullptr && !other->holds()) { return other; }
    }
    return nullptr;
}

/// The smallest distance up to `end` (may be negative) at which `changes` is true, as it is at `end`.
double bisect(double end, const std::function<bool(double)>& changes) {
    double low = 0, high = end;
    while (std::abs(high - low) > finest) {
        const double mid = (low + high) / 2;
        (changes(mid) ? high : low) = mid;
    }
    return high;
}

Breaking breaking_of(const Project& project, const Budget& before, const Lever& lever) {
    Breaking out;
    out.lever = lever;
    const auto breaks = [&](double distance) {
        const auto now = budget_with(project, lever, value_at(lever, distance));
        return !now || first_broken(before, *now) != nullptr;
    };
    const double end = furthest(lever);
    out.distance = end;
    if (!breaks(end)) { return out; }
    out.distance = bisect(end, breaks);
    out.at = value_at(lever, out.distance);
    const auto now = budget_with(project, lever, *out.at);
    const Finding* broken = now ? first_broken(before, *now) : nullptr;
    out.finding = broken != nullptr ? title_of(*broken, before) : now ? "" : now.error().text;
    return out;
}

std::string number_text(double value, bool whole) {
    if (whole) { return fmt::format("{:.0f}", value); }
    return std::abs(value) >= 1e6 || (value != 0 && std::abs(value) < 1e-3) ? fmt::format("{:.2e}", value)
                                                                            : fmt::format("{:.4g}", value);
}

void mend_by_levers(const Project& project, const Budget& before, const Finding& failing,
                    const std::vector<Lever>& levers, std::vector<Mending>& out) {
    for (const Lever& lever : levers) {
        const auto mends = [&](double distance) {
            const auto now = budget_with(project, lever, value_at(lever, distance));
            const Finding* other = now ? same(*now, failing) : nullptr;
            return other != nullptr && other->holds();
        };
        // What wears less may lose more: either side may mend.
        for (const double end : {-furthest(lever), furthest(lever)}) {
            if (!mends(end)) { continue; }
            const double distance = bisect(end, mends);
            const double value = value_at(lever, distance);
            const auto now = budget_with(project, lever, value);
            out.push_back({title_of(failing, before),
                           fmt::format("{} {} {} instead of {}", lever.name, number_text(value, lever.whole),
                                       lever.unit, number_text(lever.value, lever.whole)),
                           std::abs(distance), now && now->holds()});
            break;
        }
    }
}

/// What comes in steps: the check width.
void mend_by_check_bits(const Project& project, const Budget& before, const Finding& failing,
                        std::vector<Mending>& out) {
    for (size_t i = 0; i < project.areas.size(); ++i) {
        const Area& area = project.areas[i];
        for (uint32_t bits = area.check_bits + 8; bits <= 32; bits += 8) {
            Project changed = project;
            changed.areas[i].check_bits = bits;
            const auto now = make_reckoned_budget(changed);
            const Finding* other = now ? same(*now, failing) : nullptr;
            if (other == nullptr || !other->holds()) { continue; }
            out.push_back({title_of(failing, before),
                           fmt::format("check_bits {} instead of {} in area {}", bits, area.check_bits, area.name),
                           std::log(double(bits) / area.check_bits), now->holds()});
            break;
        }
    }
}

} // namespace

Sensitivity sensitivity_of(const Project& project, const Budget& budget) {
    constexpr size_t changes_shown = 5;
    Sensitivity out;
    const Project base = fixed(project, budget);
    const auto before = make_reckoned_budget(base);
    if (!before) { return out; }
    for (const Finding& finding : before->findings) {
        if (finding.status == FindingStatus::fails) { out.already.push_back(title_of(finding, *before)); }
    }
    for (const Lever& lever : levers_of(base)) {
        const double end = value_at(lever, furthest(lever));
        if (end != lever.value) { out.breaking.push_back(breaking_of(base, *before, lever)); }
    }
    std::stable_sort(out.breaking.begin(), out.breaking.end(), [](const Breaking& a, const Breaking& b) {
        return a.at.has_value() != b.at.has_value() ? a.at.has_value() : a.distance < b.distance;
    });
    // What would mend is asked of the file as it stands: an area without a size finds its own anew.
    const Project open = undrawn(project);
    const auto as_is = make_reckoned_budget(open);
    if (!as_is) { return out; }
    const std::vector<Lever> levers = levers_of(open);
    for (const Finding& finding : budget.findings) {
        if (finding.status == FindingStatus::fails && same(*as_is, finding) == nullptr) {
            out.drawn.push_back(title_of(finding, budget));
        }
    }
    for (const Finding& finding : as_is->findings) {
        if (finding.status != FindingStatus::fails) { continue; }
        std::vector<Mending> some;
        mend_by_levers(open, *as_is, finding, levers, some);
        mend_by_check_bits(open, *as_is, finding, some);
        std::stable_sort(some.begin(), some.end(),
                         [](const Mending& a, const Mending& b) { return a.distance < b.distance; });
        if (some.size() > changes_shown) { some.resize(changes_shown); }
        if (some.empty()) { out.beyond.push_back(title_of(finding, *as_is)); }
        out.mending.insert(out.mending.end(), some.begin(), some.end());
    }
    return out;
}

std::string sensitivity_text(const Sensitivity& sensitivity) {
    constexpr int bar_columns = 12;
    std::string out = "\nwhich input kills the margin first (one moved at a time, the layout kept)\n";
    out += fmt::format("{:<22}{:>11}{:>12}  {:<13}{}\n", "input", "now", "fails at", "", "what fails there");
    for (const Breaking& each : sensitivity.breaking) {
        const Lever& lever = each.lever;
        const std::string name = lever.name.size() > 21 ? lever.name.substr(0, 20) + "~" : lever.name;
        // A full bar: at once. None: ten times as far, or further.
        const double near = 1 - std::min(1.0, each.distance / std::numbers::ln10);
        const std::string bar(each.at ? static_cast<size_t>(std::lround(near * bar_columns)) : 0, '#');
        out += fmt::format("{:<22}{:>11}{:>12}  {:<13}{}\n", name, number_text(lever.value, lever.whole),
                           each.at ? number_text(*each.at, lever.whole) : "never", bar, each.finding.substr(0, 20));
    }
    out += "full bar: at once; no bar: ten times as far or more; never: not within a factor\nof 1000 (150 C)\n";
    for (const std::string& finding : sensitivity.already) {
        out += fmt::format("fails already, so nothing above is about it: {}\n", finding);
    }
    if (sensitivity.mending.empty() && sensitivity.beyond.empty() && sensitivity.drawn.empty()) { return out; }
    out += "\nshortest single changes that would make it hold\n";
    std::string last;
    for (const Mending& each : sensitivity.mending) {
        if (each.finding != last) { out += "  " + each.finding + '\n'; }
        last = each.finding;
        out += fmt::format("    {}{}\n", each.change, each.everything_holds ? " (then everything holds)" : "");
    }
    for (const std::string& finding : sensitivity.drawn) {
        out += fmt::format("  {}\n    drawn for the fleet, and not followed here: see what mends the wear\n", finding);
    }
    for (const std::string& finding : sensitivity.beyond) {
        out += fmt::format("  {}\n    no single change within a factor of 1000\n", finding);
    }
    return out;
}

nlohmann::json sensitivity_json(const Sensitivity& sensitivity) {
    nlohmann::json out;
    out["breaking"] = nlohmann::json::array();
    for (const Breaking& each : sensitivity.breaking) {
        out["breaking"].push_back({{"input", each.lever.name},
                                   {"value", each.lever.value},
                                   {"unit", each.lever.unit},
                                   {"line", each.lever.place.line},
                                   {"fails_at", each.at ? nlohmann::json(*each.at) : nlohmann::json(nullptr)},
                                   {"finding", each.finding},
                                   {"distance", each.distance}});
    }
    out["mending"] = nlohmann::json::array();
    for (const Mending& each : sensitivity.mending) {
        out["mending"].push_back({{"finding", each.finding},
                                  {"change", each.change},
                                  {"distance", each.distance},
                                  {"everything_holds", each.everything_holds}});
    }
    out["fails_already"] = sensitivity.already;
    out["no_single_change"] = sensitivity.beyond;
    out["not_followed"] = sensitivity.drawn;
    return out;
}

} // namespace perdure
