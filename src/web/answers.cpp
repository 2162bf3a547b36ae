#include "web/answers.hpp"

#include <cmath>

#include <fmt/format.h>

#include "budget/sensitivity.hpp"
#include "budget/text.hpp"
#include "choose/choose.hpp"
#include "dossier/part_figures.hpp"
#include "dossier/project_json.hpp"

namespace perdure {
namespace {

std::string read_number(const nlohmann::json& request, const char* name, double least, double most,
                        std::optional<double>& to) {
    const auto found = request.find(name);
    if (found == request.end() || found->is_null()) { return {}; }
    const double value = found->is_number() ? found->get<double>() : NAN;
    if (!(value >= least && value <= most)) {
        return fmt::format("\"{}\" takes a number from {:g} to {:g}", name, least, most);
    }
    to = value;
    return {};
}

/// Every save that has a figure of its own, so many times as often.
void save_more_often(Project& project, double factor) {
    const std::vector<Lever> levers = levers_of(project);
    for (const Lever& lever : levers) {
        if (lever.name.starts_with("saves of ")) { lever.set(project, lever.value * factor); }
    }
}

} // namespace

std::string read_change(const nlohmann::json& request, TriedChange& to) {
    std::optional<double> blocks;
    for (const std::string& wrong : {read_number(request, "life", 0.01, 100, to.life_years),
                                     read_number(request, "saves", 1e-3, 1e3, to.saves_factor),
                                     read_number(request, "blocks", 2, 65536, blocks)}) {
        if (!wrong.empty()) { return wrong; }
    }
    if (blocks) { to.ring_blocks = static_cast<uint32_t>(*blocks); }
    const auto part = request.find("part");
    if (part == request.end() || part->is_null()) { return {}; }
    if (!part->is_string() || catalog().find(part->get<std::string>()) == nullptr) {
        return "\"part\" takes an id of the catalogue";
    }
    to.part = part->get<std::string>();
    return {};
}

nlohmann::json tried_json(const ProjectFile& file, const TriedChange& change) {
    nlohmann::json out{
        {"holds", false}, {"errors", nlohmann::json::array()}, {"refused", nullptr}, {"budget", nullptr}};
    if (!file.project) {
        out["errors"] = diagnostics_json(file.project.error());
        return out;
    }
    Project project = *file.project;
    if (change.part && *change.part != project.part.id) { project = on_part(project, *catalog().find(*change.part)); }
    if (change.life_years) { project.product.life_years = *change.life_years; }
    if (change.saves_factor) { save_more_often(project, *change.saves_factor); }
    if (change.ring_blocks) {
        for (Area& area : project.areas) {
            const auto layout = lay_out(project, area, *change.ring_blocks);
            if (!layout) {
                out["refused"] = {{"text", layout.error().text}, {"line", area.place.line}};
                return out;
            }
            area.size_bytes = layout->geometry.area_bytes();
        }
    }
    const auto budget = make_budget(project);
    if (!budget) {
        out["refused"] = {{"text", budget.error().text}, {"line", project.part_place.line}};
        return out;
    }
    out["holds"] = budget->holds();
    out["budget"] = budget_json(*budget);
    return out;
}

nlohmann::json part_list_json() {
    nlohmann::json out = nlohmann::json::array();
    for (const Device& part : catalog().devices) {
        const Readiness use = readiness(part);
        out.push_back({{"id", part.id},
                       {"maker", part.maker},
                       {"family", part.family},
                       {"ready", use.ready},
                       {"why_not", use.why_not}});
    }
    return out;
}

} // namespace perdure
