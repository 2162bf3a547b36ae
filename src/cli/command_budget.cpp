#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/findings.hpp"
#include "budget/sensitivity.hpp"
#include "budget/text.hpp"
#include "cli/commands.hpp"
#include "cli/text.hpp"
#include "project/read.hpp"

namespace perdure {

int run_budget(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto print = [&](const nlohmann::json& json) {
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    };
    const auto project = load_project(input.arguments.front(), catalog());
    if (!project) {
        if (input.json) {
            print({{"holds", false}, {"errors", render(project.error())}});
        } else {
            err << render(project.error());
        }
        return exit_input_wrong;
    }
    const auto budget = make_budget(*project);
    if (!budget) {
        if (input.json) {
            print({{"holds", false}, {"refused", budget.error().text}});
        } else {
            const std::string where = fmt::format("{}:{}: ", project->path, project->part_place.line);
            err << where << wrapped(budget.error().text, 2, where.size()) << '\n';
        }
        return exit_input_wrong;
    }
    std::optional<Sensitivity> sensitivity;
    if (input.options.find("--sensitivity") != input.options.end()) { sensitivity = sensitivity_of(*project, *budget); }
    if (input.json) {
        nlohmann::json json = budget_json(*budget);
        if (sensitivity) { json["sensitivity"] = sensitivity_json(*sensitivity); }
        print(json);
    } else {
        out << budget_text(*budget) << (sensitivity ? sensitivity_text(*sensitivity) : "");
    }
    return budget->holds() ? exit_ok : exit_not_met;
}

} // namespace perdure
