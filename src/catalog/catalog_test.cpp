#include <algorithm>
#include <set>

#include <gtest/gtest.h>

#include "catalog/catalog.hpp"
#include "catalog/embedded.hpp"
#include "catalog/read.hpp"

namespace perdure {
namespace {

Device whole_device() {
    Device device;
    device.id = "part";
    device.runs = {{64, 2048, 0}};
    device.program_bytes = 8;
    device.program_rule = "ecc";
    device.erased_value = "0xFF";
    device.endurance_cycles = 10000;
    return device;
}

std::string with_cell(std::string_view from, std::string_view to) {
    std::string text(embedded_file("devices.csv"));
    const size_t at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return text.replace(at, from.size(), to);
}

std::string error_of(const std::string& devices) {
    const auto read = read_catalog(devices, embedded_file("externals.csv"));
    return read ? "" : read.error();
}

} // namespace

TEST(Catalog, TheBuiltInTablesRead) {
    const auto read = read_catalog(embedded_file("devices.csv"), embedded_file("externals.csv"));
    ASSERT_TRUE(read.has_value()) << read.error();
    EXPECT_EQ(read->devices.size(), 59U);
    EXPECT_EQ(read->externals.size(), 12U);
    std::set<std::string> ids;
    for (const Device& device : read->devices) { ids.insert(device.id); }
    EXPECT_EQ(ids.size(), read->devices.size()) << "an id stands for one part";
}

TEST(Catalog, EachFigureHasItsSource) {
    const Device* part = catalog().find("stm32f030");
    ASSERT_NE(part, nullptr);
    EXPECT_EQ(part->endurance_cycles, 1000);
    EXPECT_NE(part->source_of("endurance_cycles").text.find("DS9773 Rev 5, tables 39 and 40"), std::string::npos);
    EXPECT_FALSE(part->source_of("endurance_cycles").from_memory);
    EXPECT_TRUE(part->source_of("read_while_write").from_memory);
    EXPECT_EQ(part->source_of("read_while_write").text, "from memory");
    EXPECT_TRUE(part->source_of("erase_ms_max").text.empty()) << "the maker gives no maximum";
    EXPECT_TRUE(part->erase_ms_max.empty());
    EXPECT_EQ(catalog().find("no such part"), nullptr);
}

TEST(Catalog, RunsOfANonUniformPartHaveTheirOffsetsAndTimes) {
    const Device* part = catalog().find("f28377d"); // 4*16384+6*65536+4*16384, times by size
    ASSERT_NE(part, nullptr);
    ASSERT_EQ(part->runs.size(), 3U);
    EXPECT_EQ(part->runs[1].offset_bytes, 4U * 16384);
    EXPECT_EQ(part->runs[2].offset_bytes, 4U * 16384 + 6U * 65536);
    EXPECT_EQ(part->erase_ms_max.size(), 3U);
    const Device* other = catalog().find("stm32f405");
    ASSERT_NE(other, nullptr);
    EXPECT_EQ(other->erase_ms_max, (std::vector<double>{500, 1100, 2000}));
}

TEST(Catalog, TheBestRunHasTheSmallestBlocksAndLiesTopmost) {
    EXPECT_EQ(best_run(*catalog().find("f28377d"))->offset_bytes, 4U * 16384 + 6U * 65536);
    EXPECT_EQ(best_run(*catalog().find("stm32f405"))->erase_bytes, 16384U);
    Device device = whole_device();
    device.runs = {{1, 1024, 0}, {2, 4096, 1024}};
    EXPECT_EQ(best_run(device)->erase_bytes, 4096U) << "one block makes no ring";
    device.runs = {{1, 1024, 0}, {1, 4096, 1024}};
    EXPECT_FALSE(best_run(device));
}

TEST(Catalog, APartIsUsableWhenNothingStandsAgainstIt) {
    EXPECT_TRUE(usable(whole_device()).ok);
    EXPECT_TRUE(usable(*catalog().find("stm32g071")).ok);
    EXPECT_TRUE(usable(*catalog().find("stm32l072")).ok) << "blank reads 0x00";
    EXPECT_TRUE(usable(*catalog().find("nrf52840")).ok) << "two writes a word are one more than needed";
    EXPECT_TRUE(usable(*catalog().find("msp430f5529")).ok) << "128 bytes take 10.9 of the 16 ms allowed";
}

TEST(Catalog, WhatCannotCarryAStoreSaysWhy) {
    EXPECT_EQ(usable(*catalog().find("msp430fr5994")).why_not,
              "its memory has no erase: each value can be written in place, and a ring would gain nothing");
    EXPECT_EQ(usable(*catalog().find("ch32v307")).why_not,
              "it reads 0xE339 after an erase, and the store tells blank units by bytes 0xFF or 0x00");
    for (const char* id : {"stm8l151", "psoc6"}) {
        EXPECT_EQ(usable(*catalog().find(id)).why_not,
                  "a write erases by itself, so each save would cost an erase cycle "
                  "and could, when cut, take with it what stood there");
        EXPECT_TRUE(usable(*catalog().find(id)).missing.empty());
    }
    Device device = whole_device();
    device.runs = {{1, 2048, 0}};
    EXPECT_EQ(usable(device).why_not, "it has no two erase blocks of the same size next to each other");
}

TEST(Catalog, CapsOnWritesAreHeldAgainstOneWriteAUnit) {
    Device device = *catalog().find("cc1352r");
    EXPECT_EQ(usable(device).why_not,
              "it allows 83 writes a row between erases, and a row of 256 bytes (from memory) filled 1 "
              "bytes at a time takes 256; give a larger program unit");
    device.program_bytes = 4;
    EXPECT_TRUE(usable(device).ok);
    device = *catalog().find("msp430f5529");
    device.program_us_max = 126;
    EXPECT_EQ(usable(device).why_not,
              "it allows 16 ms of programming in 128 bytes between erases, and filling them takes 16.1 ms");
}

TEST(Catalog, MissingFiguresAreListedNotGuessed) {
    Device device = whole_device();
    device.program_bytes.reset();
    device.endurance_cycles.reset();
    EXPECT_EQ(usable(device).missing, (std::vector<std::string>{"program_bytes", "endurance_cycles"}));
    EXPECT_EQ(usable(device).why_not, "program_bytes, endurance_cycles are not known");
    device = whole_device();
    device.runs.clear();
    device.erased_value.clear();
    EXPECT_EQ(usable(device).missing, (std::vector<std::string>{"erase_layout", "erased_value"}));
}

TEST(Catalog, ExternalMemoriesCarryTheirLeastGuaranteedEndurance) {
    const auto& all = catalog().externals;
    const auto of = [&](std::string_view id) {
        return *std::find_if(all.begin(), all.end(), [&](const ExternalMemory& memory) { return memory.id == id; });
    };
    EXPECT_EQ(of("m24c64dre").endurance_cycles, 900000) << "4,000,000 at 25 C, 1,200,000 at 85 C, 900,000 at 105 C";
    EXPECT_TRUE(of("m24c64dre").provenance.at("erase_bytes").from_memory);
    EXPECT_FALSE(of("m24c64dre").provenance.at("endurance_cycles").from_memory);
    EXPECT_GT(of("mr25h256").endurance_cycles.value(), 1e300) << "unlimited";
    EXPECT_FALSE(of("mt25q_class").endurance_cycles) << "not found, not guessed";
}

TEST(Catalog, ATableWithAMistakeIsRefusedWithPartAndColumn) {
    EXPECT_EQ(error_of(with_cell("65536,1024,64*1024,2,", "65536,1024,63*1024,2,")),
              "devices.csv: stm32f030, erase_layout: the runs have 64512 bytes, the flash 65536");
    EXPECT_EQ(error_of(with_cell("65536,1024,64*1024,2,", "65536,1024,64x1024,2,")),
              "devices.csv: stm32f030, erase_layout: \"64x1024\" is not count*bytes");
    EXPECT_EQ(error_of(with_cell("65536,1024,64*1024,2,", "65536,1024,64*1024,two,")),
              "devices.csv: stm32f030, program_bytes: \"two\" is not a number");
    EXPECT_EQ(error_of(with_cell("stall,30,,53.5,", "stall,30,40,53.5,")),
              "devices.csv: stm32f030, erase_ms_max: a figure without a source");
    EXPECT_EQ(error_of(with_cell("stall,30,,53.5,", "stall,,,53.5,")),
              "devices.csv: stm32f030, erase_ms_typ: a source for an empty cell");
    EXPECT_EQ(
        error_of(with_cell("program_once_ecc,read_while_write\",", "program_once_ecc,read_while_write,vdd_min\",")),
        "devices.csv: stm32f030, vdd_min: claimed twice");
    EXPECT_EQ(error_of(with_cell("program_once_ecc,read_while_write\",",
                                 "program_once_ecc,read_while_write,read_while_write\",")),
              "devices.csv: stm32f030, read_while_write: claimed twice");
    EXPECT_EQ(error_of(with_cell("program_once_ecc,read_while_write\",", "program_once_ecc,read_while_writes\",")),
              "devices.csv: stm32f030, read_while_writes: claimed, but no column of figures");
    EXPECT_EQ(error_of(with_cell("stall,30,,53.5,", "stall,30,53.5,")),
              "devices.csv: record 1 has 26 cells for 27 columns");
}

} // namespace perdure
