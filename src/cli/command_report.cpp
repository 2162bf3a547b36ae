// perdure report: everything that is known of a project as one HTML file for a review.
#include <fstream>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "choose/choose.hpp"
#include "choose/text.hpp"
#include "cli/commands.hpp"
#include "cli/cut_json.hpp"
#include "cli/files.hpp"
#include "dossier/dossier.hpp"
#include "dossier/report.hpp"

namespace perdure {
namespace {

bool is_cut_result(const nlohmann::json& json) {
    std::vector<CutArea> areas;
    return add_shard(areas, json).empty();
}

/// The JSON result of another command; null where the option was not given. Empty text, or what is wrong.
std::string read_run(const CommandInput& input, std::string_view option, nlohmann::json& to) {
    const auto path = option_of(input, option);
    if (!path) { return {}; }
    const auto text = read_file(*path);
    if (!text) { return fmt::format("{}: {}", option, text.error()); }
    to = nlohmann::json::parse(*text, nullptr, false);
    const std::string command(option.substr(2));
    const bool fits = !to.is_discarded() && to.is_object() && to.contains("holds") && to.contains("areas") &&
                      (command == "cut" ? is_cut_result(to) : age_problem(to).empty());
    if (!fits) { return fmt::format("{}: '{}' is no result of perdure {} FILE --json", option, *path, command); }
    return {};
}

} // namespace

int run_report(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto to = option_of(input, "-o");
    if (!to) { return complain(input, "report needs -o OUT.html", out, err); }
    Runs runs;
    for (const auto& [option, run] : {std::pair{"--age", &runs.age}, std::pair{"--cut", &runs.cut}}) {
        if (const std::string wrong = read_run(input, option, *run); !wrong.empty()) {
            return complain(input, wrong, out, err);
        }
    }
    const ProjectFile file = load_project_file(input.arguments.front());
    if (!file.project) { return complain(input, file.project.error(), out, err); }
    if (!option_of(input, "--no-choice")) {
        runs.choice = choice_json(choose(*file.project, catalog(), {}));
        runs.choice["sha256"] = file.sha256;
    }
    DossierOptions options;
    options.version = PERDURE_VERSION;
    options.made = date_now();
    const nlohmann::json dossier = dossier_json(file, runs, options);
    if (!dossier["refused"].is_null()) {
        return complain(input, dossier["refused"]["text"].get<std::string>(), out, err);
    }
    const std::string_view page = embedded_page("report.html");
    if (page.empty()) { return complain(input, std::string(no_page()), out, err); }
    const std::string html = report_html(page, dossier);
    if (const std::string wrong = write_file(*to, html); !wrong.empty()) { return complain(input, wrong, out, err); }
    const bool holds = dossier["holds"].get<bool>();
    if (input.json) {
        nlohmann::json said = dossier;
        said["report"] = *to;
        out << said.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    } else {
        out << fmt::format("{}: {}\n  {}, {} bytes\n", dossier["budget"]["project"].get<std::string>(),
                           holds ? "every requirement holds" : "DOES NOT HOLD", *to, with_groups(html.size()));
        for (const nlohmann::json& risk : dossier["risks"]) { out << "  open: " << risk.get<std::string>() << '\n'; }
    }
    return holds ? exit_ok : exit_not_met;
}

} // namespace perdure
