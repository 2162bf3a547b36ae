#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <string>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "tests/own_folder.hpp"
#include "tests/paths.hpp"
#include "tests/run_program.hpp"

namespace perdure {
namespace {

using Ran = ProgramRan;

Ran cut(std::vector<std::string> words) {
    words.insert(words.begin(), "cut");
    return run_program(words);
}

/// The program over a store with a fault in it (tests/faults).
Ran faulty(const std::string& words) {
    Ran ran{0, "", ""};
    FILE* pipe = popen((faulty_program_path() + " cut " + words + " 2>&1").c_str(), "r");
    char buffer[4096];
    for (size_t got = 0; (got = fread(buffer, 1, sizeof buffer, pipe)) != 0;) { ran.out.append(buffer, got); }
    ran.code = WEXITSTATUS(pclose(pipe));
    return ran;
}

const std::string orchard = source_path("examples/orchard-valve/orchard-valve.toml");

/// Writes a project of a small part; its path.
std::string project(const std::string& name, const std::string& areas_and_records, const std::string& product = "") {
    std::string path = own_folder() + name;
    std::ofstream(path) << "[product]\nname = \"door counter\"\nlife = \"2 y\"\n"
                        << product << R"(
[part]
name = "own"
erase_block = "512 B"
blocks = 16
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"

)" << areas_and_records;
    return path;
}

constexpr const char* total = R"(
[record.people]
id = 1
kind = "total"
fields = [ { name = "entered", type = "u32", movement = 120 } ]
saves = [ { every = "1 h" } ]
)";
constexpr const char* value = R"(
[record.settings]
id = 2
kind = "value"
fields = [ { name = "delay_s", type = "u16" } ]
saves = [ { events = "1/week" } ]
)";
constexpr const char* two_blocks = "[area.store]\nsize = \"1 KiB\"\n";

/// A ring of two small blocks, so that a test takes a second.
std::string small_project() {
    return project("small.toml", std::string(two_blocks) + total + value);
}

TEST(CommandCut, TheOrchardValveLosesNothingInAShortLook) {
    const Ran ran = cut({orchard, "--length", "1", "--nested", "2", "--json"});
    EXPECT_EQ(ran.code, exit_ok) << ran.err;
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    EXPECT_TRUE(json.at("holds").get<bool>());
    const nlohmann::json& area = json.at("areas").at(0);
    EXPECT_EQ(area.at("parts").size(), 5U);
    for (const nlohmann::json& part : area.at("parts")) {
        EXPECT_TRUE(part.at("complete").get<bool>()) << part.at("name");
        const int least = part.at("name") == "small-turn" ? 100 : 1000; // with a hundred puts behind each
        EXPECT_GT(part.at("counts").at("distinct_trials").get<int>(), least) << part.at("name");
        EXPECT_EQ(part.at("counts").at("sampled").get<int>(), 0) << part.at("name");
        // Both outcomes of a put that was cut have been seen.
        uint64_t before = 0;
        uint64_t now = 0;
        for (const nlohmann::json& cell : part.at("counts").at("outcomes")) {
            before += cell.at("as_before").get<uint64_t>();
            now += cell.at("as_new").get<uint64_t>();
        }
        EXPECT_GT(before, 0U);
        EXPECT_GT(now, 0U);
    }
}

/// A log in its own area; a short one beside a total that is saved when the supply fails.
std::string project_with_logs() {
    return project("logs.toml", R"([area.store]
size = "1536 B"

[area.history]
size = "2 KiB"

[record.level]
id = 1
kind = "log"
area = "history"
depth = 40
batch = 4
fields = [ { name = "level_mm", type = "u16" } ]
saves = [ { every = "1 h" } ]

[record.alarms]
id = 2
kind = "log"
area = "store"
among_values = true
depth = 3
fields = [ { name = "at_s", type = "u32" } ]
saves = [ { events = "1/week" } ]

[record.pumped]
id = 3
kind = "total"
area = "store"
fields = [ { name = "litres", type = "u32", movement = 500 } ]
saves = [ { at_power_fail = true }, { events = "2/day" } ]
)");
}

TEST(CommandCut, LogsAndSavesAtPowerFailureLoseNothingInAShortLook) {
    const Ran ran = cut({project_with_logs(), "--length", "1", "--nested", "2", "--depth", "0", "--json"});
    EXPECT_EQ(ran.code, exit_ok) << ran.out;
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    ASSERT_EQ(json.at("areas").size(), 2U);
    std::vector<std::string> names;
    for (const nlohmann::json& area : json.at("areas")) {
        uint64_t before = 0;
        uint64_t now = 0;
        for (const nlohmann::json& part : area.at("parts")) {
            const auto name = part.at("name").get<std::string>();
            names.push_back(name);
            EXPECT_TRUE(part.at("complete").get<bool>()) << name;
            EXPECT_GT(part.at("counts").at("distinct_trials").get<int>(), 50) << name;
            EXPECT_EQ(part.at("counts").at("saves").get<int>() > 0, name.find("saves") != std::string::npos) << name;
            for (const nlohmann::json& cell : part.at("counts").at("outcomes")) {
                before += cell.at("as_before").get<uint64_t>();
                now += cell.at("as_new").get<uint64_t>();
            }
        }
        EXPECT_GT(before, 0U);
        EXPECT_GT(now, 0U);
    }
    EXPECT_EQ(names, (std::vector<std::string>{"small-fresh-0", "small-nearly-full-0", "small-wrapped-0",
                                               "saves-fresh-0", "saves-nearly-full-0", "saves-wrapped-0", "small-turn",
                                               "own-turn", "own-turn-saves", "small-fresh-0", "small-nearly-full-0",
                                               "small-wrapped-0", "small-bad-block-0", "small-turn", "own-turn"}));
}

TEST(CommandCut, ALazyProductIsCutInItsFirstPuts) {
    const std::string path = project("lazy.toml", std::string(two_blocks) + total + value, "lazy_start = true\n");
    const Ran ran = cut({path, "--length", "1", "--nested", "2", "--json"});
    EXPECT_EQ(ran.code, exit_ok) << ran.out;
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    for (const nlohmann::json& part : json.at("areas").at(0).at("parts")) {
        EXPECT_NE(part.at("about").get<std::string>().find("lazy"), std::string::npos);
        EXPECT_GT(part.at("counts").at("distinct_trials").get<int>(), 50) << part.at("name");
    }
}

/// What the first cut hit and what it read as: split between shards, nothing left out or twice. Without what was not
/// begun, as that may be equal to another shard's state.
uint64_t count_of(const nlohmann::json& part) {
    uint64_t cells = 0;
    for (const nlohmann::json& cell : part.at("counts").at("outcomes")) {
        if (cell.at("reads") == "not begun") { continue; }
        cells += cell.at("as_before").get<uint64_t>() + cell.at("as_new").get<uint64_t>() +
                 cell.at("nothing_in_flight").get<uint64_t>();
    }
    return cells;
}

TEST(CommandCut, ShardsAddUpToTheWhole) {
    const std::string folder = own_folder();
    std::vector<std::string> merge{"--merge", "--json"};
    for (int shard = 1; shard <= 2; shard++) {
        const Ran ran =
            cut({small_project(), "--length", "1", "--nested", "2", "--json", "--shard", std::to_string(shard) + "/2"});
        ASSERT_EQ(ran.code, exit_ok) << ran.out;
        const std::string path = folder + "shard-" + std::to_string(shard) + ".json";
        std::ofstream(path) << ran.out;
        merge.push_back(path);
    }
    const Ran whole = cut({small_project(), "--length", "1", "--nested", "2", "--json"});
    const Ran merged = cut(merge);
    EXPECT_EQ(merged.code, exit_ok) << merged.out;
    const nlohmann::json one = nlohmann::json::parse(whole.out).at("areas").at(0);
    const nlohmann::json sum = nlohmann::json::parse(merged.out).at("areas").at(0);
    for (size_t i = 0; i < one.at("parts").size(); i++) {
        EXPECT_EQ(count_of(one.at("parts").at(i)), count_of(sum.at("parts").at(i))) << one.at("parts").at(i).at("name");
    }
    // Whatever the machines that took the shards: another number of threads is the same shard.
    std::ofstream(folder + "shard-2.json")
        << cut({small_project(), "--length", "1", "--nested", "2", "--json", "--shard", "2/2", "--threads", "3"}).out;
    const nlohmann::json mixed = nlohmann::json::parse(cut(merge).out).at("areas").at(0);
    for (size_t i = 0; i < one.at("parts").size(); i++) {
        EXPECT_EQ(count_of(one.at("parts").at(i)), count_of(mixed.at("parts").at(i)))
            << one.at("parts").at(i).at("name");
    }
    merge.pop_back();
    const Ran missing = cut(merge);
    EXPECT_EQ(missing.code, exit_input_wrong);
    EXPECT_NE(missing.out.find("shard 2 of 2 of area store is missing"), std::string::npos) << missing.out;
}

TEST(CommandCut, ShardsOfOtherOptionsAreNotAddedUp) {
    const std::string folder = own_folder();
    const auto shard = [&](const std::string& name, std::vector<std::string> more) {
        std::vector<std::string> words{small_project(), "--length", "1", "--nested", "1", "--depth", "0", "--json"};
        words.insert(words.end(), more.begin(), more.end());
        std::ofstream(folder + name) << cut(words).out;
        return folder + name;
    };
    const std::string first = shard("first.json", {"--shard", "1/2"});
    const std::string second = shard("second.json", {"--shard", "2/2", "--blank-faults"});
    EXPECT_NE(cut({"--merge", first, second}).err.find("other options"), std::string::npos);
    EXPECT_EQ(cut({"--merge", first, shard("second.json", {"--shard", "2/2"})}).code, exit_ok);
}

TEST(CommandCut, AMergedFileThatNoRunHasPutOutIsRefused) {
    const std::string path = own_folder() + "edited.json";
    const nlohmann::json right =
        nlohmann::json::parse(cut({small_project(), "--length", "1", "--nested", "1", "--depth", "0", "--json"}).out);
    const auto refused = [&](const std::string& at, const nlohmann::json& value) {
        nlohmann::json edited = right;
        edited["areas"][0][nlohmann::json::json_pointer(at)] = value;
        std::ofstream(path) << edited;
        const Ran ran = cut({"--merge", path});
        EXPECT_EQ(ran.code, exit_input_wrong) << at;
        EXPECT_NE(ran.err.find("is not what perdure cut --json puts out"), std::string::npos) << at << ran.err;
    };
    refused("/unit_bytes", 0);
    refused("/check_bits", 4'000'000'000U);
    refused("/blocks", -1);
    refused("/parts/0/counts/cuts", -5);
    refused("/parts/0/counts/torn", 1e300);
    refused("/parts/0/counts/outcomes/0/replay/as_before", "store:small-fresh-1:zzz");
    std::ofstream(path) << right;
    EXPECT_EQ(cut({"--merge", path}).code, exit_ok);
}

TEST(CommandCut, LiveDataThatFourBlocksDoNotHoldIsPlayedOnMore) {
    std::string text = "[area.store]\nsize = \"4 KiB\"\n";
    for (int i = 1; i <= 60; i++) {
        text += fmt::format("[record.r{0}]\nid = {0}\nkind = \"value\"\nfields = [ {{ name = \"b\", type = \"u32\" }} "
                            "]\nsaves = [ {{ events = \"1/week\" }} ]\n",
                            i);
    }
    const Ran ran = cut({project("wide.toml", text), "--seconds", "1", "--json"});
    ASSERT_EQ(ran.code, exit_ok) << ran.out << ran.err;
    const nlohmann::json area = nlohmann::json::parse(ran.out).at("areas").at(0);
    ASSERT_EQ(area.at("blocks"), 8);
    EXPECT_EQ(area.at("parts").at(0).at("name"), "small-fresh-1");
    EXPECT_NE(area.at("parts").at(0).at("about").get<std::string>().find(" blocks of "), std::string::npos);
    EXPECT_GT(std::stoi(area.at("parts").at(0).at("about").get<std::string>()), 4);
}

TEST(CommandCut, AShardThatFailedIsAddedUpToo) {
    const std::string folder = own_folder();
    for (const std::string shard : {"1", "2"}) {
        const std::string kept = fmt::format("{}fail-{}.json", folder, shard);
        std::ofstream(kept)
            << cut({small_project(), "--length", "1", "--nested", "2", "--json", "--shard", shard + "/2"}).out;
    }
    // As if the first shard's second part had failed: it tries no further ones.
    nlohmann::json first = nlohmann::json::parse(std::ifstream(folder + "fail-1.json"));
    nlohmann::json& parts = first["areas"][0]["parts"];
    ASSERT_EQ(parts.size(), 5U);
    parts.erase(2);
    parts.erase(2);
    parts.erase(2);
    parts[1]["failure"] = {{"what", "a value is lost"}, {"replay", "store:small-nearly-full-1:a0.t1.r0 --length 1"}};
    std::ofstream(folder + "fail-1.json") << first;
    for (const bool turned : {false, true}) {
        const std::string xml = folder + "fail.xml";
        const Ran ran = cut({"--merge", folder + (turned ? "fail-2.json" : "fail-1.json"),
                             folder + (turned ? "fail-1.json" : "fail-2.json"), "--json", "--junit", xml});
        EXPECT_EQ(ran.code, exit_not_met) << ran.out;
        const nlohmann::json sum = nlohmann::json::parse(ran.out).at("areas").at(0).at("parts");
        ASSERT_EQ(sum.size(), 5U);
        EXPECT_EQ(sum[1]["failure"]["replay"].get<std::string>().find("store:small-nearly-full-1:a0.t1.r0 --length 1"),
                  0U);
        EXPECT_TRUE(sum[0]["complete"].get<bool>());
        EXPECT_FALSE(sum[2]["complete"].get<bool>() || sum[4]["complete"].get<bool>());
        std::stringstream text;
        text << std::ifstream(xml).rdbuf();
        EXPECT_NE(text.str().find("tests=\"6\" failures=\"1\""), std::string::npos) << text.str();
        EXPECT_NE(text.str().find("<failure message=\"a value is lost\">"), std::string::npos) << text.str();
        EXPECT_NE(text.str().find("<skipped message=\"not all was tried"), std::string::npos) << text.str();
    }
    // Without a failure, parts that are missing are another proof's.
    parts[1].erase("failure");
    std::ofstream(folder + "fail-1.json") << first;
    EXPECT_NE(cut({"--merge", folder + "fail-1.json", folder + "fail-2.json"}).err.find("is of another project"),
              std::string::npos);
}

TEST(CommandCut, MoreChanceMatchesThanTheCheckCodeExplainsFail) {
    const std::string folder = own_folder();
    const std::string path = folder + "chance.json";
    nlohmann::json found =
        nlohmann::json::parse(cut({small_project(), "--length", "1", "--nested", "2", "--json"}).out);
    found["areas"][0]["parts"][0]["counts"]["chance_matches"] = 50;
    std::ofstream(path) << found;
    const std::string xml = folder + "chance.xml";
    EXPECT_EQ(cut({"--merge", path, "--junit", xml}).code, exit_not_met);
    std::stringstream text;
    text << std::ifstream(xml).rdbuf();
    EXPECT_NE(text.str().find("name=\"chance matches\""), std::string::npos) << text.str();
    EXPECT_NE(text.str().find("failures=\"1\""), std::string::npos) << text.str();
    EXPECT_NE(text.str().find(">50 passed, "), std::string::npos) << text.str();
}

TEST(CommandCut, AFaultIsShownWithALineThatPlaysItAgain) {
    const Ran found = faulty(orchard);
    EXPECT_EQ(found.code, exit_not_met);
    EXPECT_NE(found.out.find("FAILURE in small-fresh-1: record 'water' reads neither"), std::string::npos) << found.out;
    EXPECT_NE(found.out.find("A CUT LOSES SOMETHING"), std::string::npos);
    const size_t at = found.out.find("--replay ");
    ASSERT_NE(at, std::string::npos);
    const std::string replay = found.out.substr(at, found.out.find('\n', at) - at);
    const Ran again = faulty(orchard + " " + replay);
    EXPECT_EQ(again.code, exit_not_met);
    EXPECT_NE(again.out.find("FAILURE in small-fresh-1: record 'water' reads neither"), std::string::npos) << again.out;
    EXPECT_NE(again.out.find("power cut inside the program of block"), std::string::npos);
    EXPECT_NE(again.out.find("The flash before the first cut:\nhead: block 0, number 1"), std::string::npos);
    EXPECT_NE(again.out.find("restart, "), std::string::npos);
    // The store that ships passes the same path.
    const size_t space = replay.find(' ');
    const Ran passes = cut({orchard, "--replay", replay.substr(space + 1)});
    EXPECT_EQ(passes.code, exit_ok) << passes.err;
    EXPECT_NE(passes.out.find("A case of small-fresh-1 that loses nothing:"), std::string::npos) << passes.out;
}

/// The words behind "perdure cut FILE" that play a case again.
std::vector<std::string> words_of(const std::string& file, const std::string& replay) {
    std::vector<std::string> words{file, "--replay"};
    std::istringstream line(replay);
    for (std::string word; line >> word;) { words.push_back(word); }
    return words;
}

TEST(CommandCut, EachOutcomeOfTheTableNamesACaseThatCanBePlayed) {
    const std::string path = small_project();
    const std::string folder = own_folder();
    std::vector<std::string> merge{"--merge", "--json"};
    for (const std::string shard : {"1", "2"}) {
        const std::string kept = fmt::format("{}case-shard-{}.json", folder, shard);
        std::ofstream(kept) << cut({path, "--length", "1", "--nested", "2", "--json", "--shard", shard + "/2"}).out;
        merge.push_back(kept);
    }
    const std::map<std::string, std::string> names{
        {"as_before", "as before"}, {"as_new", "as new"}, {"nothing_in_flight", "nothing was under way"}};
    const nlohmann::json merged = nlohmann::json::parse(cut(merge).out);
    const nlohmann::json whole = nlohmann::json::parse(cut({path, "--length", "1", "--nested", "2", "--json"}).out);
    size_t played = 0;
    for (const nlohmann::json* json : {&merged, &whole}) {
        for (const nlohmann::json& part : json->at("areas").at(0).at("parts")) {
            for (const nlohmann::json& cell : part.at("counts").at("outcomes")) {
                for (const auto& [outcome, name] : names) {
                    const bool met = cell.at(outcome).get<uint64_t>() > 0;
                    ASSERT_EQ(cell.at("replay").contains(outcome), met) << part.at("name") << cell;
                    if (!met) { continue; }
                    std::vector<std::string> words = words_of(path, cell["replay"][outcome].get<std::string>());
                    words.emplace_back("--json");
                    const Ran again = cut(words);
                    ASSERT_EQ(again.code, exit_ok) << words[2] << again.out << again.err;
                    const nlohmann::json one = nlohmann::json::parse(again.out);
                    EXPECT_EQ(one.at("reads"), name) << words[2];
                    EXPECT_EQ(one.at("part"), part.at("name"));
                    EXPECT_NE(one.at("flash_after").get<std::string>().find("block 0"), std::string::npos);
                    played++;
                }
            }
        }
    }
    EXPECT_GT(played, 60U);
}

TEST(CommandCut, ACaseIsPlayedAgainWithTheFlashBeforeAndAfter) {
    const Ran ran = cut({small_project(), "--replay", "store:small-fresh-1:a0.t0.r5"});
    EXPECT_EQ(ran.code, exit_ok) << ran.err;
    for (const char* expected : {"A case of small-fresh-1 that loses nothing:\n  put of record 'people'\n  power cut "
                                 "inside the program of block "
                                 "0 unit 3\n  start; weak units read: 0:3 even bits\n  at the start the record under "
                                 "way reads as before; nothing "
                                 "is lost\n",
                                 "\nThe flash before the first cut:\nhead: block 0, number 1",
                                 "\nThe flash at that start, as it reads there; * changed since:\n", "* 0:3 "}) {
        EXPECT_NE(ran.out.find(expected), std::string::npos) << expected << "\n" << ran.out;
    }
}

TEST(CommandCut, TheLineThatPlaysItAgainNamesAreaAndOptions) {
    // Two areas, and a device that the store makes no promise for.
    const std::string path = project("two.toml", std::string(two_blocks) + "[area.first]\nsize = \"1 KiB\"\n" + total +
                                                     "area = \"first\"\n" + value + "area = \"store\"\n");
    const Ran found = cut({path, "--undecided", "--length", "1", "--nested", "2"});
    EXPECT_EQ(found.code, exit_not_met) << found.out << found.err;
    size_t lines = 0;
    for (size_t at = found.out.find("--replay "); at != std::string::npos; at = found.out.find("--replay ", at + 1)) {
        std::stringstream line(found.out.substr(at, found.out.find('\n', at) - at));
        std::vector<std::string> words{path};
        for (std::string word; line >> word;) { words.push_back(word); }
        const Ran again = cut(words);
        EXPECT_EQ(again.code, exit_not_met) << words[2] << again.out << again.err;
        EXPECT_NE(again.out.find("FAILURE"), std::string::npos);
        EXPECT_EQ(std::count(words.begin(), words.end(), "--undecided"), 1);
        lines++;
    }
    EXPECT_EQ(lines, 2U) << "one of each area";
}

TEST(CommandCut, AFaultIsAFailureInJUnitXml) {
    const std::string path = own_folder() + "cut.xml";
    EXPECT_EQ(faulty(orchard + " --junit " + path).code, exit_not_met);
    std::stringstream xml;
    xml << std::ifstream(path).rdbuf();
    EXPECT_NE(xml.str().find("<testsuite name=\"perdure cut\" tests=\"2\" failures=\"1\">"), std::string::npos)
        << xml.str();
    EXPECT_NE(xml.str().find("<failure message=\"record 'water'"), std::string::npos) << xml.str();
}

TEST(CommandCut, ATimeLimitIsSaid) {
    const Ran ran = cut({orchard, "--seconds", "1", "--json"});
    EXPECT_EQ(ran.code, exit_ok);
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    bool some_incomplete = false;
    for (const nlohmann::json& part : json.at("areas").at(0).at("parts")) {
        some_incomplete = some_incomplete || !part.at("complete").get<bool>();
    }
    EXPECT_TRUE(some_incomplete);
}

TEST(CommandCut, WrongOptionsAreInputErrors) {
    EXPECT_NE(cut({orchard, "--depth", "3"}).err.find("--depth takes a whole number from 0 to 2"), std::string::npos);
    const std::string xml = own_folder() + "none.xml";
    EXPECT_EQ(cut({"no/such.toml", "--junit", xml}).code, exit_input_wrong);
    EXPECT_FALSE(std::filesystem::exists(xml)) << "an empty file is no XML";
    EXPECT_NE(cut({orchard, "--shard", "3/2"}).err.find("--shard takes i/n"), std::string::npos);
    EXPECT_EQ(cut({orchard, "--shard", "0/2"}).code, exit_input_wrong);
    EXPECT_EQ(cut({orchard, "--seconds", "soon"}).code, exit_input_wrong);
    EXPECT_NE(cut({orchard, "--replay", "nonsense"}).err.find("AREA:PART:PATH"), std::string::npos);
    EXPECT_NE(cut({orchard, "--replay", "store:no:a0"}).err.find("parts of store: small-fresh-1"), std::string::npos);
    EXPECT_EQ(cut({orchard, "--replay", "store:own-turn:a0.q9"}).code, exit_input_wrong);
    EXPECT_NE(cut({orchard, "--replay", "shed:own-turn:a0"}).err.find("does not have"), std::string::npos);
    EXPECT_EQ(cut({orchard, "--replay", "store:own-turn:a0", "--junit", own_folder() + "x.xml"}).code,
              exit_input_wrong);
    const Ran nowhere = cut({orchard, "--replay", "store:own-turn:a0", "--json"});
    EXPECT_EQ(nowhere.code, exit_input_wrong);
    EXPECT_NE(nowhere.out.find("the path leads to no start"), std::string::npos) << nowhere.out;
    EXPECT_EQ(cut({orchard, "--junit", "/no/such/folder/cut.xml"}).code, exit_input_wrong);
    EXPECT_EQ(cut({orchard, "--shard", "1/4000000000"}).code, exit_input_wrong);
    EXPECT_EQ(cut({"no/such.toml"}).code, exit_input_wrong);
    EXPECT_NE(cut({orchard, "--merge"}).err.find("no JSON"), std::string::npos);
    EXPECT_NE(cut({"no/such.json", "--merge"}).err.find("cannot find 'no/such.json'"), std::string::npos);
    EXPECT_NE(cut({orchard, "--merge", "--depth", "1"}).err.find("--depth does not go with it"), std::string::npos);
    EXPECT_NE(cut({orchard, "--replay", ""}).err.find("AREA:PART:PATH"), std::string::npos);
    EXPECT_NE(cut({orchard, "--replay", "store:own-turn:a0.t1.r0 --length 1"}).err.find("without quotes"),
              std::string::npos);
    EXPECT_NE(cut({orchard, "--replay", "store:own-turn:a0.q9"}).err.find("'a0.q9' is no path"), std::string::npos);
}

} // namespace
} // namespace perdure
