// What a reviewer has to know beside the figures, in words.
#include <algorithm>

#include <fmt/format.h>

#include "dossier/dossier.hpp"
#include "dossier/part_figures.hpp"
#include "dossier/project_json.hpp"

namespace perdure {
namespace {

void add_once(std::vector<std::string>& to, std::string text) {
    if (std::find(to.begin(), to.end(), text) == to.end()) { to.push_back(std::move(text)); }
}

std::string title_of(const Finding& finding, const Budget& budget) {
    return budget.areas.size() > 1 && !finding.area.empty() ? fmt::format("{} ({})", finding.name, finding.area)
                                                            : finding.name;
}

bool flag(const nlohmann::json& json, const char* key) {
    const auto found = json.find(key);
    return found != json.end() && found->is_boolean() && found->get<bool>();
}

void add_finding_risks(const Budget& budget, std::vector<std::string>& out) {
    std::string not_asked;
    for (const Finding& finding : budget.findings) {
        const std::string title = title_of(finding, budget);
        if (finding.status == FindingStatus::fails) {
            out.push_back(fmt::format("{} does not hold: {:.4g} needed, {:.4g} there ({}).", title, finding.need,
                                      finding.have, finding.unit));
        } else if (finding.status == FindingStatus::unknown) {
            out.push_back(fmt::format("{} is not known: {}.", title, finding.note));
        } else if (finding.status == FindingStatus::informs) {
            not_asked += (not_asked.empty() ? "" : ", ") + title;
        }
    }
    if (!not_asked.empty()) {
        out.push_back(fmt::format("No limit is stated for, so nothing is judged: {}.", not_asked));
    }
}

void add_age_risks(const ProjectFile& file, const nlohmann::json& age, std::vector<std::string>& out) {
    if (age.is_null()) {
        out.emplace_back("The life was not run on the real store; the wear is by formula alone.");
        return;
    }
    if (!is_of(age, file)) { out.emplace_back("The life run is of another state of the project file."); }
    if (!flag(age, "holds")) { out.emplace_back("The life run does not hold."); }
}

void add_cut_risks(const ProjectFile& file, const nlohmann::json& cut, std::vector<std::string>& out) {
    if (cut.is_null()) {
        out.emplace_back("The power-cut proof was not run for this project.");
        return;
    }
    if (!is_of(cut, file)) { out.emplace_back("The power-cut proof is of another state of the project file."); }
    if (!flag(cut, "holds")) { out.emplace_back("The power-cut proof found a failure."); }
    const auto areas = cut.find("areas");
    if (areas == cut.end() || !areas->is_array()) { return; }
    for (const nlohmann::json& area : *areas) {
        const auto of = area.value("shards", 1U);
        if (of > 1) {
            out.push_back(fmt::format("The power-cut proof of area {} is shard {} of {} only; add them up with "
                                      "perdure cut --merge --json.",
                                      area.value("area", std::string("?")), area.value("shard", 1U), of));
        }
        const auto parts = area.find("parts");
        if (parts == area.end() || !parts->is_array()) { continue; }
        for (const nlohmann::json& part : *parts) {
            if (flag(part, "complete")) { continue; }
            out.push_back(fmt::format("The power-cut proof did not try everything in its part {} of area {}.",
                                      part.value("name", std::string("?")), area.value("area", std::string("?"))));
        }
    }
}

} // namespace

Remarks remarks_of(const ProjectFile& file, const Budget& budget, const Runs& runs) {
    const Project& project = *file.project;
    Remarks out;
    add_finding_risks(budget, out.risks);
    add_age_risks(file, runs.age, out.risks);
    add_cut_risks(file, runs.cut, out.risks);
    const std::string memory = columns_from_memory(project.part);
    if (!memory.empty()) {
        out.risks.push_back(
            fmt::format("From memory, no document behind it; check before use: {} of {}.", memory, project.part.id));
    }
    out.risks.emplace_back("A simulated flash is a model: the real product, with its real supply, has yet to be cut.");

    for (const Finding& finding : budget.findings) {
        for (const Source& source : finding.from) {
            if (source.kind != SourceKind::assumption) { continue; }
            add_once(out.assumptions,
                     fmt::format("{}: {:g} {}, {}", source.what, source.value, source.unit, source.text));
        }
    }

    if (const std::string caution = part_caution(project.part); !caution.empty()) { out.cautions.push_back(caution); }
    if (!budget.caution.empty()) { out.cautions.push_back(budget.caution); }
    out.cautions.emplace_back(
        "This is no type approval and no safety case. Data that protects people, such as limits, interlocks, dose or "
        "the calibration of a protective function, and legal metrology fall under their own standards and bodies. "
        "Local codes and licensed practice come first.");
    out.cautions.emplace_back(
        "Check every figure against the part's data sheet, in the revision you build with. Use guaranteed minima at "
        "your temperature, not typical values.");
    out.cautions.emplace_back("A simulated flash is a model. Cut the power of the real product, with its real supply, "
                              "before you rely on it.");
    if (project.supply) {
        out.cautions.emplace_back(
            "Hold-up capacitors store energy: discharge them before touching. Measure the hold-up "
            "on the product itself, cold and with an aged capacitor.");
    }
    for (const char* command : {"check", "budget", "budget --sensitivity", "choose", "age", "cut"}) {
        out.commands.push_back(fmt::format("perdure {} {}", command, file.path));
    }
    return out;
}

} // namespace perdure
