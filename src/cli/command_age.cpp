#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <optional>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <unistd.h>

#include "budget/findings.hpp"
#include "budget/search.hpp"
#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/progress.hpp"
#include "cli/text.hpp"
#include "dossier/dossier.hpp"
#include "life/agree.hpp"
#include "life/life.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

struct AgedArea {
    const AreaBudget* budget = nullptr;
    std::vector<const Record*> records;
    LifeResult life;
    Agreement agreement;
    std::vector<DemandCount> demand;
    std::vector<StallCheck> stalls;
    double wall_s = 0;
    double allowed = 0; ///< erases a block may take
    bool energy_known = false;

    /// No log was found with fewer samples than it is to keep.
    [[nodiscard]] bool logs_kept() const {
        for (size_t i = 0; i < records.size(); i++) {
            const std::optional<uint64_t> kept = life.records[i].log_kept_min;
            if (records[i]->has_log_entries() && kept && *kept < records[i]->log->depth_samples) { return false; }
        }
        return true;
    }
    [[nodiscard]] bool holds() const {
        return logs_kept() && life.failure.empty() && life.mismatches() == 0 && agreement.within() && demand_agrees() &&
               stalls_hold() && life.erases_max <= allowed;
    }
    [[nodiscard]] bool stalls_hold() const {
        return std::all_of(stalls.begin(), stalls.end(), [](const StallCheck& stall) { return stall.holds(); });
    }
    [[nodiscard]] bool demand_agrees() const {
        return std::all_of(demand.begin(), demand.end(), [](const DemandCount& count) { return count.agrees(); });
    }
};

/// A bar on the terminal while the run lasts; nothing where the output is not a terminal.
class LifeProgress {
public:
    explicit LifeProgress(bool on) : on_(on && isatty(STDERR_FILENO) == 1) {}
    void show(double share, std::ostream& err) {
        if (!on_) { return; }
        const int filled = static_cast<int>(share * 40);
        err << fmt::format("\r[{:<40}] {:3.0f} %", std::string(static_cast<size_t>(filled), '#'), share * 100)
            << std::flush;
    }
    void clear(std::ostream& err) {
        if (on_) { err << '\r' << std::string(50, ' ') << '\r' << std::flush; }
    }

private:
    bool on_;
};

std::optional<uint64_t> number(const CommandInput& input, std::string_view name, uint64_t otherwise) {
    const auto it = input.options.find(name);
    if (it == input.options.end()) { return otherwise; }
    uint64_t value = 0;
    const auto [end, error] = std::from_chars(it->second.data(), it->second.data() + it->second.size(), value);
    if (error != std::errc{} || end != it->second.data() + it->second.size()) { return std::nullopt; }
    return value;
}

std::string with_groups(double value) {
    std::string digits = fmt::format("{:.0f}", value);
    for (size_t at = digits.size(); at > 3;) { digits.insert(at -= 3, ","); }
    return digits;
}

nlohmann::json json_of(const AgedArea& area) {
    const LifeResult& life = area.life;
    nlohmann::json out{{"area", area.budget->name},
                       {"holds", area.holds()},
                       {"whole_life", life.whole_life},
                       {"extended", life.extended},
                       {"simulated_share", life.simulated_share},
                       {"saves", life.saves},
                       {"starts", life.starts},
                       {"blocks", area.budget->layout.geometry.ring_blocks},
                       {"erases_per_block", life.erases_per_block},
                       {"erases_mean", life.erases_mean},
                       {"erases_max", life.erases_max},
                       {"erases_allowed", area.allowed},
                       {"write_amplification", life.write_amplification},
                       {"units_programmed", life.programs},
                       {"put_longest_ms", life.put_longest_ms},
                       {"service_longest_ms", life.service_longest_ms},
                       {"open_longest_ms", life.open_longest_ms},
                       {"busy_s", life.busy_s},
                       {"energy_j", area.energy_known ? nlohmann::json(life.energy_j) : nlohmann::json()},
                       {"mismatches", life.mismatches()},
                       {"failure", life.failure},
                       {"wall_s", area.wall_s},
                       {"budget",
                        {{"erases_predicted", area.agreement.predicted},
                         {"erases_observed", area.agreement.observed},
                         {"difference", area.agreement.difference},
                         {"allowed", area.agreement.allowed},
                         {"erases_predicted_max", area.agreement.predicted_max},
                         {"erases_observed_max", area.agreement.observed_max},
                         {"agrees", area.agreement.agrees()},
                         {"within", area.agreement.within()}}}};
    const auto maybe = [](const auto& value) { return value ? nlohmann::json(*value) : nlohmann::json(); };
    for (const StallCheck& stall : area.stalls) {
        out["stalls"].push_back({{"call", stall.call},
                                 {"run_ms", stall.run_ms},
                                 {"budget_ms", maybe(stall.budget_ms)},
                                 {"asked_ms", maybe(stall.asked_ms)},
                                 {"holds", stall.holds()}});
    }
    for (const DemandCount& count : area.demand) {
        out["demand"].push_back(
            {{"name", count.name}, {"budgeted", count.budgeted}, {"run", count.run}, {"agrees", count.agrees()}});
    }
    for (size_t i = 0; i < area.records.size(); i++) {
        out["records"].push_back({{"name", area.records[i]->name},
                                  {"saves", life.records[i].saves},
                                  {"checked", life.records[i].checked},
                                  {"mismatches", life.records[i].mismatches},
                                  {"log_kept_min", maybe(life.records[i].log_kept_min)},
                                  {"log_erases", life.records[i].log_erases},
                                  {"log_watched", life.records[i].log_watched}});
    }
    return out;
}

void print_wear(const AgedArea& area, std::ostream& out) {
    constexpr size_t shown_max = 16;
    const auto& erases = area.life.erases_per_block;
    for (size_t i = 0; i < std::min(erases.size(), shown_max); i++) {
        const double share = std::min(1.0, area.allowed > 0 ? erases[i] / area.allowed : 0);
        out << fmt::format("  block {:>3} {:>9} erases |{:<40}|\n", i, with_groups(erases[i]),
                           std::string(static_cast<size_t>(std::lround(share * 40)), '='));
    }
    if (erases.size() > shown_max) { out << fmt::format("  and {} more blocks\n", erases.size() - shown_max); }
    out << fmt::format("  {:>36}{:>40}\n", "", fmt::format("full bar: {} allowed", with_groups(area.allowed)));
}

/// The figures a run rests on that have no document behind them: "program_bytes, vdd_max".
std::string from_memory(const Device& part) {
    std::string out;
    for (const char* column : {"erase_layout", "program_bytes", "erased_value", "endurance_cycles", "erase_ms_max",
                               "erase_ms_typ", "program_us_max", "program_us_typ", "program_ma", "vdd_max"}) {
        if (part.source_of(column).from_memory) { out += (out.empty() ? "" : ", ") + std::string(column); }
    }
    return out;
}

std::string show_ms(double ms) {
    return ms < 1000 ? fmt::format("{:.3g} ms", ms) : with_groups(ms) + " ms";
}

/// "put: 0.5 ms, at most 0.532 ms budgeted, 10 ms asked: holds".
std::string text_of(const StallCheck& stall) {
    const std::string asked = stall.asked_ms ? fmt::format(", {} asked", show_ms(*stall.asked_ms)) : "";
    if (!stall.budget_ms) {
        return fmt::format("{}: the part's times are not known{}{}", stall.call, asked,
                           stall.holds() ? "" : ": DOES NOT HOLD");
    }
    return fmt::format("{}: {}, at most {} budgeted{}: {}", stall.call, show_ms(stall.run_ms),
                       show_ms(*stall.budget_ms), asked,
                       stall.holds()    ? "holds"
                       : stall.agrees() ? "LONGER THAN ASKED"
                                        : "LONGER THAN BUDGETED");
}

void print_records(const AgedArea& area, std::ostream& out) {
    const LifeResult& life = area.life;
    for (size_t i = 0; i < area.records.size(); i++) {
        out << fmt::format("    {:<24}{:>14} saves {:>14} read back\n", area.records[i]->name,
                           with_groups(double(life.records[i].saves)), with_groups(double(life.records[i].checked)));
        if (!area.records[i]->has_log_entries()) { continue; }
        const LifeRecordResult& log = life.records[i];
        const std::string text =
            log.log_kept_min
                ? fmt::format("a log: never fewer than {} samples right after an erase, {} asked; read after {} of {} "
                              "erases",
                              with_groups(double(*log.log_kept_min)),
                              with_groups(double(area.records[i]->log->depth_samples)),
                              with_groups(double(log.log_watched)), with_groups(double(log.log_erases)))
                : "a log: no block of samples was erased in this run, so how many it keeps was not seen";
        out << "      " << wrapped(text, 6, 6) << '\n';
    }
}

/// The budget's wear and demand against the run's.
void print_agreement(const AgedArea& area, std::ostream& out) {
    out << fmt::format("  budget {:.2f} erases a block, run {:.2f}: {:.2f} % apart,\n    {} (limit {:.2f} %)\n",
                       area.agreement.predicted, area.agreement.observed, area.agreement.difference * 100,
                       area.agreement.agrees()   ? "they agree"
                       : area.agreement.within() ? "the run spent less"
                                                 : "THEY DISAGREE",
                       area.agreement.allowed * 100);
    if (!area.agreement.worst_agrees()) {
        out << fmt::format("  MOST WORN BLOCK {} erases, {} budgeted\n", with_groups(area.agreement.observed_max),
                           with_groups(area.agreement.predicted_max));
    }
    for (const DemandCount& count : area.demand) {
        if (count.agrees()) { continue; }
        out << "  "
            << wrapped(fmt::format("DEMAND DISAGREES: {}: {} budgeted, {} run", count.name, with_groups(count.budgeted),
                                   with_groups(count.run)),
                       2, 2)
            << '\n';
    }
}

void print_text(const Project& project, const AgedArea& area, std::ostream& out) {
    const LifeResult& life = area.life;
    const FlashGeometry& geometry = area.budget->layout.geometry;
    out << fmt::format("{}, area {}: {} after {:.4g} years{}\n", project.product.name, area.budget->name,
                       area.holds() ? "holds" : "DOES NOT HOLD", project.product.life_years,
                       life.extended ? " (extended, see below)" : "");
    const std::string memory = from_memory(project.part);
    if (!memory.empty()) { out << "  " << wrapped("FROM MEMORY, check before use: " + memory, 2, 2) << '\n'; }
    if (!life.failure.empty()) { out << "  " << wrapped("failure: " + life.failure, 2, 2) << '\n'; }
    if (life.extended) {
        out << "  "
            << wrapped(
                   fmt::format(
                       "The fast way: {:.3g} % of the life was run, whole turns of the ring; the erases of the most "
                       "worn block and the mean are extended at the rate of those turns, the first ones left "
                       "out. All else is what was run.",
                       life.simulated_share * 100),
                   2, 2)
            << '\n';
    }
    out << fmt::format("  {} ring blocks of {} units of {} B on {}\n", geometry.ring_blocks,
                       geometry.units_per_ring_block(), geometry.unit_bytes, project.part.id);
    out << fmt::format("  {} saves and {} starts run, each read back: {} wrong\n", with_groups(double(life.saves)),
                       with_groups(double(life.starts)), life.mismatches());
    const bool totals = std::any_of(area.records.begin(), area.records.end(),
                                    [](const Record* record) { return record->kind == RecordKind::total; });
    if (totals) { out << "  (a total after a save from the store's copy in RAM, after a start from flash)\n"; }
    print_records(area, out);
    out << fmt::format("  most worn block {} erases of {} allowed (mean {:.1f})\n", with_groups(life.erases_max),
                       with_groups(area.allowed), life.erases_mean);
    print_wear(area, out);
    out << fmt::format("  write amplification {:.3f} (bytes programmed per payload byte saved)\n",
                       life.write_amplification);
    out << fmt::format("  longest put {:.3g} ms, service step {:.3g} ms, open {:.3g} ms\n", life.put_longest_ms,
                       life.service_longest_ms, life.open_longest_ms);
    out << "  "
        << wrapped("(programming and erasing at the part's maximum times; reading and the processor's own time not "
                   "counted)",
                   2, 2)
        << '\n';
    for (const StallCheck& stall : area.stalls) { out << "  " << wrapped(text_of(stall), 2, 2) << '\n'; }
    out << fmt::format("  programming and erasing {:.4g} s, {}\n", life.busy_s,
                       area.energy_known ? fmt::format("{:.3g} J at {:.3g} mA", life.energy_j, *project.part.program_ma)
                                         : "energy not known: needs program_ma and vdd_max");
    print_agreement(area, out);
    out << fmt::format("  {:.2f} s, {:.1f} million saves a second\n", area.wall_s,
                       area.wall_s > 0 ? double(life.saves) / area.wall_s / 1e6 : 0);
}

/// Runs one area's life and holds it against its budget.
AgedArea age_area(const Project& project, const AreaBudget& area, const LifeOptions& options) {
    AgedArea out;
    out.budget = &area;
    for (const Area& of : project.areas) {
        if (of.name == area.name) { out.records = records_of(project, of); }
    }
    out.allowed = erases_spendable(project) / project.requirements.margin_min;
    out.energy_known = project.part.program_ma && project.part.vdd_max_v;
    const LifeDemand demand = sizing_demand(project, out.records);
    const auto begin = std::chrono::steady_clock::now();
    out.life = live(area.layout, out.records, flash_costs(project.part), demand, options);
    out.wall_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    out.agreement = agree(area.layout, demand, options, out.life);
    out.stalls = compare_stalls(area.latency, project.requirements, options, out.life);
    if (out.life.failure.empty()) { out.demand = compare_demand(demand_of(project), out.records, out.life); }
    return out;
}

} // namespace

int run_age(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const ProjectFile file = load_project_file(input.arguments.front());
    const auto& project = file.project;
    if (!project) { return complain(input, project.error(), out, err); }
    const auto seed = number(input, "--seed", 1);
    const auto turns = number(input, "--turns", 0);
    if (!seed || !turns) { return complain(input, "--seed and --turns take a whole number", out, err); }
    const auto budget = make_budget(*project);
    if (!budget) { return complain(input, *project, budget.error(), out, err); }
    LifeOptions options;
    options.seed = *seed;
    options.turns_max = *turns;
    options.service = !input.options.contains("--no-service");
    bool holds = true;
    nlohmann::json areas = nlohmann::json::array();
    double areas_done = -1;
    for (const AreaBudget& area : budget->areas) {
        areas_done++;
        if (!area.laid_out) {
            const std::string text = fmt::format("cannot be laid out; see perdure budget {}", project->path);
            if (!input.json) { err << fmt::format("perdure: area {} {}\n", area.name, text); }
            areas.push_back({{"area", area.name}, {"holds", false}, {"failure", text}});
            holds = false;
            continue;
        }
        LifeProgress bar(!input.json);
        ProgressLines lines(input.options.contains("--progress"), err);
        options.progress = [&](double share) {
            bar.show(share, err);
            lines.show((areas_done + share) / static_cast<double>(budget->areas.size()));
        };
        const AgedArea aged = age_area(*project, area, options);
        bar.clear(err);
        holds = holds && aged.holds();
        if (input.json) {
            areas.push_back(json_of(aged));
        } else {
            print_text(*project, aged, out);
        }
    }
    if (input.json) {
        out << nlohmann::json{{"project", project->product.name},
                              {"sha256", file.sha256},
                              {"holds", holds},
                              {"from_memory", from_memory(project->part)},
                              {"areas", areas}}
                   .dump(2)
            << '\n';
    }
    return holds ? exit_ok : exit_not_met;
}

} // namespace perdure
