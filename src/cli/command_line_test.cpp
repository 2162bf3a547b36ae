#include <filesystem>
#include <fstream>
#include <sstream>

#include <unistd.h>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "catalog/catalog.hpp"
#include "cli/commands.hpp"
#include "tests/paths.hpp"
#include "tests/run_program.hpp"

namespace perdure {
namespace {

using Ran = ProgramRan;

Ran run(const std::vector<std::string>& words) {
    return run_program(words);
}

/// A file that is there as long as this object is.
class TemporaryFile {
public:
    explicit TemporaryFile(std::string_view text)
        : path_((std::filesystem::temp_directory_path() /
                 ("perdure_" + std::to_string(::getpid()) + "_" +
                  ::testing::UnitTest::GetInstance()->current_test_info()->name() + "_" + std::to_string(text.size()) +
                  ".toml"))
                    .string()) {
        std::ofstream(path_, std::ios::binary) << text;
    }
    ~TemporaryFile() { std::filesystem::remove(path_); }
    TemporaryFile(const TemporaryFile&) = delete;
    TemporaryFile& operator=(const TemporaryFile&) = delete;
    [[nodiscard]] const char* path() const { return path_.c_str(); }

private:
    std::string path_;
};

std::string project_text(std::string_view flash_share) {
    return std::string(
               "[product]\nname = \"pump\"\nlife = \"12 y\"\n[part]\nname = \"demo\"\nerase_block = \"2 KiB\"\nblocks "
               "= 8\n"
               "program_unit = \"8 B\"\nblank = 0xFF\nendurance = 10000\nerase_max = \"40 ms\"\nprogram_max = \"125 "
               "us\"\n"
               "[area.store]\nsize = \"8 KiB\"\n[record.water]\nid = 1\nkind = \"total\"\n"
               "fields = [ { name = \"litres\", type = \"u32\", movement = 120 } ]\nsaves = [ { every = \"1 min\" } ]\n"
               "[require]\nflash_share = ") +
           std::string(flash_share) + "\n";
}

void expect_80_columns(const std::string& text) {
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) { EXPECT_LE(line.size(), 80U) << line; }
}

TEST(CommandLine, AnUnknownCommandNamesTheNearest) {
    const Ran ran = run({"chek"});
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_EQ(ran.err, "perdure: error: no command \"chek\"\n  nearest: check\n  perdure --help lists the commands\n");
    EXPECT_EQ(ran.out, "");
}

TEST(CommandLine, NothingNearIsNotInvented) {
    EXPECT_EQ(run({"xyzzy"}).err, "perdure: error: no command \"xyzzy\"\n  perdure --help lists the commands\n");
}

TEST(CommandLine, HelpNamesEachCommandAndItsExample) {
    const Ran ran = run({"--help"});
    EXPECT_EQ(ran.code, exit_ok);
    for (const Command& command : commands()) {
        EXPECT_NE(ran.out.find("\n  " + std::string(command.name) + " "), std::string::npos) << command.name;
        EXPECT_NE(ran.out.find(command.example), std::string::npos) << command.name;
        const std::string name(command.name);
        const Ran help = run({name.c_str(), "--help"});
        EXPECT_EQ(help.code, exit_ok);
        expect_80_columns(help.out);
    }
    expect_80_columns(ran.out);
}

TEST(CommandLine, WrongWordsAreInputErrors) {
    EXPECT_EQ(run({}).code, exit_input_wrong);
    EXPECT_EQ(run({"check"}).code, exit_input_wrong);
    EXPECT_EQ(run({"check", "a.toml", "b.toml"}).code, exit_input_wrong);
    EXPECT_EQ(run({"check", "a.toml", "--no-such-option"}).code, exit_input_wrong);
    EXPECT_EQ(run({"check", "no/such/file.toml"}).code, exit_input_wrong);
}

TEST(CommandCheck, SaysWhatIsInTheFile) {
    const TemporaryFile file(project_text("0.5"));
    const Ran ran = run({"check", file.path()});
    EXPECT_EQ(ran.code, exit_ok) << ran.err;
    EXPECT_NE(ran.out.find("record   water (id 1, total, 4 B in store)\n"), std::string::npos) << ran.out;
    EXPECT_NE(ran.out.find("flash_share: 0.5 taken, 0.5 allowed: holds\n"), std::string::npos) << ran.out;
}

TEST(CommandCheck, ARequirementThatDoesNotHoldGivesOne) {
    const TemporaryFile file(project_text("0.25"));
    const Ran ran = run({"check", file.path()});
    EXPECT_EQ(ran.code, exit_not_met);
    EXPECT_NE(ran.out.find("0.5 taken, 0.25 allowed: does not hold\n"), std::string::npos) << ran.out;
    EXPECT_FALSE(nlohmann::json::parse(run({"check", "--json", file.path()}).out).at("holds").get<bool>());
}

TEST(CommandCheck, JsonHoldsTheProjectOrTheErrors) {
    const TemporaryFile file(project_text("0.5"));
    const nlohmann::json good = nlohmann::json::parse(run({"check", file.path(), "--json"}).out);
    EXPECT_TRUE(good.at("holds").get<bool>());
    EXPECT_EQ(good.at("records").at(0).at("saves").at(0).at("every_s").get<double>(), 60);
    EXPECT_EQ(good.at("part").at("runs").at(0).at("count").get<int>(), 8);
    const TemporaryFile wrong(project_text("\"half\""));
    const Ran ran = run({"check", wrong.path(), "--json"});
    EXPECT_EQ(ran.code, exit_input_wrong);
    const nlohmann::json bad = nlohmann::json::parse(ran.out);
    EXPECT_FALSE(bad.at("holds").get<bool>());
    EXPECT_EQ(bad.at("errors").at(0).at("line").get<int>(), 21);
    EXPECT_EQ(bad.at("errors").at(0).at("column").get<int>(), 15);
}

/// One form for whatever is wrong with the input, from every command that reads a project file.
TEST(CommandLine, JsonOfWrongInputHasOneForm) {
    const TemporaryFile wrong(project_text("\"half\""));
    const std::vector<std::vector<std::string>> lines{{"check", wrong.path()},
                                                      {"budget", wrong.path()},
                                                      {"choose", wrong.path()},
                                                      {"age", wrong.path()},
                                                      {"cut", wrong.path()},
                                                      {"emit", wrong.path(), "nowhere"},
                                                      {"image", wrong.path(), "-o", "x.hex"},
                                                      {"inspect", wrong.path(), "x.hex"},
                                                      {"report", wrong.path(), "-o", "x.html"},
                                                      {"ship", wrong.path()},
                                                      {"upgrade", wrong.path(), wrong.path()}};
    for (const std::vector<std::string>& line : lines) {
        std::vector<std::string> words = line;
        words.emplace_back("--json");
        const Ran ran = run(words);
        SCOPED_TRACE(line[0] + ": " + ran.out);
        EXPECT_EQ(ran.code, exit_input_wrong);
        const nlohmann::json json = nlohmann::json::parse(ran.out);
        EXPECT_EQ(json.at("holds"), false);
        ASSERT_FALSE(json.at("errors").empty());
        EXPECT_NE(json["errors"][0].at("message").get<std::string>().find("flash_share"), std::string::npos);
    }
    for (const std::vector<std::string>& line : std::vector<std::vector<std::string>>{
             {"chek", "--json"}, {"check", "--json"}, {"budget", "a.toml", "--bogus", "--json"}}) {
        const nlohmann::json json = nlohmann::json::parse(run(line).out);
        EXPECT_EQ(json.at("holds"), false);
        EXPECT_FALSE(json.at("errors").at(0).at("message").get<std::string>().empty());
    }
    const nlohmann::json part = nlohmann::json::parse(run({"parts", "stm32g0711", "--json"}).out);
    EXPECT_EQ(part.at("errors").at(0).at("nearest"), "stm32g071");
}

TEST(CommandCheck, JsonStandsAnyBytes) {
    const TemporaryFile file("name = \"\xff\xfe");
    const Ran ran = run({"check", file.path(), "--json"});
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_TRUE(nlohmann::json::accept(ran.out));
}

TEST(CommandCheck, EachExampleIsRead) {
    size_t examples = 0;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(source_path("examples"))) {
        if (entry.path().extension() != ".toml") { continue; }
        ++examples;
        const Ran ran = run({"check", entry.path().c_str()});
        EXPECT_EQ(ran.code, exit_ok) << ran.err;
        expect_80_columns(ran.out.substr(0, ran.out.rfind(entry.path().string()))); // the path itself may be long
    }
    EXPECT_GE(examples, 2U);
}

TEST(CommandParts, ListsEachPartOfTheCatalogue) {
    const Ran ran = run({"parts"});
    EXPECT_EQ(ran.code, exit_ok);
    ASSERT_FALSE(catalog().devices.empty());
    for (const Device& part : catalog().devices) {
        EXPECT_NE(ran.out.find("\n" + part.id + " "), std::string::npos) << part.id;
    }
    expect_80_columns(ran.out);
    EXPECT_EQ(nlohmann::json::parse(run({"parts", "--json"}).out).size(), catalog().devices.size());
}

TEST(CommandParts, OnePartWithItsSources) {
    const std::string id = catalog().devices.at(0).id;
    EXPECT_EQ(run({"parts", id.c_str()}).code, exit_ok);
    EXPECT_EQ(nlohmann::json::parse(run({"parts", id.c_str(), "--json"}).out).at("id").get<std::string>(), id);
    const Ran ran = run({"parts", "stm32g017"});
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_EQ(ran.err, "perdure: error: no part \"stm32g017\" in the catalogue\n  nearest: stm32g071\n");
}

TEST(CommandParts, AnUnknownPartIsAnErrorInJsonToo) {
    const Ran ran = run({"parts", "stm32g017", "--json"});
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_EQ(ran.err, "");
    EXPECT_EQ(nlohmann::json::parse(ran.out).at("errors").at(0).at("nearest"), "stm32g071");
}

TEST(CommandParts, ErasedFlashThatFaultsIsACaution) {
    EXPECT_NE(run({"parts", "lpc55s69"}).out.find("CAUTION: erased flash of this part faults when read"),
              std::string::npos);
    EXPECT_TRUE(nlohmann::json::parse(run({"parts", "lpc55s69", "--json"}).out).contains("caution"));
    EXPECT_EQ(run({"parts", "stm32g071"}).out.find("CAUTION"), std::string::npos);
}

/// A valve of three months on a small ring of its own; `limit` is the share of the erases that may be spent.
std::string short_project(const char* limit, const char* more_areas = "", const char* in_area = "") {
    return std::string(
               "[product]\nname = \"p\"\nlife = \"0.25 y\"\nyear = \"360 d\"\nstarts = \"4/day\"\n[part]\ncatalog = "
               "\"stm32g071\"\n[area.a]\nsize = \"6 KiB\"\n") +
           more_areas +
           "[record.count]\nid = 1\nkind = \"total\"\nfields = [ { name = \"n\", type = \"u32\", movement = 9 } "
           "]\nsaves = [ { every = \"1 min\" }, { at_start = true } ]\n" +
           in_area + "[require]\nspend_limit = " + limit + "\n";
}

TEST(ExitCodes, ZeroHoldsOneDoesNotTwoIsWrongInput) {
    const TemporaryFile holds(short_project("0.5")), fails(short_project("0.002")), wrong("[product]\n");
    for (const char* command : {"budget", "age"}) {
        EXPECT_EQ(run({command, holds.path()}).code, exit_ok) << command;
        EXPECT_EQ(run({command, fails.path()}).code, exit_not_met) << command;
    }
    for (const char* command : {"check", "budget", "age"}) {
        EXPECT_EQ(run({command, wrong.path()}).code, exit_input_wrong) << command;
        EXPECT_EQ(run({command, wrong.path(), "--json"}).code, exit_input_wrong) << command;
        EXPECT_EQ(run({command, "no-such-file.toml"}).code, exit_input_wrong) << command;
    }
    EXPECT_EQ(run({"check", holds.path()}).code, exit_ok);
    EXPECT_EQ(run({"age", holds.path(), "--seed", "one"}).code, exit_input_wrong);
}

TEST(CommandAge, JsonHoldsTheRunTheBudgetAndTheDemand) {
    const TemporaryFile file(short_project("0.5"));
    const nlohmann::json json = nlohmann::json::parse(run({"age", file.path(), "--json"}).out);
    EXPECT_EQ(json.at("holds"), true);
    const nlohmann::json& area = json.at("areas").at(0);
    EXPECT_EQ(area.at("mismatches"), 0);
    EXPECT_EQ(area.at("saves"), 90 * 1440 + 90 * 4);
    EXPECT_EQ(area.at("records").at(0).at("saves"), area.at("saves"));
    EXPECT_EQ(area.at("budget").at("agrees"), true);
    EXPECT_GE(area.at("budget").at("erases_predicted_max"), area.at("budget").at("erases_observed_max"));
    EXPECT_EQ(area.at("demand").at(0).at("name"), "starts");
    EXPECT_EQ(area.at("demand").at(0).at("run"), 360);
    EXPECT_EQ(area.at("demand").at(1).at("budgeted"), 90 * 1440 + 90 * 4);
}

TEST(CommandAge, EachAreaIsLivedAndBudgeted) {
    std::string text =
        short_project("0.5", "[area.b]\nsize = \"4 KiB\"\n",
                      "area = \"a\"\n[record.mode]\nid = 2\nkind = \"value\"\narea = \"b\"\nfields = [ { name = "
                      "\"m\", type = \"u8\" } ]\nsaves = [ { every = \"1 h\" } ]\n");
    const TemporaryFile file(text);
    const Ran ran = run({"age", file.path(), "--json"});
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    ASSERT_EQ(ran.code, exit_ok) << ran.out;
    ASSERT_EQ(json.at("areas").size(), 2U);
    EXPECT_EQ(json.at("areas").at(0).at("records").at(0).at("name"), "count");
    EXPECT_EQ(json.at("areas").at(1).at("records").at(0).at("name"), "mode");
    EXPECT_EQ(json.at("areas").at(1).at("saves"), 90 * 24);
    EXPECT_EQ(nlohmann::json::parse(run({"budget", file.path(), "--json"}).out).at("areas").size(), 2U);
}

} // namespace
} // namespace perdure
