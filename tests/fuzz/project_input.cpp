#include "tests/fuzz/project_input.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/findings.hpp"
#include "budget/text.hpp"
#include "project/read.hpp"

namespace perdure::fuzz {
namespace {

std::string wrong_errors(std::string_view text, const std::vector<Diagnostic>& errors) {
    if (errors.empty()) { return "refused without an error"; }
    const auto lines = static_cast<uint32_t>(1 + std::count(text.begin(), text.end(), '\n'));
    for (const Diagnostic& error : errors) {
        if (error.message.empty()) { return "an error without a message"; }
        if (error.span.place.line > lines) {
            return fmt::format("an error in line {} of {}", error.span.place.line, lines);
        }
        const std::string printed = render(error);
        if (printed.empty() || printed.back() != '\n') { return "an error's last line has no end"; }
        const bool prints =
            std::all_of(printed.begin(), printed.end(), [](char c) { return c == '\n' || c >= ' ' || c < 0; });
        if (!prints) { return "an error prints a control character: " + printed; }
    }
    return {};
}

std::string wrong_budget(const Budget& budget) {
    for (const Finding& finding : budget.findings) {
        if (std::isnan(finding.need) || std::isnan(finding.have) || std::isnan(finding.margin)) {
            return "finding " + finding.name + " is not a number";
        }
    }
    return budget_text(budget).empty() ? "a budget without a text" : "";
}

} // namespace

std::string try_project(std::span<const uint8_t> input, Answers* seen) {
    const std::string text(input.begin(), input.end());
    const auto note = [&](const char* what) {
        if (seen != nullptr) { seen->insert(what); }
    };
    const auto project = read_project(text, "fuzz.toml", catalog());
    if (!project) {
        note("errors");
        const auto again = read_project(text, "fuzz.toml", catalog());
        if (again || render(again.error()) != render(project.error())) { return "read twice, other errors"; }
        return wrong_errors(text, project.error());
    }
    const auto budget = make_budget(*project);
    if (!budget) {
        note("refused");
        return budget.error().text.empty() ? "refused without a reason" : "";
    }
    note(budget->holds() ? "holds" : "fails");
    return wrong_budget(*budget);
}

} // namespace perdure::fuzz
