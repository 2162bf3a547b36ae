// perdure cut: the power cut everywhere in the store of a project, as text, JSON and JUnit XML.
#include <algorithm>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <optional>
#include <ostream>
#include <thread>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <unistd.h>

#include "budget/demand.hpp"
#include "budget/findings.hpp"
#include "cli/commands.hpp"
#include "cli/cut_case.hpp"
#include "cli/cut_json.hpp"
#include "cli/cut_report.hpp"
#include "cli/files.hpp"
#include "cli/progress.hpp"
#include "cli/text.hpp"
#include "cuts/proof.hpp"
#include "dossier/dossier.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

constexpr uint64_t shard_bytes_max = 256U << 20U;

/// What was typed, checked.
struct CutOptions {
    ProofOptions proof;
    std::optional<std::string> replay; ///< "store:small-wrapped-1:a0.t1.r0"
    std::string played;                ///< those of the options that change what is played, as they were typed
    std::string junit_path;
    std::string wrong; ///< not empty: what cannot be
};

bool whole_number(std::string_view text, unsigned& to) {
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), to);
    return error == std::errc{} && end == text.data() + text.size() && !text.empty();
}

CutOptions options_of(const CommandInput& input) {
    CutOptions out;
    out.proof.threads = std::max(1U, std::thread::hardware_concurrency());
    const auto number = [&](std::string_view name, unsigned& to, unsigned least, unsigned most) {
        uint64_t value = to;
        const std::string wrong = number_option(input, name, least, most, value);
        if (!wrong.empty()) { out.wrong = wrong; }
        to = static_cast<unsigned>(value);
    };
    unsigned seconds = 0;
    number("--depth", out.proof.depth_max, 0, 2);
    number("--length", out.proof.length_max, 1, 6);
    number("--nested", out.proof.nested_saves, 1, 1'000'000);
    number("--threads", out.proof.threads, 1, 256);
    number("--seconds", seconds, 1, 1'000'000);
    out.proof.seconds_max = seconds;
    if (const auto it = input.options.find("--shard"); it != input.options.end()) {
        const size_t slash = it->second.find('/');
        unsigned shard = 0;
        const std::string_view text = it->second;
        if (slash == std::string::npos || !whole_number(text.substr(0, slash), shard) ||
            !whole_number(text.substr(slash + 1), out.proof.shards) || shard < 1 || shard > out.proof.shards ||
            out.proof.shards > shards_most) {
            out.wrong = fmt::format("--shard takes i/n with i from 1 to n, such as 2/4, and n up to {}, not '{}'",
                                    shards_most, text);
        } else {
            out.proof.shard = shard - 1;
        }
    }
    for (const std::string_view name : {"--depth", "--length", "--nested"}) {
        const auto it = input.options.find(name);
        if (it != input.options.end()) { out.played += fmt::format(" {} {}", name, it->second); }
    }
    for (const std::string_view name : {"--collateral", "--undecided", "--blank-faults"}) {
        if (input.options.contains(name)) { out.played += fmt::format(" {}", name); }
    }
    const bool replay = input.options.contains("--replay");
    if (replay && input.options.contains("--junit")) {
        out.wrong = "--replay plays one case and prints it; it does not go with --junit";
    }
    for (const auto& [name, text] : input.options) {
        if (input.options.contains("--merge") && name != "--merge" && name != "--junit") {
            out.wrong = fmt::format("--merge adds up what was found; {} does not go with it", name);
        }
        if (name == "--replay") { out.replay = text; }
        if (name == "--junit") { out.junit_path = text; }
        if (name == "--collateral") { out.proof.device.collateral = true; }
        if (name == "--undecided") { out.proof.device.undecided = true; }
        if (name == "--blank-faults") { out.proof.device.blank_faults = true; }
    }
    return out;
}

/// Progress with the time left, on a terminal only.
class CutProgress {
public:
    CutProgress(bool on, std::ostream& err) : on_(on && isatty(STDERR_FILENO) == 1), err_(err) {}
    ~CutProgress() {
        if (shown_) { err_ << '\r' << std::string(79, ' ') << '\r' << std::flush; }
    }
    void show(const std::string& part, size_t index, size_t parts, double share) {
        const auto now = std::chrono::steady_clock::now();
        if (!on_ || now - last_ < std::chrono::milliseconds(200)) { return; }
        last_ = now;
        shown_ = true;
        if (index != index_) {
            index_ = index;
            begun_ = now;
        }
        const double spent = std::chrono::duration<double>(now - begun_).count();
        const std::string left = share > 0.01 ? fmt::format("{:.0f} s left in this part", spent / share - spent)
                                              : fmt::format("{:.0f} s so far", spent);
        err_ << fmt::format("\r{:<22} part {} of {} {:4.0f} %  {:<28}", part, index + 1, parts, share * 100, left)
             << std::flush;
    }

private:
    bool on_, shown_ = false;
    std::ostream& err_;
    size_t index_ = SIZE_MAX;
    std::chrono::steady_clock::time_point begun_, last_;
};

/// The report, and the XML if it is asked for.
int finish(const std::vector<CutArea>& areas, const CommandInput& input, const CutOptions& options, std::ostream& out,
           std::ostream& err) {
    const bool all = report(areas, input.json, out);
    if (!options.junit_path.empty()) {
        errno = 0;
        std::ofstream file(options.junit_path);
        file << junit_of(areas);
        if (!file.flush()) {
            err << fmt::format("perdure: error: cannot write '{}'{}\n", options.junit_path, last_reason());
            return exit_input_wrong;
        }
    }
    return all ? exit_ok : exit_not_met;
}

/// Adds up what shards said.
int merge(const CommandInput& input, const CutOptions& options, std::ostream& out, std::ostream& err) {
    std::vector<CutArea> areas;
    for (const std::string& path : input.arguments) {
        const auto text = read_file(path, shard_bytes_max);
        if (!text) { return complain(input, text.error(), out, err); }
        const nlohmann::json json = nlohmann::json::parse(*text, nullptr, false);
        std::string wrong = json.is_discarded() ? "is no JSON that can be read" : add_shard(areas, json);
        if (!wrong.empty()) { return complain(input, fmt::format("{} {}", path, wrong), out, err); }
    }
    const std::string missing = missing_shards(areas);
    if (!missing.empty()) { return complain(input, missing, out, err); }
    return finish(areas, input, options, out, err);
}

/// --replay AREA:PART:PATH. Nothing: it is meant for another area.
std::optional<int> replay(const CommandInput& input, const CutOptions& options, const CutArea& area,
                          const std::vector<ProofPart>& parts, std::ostream& out, std::ostream& err) {
    const std::string& line = *options.replay;
    const size_t first = line.find(':');
    const size_t second = first == std::string::npos ? first : line.find(':', first + 1);
    if (second == std::string::npos) {
        return complain(input, "--replay takes AREA:PART:PATH, as it was printed", out, err);
    }
    if (line.find(' ') != std::string::npos) {
        return complain(input,
                        "--replay takes AREA:PART:PATH, as it was printed; what stands behind it are options of their "
                        "own, without quotes",
                        out, err);
    }
    if (line.substr(0, first) != area.area) { return std::nullopt; }
    const std::string name = line.substr(first + 1, second - first - 1);
    const auto part = std::find_if(parts.begin(), parts.end(), [&](const ProofPart& p) { return p.name == name; });
    if (part == parts.end()) {
        std::string names;
        for (const ProofPart& p : parts) { names += (names.empty() ? "" : ", ") + p.name; }
        return complain(
            input, fmt::format("--replay takes AREA:PART:PATH, as it was printed; parts of {}: {}", area.area, names),
            out, err);
    }
    const auto path = path_from(std::string_view(line).substr(second + 1));
    if (path.empty()) {
        return complain(
            input,
            fmt::format("--replay takes AREA:PART:PATH, as it was printed; '{}' is no path such as a0.t1.r0",
                        line.substr(second + 1)),
            out, err);
    }
    ProofPart one = *part;
    one.search.replay = path;
    const SearchResult result = run_part(one, options.proof, 0, {});
    if (!result.failure && !result.played) {
        return complain(input,
                        "the path leads to no start; it does only with the project, the options and the program that "
                        "it was found with",
                        out, err);
    }
    if (input.json) {
        nlohmann::json json = case_json(*part, result);
        json["sha256"] = area.sha256;
        out << json.dump(2) << '\n';
    } else if (result.failure) {
        print_failure(one, *result.failure, area, true, out);
    } else {
        print_case(one, *result.played, out);
    }
    return result.failure ? exit_not_met : exit_ok;
}

/// What is known of an area before it is searched; and its records.
CutArea begin_area(const Project& project, const AreaBudget& of, const CutOptions& options,
                   std::vector<const Record*>& records) {
    CutArea area;
    area.project = project.product.name;
    area.file = project.path;
    area.area = of.name;
    area.part = project.part.id;
    area.geometry = of.layout.geometry;
    area.shard = options.proof.shard + 1;
    area.shards = options.proof.shards;
    area.check_bits = 16;
    area.options = options.played;
    for (const Area& a : project.areas) {
        if (a.name == of.name) {
            records = records_of(project, a);
            area.check_bits = a.check_bits;
        }
    }
    return area;
}

/// How often each record is saved, for the mix that is played.
std::vector<double> weights_of(const Demand& demand, const std::vector<const Record*>& records) {
    std::vector<double> weights;
    for (const Record* record : records) {
        for (const RecordDemand& d : demand.records) {
            if (d.id == record->id) { weights.push_back(d.sizing_saves); }
        }
    }
    return weights;
}

} // namespace

int run_cut(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const CutOptions options = options_of(input);
    if (!options.wrong.empty()) { return complain(input, options.wrong, out, err); }
    if (!options.junit_path.empty()) {
        std::error_code ignored;
        const bool was_there = std::filesystem::exists(options.junit_path, ignored);
        errno = 0;
        if (!std::ofstream(options.junit_path, std::ios::app)) {
            return complain(input, fmt::format("cannot write '{}'{}", options.junit_path, last_reason()), out, err);
        }
        if (!was_there) { std::filesystem::remove(options.junit_path, ignored); } // until there is something to say
    }
    if (input.options.contains("--merge")) { return merge(input, options, out, err); }
    if (input.arguments.size() != 1) { return complain(input, "cut takes one project file", out, err); }
    const ProjectFile file = load_project_file(input.arguments.front());
    const auto& project = file.project;
    if (!project) { return complain(input, project.error(), out, err); }
    const auto budget = make_budget(*project);
    if (!budget) { return complain(input, *project, budget.error(), out, err); }
    const Demand demand = demand_of(*project);
    std::vector<CutArea> areas;
    const auto begun = std::chrono::steady_clock::now();
    for (const AreaBudget& of : budget->areas) {
        if (!of.laid_out) {
            return complain(input,
                            fmt::format("area {} cannot be laid out; see perdure budget {}", of.name, project->path),
                            out, err);
        }
        std::vector<const Record*> records;
        CutArea area = begin_area(*project, of, options, records);
        area.sha256 = file.sha256;
        ProofOptions proof = options.proof;
        if (proof.seconds_max > 0) { // what is left, shared by the areas that are left
            const std::chrono::duration<double> spent = std::chrono::steady_clock::now() - begun;
            proof.seconds_max =
                std::max(0.1, (proof.seconds_max - spent.count()) / double(budget->areas.size() - areas.size()));
        }
        const std::vector<ProofPart> parts = plan_proof(
            {of.layout, records, weights_of(demand, records), area.check_bits, project->product.lazy_start}, proof);
        if (options.replay) {
            if (const auto code = replay(input, options, area, parts, out, err)) { return *code; }
            continue;
        }
        std::vector<PartResult> results;
        {
            CutProgress bar(!input.json, err);
            ProgressLines lines(input.options.contains("--progress"), err);
            proof.progress = [&](size_t part, double share) {
                bar.show(parts[part].name, part, parts.size(), share);
                const double of_area = (static_cast<double>(part) + share) / static_cast<double>(parts.size());
                lines.show((static_cast<double>(areas.size()) + of_area) / static_cast<double>(budget->areas.size()));
            };
            results = run_proof(parts, proof);
        }
        for (size_t i = 0; i < results.size(); i++) {
            area.parts.push_back(
                {parts[i].name, parts[i].about, parts[i].search.depth, results[i].result, results[i].seconds});
        }
        areas.push_back(std::move(area));
        if (results.back().result.failure && !input.json) {
            print_failure(parts[results.size() - 1], *results.back().result.failure, areas.back(), false, out);
        }
    }
    if (options.replay) {
        return complain(input, fmt::format("--replay names an area that {} does not have", project->path), out, err);
    }
    return finish(areas, input, options, out, err);
}

} // namespace perdure
