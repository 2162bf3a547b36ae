#include "project/read.hpp"

#include <random>

#include <gtest/gtest.h>

namespace perdure {
namespace {

/// One invented part: what it says is not what the tests are about.
Catalog one_part() {
    Device part;
    part.id = "part8";
    part.flash_bytes = 131072;
    part.runs = {{64, 2048, 0}};
    part.program_bytes = 8;
    part.program_rule = "ecc-zero";
    part.erased_value = "0xFF";
    part.read_while_write = "stall";
    part.erase_ms_max = {40};
    part.program_us_max = 125;
    part.endurance_cycles = 10000;
    part.provenance["endurance_cycles"] = {"table 57", false};
    Catalog catalog;
    catalog.devices = {part};
    return catalog;
}

constexpr std::string_view whole_text = R"([product]
name = "pump"
life = "12 y"
year = "365 d"
starts = "2/day"
fleet = 300

[part]
catalog = "part8"
endurance = 5000
flash_start = "0x08000000"

[area.store]
start = 0x0801E000
size = "8 KiB"
check_bits = 24

[record.fault]
id = 7
kind = "value"
fields = [ { name = "code", type = "i16", default = -3 }, { name = "text", type = "bytes:20" } ]
saves = [ { events = "2/week", confidence = 0.95 }, { at_start = true, changed = 0.25 } ]

[record.water]
id = 2
kind = "total"
heavy_user = 1.5
lost_entries = 3
saves = [ { every = "45 s" } ]
[[record.water.fields]]
name = "litres"
type = "u64"
movement = 1023

[require]
margin = 1.2
spend_limit = 0.8
put_stall = "10 ms"
start_up = "0.25 s"
flash_share = 0.25
)";

Project read_whole() {
    const auto project = read_project(whole_text, "folder/pump.toml", one_part());
    EXPECT_TRUE(project.has_value()) << (project ? "" : render(project.error()));
    return project.value_or(Project{});
}

TEST(Read, ProductAndRequirements) {
    const Project project = read_whole();
    EXPECT_EQ(project.product.name, "pump");
    EXPECT_DOUBLE_EQ(project.product.life_s(), 12.0 * 365 * 86400);
    EXPECT_DOUBLE_EQ(project.product.starts_per_day, 2);
    EXPECT_EQ(project.product.fleet_units, 300U);
    EXPECT_EQ(project.product.life_place.line, 3U);
    EXPECT_EQ(project.product.life_place.column, 8U);
    EXPECT_DOUBLE_EQ(project.requirements.margin_min, 1.2);
    EXPECT_DOUBLE_EQ(project.requirements.spend_limit, 0.8);
    EXPECT_DOUBLE_EQ(project.requirements.put_stall_max_ms.value(), 10);
    EXPECT_DOUBLE_EQ(project.requirements.start_up_max_ms.value(), 250);
    EXPECT_DOUBLE_EQ(project.requirements.flash_share_max.value(), 0.25);
}

TEST(Read, WhatTheFileGivesReplacesTheCatalogueAndSaysSo) {
    const Project project = read_whole();
    EXPECT_DOUBLE_EQ(project.part.endurance_cycles.value(), 5000);
    EXPECT_EQ(project.part.source_of("endurance_cycles").text, "pump.toml line 10");
    EXPECT_EQ(project.part.program_bytes.value(), 8U);
    EXPECT_EQ(project.flash_start_address.value(), 0x08000000U);
}

TEST(Read, AreaAndRecords) {
    const Project project = read_whole();
    ASSERT_EQ(project.areas.size(), 1U);
    EXPECT_EQ(project.areas[0].start_address.value(), 0x0801E000U);
    EXPECT_EQ(project.areas[0].size_bytes.value(), 8192U);
    EXPECT_EQ(project.areas[0].check_bits, 24U);
    ASSERT_EQ(project.records.size(), 2U);
    const Record& water = project.records[0]; // by id, not by place
    EXPECT_EQ(water.id, 2);
    EXPECT_EQ(water.kind, RecordKind::total);
    EXPECT_EQ(water.area, "store");
    EXPECT_DOUBLE_EQ(water.heavy_user_factor, 1.5);
    EXPECT_EQ(water.lost_entries_max, 3U);
    ASSERT_EQ(water.fields.size(), 1U);
    EXPECT_EQ(water.fields[0].movement_max, 1023U);
    EXPECT_EQ(water.payload_bytes(), 8U);
    EXPECT_DOUBLE_EQ(water.saves.at(0).every_s, 45);
    const Record& fault = project.records[1];
    EXPECT_EQ(fault.payload_bytes(), 22U);
    EXPECT_DOUBLE_EQ(fault.fields[0].default_value.value(), -3);
    EXPECT_EQ(fault.saves.at(0).when, SaveWhen::events);
    EXPECT_DOUBLE_EQ(fault.saves[0].events_per_day, 2.0 / 7);
    EXPECT_DOUBLE_EQ(fault.saves[0].confidence.value(), 0.95);
    EXPECT_EQ(fault.saves.at(1).when, SaveWhen::at_start);
    EXPECT_DOUBLE_EQ(fault.saves[1].changed_share, 0.25);
}

TEST(Read, WithoutAnAreaThereIsOneNamedStore) {
    std::string text(whole_text);
    const size_t begin = text.find("[area.store]");
    text.erase(begin, text.find("[record.fault]") - begin);
    const auto project = read_project(text, "pump.toml", one_part());
    ASSERT_TRUE(project.has_value());
    ASSERT_EQ(project->areas.size(), 1U);
    EXPECT_EQ(project->areas[0].name, "store");
    EXPECT_FALSE(project->areas[0].size_bytes.has_value());
    EXPECT_EQ(project->records[0].area, "store");
}

TEST(Read, APartInPlaceTakesTheStrictestRules) {
    std::string text(whole_text);
    const size_t begin = text.find("catalog");
    text.replace(begin, text.find("flash_start") - begin,
                 "erase_block = \"2 KiB\"\nblocks = 64\nprogram_unit = \"8 B\"\nblank = 0\nendurance = 1e5\nerase_max "
                 "= \"20 ms\"\nprogram_max = \"50 us\"\n");
    const auto project = read_project(text, "pump.toml", one_part());
    ASSERT_TRUE(project.has_value()) << render(project.error());
    const Device& part = project->part;
    EXPECT_EQ(part.program_rule, "ecc");
    EXPECT_EQ(part.read_while_write, "stall");
    EXPECT_EQ(part.erased_value, "0x00");
    EXPECT_EQ(part.flash_bytes.value(), 131072U);
    EXPECT_DOUBLE_EQ(part.erase_ms_max.at(0), 20);
    EXPECT_DOUBLE_EQ(part.program_us_max.value(), 50);
    EXPECT_DOUBLE_EQ(part.endurance_cycles.value(), 1e5);
}

TEST(Read, APartThatCannotCarryAStoreIsRefusedWithTheCataloguesReason) {
    Catalog parts = one_part();
    parts.devices[0].program_rule = "auto-erase"; // each write erases: no ring can be built on it
    const Usable use = usable(parts.devices[0]);
    ASSERT_FALSE(use.ok);
    const auto project = read_project(whole_text, "pump.toml", parts);
    ASSERT_FALSE(project.has_value());
    EXPECT_EQ(project.error().at(0).message, "part8 cannot carry a store: " + use.why_not);
    EXPECT_EQ(project.error()[0].span.place.line, 9U);
}

TEST(Read, CarriageReturnsAreFine) {
    std::string text;
    for (const char c : whole_text) { text += c == '\n' ? "\r\n" : std::string(1, c); }
    EXPECT_TRUE(read_project(text, "pump.toml", one_part()).has_value());
}

/// Changes some bytes at random: overwrites, drops, doubles; digits often become other digits, so that some files stay
/// readable.
std::string damaged(std::string text, std::mt19937& random) {
    for (auto n = 1 + random() % 3; n > 0 && !text.empty(); --n) {
        const size_t at = random() % text.size();
        const size_t length = 1 + random() % 24;
        switch (random() % 6) {
        case 0:
            text[at] = static_cast<char>(random() % 256);
            break;
        case 1:
            text.erase(at, length);
            break;
        case 2:
            text.insert(at, text.substr(random() % text.size(), length));
            break;
        case 3:
        case 4: {
            const size_t digit = text.find_first_of("0123456789", at);
            if (digit != std::string::npos) { text[digit] = static_cast<char>('0' + random() % 10); }
            break;
        }
        default:
            text[at] = "\"'[]{}=.,-0919\n"[random() % 15];
            break;
        }
    }
    return text;
}

TEST(Read, DamagedFilesGiveAProjectOrErrorsThatCanBePrinted) {
    const Catalog parts = one_part();
    std::mt19937 random(20240917); // fixed, so that a failure comes again
    size_t read = 0;
    size_t refused = 0;
    for (int i = 0; i < 4000; ++i) {
        const std::string text = damaged(std::string(whole_text), random);
        const auto project = read_project(text, "pump.toml", parts);
        if (project) {
            ++read;
            EXPECT_FALSE(project->records.empty()) << text;
            EXPECT_TRUE(project->part.program_bytes && project->part.endurance_cycles && !project->part.runs.empty())
                << text;
            for (const Record& record : project->records) {
                EXPECT_NE(record.id, 0) << text;
                EXPECT_FALSE(record.fields.empty() || record.saves.empty()) << text;
            }
        } else {
            ++refused;
            EXPECT_FALSE(project.error().empty()) << text;
            EXPECT_NE(render(project.error()).find("error: "), std::string::npos);
        }
    }
    EXPECT_GT(read, 50U); // both ways were taken, so the loop tried something
    EXPECT_GT(refused, 1000U);
}

TEST(Read, AnyBytesAreSafe) {
    const Catalog parts = one_part();
    std::mt19937 random(11);
    for (int i = 0; i < 2000; ++i) {
        std::string text(random() % 200, '\0');
        for (char& c : text) { c = static_cast<char>(random() % 256); }
        const auto project = read_project(text, "noise", parts);
        ASSERT_FALSE(project.has_value());
        ASSERT_FALSE(project.error().empty());
    }
}

TEST(Read, AFileThatIsNotThereIsAnErrorWithoutALine) {
    const auto project = load_project("no/such/file.toml", one_part());
    ASSERT_FALSE(project.has_value());
    EXPECT_EQ(render(project.error()),
              "no/such/file.toml: error: cannot be opened: No such file or directory\n\n1 error\n");
}

} // namespace
} // namespace perdure
