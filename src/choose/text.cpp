#include "choose/text.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/wear.hpp"

namespace perdure {

namespace {

constexpr size_t columns = 80;

void add_words(std::string& out, const std::string& words, size_t indent, size_t hang) {
    std::string line(indent, ' ');
    size_t used = 0;
    for (size_t at = 0; at < words.size();) {
        const size_t end = std::min(words.find(' ', at), words.size());
        const std::string word = words.substr(at, end - at);
        if (used > 0 && line.size() + 1 + word.size() > columns) {
            out += line + '\n';
            line.assign(hang, ' ');
            used = 0;
        }
        line += (used > 0 ? " " : "") + word;
        ++used;
        at = end + 1;
    }
    out += line + '\n';
}

std::string short_number(std::optional<double> value) {
    if (!value || !std::isfinite(*value)) { return "-"; }
    if (*value >= 1e6) { return *value >= 1e9 ? ">1e9" : fmt::format("{:.1e}", *value); }
    return *value >= 1000 ? fmt::format("{:.0f}", *value) : fmt::format("{:.3g}", *value);
}

std::string label(const Candidate& candidate) {
    const std::string change = words_of(candidate.policy);
    return change.empty() ? candidate.id : candidate.id + ' ' + change;
}

void add_row(std::string& out, const Candidate& candidate, const char* mark) {
    const std::string name = label(candidate);
    std::string marks = fmt::format("{}{}{}", candidate.from_memory.empty() ? "" : "m", candidate.reckoned() ? "r" : "",
                                    candidate.bus_not_counted ? "b" : "");
    if (!marks.empty()) { marks.insert(0, 1, ' '); }
    const std::string figures =
        fmt::format("{:>7}{:>10}{:>9}{:>10}{:>10}{:>8}{}\n",
                    candidate.ring_blocks > 0 ? fmt::format("{}", candidate.ring_blocks) : "-", candidate.bytes,
                    short_number(candidate.margin), short_number(candidate.stall_ms), short_number(candidate.energy_j),
                    fmt::format("{:.2f}", candidate.score), marks);
    out += name.size() > 20 ? fmt::format("{:<2}{}\n{:22}{}", mark, name, "", figures)
                            : fmt::format("{:<2}{:<20}{}", mark, name, figures);
}

std::string joined(const std::vector<std::string>& words) {
    std::string out;
    for (const std::string& word : words) { out += (out.empty() ? "" : ", ") + word; }
    return out;
}

void add_verdict(std::string& out, const Choice& choice) {
    const auto& all = choice.candidates;
    if (!choice.winner) {
        add_words(out, fmt::format("{}: no candidate holds on documented figures alone.", choice.project), 0, 2);
    } else {
        const Candidate& best = all[*choice.winner];
        add_words(out,
                  fmt::format("{}: {} with {} ring blocks, {} bytes, margin {}.", choice.project, label(best),
                              best.ring_blocks, best.bytes, short_number(best.margin)),
                  0, 2);
    }
    if (choice.second) {
        const Candidate& second = all[*choice.second];
        add_words(out,
                  fmt::format("second source with another geometry: {} ({}), blocks of {} bytes, units of {}: {}",
                              label(second), second.maker, second.block_bytes, second.unit_bytes, second.behind),
                  2, 4);
    } else {
        add_words(out, "second source with another geometry: none holds on documented figures", 2, 4);
    }
    std::set<std::string> told;
    for (const size_t index : choice.passed_over) {
        const Candidate& candidate = all[index];
        if (!told.insert(candidate.id).second) { continue; }
        add_words(out,
                  fmt::format("{} ranks higher, but rests on figures FROM MEMORY: {}", label(candidate),
                              joined(candidate.from_memory)),
                  2, 4);
    }
}

/// What the marks mean, of those that occur among `all`.
void add_legend(std::string& out, const std::vector<Candidate>& all) {
    const auto when = [&](auto&& occurs, const std::string& words) {
        if (std::any_of(all.begin(), all.end(), occurs)) { add_words(out, words, 0, 2); }
    };
    when([](const Candidate& one) { return one.holds; },
         "> the choice; * on the front: nothing else is as good in all and better in one");
    when([](const Candidate& one) { return one.holds && !one.from_memory.empty(); }, "m  rests on figures from memory");
    when([](const Candidate& one) { return one.reckoned(); },
         fmt::format("r  starts reckoned, not counted: wear up to {:.0f} % off", reckoned_off_much * 100));
    when([](const Candidate& one) { return one.holds && one.bus_not_counted; },
         "b  the time on the bus is not counted");
    when([](const Candidate& one) { return one.policy.stretch != 1; }, "/N  periodic saves N times as far apart");
    when([](const Candidate& one) { return one.policy.batch.has_value(); }, "batchN  N samples an entry of a log");
    when([](const Candidate& one) { return one.policy.lazy_start; },
         "lazy  starts program nothing before the first put");
    when([](const Candidate& one) { return one.holds; }, "stall: longest put, service called in time");
}

void add_table(std::string& out, const Choice& choice, bool every) {
    out += fmt::format("\n{:<22}{:>7}{:>10}{:>9}{:>10}{:>10}{:>8}\n", "holds", "blocks", "bytes", "margin", "stall ms",
                       "J a day", "score");
    std::set<std::string> shown;
    size_t hidden = 0;
    for (size_t i = 0; i < choice.candidates.size(); ++i) {
        const Candidate& candidate = choice.candidates[i];
        if (!candidate.holds) { break; }
        const bool winner = choice.winner == i;
        if (!every && !shown.insert(label(candidate)).second && !winner) {
            ++hidden;
            continue;
        }
        shown.insert(label(candidate));
        add_row(out, candidate, winner ? ">" : candidate.on_front ? "*" : "");
        if (!candidate.behind.empty()) { add_words(out, candidate.behind, 4, 4); }
    }
    if (shown.empty()) { out += "  none\n"; }
    add_legend(out, choice.candidates);
    if (hidden > 0) { add_words(out, fmt::format("{} more layouts of these hold: --all shows them", hidden), 0, 0); }
}

void add_losers(std::string& out, const Choice& choice, bool every) {
    std::map<std::string, std::vector<std::string>> by_reason;
    std::vector<std::string> order;
    for (const Candidate& candidate : choice.candidates) {
        if (candidate.holds) { continue; }
        const std::string reason = candidate.reasons.empty() ? "no reason"
                                   : every                   ? joined(candidate.reasons)
                                                             : candidate.reasons.front();
        auto& names = by_reason[reason];
        if (names.empty()) { order.push_back(reason); }
        const std::string name = label(candidate) + (candidate.reckoned() ? " (r)" : "");
        if (std::find(names.begin(), names.end(), name) == names.end()) { names.push_back(name); }
    }
    if (order.empty()) { return; }
    out += "\ndoes not hold\n";
    for (const std::string& reason : order) {
        add_words(out, fmt::format("{}: {}", joined(by_reason[reason]), reason), 2, 4);
    }
}

nlohmann::json json_of(const Candidate& candidate) {
    static constexpr const char* kinds[] = {"own", "part", "external"};
    const auto maybe = [](const std::optional<double>& value) {
        return value && std::isfinite(*value) ? nlohmann::json(*value) : nlohmann::json(nullptr);
    };
    return {{"id", candidate.id},
            {"kind", kinds[static_cast<size_t>(candidate.kind)]},
            {"maker", candidate.maker},
            {"stretch", candidate.policy.stretch},
            {"batch", candidate.policy.batch ? nlohmann::json(*candidate.policy.batch) : nlohmann::json(nullptr)},
            {"lazy_start", candidate.policy.lazy_start},
            {"policy", words_of(candidate.policy)},
            {"ring_blocks", candidate.ring_blocks},
            {"ring_block_bytes", candidate.block_bytes},
            {"unit_bytes", candidate.unit_bytes},
            {"bytes", candidate.bytes},
            {"margin", maybe(candidate.margin)},
            {"stall_ms", maybe(candidate.stall_ms)},
            {"energy_j_a_day", maybe(candidate.energy_j)},
            {"longest_between_saves_s", candidate.loss_s},
            {"holds", candidate.holds},
            {"reasons", candidate.reasons},
            {"from_memory", candidate.from_memory},
            {"note", candidate.note},
            {"reckoned", candidate.reckoned()},
            {"bus_not_counted", candidate.bus_not_counted},
            {"on_front", candidate.on_front},
            {"score", candidate.holds ? nlohmann::json(candidate.score) : nlohmann::json(nullptr)},
            {"behind", candidate.behind}};
}

} // namespace

std::string choice_text(const Choice& choice, bool all) {
    std::string out;
    add_verdict(out, choice);
    add_table(out, choice, all);
    add_losers(out, choice, all);
    const Weights& weights = choice.weights;
    out += '\n';
    add_words(
        out,
        fmt::format("score: weighted mean of how many times worse than the best (flash {:g}, life {:g}, stall {:g}, "
                    "energy {:g}, loss {:g}); what is not known counts as the worst",
                    weights.flash, weights.life, weights.stall, weights.energy, weights.loss),
        0, 2);
    for (const std::string& assumption : choice.assumptions) { add_words(out, "assumed: " + assumption, 0, 2); }
    add_words(out,
              "Check every figure against the data sheet of the very part. Local codes and licensed practice come "
              "first where people may be harmed.",
              0, 2);
    return out;
}

nlohmann::json choice_json(const Choice& choice) {
    nlohmann::json out;
    out["project"] = choice.project;
    const auto id_or_null = [](const std::optional<size_t>& index) {
        return index ? nlohmann::json(*index) : nlohmann::json(nullptr);
    };
    out["winner"] = id_or_null(choice.winner);
    out["second"] = id_or_null(choice.second);
    out["passed_over"] = choice.passed_over;
    out["weights"] = {{"flash", choice.weights.flash},
                      {"life", choice.weights.life},
                      {"stall", choice.weights.stall},
                      {"energy", choice.weights.energy},
                      {"loss", choice.weights.loss}};
    out["assumptions"] = choice.assumptions;
    out["candidates"] = nlohmann::json::array();
    for (const Candidate& candidate : choice.candidates) { out["candidates"].push_back(json_of(candidate)); }
    return out;
}

} // namespace perdure
