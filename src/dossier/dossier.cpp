#include "dossier/dossier.hpp"

#include <array>
#include <fstream>
#include <iterator>

#include <fmt/format.h>
#include <sha256.h>

#include "budget/coarse.hpp"
#include "budget/text.hpp"
#include "dossier/curves_json.hpp"
#include "dossier/part_figures.hpp"
#include "dossier/project_json.hpp"
#include "project/read.hpp"

namespace perdure {

std::string sha256_of(std::string_view bytes) {
    std::array<char, SHA256_DIGEST_STRING_LENGTH> out{};
    SHA256Data(reinterpret_cast<const uint8_t*>(bytes.data()), bytes.size(), out.data());
    return out.data();
}

ProjectFile project_file_of(std::string text, const std::string& path) {
    std::string hash = sha256_of(text);
    auto project = read_project(text, path, catalog());
    return {path, std::move(text), std::move(hash), std::move(project)};
}

ProjectFile load_project_file(const std::string& path) {
    constexpr std::streamsize bytes_max = 1 << 20;
    std::ifstream file(path, std::ios::binary);
    std::string text(size_t{bytes_max} + 1, '\0');
    if (file) { file.read(text.data(), bytes_max + 1); }
    if (file.bad() || !file.eof()) { return {path, "", "", load_project(path, catalog())}; } // says what is wrong
    text.resize(static_cast<size_t>(file.gcount()));
    return project_file_of(std::move(text), path);
}

bool is_of(const nlohmann::json& run, const ProjectFile& file) {
    const auto hash = run.is_object() ? run.find("sha256") : run.end();
    return run.is_object() && hash != run.end() && hash->is_string() && hash->get<std::string>() == file.sha256;
}

std::string age_problem(const nlohmann::json& run) {
    if (!run.is_object() || !run.contains("areas") || !run["areas"].is_array()) { return "no areas"; }
    for (const nlohmann::json& area : run["areas"]) {
        if (!area.is_object() || !area.value("area", nlohmann::json()).is_string()) { return "an area without a name"; }
        if (!area.value("failure", nlohmann::json()).is_string()) { return "no failure"; }
        if (!area.contains("saves")) { continue; } // could not be laid out
        for (const char* number : {"saves", "starts", "erases_mean", "erases_max", "erases_allowed", "mismatches",
                                   "write_amplification", "put_longest_ms", "busy_s"}) {
            if (!area.value(number, nlohmann::json()).is_number()) { return fmt::format("no {}", number); }
        }
        for (const char* list : {"records", "erases_per_block"}) {
            if (!area.value(list, nlohmann::json()).is_array()) { return fmt::format("no {}", list); }
        }
        for (const nlohmann::json& record : area["records"]) {
            if (!record.is_object() || !record.value("name", nlohmann::json()).is_string()) { return "no record name"; }
        }
        const nlohmann::json budget = area.value("budget", nlohmann::json());
        if (!budget.is_object() || !budget.value("difference", nlohmann::json()).is_number()) { return "no budget"; }
    }
    return {};
}

namespace {

nlohmann::json run_json(const nlohmann::json& run, const ProjectFile& file) {
    if (run.is_null()) { return nullptr; }
    return {{"of_this_file", is_of(run, file)}, {"result", run}};
}

} // namespace

nlohmann::json dossier_json(const ProjectFile& file, const Runs& runs, const DossierOptions& options) {
    nlohmann::json out{{"perdure", options.version},
                       {"made", options.made},
                       {"coarse", options.coarse},
                       {"file", {{"path", file.path}, {"sha256", file.sha256}, {"text", file.text}}},
                       {"holds", false},
                       {"errors", nlohmann::json::array()},
                       {"refused", nullptr}};
    if (!file.project) {
        out["errors"] = diagnostics_json(file.project.error());
        return out;
    }
    const Project& project = *file.project;
    out["project"] = project_json(project);
    out["part"] = part_json(project.part);
    const auto budget = options.coarse ? make_coarse_budget(project) : make_budget(project);
    if (!budget) {
        out["refused"] = {{"text", budget.error().text}, {"line", project.part_place.line}};
        return out;
    }
    out["holds"] = budget->holds();
    out["budget"] = budget_json(*budget);
    out["curves"] = curves_json(project, *budget, options.what_if_points);
    out["runs"] = {{"age", run_json(runs.age, file)},
                   {"cut", run_json(runs.cut, file)},
                   {"choice", run_json(runs.choice, file)},
                   {"sensitivity", run_json(runs.sensitivity, file)}};
    const Remarks remarks = remarks_of(file, *budget, runs);
    out["risks"] = remarks.risks;
    out["assumptions"] = remarks.assumptions;
    out["cautions"] = remarks.cautions;
    out["commands"] = remarks.commands;
    out["text"] = budget_text(*budget);
    return out;
}

} // namespace perdure
