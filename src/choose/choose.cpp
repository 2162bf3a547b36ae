#include "choose/choose.hpp"

#include <algorithm>
#include <cmath>
#include <future>
#include <limits>

#include <fmt/format.h>

#include "choose/bus.hpp"
#include "choose/candidate.hpp"

namespace perdure {

namespace {

constexpr double unknown_cost = std::numeric_limits<double>::infinity();

/// What counts, each as a cost: less is better.
struct Costs {
    double flash, life, stall, energy, loss;
    [[nodiscard]] std::vector<double> all() const { return {flash, life, stall, energy, loss}; }
};
constexpr const char* cost_names[] = {"memory", "less life margin", "stall", "energy", "time between saves"};
constexpr const char* gain_names[] = {"memory", "life margin", "stall", "energy", "time between saves"};

// Differences that nobody weighs; they count neither in the score nor for the front.
constexpr double bytes_floor = 1024;
constexpr double stall_ms_floor = 0.1;
constexpr double energy_j_floor = 1e-4;
constexpr double margin_ceiling = 10;

Costs costs_of(const Candidate& candidate) {
    return {std::max(bytes_floor, double(candidate.bytes)), 1 / std::clamp(candidate.margin, 1e-9, margin_ceiling),
            candidate.stall_ms ? std::max(*candidate.stall_ms, stall_ms_floor) : unknown_cost,
            candidate.energy_j ? std::max(*candidate.energy_j, energy_j_floor) : unknown_cost,
            std::max(candidate.loss_s, 1.0)};
}

bool dominates(const Costs& a, const Costs& b) {
    const auto left = a.all(), right = b.all();
    bool better = false;
    for (size_t i = 0; i < left.size(); ++i) {
        if (left[i] > right[i]) { return false; }
        better = better || left[i] < right[i];
    }
    return better;
}

/// Weighted geometric mean of how many times worse than the best. An unknown figure counts as the worst known one.
void score(std::vector<Candidate>& candidates, const Weights& weights) {
    const double weight[] = {weights.flash, weights.life, weights.stall, weights.energy, weights.loss};
    std::vector<double> best(5, unknown_cost), worst(5, 0);
    for (const Candidate& candidate : candidates) {
        if (!candidate.holds) { continue; }
        const auto costs = costs_of(candidate).all();
        for (size_t i = 0; i < 5; ++i) {
            best[i] = std::min(best[i], costs[i]);
            if (std::isfinite(costs[i])) { worst[i] = std::max(worst[i], costs[i]); }
        }
    }
    double sum = 0;
    for (const double each : weight) { sum += each; }
    for (Candidate& candidate : candidates) {
        if (!candidate.holds) { continue; }
        const auto costs = costs_of(candidate).all();
        double log_score = 0;
        for (size_t i = 0; i < 5; ++i) {
            if (!std::isfinite(best[i]) || sum <= 0) { continue; } // known of none
            const double cost = std::isfinite(costs[i]) ? costs[i] : worst[i];
            log_score += weight[i] / sum * std::log(cost / best[i]);
        }
        candidate.score = std::exp(log_score);
        candidate.on_front = std::none_of(candidates.begin(), candidates.end(), [&](const Candidate& other) {
            // What rests on memory does not push documented figures off the front.
            const bool counts = other.from_memory.empty() || !candidate.from_memory.empty();
            return other.holds && counts && dominates(costs_of(other), costs_of(candidate));
        });
    }
}

std::string against(const Candidate& winner, const Candidate& loser) {
    const auto best = costs_of(winner).all(), costs = costs_of(loser).all();
    std::string worse, better;
    for (size_t i = 0; i < costs.size(); ++i) {
        if (!std::isfinite(costs[i])) {
            worse += fmt::format("{}{} not known", worse.empty() ? "" : ", ", cost_names[i]);
        } else if (std::isfinite(best[i]) && costs[i] > best[i] * 1.005) {
            worse += fmt::format("{}{:.3g} x {}", worse.empty() ? "" : ", ", costs[i] / best[i], cost_names[i]);
        } else if (costs[i] < best[i] / 1.005) {
            better += fmt::format("{}{}", better.empty() ? "" : ", ", gain_names[i]);
        }
    }
    if (worse.empty()) { worse = better.empty() ? "the same figures" : "better, but from memory"; }
    return better.empty() ? worse : fmt::format("{}; better in {}", worse, better);
}

bool other_geometry(const Candidate& a, const Candidate& b) {
    return a.id != b.id && (a.block_bytes != b.block_bytes || a.unit_bytes != b.unit_bytes);
}

void rank(Choice& out) {
    std::vector<Candidate>& all = out.candidates;
    out.winner.reset();
    out.second.reset();
    out.passed_over.clear();
    score(all, out.weights);
    std::stable_sort(all.begin(), all.end(), [](const Candidate& a, const Candidate& b) {
        if (a.holds != b.holds) { return a.holds; }
        return a.holds ? a.score < b.score : a.margin > b.margin;
    });
    for (size_t i = 0; i < all.size() && all[i].holds && !out.winner; ++i) {
        if (all[i].from_memory.empty()) {
            out.winner = i;
        } else {
            out.passed_over.push_back(i);
        }
    }
    if (!out.winner) { return; }
    const Candidate& winner = all[*out.winner];
    for (size_t i = 0; i < all.size() && all[i].holds && !out.second; ++i) {
        if (all[i].from_memory.empty() && other_geometry(winner, all[i])) { out.second = i; }
    }
    for (size_t i = 0; i < all.size(); ++i) {
        all[i].behind = i != *out.winner && all[i].holds ? against(winner, all[i]) : "";
    }
}

/// Counts the two that are named where they were only reckoned, and ranks again, until both stand.
void rank_counted(Choice& out) {
    constexpr int recounts_max = 16;
    rank(out);
    for (int i = 0; i < recounts_max; ++i) {
        const auto reckoned = [&](const std::optional<size_t>& at) { return at && out.candidates[*at].reckoned(); };
        const std::optional<size_t>& next = reckoned(out.winner) ? out.winner : out.second;
        if (!reckoned(next)) { return; }
        out.candidates[*next] = counted(out.candidates[*next]);
        rank(out);
    }
}

bool wanted(const ChooseOptions& options, const std::string& id) {
    return options.only.empty() || std::find(options.only.begin(), options.only.end(), id) != options.only.end();
}

void add(std::vector<Candidate>& to, std::vector<Candidate> some) {
    for (Candidate& one : some) { to.push_back(std::move(one)); }
}

void add_externals(const Project& project, const Catalog& catalog, const ChooseOptions& options,
                   const SaveChange& policy, std::vector<Candidate>& out) {
    for (const ExternalMemory& memory : catalog.externals) {
        if (!wanted(options, memory.id)) { continue; }
        if (memory.kind.find("NOR") == std::string::npos) {
            out.push_back(in_place(project, memory, policy));
            continue;
        }
        std::string missing;
        if (const auto part = nor_part(memory, missing)) {
            std::vector<Candidate> some =
                candidates_of(on_part(project, *part), CandidateKind::external, policy, options.layouts);
            for (Candidate& one : some) {
                const bool counted = bus_write_ms(memory.bus, *memory.size_bytes, 1).has_value();
                one.bus_not_counted = !counted;
                one.note = fmt::format("the store on serial NOR, 16-byte units; {}",
                                       counted ? "the bus of writes counted, that of reads not"
                                               : "no clock of its bus known: the bus not counted");
            }
            add(out, std::move(some));
        } else {
            Candidate one;
            one.kind = CandidateKind::external;
            one.id = memory.id;
            one.maker = memory.maker;
            one.policy = policy;
            one.reasons = {missing};
            out.push_back(one);
        }
    }
}

/// Counts those whose verdict the reckoning may have wrong, with nothing but wear in the way.
void count_near(std::vector<Candidate>& some, double margin_asked) {
    for (Candidate& one : some) {
        const bool by_wear = std::all_of(one.reasons.begin(), one.reasons.end(),
                                         [](const std::string& reason) { return reason.rfind("wear", 0) == 0; });
        if (by_wear && std::abs(one.margin / margin_asked - 1) < one.may_be_off) { one = counted(one); }
    }
}

/// All candidates of the project saved in one way.
std::vector<Candidate> all_saved_so(const Project& base, const Catalog& catalog, const ChooseOptions& options,
                                    const SaveChange& policy) {
    std::vector<Candidate> out;
    const Project at = saved_so(base, policy);
    if (wanted(options, at.part.id)) {
        add(out, candidates_of(at, CandidateKind::own, policy, options.layouts));
        if (std::any_of(at.areas.begin(), at.areas.end(), [](const Area& a) { return a.size_bytes.has_value(); })) {
            Project searched = at;
            for (Area& area : searched.areas) { area.size_bytes.reset(); }
            add(out, candidates_of(searched, CandidateKind::own, policy, options.layouts));
        }
    }
    for (const Device& part : catalog.devices) {
        if (part.id == at.part.id || !wanted(options, part.id)) { continue; }
        add(out, candidates_of(on_part(at, part), CandidateKind::part, policy, options.layouts));
    }
    if (options.externals) { add_externals(at, catalog, options, policy, out); }
    count_near(out, base.requirements.margin_min);
    return out;
}

} // namespace

Choice choose(const Project& project, const Catalog& catalog, const ChooseOptions& options) {
    Choice out;
    out.project = project.product.name;
    out.weights = options.weights;
    Project base = project;
    if (!base.conditions.energy) {
        base.conditions.energy = EnergyTerms{};
        base.conditions.energy->voltage_v = assumed_voltage_v;
        out.assumptions.push_back(
            fmt::format("no [energy] in the file: energies at {:g} V, without the processor", assumed_voltage_v));
    }
    out.assumptions.push_back(
        fmt::format("differences below {:g} bytes, {:g} ms and {:g} J a day, or of margins above {:g}, "
                    "do not count",
                    bytes_floor, stall_ms_floor, energy_j_floor, margin_ceiling));
    out.assumptions.emplace_back(
        "a part's price, size, peripherals and stock are not compared; external memories without "
        "erase are judged by size, wear and stall alone");
    std::vector<std::future<std::vector<Candidate>>> by_policy; // each on a core of its own, taken in order
    by_policy.reserve(options.policies.size());
    for (const SaveChange& policy : options.policies) {
        by_policy.push_back(std::async([&] { return all_saved_so(base, catalog, options, policy); }));
    }
    for (auto& some : by_policy) { add(out.candidates, some.get()); }
    rank_counted(out);
    return out;
}

std::vector<std::string> known_ids(const Catalog& catalog) {
    std::vector<std::string> out;
    for (const Device& part : catalog.devices) { out.push_back(part.id); }
    for (const ExternalMemory& memory : catalog.externals) { out.push_back(memory.id); }
    return out;
}

} // namespace perdure
