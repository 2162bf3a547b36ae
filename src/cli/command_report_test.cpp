#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <unistd.h>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "dossier/report.hpp"
#include "tests/paths.hpp"
#include "tests/run_program.hpp"

namespace perdure {
namespace {

using Ran = ProgramRan;

Ran run(const std::vector<std::string>& words) {
    return run_program(words);
}

std::string example(const std::string& name) {
    return source_path("examples/") + name;
}

class ReportCommand : public ::testing::Test {
protected:
    void SetUp() override {
        const auto* test = ::testing::UnitTest::GetInstance()->current_test_info();
        folder = std::filesystem::temp_directory_path() /
                 ("perdure_report_" + std::string(test->name()) + "_" + std::to_string(::getpid()));
        std::filesystem::create_directory(folder);
        ::setenv("SOURCE_DATE_EPOCH", "86400", 1);
    }
    void TearDown() override {
        ::unsetenv("SOURCE_DATE_EPOCH");
        std::filesystem::remove_all(folder);
    }
    [[nodiscard]] std::string path(const std::string& name) const { return (folder / name).string(); }
    static std::string contents(const std::string& path) {
        std::ifstream file(path, std::ios::binary);
        std::ostringstream text;
        text << file.rdbuf();
        return text.str();
    }
    std::filesystem::path folder;
};

TEST_F(ReportCommand, WritesOneFileWithEverythingInside) {
    if (embedded_page("report.html").empty()) { GTEST_SKIP() << no_page(); }
    const std::string file = example("gate-counter/gate-counter.toml");
    const Ran age = run({"age", file, "--json", "--turns", "3"});
    std::ofstream(path("age.json")) << age.out;
    const Ran ran = run({"report", file, "--no-choice", "--age", path("age.json"), "-o", path("out.html")});
    EXPECT_EQ(ran.code, exit_ok) << ran.err;
    EXPECT_NE(ran.out.find("gate counter: every requirement holds"), std::string::npos) << ran.out;
    EXPECT_NE(ran.out.find("open: The power-cut proof was not run"), std::string::npos);
    const std::string html = contents(path("out.html"));
    EXPECT_LT(html.size(), 2'000'000U);
    EXPECT_EQ(html.find("PERDURE_"), std::string::npos) << "no place is left empty";
    const size_t begin = html.find("id=\"dossier\">") + 13;
    const auto json = nlohmann::json::parse(html.substr(begin, html.find("</script>", begin) - begin));
    EXPECT_EQ(json["made"], "1970-01-02 00:00 UTC");
    EXPECT_TRUE(json["runs"]["age"]["of_this_file"].get<bool>());
    EXPECT_TRUE(json["runs"]["choice"].is_null());
    for (const char* outside : {"src=\"http", "href=\"http", "url(http", "@import"}) {
        EXPECT_EQ(html.find(outside), std::string::npos) << outside;
    }
}

TEST_F(ReportCommand, WrongInputIsSaidAndNothingWritten) {
    const std::string file = example("gate-counter/gate-counter.toml");
    EXPECT_EQ(run({"report", file}).err, "perdure: error: report needs -o OUT.html\n");
    std::ofstream(path("x.json")) << "{\"holds\": true, \"areas\": [ 5 ]}";
    for (const std::string option : {"--age", "--cut"}) {
        const Ran ran = run({"report", file, "-o", path("out.html"), option, path("x.json")});
        EXPECT_EQ(ran.code, exit_input_wrong);
        EXPECT_EQ(ran.err, "perdure: error: " + option + ": '" + path("x.json") + "' is no result of perdure " +
                               option.substr(2) + " FILE --json\n");
    }
    EXPECT_NE(run({"report", file, "-o", path("o.html"), "--age", path("none")}).err.find("cannot find"),
              std::string::npos);
    std::ofstream(path("x.toml")) << "[product]\n";
    const Ran wrong = run({"report", path("x.toml"), "-o", path("out.html")});
    EXPECT_EQ(wrong.code, exit_input_wrong);
    EXPECT_NE(wrong.err.find("x.toml:1:"), std::string::npos) << wrong.err;
    EXPECT_FALSE(std::filesystem::exists(path("out.html")));
}

} // namespace
} // namespace perdure
