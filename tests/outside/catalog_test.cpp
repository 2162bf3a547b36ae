// The catalogue held against three packages of Debian 12 that describe the same parts: python3-pyocd's target files
// (erase layout), avr-libc's headers (page, flash and EEPROM size) and avrdude's table (the same, erase block and
// time). Where the catalogue's own source is that very file the
// comparison shows only that it was copied well; such parts are counted apart.
#include <array>
#include <cstdint>
#include <fstream>
#include <map>
#include <optional>
#include <regex>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "catalog/catalog.hpp"

namespace perdure {
namespace {

constexpr const char* pyocd_folder = "/usr/lib/python3/dist-packages/pyocd/target/";
constexpr const char* avr_folder = "/usr/lib/avr/include/avr/";
constexpr const char* avrdude_file = "/etc/avrdude.conf";

std::string read_text(const std::string& path) {
    std::ifstream file(path);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

struct Region {
    uint64_t start = 0, length = 0, block = 0;
};

/// The flash regions of a target file, one list a chip: a region that starts no higher than the one before begins the
/// next chip.
std::vector<std::vector<Region>> pyocd_chips(const std::string& text) {
    static const std::regex region_text(R"(FlashRegion\(([^)]*)\))");
    static const std::regex key_text(R"((start|length|blocksize)\s*=\s*(0[xX][0-9a-fA-F]+|\d+))");
    std::vector<std::vector<Region>> chips;
    for (std::sregex_iterator found(text.begin(), text.end(), region_text), end; found != end; ++found) {
        const std::string inside = (*found)[1];
        std::map<std::string, uint64_t> keys;
        for (std::sregex_iterator key(inside.begin(), inside.end(), key_text); key != end; ++key) {
            keys[(*key)[1]] = std::stoull((*key)[2], nullptr, 0);
        }
        const Region region{keys["start"], keys["length"], keys["blocksize"]};
        if (chips.empty() || region.start <= chips.back().back().start) { chips.emplace_back(); }
        chips.back().push_back(region);
    }
    return chips;
}

/// Erase blocks of a chip in address order, up to `bytes` from its start; empty when it is smaller or has a gap there.
std::vector<uint64_t> blocks_of(const std::vector<Region>& chip, uint64_t bytes) {
    std::vector<uint64_t> blocks;
    uint64_t reached = 0;
    for (const Region& region : chip) {
        if (region.start - chip.front().start != reached || region.block == 0) { break; }
        for (uint64_t at = 0; at < region.length && reached < bytes; at += region.block) {
            blocks.push_back(region.block);
            reached += region.block;
        }
    }
    return reached == bytes ? blocks : std::vector<uint64_t>{};
}

std::vector<uint64_t> blocks_of(const Device& device) {
    std::vector<uint64_t> blocks;
    for (const BlockRun& run : device.runs) { blocks.insert(blocks.end(), run.count, run.erase_bytes); }
    return blocks;
}

/// The value of a #define whose last spelling is a number, in parentheses or with a suffix or not.
std::optional<uint64_t> defined(const std::string& text, const std::string& name) {
    const std::regex line("#\\s*define\\s+" + name + R"(\s+\(?\s*(0[xX][0-9a-fA-F]+|\d+))");
    std::smatch found;
    if (!std::regex_search(text, found, line)) { return std::nullopt; }
    return std::stoull(found[1], nullptr, 0);
}

/// The text of the part with this id in avrdude's table: from its "part" line to the next one; empty without one.
std::string avrdude_part(const std::string& table, const std::string& id) {
    static const std::regex part_line("(^|\n)part( parent \"[^\"]+\")?[^\n]*");
    const std::regex id_line("\n +id += \"" + id + "\";");
    for (std::sregex_iterator found(table.begin(), table.end(), part_line), end; found != end;) {
        const auto from = static_cast<size_t>(found->position());
        ++found;
        const size_t to = found == end ? table.size() : static_cast<size_t>(found->position());
        std::string part = table.substr(from, to - from);
        if (std::regex_search(part, id_line)) { return part; }
    }
    return "";
}

/// `key = number;` in `text`.
std::optional<uint64_t> setting(const std::string& text, const std::string& key) {
    const std::regex line("\n +" + key + " += (0[xX][0-9a-fA-F]+|\\d+);");
    std::smatch found;
    if (!std::regex_search(text, found, line)) { return std::nullopt; }
    return std::stoull(found[1], nullptr, 0);
}

/// The settings of one memory of a part, up to the semicolon that closes it.
std::string memory_of(const std::string& part, const std::string& name) {
    const size_t from = part.find("memory \"" + name + "\"");
    return from == std::string::npos ? "" : part.substr(from, part.find("\n    ;", from) - from);
}

struct Same {
    const char* id;   ///< of the catalogue
    const char* file; ///< of the package
};

// The last two are other members of the part's family: the same erase blocks by the maker's reference manual (from
// memory).
constexpr std::array pyocd_parts{
    Same{"lpc1768", "target_LPC1768.py"},        Same{"mk64f", "target_MK64FN1M0xxx12.py"},
    Same{"mkl25z", "target_MKL25Z128xxx4.py"},   Same{"nrf51822", "target_nRF51822_xxAA.py"},
    Same{"nrf52840", "target_nRF52840_xxAA.py"}, Same{"stm32l476", "target_STM32L475xx.py"},
    Same{"stm32f405", "target_STM32F439xx.py"},  Same{"stm32f030", "target_STM32F051T8.py"},
};
constexpr std::array avr_parts{Same{"atmega328p", "iom328p.h"}, Same{"atmega2560", "iom2560.h"},
                               Same{"attiny1634", "iotn1634.h"}};
// The ATmega328P inherits all of the ATmega328's memories in avrdude's table.
constexpr std::array avrdude_parts{Same{"atmega328p", "m328"}, Same{"atmega2560", "m2560"},
                                   Same{"attiny1634", "t1634"}};

} // namespace

TEST(CatalogOutside, EraseBlocksAgreeWithTheDebugProbesTargetFiles) {
    int compared = 0, from_another_source = 0;
    for (const Same& same : pyocd_parts) {
        SCOPED_TRACE(std::string(same.id) + " against " + same.file);
        const std::string text = read_text(std::string(pyocd_folder) + same.file);
        ASSERT_FALSE(text.empty()) << "no such file; apt-get install python3-pyocd";
        const Device* device = catalog().find(same.id);
        ASSERT_NE(device, nullptr);
        const std::vector<uint64_t> catalogued = blocks_of(*device);
        uint64_t bytes = 0;
        for (const uint64_t block : catalogued) { bytes += block; }
        ASSERT_GT(bytes, 0U);
        EXPECT_EQ(bytes, device->flash_bytes);
        std::vector<uint64_t> theirs;
        for (const auto& chip : pyocd_chips(text)) {
            const std::vector<uint64_t> blocks = blocks_of(chip, bytes);
            if (!blocks.empty()) { theirs = blocks; }
        }
        EXPECT_EQ(catalogued, theirs);
        compared++;
        if (device->source_of("erase_layout").text.find(same.file) == std::string::npos) { from_another_source++; }
    }
    EXPECT_EQ(compared, 8);
    EXPECT_GE(from_another_source, 2) << "too few comparisons that say more than that a figure was copied well";
    RecordProperty("compared", compared);
    RecordProperty("from_another_source", from_another_source);
}

TEST(CatalogOutside, PagesAndFlashSizesAgreeWithTheCompilersHeaders) {
    int compared = 0;
    for (const Same& same : avr_parts) {
        SCOPED_TRACE(std::string(same.id) + " against " + same.file);
        const std::string text = read_text(std::string(avr_folder) + same.file);
        ASSERT_FALSE(text.empty()) << "no such file; apt-get install avr-libc";
        const Device* device = catalog().find(same.id);
        ASSERT_NE(device, nullptr);
        const std::optional<uint64_t> page = defined(text, "SPM_PAGESIZE"), last = defined(text, "FLASHEND"),
                                      eeprom_last = defined(text, "E2END");
        ASSERT_TRUE(page && last && eeprom_last);
        ASSERT_TRUE(device->program_bytes.has_value());
        EXPECT_EQ(*device->program_bytes, *page);
        EXPECT_EQ(device->flash_bytes, *last + 1);
        EXPECT_EQ(device->data_eeprom_bytes, *eeprom_last + 1);
        ASSERT_EQ(device->runs.size(), 1U);
        EXPECT_EQ(device->runs[0].erase_bytes % *page, 0U) << "an erase block is whole pages";
        compared += 3;
    }
    EXPECT_EQ(compared, 9);
}

TEST(CatalogOutside, ErasesAndTimesAgreeWithTheProgrammersTable) {
    const std::string table = read_text(avrdude_file);
    ASSERT_FALSE(table.empty()) << "no " << avrdude_file << "; apt-get install avrdude";
    int compared = 0, from_another_source = 0;
    for (const Same& same : avrdude_parts) {
        SCOPED_TRACE(std::string(same.id) + " against " + same.file);
        const std::string part = avrdude_part(table, same.file);
        const std::string flash = memory_of(part, "flash"), eeprom = memory_of(part, "eeprom");
        const Device* device = catalog().find(same.id);
        ASSERT_NE(device, nullptr);
        ASSERT_EQ(device->runs.size(), 1U);
        const auto page = setting(flash, "page_size");
        ASSERT_TRUE(page);
        const uint64_t pages_an_erase = setting(part, "n_page_erase").value_or(1);
        const auto check = [&](std::string_view column, std::optional<double> ours, std::optional<double> theirs) {
            EXPECT_EQ(ours, theirs) << column;
            compared++;
            if (device->source_of(column).text.find("avrdude") == std::string::npos) { from_another_source++; }
        };
        check("flash_bytes", device->flash_bytes, setting(flash, "size"));
        check("program_bytes", device->program_bytes, page);
        check("erase_layout", device->runs[0].erase_bytes, *page * pages_an_erase);
        check("program_us_max", device->program_us_max, setting(flash, "max_write_delay"));
        check("data_eeprom_bytes", device->data_eeprom_bytes, setting(eeprom, "size"));
    }
    EXPECT_EQ(compared, 15);
    EXPECT_GE(from_another_source, 3) << "too few comparisons that say more than that a figure was copied well";
}

// The readers above must be able to see a difference.
TEST(CatalogOutside, AWrongLayoutIsNoticed) {
    const auto chips = pyocd_chips("FlashRegion( start=0x08000000, length=0x8000,  blocksize=0x4000),\n"
                                   "FlashRegion(start=0x08008000, length=65536, blocksize=0x10000)\n"
                                   "FlashRegion( start=0x08000000, length=0x1000, blocksize=0x400)");
    ASSERT_EQ(chips.size(), 2U);
    EXPECT_EQ(blocks_of(chips[0], 0x18000), (std::vector<uint64_t>{0x4000, 0x4000, 0x10000}));
    EXPECT_TRUE(blocks_of(chips[0], 0x1000).empty());
    EXPECT_EQ(blocks_of(chips[1], 0x1000).size(), 4U);
    EXPECT_EQ(defined("#  define FLASHEND     (0x3FFFU)\n", "FLASHEND"), 0x3FFFU);
    EXPECT_FALSE(defined("#define XFLASHEND 3", "FLASHEND"));
    const std::string table = "part\n    id     = \"a\";\n    memory \"flash\"\n        size  = 0x100;\n    ;\n"
                              "part parent \"a\"\n    id     = \"b\";\n    n_page_erase = 4;\n    memory \"eeprom\"\n"
                              "        size  = 64;\n    ;\n";
    EXPECT_EQ(setting(memory_of(avrdude_part(table, "a"), "flash"), "size"), 0x100U);
    EXPECT_EQ(memory_of(avrdude_part(table, "a"), "eeprom"), "") << "the next part's";
    EXPECT_EQ(setting(avrdude_part(table, "b"), "n_page_erase"), 4U);
    EXPECT_TRUE(avrdude_part(table, "c").empty());
}

} // namespace perdure
