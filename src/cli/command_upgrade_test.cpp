// perdure ship and perdure upgrade as they are typed: what is filed, what is
// refused, how they end.
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "tests/own_folder.hpp"
#include "tests/run_program.hpp"

namespace perdure {
namespace {

using Ran = ProgramRan;

Ran run(const std::vector<std::string>& words) {
    return run_program(words);
}

std::string text_of(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path).rdbuf();
    return text.str();
}

constexpr const char* first_fields = R"({ name = "low", type = "u16" }, { name = "high", type = "u16" })";
constexpr const char* longer_fields =
    R"({ name = "low", type = "u16" }, { name = "high", type = "u16" }, { name = "mid", type = "u16", default = 9 })";

/// A product with one record of those fields, in a folder of its own.
class Product {
public:
    Product() { write(first_fields); }
    void write(const std::string& fields, const std::string& more = "") const {
        std::ofstream(path()) << "[product]\nname = \"oven\"\nlife = \"5 "
                                 "y\"\n[part]\nname = \"own\"\n"
                                 "erase_block = \"512 B\"\nblocks = "
                                 "16\nprogram_unit = \"8 B\"\nblank = 0xFF\n"
                                 "endurance = 10000\nerase_max = \"40 "
                                 "ms\"\nprogram_max = \"100 us\"\n"
                                 "flash_start = \"0x08000000\"\n"
                                 "[area.store]\nsize = \"1536 "
                                 "B\"\nstart = \"0x08001800\"\n[record.limits]\nid = 1\nkind = \"value\"\n"
                                 "saves = [ { events = \"1/day\" } ]\nfields = [ "
                              << fields << " ]\n"
                              << more;
    }
    [[nodiscard]] std::string path() const { return folder_ / "oven.toml"; }
    [[nodiscard]] std::string filed(const std::string& name) const { return folder_ / ("versions/" + name); }

private:
    ScratchFolder folder_;
};

TEST(CommandShip, FilesTheProjectAndItsLine) {
    const Product product;
    const Ran first = run({"ship", product.path(), "--note", "first series", "--store", "1"});
    EXPECT_EQ(first.code, exit_ok) << first.err;
    EXPECT_EQ(text_of(product.filed("1.toml")), text_of(product.path()));
    const std::string table = text_of(product.filed("shipped.csv"));
    EXPECT_EQ(table.rfind("version,store,sha256,note\n1,1,", 0), 0U) << table;
    EXPECT_NE(table.find(",first series\n"), std::string::npos) << table;
    product.write(longer_fields);
    EXPECT_EQ(run({"ship", product.path()}).code, exit_ok);
    EXPECT_EQ(text_of(product.filed("2.toml")), text_of(product.path()));
    const Ran again = run({"ship", product.path(), "--json"});
    EXPECT_EQ(again.code, exit_ok);
    const auto json = nlohmann::json::parse(again.out);
    EXPECT_FALSE(json["filed"]);
    EXPECT_EQ(json["version"], 2);
    EXPECT_FALSE(std::filesystem::exists(product.filed("3.toml")));
}

TEST(CommandShip, FilesNothingThatBreaksARule) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    product.write(R"({ name = "high", type = "u32" })");
    const Ran ran = run({"ship", product.path()});
    EXPECT_EQ(ran.code, exit_not_met);
    EXPECT_NE(ran.out.find("is not filed:\nBROKEN: fields are added at a record's end only."), std::string::npos)
        << ran.out;
    EXPECT_FALSE(std::filesystem::exists(product.filed("2.toml")));
}

// What is found anew by each catalogue and budget is no place for data that are out in the field.
TEST(CommandShip, FilesNoAreaWhosePlaceIsLeftToBeFound) {
    const Product product;
    const std::string whole = text_of(product.path());
    const auto without = [&](std::vector<std::string> lines) {
        std::string text = whole;
        for (const std::string& line : lines) { text.erase(text.find(line), line.size()); }
        std::ofstream(product.path()) << text;
        return run({"ship", product.path()});
    };
    const std::string size = "size = \"1536 B\"\n";
    const std::string start = "start = \"0x08001800\"\n";
    const std::string flash_start = "flash_start = \"0x08000000\"\n";
    const Ran no_start = without({start});
    EXPECT_EQ(no_start.code, exit_not_met);
    EXPECT_NE(no_start.out.find("BROKEN: a shipped area says where it lies. the start of area store is found"),
              std::string::npos)
        << no_start.out;
    EXPECT_NE(no_start.out.find("instead: start = \"0x08001A00\" in [area.store]\n"), std::string::npos)
        << no_start.out;
    const Ran neither = without({size, start});
    EXPECT_NE(neither.out.find("instead: size = \"1024 B\" and start = \"0x08001C00\" in [area.store]\n"),
              std::string::npos)
        << neither.out;
    const Ran no_flash = without({start, flash_start});
    EXPECT_NE(no_flash.out.find("instead: start = 0x1A00 above the start of flash in [area.store]"), std::string::npos)
        << no_flash.out;
    EXPECT_FALSE(std::filesystem::exists(product.filed("shipped.csv")));
    const nlohmann::json json = nlohmann::json::parse(run({"ship", product.path(), "--json"}).out);
    EXPECT_EQ(json.at("broken_rules").size(), 1U);
    std::ofstream(product.path()) << whole;
    EXPECT_EQ(run({"ship", product.path()}).code, exit_ok);
}

TEST(CommandUpgrade, ATurnOfVersionsHoldsBothWays) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path(), "--store", "1"}).code, exit_ok);
    product.write(longer_fields);
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    product.write(longer_fields, "[record.fault]\nid = 9\nkind = \"value\"\nsaves = [ { events "
                                 "= \"1/week\" } ]\n"
                                 "fields = [ { name = \"code\", type = \"u16\" } ]\n");
    const Ran ran = run({"upgrade", "--all", product.path()});
    EXPECT_EQ(ran.code, exit_ok) << ran.out << ran.err;
    EXPECT_EQ(ran.out.rfind("oven: 6 pairs of versions, every one holds\n", 0), 0U) << ran.out;
    const auto json = nlohmann::json::parse(run({"upgrade", "--all", product.path(), "--json"}).out);
    EXPECT_TRUE(json["holds"]);
    ASSERT_EQ(json["pairs"].size(), 6U);
    EXPECT_EQ(json["pairs"][1]["downgrade"], true);
    EXPECT_EQ(json["pairs"][0]["from"]["store"], 1);
    for (const auto& pair : json["pairs"]) {
        for (const auto& flash : pair["areas"][0]["flashes"]) { EXPECT_GT(flash["cuts"], 10); }
    }
}

// The first version has no other to be held against: nothing is wrong with that.
TEST(CommandUpgrade, TheFirstVersionHasNothingToTry) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    const Ran ran = run({"upgrade", "--all", product.path()});
    EXPECT_EQ(ran.code, exit_ok) << ran.err;
    EXPECT_EQ(ran.out.rfind("oven: nothing to try yet: version 1 is the only one filed", 0), 0U) << ran.out;
    const Ran as_json = run({"upgrade", "--all", product.path(), "--json"});
    EXPECT_EQ(as_json.code, exit_ok);
    const auto json = nlohmann::json::parse(as_json.out);
    EXPECT_TRUE(json.at("holds").get<bool>());
    EXPECT_EQ(json.at("pairs").size(), 0U);
}

// A project file with two errors: each one an object with its place, as from every other command.
TEST(CommandUpgrade, TheErrorsOfAProjectFileStandOneByOne) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    product.write(R"({ name = "low", type = "u17" }, { name = "high", typ = "u16" })");
    for (const std::vector<std::string>& words : {std::vector<std::string>{"ship", product.path(), "--json"},
                                                  {"upgrade", product.filed("1.toml"), product.path(), "--json"},
                                                  {"upgrade", "--all", product.path(), "--json"}}) {
        const Ran ran = run(words);
        EXPECT_EQ(ran.code, exit_input_wrong);
        const auto json = nlohmann::json::parse(ran.out);
        EXPECT_FALSE(json.at("holds").get<bool>());
        ASSERT_GE(json.at("errors").size(), 2U) << ran.out;
        for (const auto& error : json.at("errors")) {
            EXPECT_EQ(error.at("file"), product.path());
            EXPECT_GT(error.at("line"), 1);
            EXPECT_GE(error.at("column"), 1);
            EXPECT_EQ(error.at("message").get<std::string>().find('\n'), std::string::npos);
        }
    }
}

// What breaks no rule is said where it is shipped, and of every pair that meets it.
TEST(CommandUpgrade, AChangedUnitIsAWarning) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    std::string text = text_of(product.path());
    const std::string field = "name = \"low\", type = \"u16\"";
    text.replace(text.find(field), field.size(), field + ", unit = \"K\"");
    std::ofstream(product.path()) << text;
    const std::string warning = "WARNING: record limits (id 1): field low: unit \"K\",";
    for (const std::vector<std::string>& words :
         {std::vector<std::string>{"upgrade", "--all", "--rules", product.path()},
          {"upgrade", "--rules", product.filed("1.toml"), product.path()},
          {"ship", product.path()}}) {
        const Ran ran = run(words);
        EXPECT_EQ(ran.code, exit_ok) << ran.out << ran.err;
        EXPECT_NE(ran.out.find(warning), std::string::npos) << ran.out;
    }
}

// Flash begins elsewhere, and the area with it: the offsets agree, and the new firmware looks at other addresses.
TEST(CommandUpgrade, AMovedFlashStartIsAMovedArea) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    std::string text = text_of(product.path());
    for (const auto& [from, to] : {std::pair{"0x08000000", "0x08010000"}, {"0x08001800", "0x08011800"}}) {
        text.replace(text.find(from), 10, to);
    }
    std::ofstream(product.path()) << text;
    const Ran ran = run({"upgrade", product.filed("1.toml"), product.path()});
    EXPECT_EQ(ran.code, exit_not_met);
    EXPECT_NE(ran.out.find("address 0x08011800"), std::string::npos) << ran.out;
    EXPECT_NE(ran.out.find("open gives PERDURE_BLANK"), std::string::npos) << ran.out;
    EXPECT_EQ(run({"ship", product.path()}).code, exit_not_met);
}

TEST(CommandUpgrade, ABrokenRuleEndsWithOne) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    product.write(R"({ name = "low", type = "i32" })");
    const Ran ran = run({"upgrade", product.filed("1.toml"), product.path(), "--rules"});
    EXPECT_EQ(ran.code, exit_not_met);
    EXPECT_NE(ran.out.find("oven: version 1 -> the present one, does not hold"), std::string::npos) << ran.out;
    EXPECT_NE(ran.out.find("  low                     misread    would be read "
                           "from where low (u16) stands"),
              std::string::npos)
        << ran.out;
    EXPECT_EQ(ran.out.find("tried:"), std::string::npos);
}

TEST(CommandUpgrade, SaysWhatOpenAnswersOnAnotherArea) {
    const Product product;
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    std::string text = text_of(product.path());
    text.replace(text.find("1536 B"), 6, "2048 B");
    std::ofstream(product.path()) << text;
    const Ran ran = run({"upgrade", product.filed("1.toml"), product.path()});
    EXPECT_EQ(ran.code, exit_not_met);
    EXPECT_NE(ran.out.find("area store: open gives PERDURE_FOREIGN: nothing is "
                           "read, and no byte"),
              std::string::npos)
        << ran.out;
}

TEST(CommandUpgrade, WrongInputEndsWithTwo) {
    const Product product;
    EXPECT_EQ(run({"upgrade", product.path()}).code, exit_input_wrong);
    const Ran none = run({"upgrade", "--all", product.path()});
    EXPECT_EQ(none.code, exit_input_wrong);
    EXPECT_NE(none.err.find("no other version is filed in"), std::string::npos) << none.err;
    EXPECT_EQ(run({"upgrade", product.path(), product.path(), "--to-store", "3"}).code, exit_input_wrong);
    ASSERT_EQ(run({"ship", product.path()}).code, exit_ok);
    std::ofstream(product.filed("1.toml"), std::ios::app) << "# changed\n";
    const Ran changed = run({"upgrade", product.filed("1.toml"), product.path()});
    EXPECT_EQ(changed.code, exit_input_wrong);
    EXPECT_NE(changed.err.find("is not as it was filed as version 1"), std::string::npos) << changed.err;
    for (const char* table : {"", "version,store,sha256,note\n2,1,00,\n", "version,store,sha256,note\n1,9,00,\n"}) {
        std::ofstream(product.filed("shipped.csv")) << table;
        EXPECT_EQ(run({"ship", product.path()}).code, exit_input_wrong) << table;
    }
}

} // namespace
} // namespace perdure
