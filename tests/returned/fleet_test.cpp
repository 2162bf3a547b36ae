// Many dumps: what the database and the table say of each is what was done to it.
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <sqlite3.h>

#include "catalog/csv.hpp"
#include "cli/commands.hpp"
#include "fleet/database.hpp"
#include "fleet/fleet.hpp"
#include "tests/own_folder.hpp"
#include "tests/returned/returned_unit.hpp"
#include "tests/run_program.hpp"

namespace perdure::returned {
namespace {

namespace fs = std::filesystem;

using Ran = ProgramRan;

Ran run(std::vector<std::string> words) {
    words.insert(words.begin(), "inspect");
    return run_program(words);
}

std::vector<std::vector<std::string>> ask(const std::string& path, const std::string& sql) {
    sqlite3* database = nullptr;
    EXPECT_EQ(sqlite3_open_v2(path.c_str(), &database, SQLITE_OPEN_READONLY, nullptr), SQLITE_OK);
    std::vector<std::vector<std::string>> rows;
    const auto take = [](void* to, int count, char** values, char**) {
        auto& row = static_cast<std::vector<std::vector<std::string>>*>(to)->emplace_back();
        for (int i = 0; i < count; i++) { row.emplace_back(values[i] != nullptr ? values[i] : "NULL"); }
        return 0;
    };
    char* message = nullptr;
    EXPECT_EQ(sqlite3_exec(database, sql.c_str(), take, &rows, &message), SQLITE_OK) << (message ? message : "");
    sqlite3_free(message);
    sqlite3_close(database);
    return rows;
}

std::string contents_of(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path, std::ios::binary).rdbuf();
    return text.str();
}

/// A folder of `units` dumps: in order, but every tenth has one bit changed, one in twenty a text over it, and two more
/// files hold nothing that can be read.
struct Folder {
    std::string path = own_folder() + "fleet/", project = path + "../fleet.toml";
    size_t rotten = 0, overwritten = 0;

    explicit Folder(int units, int saves = 60) {
        fs::remove_all(path);
        fs::create_directories(path);
        std::ofstream(project) << project_text(4);
        const Product product(project_text(4));
        for (int i = 0; i < units; i++) {
            UsedUnit unit(product, static_cast<uint64_t>(i) + 1);
            unit.use(saves + i);
            std::vector<uint8_t> bytes = unit.flash();
            const Decoded decoded = decode({product.expected.areas[0].shape, bytes, {}});
            const DumpEntry& entry = decoded.entries[decoded.entries.size() - 4];
            if (i % 10 == 3 && !entry.mark && decoded.entries.back().block == entry.block) {
                bytes[(size_t{entry.block} * 64 + entry.unit) * 8 + 1] ^= 0x20;
                rotten++;
            } else if (i % 20 == 7) {
                const std::string text = "some other firmware's log";
                std::copy(text.begin(), text.end(), bytes.begin() + 400);
                overwritten++;
            }
            const std::string name = path + "D-" + std::to_string(1000 + i);
            if (i % 2 == 0) {
                std::ofstream(name + ".bin", std::ios::binary)
                    .write(reinterpret_cast<const char*>(bytes.data()), std::ssize(bytes));
            } else {
                std::ofstream(name + ".hex") << write_intel_hex({{{0x08001800, bytes}}, {}, {}, {}});
            }
        }
        std::ofstream(path + "X-1.hex") << "no hex file\n";
        std::ofstream(path + "X-2.bin").flush();
        std::ofstream(path + "notes.txt") << "left out\n";
    }
};

TEST(Fleet, TheDatabaseHoldsWhatWasDone) {
    const Folder folder(60);
    ASSERT_GT(folder.rotten, 2U);
    const std::string database = own_folder() + "fleet.sqlite";
    const std::string csv = own_folder() + "fleet.csv";
    fs::remove(database);
    const Ran ran = run({folder.project, "--fleet", folder.path, "--db", database, "--csv", csv, "--age", "3",
                         "--threads", "2", "--json"});
    EXPECT_EQ(ran.code, exit_not_met) << ran.err;
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    EXPECT_EQ(json.at("units"), 62);
    EXPECT_EQ(json.at("unreadable"), 2);
    EXPECT_EQ(json.at("files_left_out"), 1);
    EXPECT_EQ(json.at("in_order"), 60 - folder.rotten - folder.overwritten);
    EXPECT_EQ(json.at("damage").at("bit rot").at("units"), folder.rotten);
    EXPECT_EQ(json.at("damage").at("overwritten").at("units"), folder.overwritten);
    EXPECT_EQ(ask(database, "SELECT count(*) FROM units"), (std::vector<std::vector<std::string>>{{"62"}}));
    EXPECT_EQ(ask(database, "SELECT value FROM about WHERE key = 'project'").at(0).at(0), "door counter");
    EXPECT_EQ(ask(database, "SELECT count(DISTINCT unit) FROM damage WHERE cause = 'bit rot'").at(0).at(0),
              std::to_string(folder.rotten));
    const auto unreadable = ask(database, "SELECT serial, error FROM units WHERE error != '' ORDER BY unit");
    ASSERT_EQ(unreadable.size(), 2U);
    EXPECT_EQ(unreadable[0],
              (std::vector<std::string>{"X-1", "holds no bytes; line 1: this line does not begin with a colon"}));
    EXPECT_EQ(unreadable[1], (std::vector<std::string>{"X-2", "holds no bytes"}));
    // Each unit's row is what it says by itself.
    const Product product(project_text(4));
    FleetOptions options;
    options.age_years = 3;
    for (const char* serial : {"D-1000.bin", "D-1003.hex", "D-1007.hex", "D-1059.hex"}) {
        const UnitRow row = inspect_file(product.expected, folder.path + serial, options);
        const auto area =
            ask(database, "SELECT areas.in_order, erases_most, restarts FROM areas JOIN units USING (unit) WHERE "
                          "serial = '" +
                              row.serial + "'");
        ASSERT_EQ(row.areas.size(), 1U) << row.error;
        ASSERT_EQ(area.size(), 1U);
        EXPECT_EQ(area[0],
                  (std::vector<std::string>{row.areas[0].holds ? "1" : "0", std::to_string(row.areas[0].wear.most),
                                            std::to_string(row.areas[0].restarts)}));
    }
    // The table says the same.
    const auto rows = parse_csv(contents_of(csv));
    ASSERT_TRUE(rows);
    ASSERT_EQ(rows->size(), 63U);
    for (size_t i = 1; i < rows->size(); i++) {
        const bool readable = (*rows)[i][4].empty();
        EXPECT_EQ((*rows)[i].size(), readable ? rows->front().size() : 5U) << i;
    }
    EXPECT_EQ(rows->front().back(), "calibration.zero");
    const auto values =
        ask(database, "SELECT value FROM fields JOIN units USING (unit) WHERE serial = 'D-1010' AND record = "
                      "'people' AND field = 'entered'");
    const auto column = std::ranges::find(rows->front(), "people.entered") - rows->front().begin();
    const auto row = std::ranges::find_if(*rows, [](const auto& r) { return r[1] == "D-1010"; });
    EXPECT_EQ((*row)[static_cast<size_t>(column)], values.at(0).at(0));
}

TEST(Fleet, AgesComeFromATable) {
    const Folder folder(4, 1500); // some turns of the ring
    const std::string ages = own_folder() + "ages.csv";
    const std::string database = own_folder() + "ages.sqlite";
    std::ofstream(ages) << "serial,years\nD-1000,0.001\nD-1001,3\n";
    const Ran ran = run({folder.project, "--fleet", folder.path, "--ages", ages, "--db", database, "--json"});
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    EXPECT_EQ(json.at("reach_life"), 1);
    EXPECT_EQ(json.at("miss_life"), 1);
    EXPECT_EQ(json.at("miss_life_serials"), nlohmann::json::array({"D-1000"}));
    std::ofstream(ages) << "serial,years\nD-1000,soon\n";
    const Ran wrong = run({folder.project, "--fleet", folder.path, "--ages", ages});
    EXPECT_EQ(wrong.code, exit_input_wrong);
    EXPECT_NE(wrong.err.find("row 2 is no serial and years in use"), std::string::npos) << wrong.err;
}

TEST(Fleet, AFileOfAnotherKindIsNotReplaced) {
    const Folder folder(2);
    const std::string other = own_folder() + "thesis.txt";
    std::ofstream(other) << "years of work, long enough to be longer than the head of a database file is";
    const Ran ran = run({folder.project, "--fleet", folder.path, "--db", other});
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_NE(ran.err.find("is there and holds no fleet"), std::string::npos) << ran.err;
    EXPECT_EQ(contents_of(other).substr(0, 13), "years of work");
    const std::string database = own_folder() + "twice.sqlite";
    fs::remove(database);
    for (int i = 0; i < 2; i++) {
        EXPECT_EQ(run({folder.project, "--fleet", folder.path, "--db", database}).code, exit_not_met);
        EXPECT_EQ(ask(database, "SELECT count(*) FROM units").at(0).at(0), "4");
        EXPECT_FALSE(fs::exists(database + ".part"));
    }
}

TEST(Fleet, QuantilesAreNearestRanks) {
    const std::vector<uint32_t> sorted{10, 20, 30, 40};
    EXPECT_EQ(quantile(sorted, 0), 10U);
    EXPECT_EQ(quantile(sorted, .25), 10U);
    EXPECT_EQ(quantile(sorted, .5), 20U);
    EXPECT_EQ(quantile(sorted, .95), 40U);
    EXPECT_EQ(quantile(sorted, 1), 40U);
}

} // namespace
} // namespace perdure::returned
