#include "dossier/dossier.hpp"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "dossier/curves.hpp"
#include "dossier/report.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

std::string example(const std::string& name) {
    std::ifstream file(source_path("examples/") + name);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

ProjectFile orchard() {
    return project_file_of(example("orchard-valve/orchard-valve.toml"), "orchard-valve.toml");
}

bool mentions(const std::vector<std::string>& lines, const std::string& words) {
    return std::any_of(lines.begin(), lines.end(),
                       [&](const std::string& line) { return line.find(words) != std::string::npos; });
}

TEST(Dossier, HashIsSha256) {
    // FIPS 180-4's example "abc", as NIST publishes it with its intermediate values.
    EXPECT_EQ(sha256_of("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST(Dossier, SaysWhatTheBudgetSays) {
    const ProjectFile file = orchard();
    ASSERT_TRUE(file.project);
    const auto budget = make_budget(*file.project);
    const nlohmann::json json = dossier_json(file, {}, {.what_if_points = 0, .version = "0", .made = ""});
    EXPECT_EQ(json["holds"], budget->holds());
    ASSERT_EQ(json["budget"]["findings"].size(), budget->findings.size());
    EXPECT_EQ(json["file"]["sha256"], sha256_of(file.text));
    EXPECT_EQ(json["file"]["text"], file.text);
    EXPECT_TRUE(json["curves"]["what_if"].is_null());
    EXPECT_TRUE(json["runs"]["cut"].is_null());
}

TEST(Dossier, WrongFilesGiveTheirErrorsAndNothingElse) {
    const nlohmann::json json = dossier_json(project_file_of("[product]\nlif = \"12 y\"\n", "x.toml"), {}, {});
    EXPECT_FALSE(json["holds"].get<bool>());
    ASSERT_FALSE(json["errors"].empty());
    EXPECT_EQ(json["errors"][0]["file"], "x.toml");
    EXPECT_FALSE(json.contains("budget"));
    const ProjectFile absent = load_project_file("/no/such/file.toml");
    ASSERT_FALSE(absent.project);
    EXPECT_EQ(absent.project.error().front().message, "cannot be opened: No such file or directory");
}

TEST(Dossier, RunsOfAnotherStateAreStale) {
    const ProjectFile file = orchard();
    Runs runs;
    runs.age = {{"holds", true}, {"sha256", file.sha256}, {"areas", nlohmann::json::array()}};
    runs.cut = {{"holds", true}, {"sha256", sha256_of("another")}, {"areas", nlohmann::json::array()}};
    const nlohmann::json json = dossier_json(file, runs, {.what_if_points = 0, .version = "0", .made = ""});
    EXPECT_TRUE(json["runs"]["age"]["of_this_file"].get<bool>());
    EXPECT_FALSE(json["runs"]["cut"]["of_this_file"].get<bool>());
    const auto risks = json["risks"].get<std::vector<std::string>>();
    EXPECT_TRUE(mentions(risks, "The power-cut proof is of another state of the project file."));
    EXPECT_FALSE(mentions(risks, "The life run"));
}

TEST(Dossier, WhatFailsAndWhatWasNotRunIsAnOpenRisk) {
    std::string text = example("orchard-valve/orchard-valve.toml");
    const std::string every = "every = \"1 min\"";
    text.replace(text.find("size = \"find it\""), 16, "size = \"6 KiB\"");
    text.replace(text.find(every), every.size(), "every = \"20 s\"");
    const ProjectFile file = project_file_of(text, "x.toml");
    ASSERT_TRUE(file.project);
    const nlohmann::json json = dossier_json(file, {}, {.what_if_points = 0, .version = "0", .made = ""});
    EXPECT_FALSE(json["holds"].get<bool>());
    const auto risks = json["risks"].get<std::vector<std::string>>();
    EXPECT_TRUE(mentions(risks, "wear does not hold"));
    EXPECT_TRUE(mentions(risks, "The power-cut proof was not run"));
    EXPECT_TRUE(mentions(risks, "the wear is by formula alone"));
    auto assumptions = json["assumptions"].get<std::vector<std::string>>();
    std::sort(assumptions.begin(), assumptions.end());
    EXPECT_EQ(std::adjacent_find(assumptions.begin(), assumptions.end()), assumptions.end()) << "each once";
    EXPECT_TRUE(mentions(assumptions, "reading: 1 us a byte"));
}

TEST(Dossier, AgeResultsAreLookedAtBeforeTheyAreShown) {
    EXPECT_EQ(age_problem(nlohmann::json::array()), "no areas");
    EXPECT_EQ(age_problem({{"areas", {{{"area", "store"}, {"failure", ""}, {"saves", "many"}}}}}), "no saves");
    EXPECT_EQ(age_problem({{"areas", {{{"area", "store"}, {"failure", "cannot be laid out"}}}}}), "");
}

TEST(Curves, EndWhereTheFindingIs) {
    const ProjectFile file = orchard();
    const auto budget = make_budget(*file.project);
    const auto wear = wear_over_years(*file.project, *budget);
    ASSERT_EQ(wear.size(), 1U);
    const auto finding = std::find_if(budget->findings.begin(), budget->findings.end(),
                                      [](const Finding& each) { return each.name == "wear"; });
    EXPECT_DOUBLE_EQ(wear[0].heavy.back(), finding->need);
    EXPECT_DOUBLE_EQ(wear[0].allowed, finding->have);
    EXPECT_DOUBLE_EQ(wear[0].years.back(), 12);
    EXPECT_TRUE(std::is_sorted(wear[0].heavy.begin(), wear[0].heavy.end()));
    for (size_t i = 0; i < wear[0].years.size(); i++) { EXPECT_LE(wear[0].nominal[i], wear[0].heavy[i]); }
}

TEST(Curves, WhatIfPassesThroughWhatIs) {
    const ProjectFile file = orchard();
    const auto budget = make_budget(*file.project);
    const double need = budget->findings.front().need;
    for (const WhatIf& curve : what_if(*file.project, *budget, 9)) {
        const auto now = std::find_if(curve.at.begin(), curve.at.end(),
                                      [&](double at) { return std::abs(at - curve.now) < 1e-9 * curve.now; });
        ASSERT_NE(now, curve.at.end()) << curve.input;
        // The curve takes the renewal limit at the end of blocks; the finding follows the filling unit by unit.
        EXPECT_NEAR(curve.erases[static_cast<size_t>(now - curve.at.begin())], need, 0.01 * need) << curve.input;
    }
}

TEST(Curves, SupplyCrossesItsEndWhenTheHoldUpSays) {
    const ProjectFile file = project_file_of(example("orchard-valve/orchard-valve-power-fail.toml"), "x.toml");
    const auto budget = make_budget(*file.project);
    const auto decay = supply_decay(*file.project, *budget);
    ASSERT_TRUE(decay);
    EXPECT_DOUBLE_EQ(decay->left_v.front(), 2.9);
    const auto crossed =
        std::find_if(decay->left_v.begin(), decay->left_v.end(), [&](double volts) { return volts <= decay->end_v; });
    ASSERT_NE(crossed, decay->left_v.end());
    const double at_ms = static_cast<double>(crossed - decay->left_v.begin()) * decay->step_ms;
    EXPECT_NEAR(at_ms, *budget->hold_up->have_ms, decay->step_ms);
    EXPECT_NEAR(decay->detection_ms + decay->under_way_ms + decay->programming_ms, budget->hold_up->need_ms, 1e-9);
}

TEST(Curves, StallsAgeWhereTheFileSaysSo) {
    const ProjectFile file = project_file_of(example("cellar-pump/cellar-pump.toml"), "x.toml");
    const auto budget = make_budget(*file.project);
    const auto stalls = stalls_of(*file.project, *budget);
    const auto service =
        std::find_if(stalls.begin(), stalls.end(), [](const StallRow& row) { return row.call == "one service call"; });
    ASSERT_NE(service, stalls.end());
    EXPECT_NEAR(service->aged_ms - service->fresh_ms, 15, 1e-9) << "an erase: 40 ms aged, 25 ms fresh";
}

TEST(Report, NothingInTheDocumentEndsItsScript) {
    const nlohmann::json dossier{{"budget", {{"project", "a</script><b>&PERDURE_DOSSIER"}}},
                                 {"text", "<pre>PERDURE_DOSSIER"}};
    const std::string html = report_html("<title>PERDURE_TITLE</title><pre>PERDURE_TEXT</pre>"
                                         "<script>PERDURE_DOSSIER</script>",
                                         dossier);
    EXPECT_EQ(html.find("</script>"), html.size() - 9);
    EXPECT_NE(html.find("<title>a&lt;/script&gt;&lt;b&gt;&amp;"), std::string::npos);
    const size_t begin = html.find("<script>") + 8;
    EXPECT_EQ(nlohmann::json::parse(html.substr(begin, html.size() - 9 - begin)), dossier);
    EXPECT_EQ(report_html("no places", dossier), "");
}

TEST(Report, ItsBeginningIsTheSameForEveryDocument) {
    const std::string page = "<head><script>1</script><title>PERDURE_TITLE</title></head>PERDURE_TEXT PERDURE_DOSSIER";
    const size_t same = fixed_beginning(page);
    EXPECT_EQ(page.substr(0, same), "<head><script>1</script>");
    const std::string html = report_html(page, {{"budget", {{"project", "pump"}}}});
    EXPECT_EQ(html.substr(0, same), page.substr(0, same));
    EXPECT_NE(html.find("<title>pump"), std::string::npos);
    EXPECT_EQ(fixed_beginning("no title"), 0U);
    EXPECT_EQ(fixed_beginning(""), 0U);
}

} // namespace
} // namespace perdure
