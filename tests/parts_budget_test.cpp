// Every part of the catalogue with every example's records: a budget whose findings carry numbers, or a refusal that
// says what stands against it. `perdure parts` and the reader of project files agree on which it is.
#include <cmath>
#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "budget/findings.hpp"
#include "budget/text.hpp"
#include "cli/commands.hpp"
#include "project/read.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

struct Example {
    std::string path, text;
};

std::vector<Example> examples() {
    std::vector<Example> out;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(source_path("examples"))) {
        if (entry.path().extension() != ".toml" || entry.path().parent_path().filename() == "versions") { continue; }
        std::ostringstream text;
        text << std::ifstream(entry.path()).rdbuf();
        out.push_back({entry.path().string(), text.str()});
    }
    return out;
}

/// The example on another part: its [part] table is replaced.
std::string on_part(const std::string& text, const std::string& part) {
    const size_t from = text.find("[part]\n");
    EXPECT_NE(from, std::string::npos);
    const size_t to = text.find("\n[", from);
    return text.substr(0, from) + part + text.substr(to);
}

void expect_figures(const Budget& budget) {
    EXPECT_FALSE(budget.findings.empty());
    for (const Finding& finding : budget.findings) {
        SCOPED_TRACE(finding.name);
        if (finding.status == FindingStatus::fails) {
            EXPECT_TRUE(std::isfinite(finding.need));
            EXPECT_GT(finding.need, finding.have) << "what fails asks for more than there is";
            EXPECT_FALSE(finding.from.empty() && finding.note.empty()) << "where the numbers come from";
        }
        // The reader asked for every figure of wear and stalls; retention and energy say what they lack.
        const bool may_lack = finding.name == "retention" || finding.name.rfind("energy", 0) == 0 ||
                              finding.name == "peak current" || finding.name == "lowest supply" ||
                              finding.name == "battery share";
        if (may_lack && finding.status == FindingStatus::unknown) {
            EXPECT_NE(finding.note, "");
        } else {
            EXPECT_NE(finding.status, FindingStatus::unknown);
        }
    }
    for (const AreaBudget& area : budget.areas) {
        if (!area.laid_out) { continue; }
        EXPECT_TRUE(std::isfinite(area.erases.per_block_max));
        EXPECT_GT(area.erases.per_block_max, 0);
    }
    EXPECT_FALSE(budget_text(budget).empty());
    EXPECT_FALSE(budget_json(budget).empty());
}

bool listed_as_ready(const nlohmann::json& parts, const std::string& id) {
    for (const auto& part : parts) {
        if (part.at("id") == id) { return part.at("usable"); }
    }
    ADD_FAILURE() << id << " is not listed";
    return false;
}

nlohmann::json listed_parts() {
    std::ostringstream out, err;
    CommandInput input;
    input.json = true;
    EXPECT_EQ(run_parts(input, out, err), exit_ok);
    return nlohmann::json::parse(out.str());
}

} // namespace

TEST(PartsBudget, EachPartHasABudgetOrARefusalThatSaysWhy) {
    const nlohmann::json listed = listed_parts();
    int budgets = 0, refusals = 0;
    for (const Example& example : examples()) {
        for (const Device& part : catalog().devices) {
            SCOPED_TRACE(example.path + " on " + part.id);
            const auto project =
                read_project(on_part(example.text, "[part]\ncatalog = \"" + part.id + "\"\n"), "x.toml", catalog());
            EXPECT_EQ(project.has_value(), listed_as_ready(listed, part.id));
            if (!project) {
                refusals++;
                const std::string why = render(project.error());
                EXPECT_NE(why.find(part.id), std::string::npos) << why;
                const Usable use = usable(part);
                const bool never = !use.ok && use.missing.empty();
                EXPECT_NE(why.find(never ? use.why_not : std::string("expected:")), std::string::npos) << why;
                continue;
            }
            budgets++;
            const auto budget = make_budget(*project);
            ASSERT_TRUE(budget) << budget.error().text;
            expect_figures(*budget);
        }
    }
    // 59 parts, of which 33 have every figure; a change of the catalogue changes these numbers.
    const int tried = static_cast<int>(examples().size());
    EXPECT_EQ(budgets, 33 * tried);
    EXPECT_EQ(refusals, 26 * tried);
}

// A part that only lacks figures has a budget as soon as they are given under the keys that the refusal names.
TEST(PartsBudget, TheFiguresAskedForAreTheFiguresNeeded) {
    const Example example = examples().at(0);
    int completed = 0;
    for (const Device& part : catalog().devices) {
        const Usable use = usable(part);
        const std::vector<NeededFigure> needed = figures_to_give(part);
        if (needed.empty() || (!use.ok && use.missing.empty())) { continue; }
        SCOPED_TRACE(part.id);
        std::string table = "[part]\ncatalog = \"" + part.id + "\"\n";
        for (const NeededFigure& figure : needed) {
            table += std::regex_replace(std::string(figure.example), std::regex(" and "), "\n") + "\n";
        }
        const auto project = read_project(on_part(example.text, table), "x.toml", catalog());
        ASSERT_TRUE(project) << render(project.error());
        const auto budget = make_budget(*project);
        ASSERT_TRUE(budget) << budget.error().text;
        expect_figures(*budget);
        completed++;
    }
    EXPECT_EQ(completed, 21);
}

} // namespace perdure
