#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/findings.hpp"
#include "budget/sensitivity.hpp"
#include "budget/text.hpp"
#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "project/read.hpp"

namespace perdure {

int run_budget(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto print = [&](const nlohmann::json& json) {
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    };
    const auto project = load_project(input.arguments.front(), catalog());
    if (!project) { return complain(input, project.error(), out, err); }
    const auto budget = make_budget(*project);
    if (!budget) { return complain(input, *project, budget.error(), out, err); }
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
