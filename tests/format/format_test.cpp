// The worked examples of store/format.md are what the store writes: every example is produced here by running the
// store, and compared with the block of that name in the document. With PERDURE_PRINT_EXAMPLES set, all are printed
// instead.
#include <cstdlib>
#include <functional>
#include <iostream>

#include <gtest/gtest.h>

#include "tests/format/area.hpp"
#include "tests/format/document.hpp"

namespace perdure::format_examples {
namespace {

const uint8_t settings[4] = {0xDE, 0xAD, 0xBE, 0xEF};

Lines stamps() {
    Area area({});
    EXPECT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    Lines lines = area.units(0);
    const Lines next = area.units(1);
    lines.insert(lines.end(), next.begin(), next.end());
    return lines;
}

Lines value() {
    Area area({});
    perdure_format(&area.store, &area.config);
    EXPECT_EQ(perdure_put(&area.store, record_1, settings), PERDURE_OK);
    return area.units(0, 2);
}

Lines long_id() {
    Area area({});
    perdure_format(&area.store, &area.config);
    EXPECT_EQ(perdure_put(&area.store, record_100, "abc"), PERDURE_OK);
    return area.units(0, 2);
}

Lines long_payload() {
    Area area({2, 160, 32, 16, 0xFF});
    area.config.record_count = 4;
    perdure_format(&area.store, &area.config);
    uint8_t payload[130];
    for (unsigned i = 0; i < sizeof payload; i++) { payload[i] = static_cast<uint8_t>(i + 1); }
    EXPECT_EQ(perdure_put(&area.store, record_300, payload), PERDURE_OK);
    return area.units(0, 1);
}

Lines total() {
    Area area({});
    perdure_format(&area.store, &area.config);
    for (const Totals& totals :
         {totals_of(4000, 250), totals_of(4100, 251), totals_of(4200, 300), totals_of(9200, 301)}) {
        EXPECT_EQ(perdure_put(&area.store, record_2, totals.bytes), PERDURE_OK);
    }
    return area.units(0, 2);
}

Lines log_entries() {
    Area area({});
    area.records[record_2] = {7, 2, nullptr, nullptr, 0, 0, 2};
    perdure_format(&area.store, &area.config);
    const uint8_t samples[] = {0x11, 0x11, 0x22, 0x22, 0x33, 0x33, 0x44, 0x44, 0x55, 0x55};
    EXPECT_EQ(perdure_append(&area.store, record_2, samples, 2), PERDURE_OK);
    EXPECT_EQ(perdure_append(&area.store, record_2, samples + 4, 2), PERDURE_OK);
    EXPECT_EQ(perdure_append(&area.store, record_2, samples + 8, 1), PERDURE_OK);
    return area.units(0, 2);
}

/// A save that comes in the first of two programs of a total.
Lines save() {
    Area area({});
    perdure_format(&area.store, &area.config);
    perdure_put(&area.store, record_1, settings);
    area.config.urgent = 1 + record_1;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    static bool (*const program)(void*, uint32_t, const void*) = area.port.program;
    area.port.program = [](void* context, uint32_t address, const void* unit) {
        auto& of = *static_cast<Area*>(context);
        of.port.program = program;
        const bool programmed = program(context, address, unit);
        EXPECT_EQ(perdure_put_now(&of.store, record_1, "\x5A\x5A\x5A\x5A"), PERDURE_OK);
        return programmed;
    };
    EXPECT_EQ(perdure_put(&area.store, record_2, totals_of(4000, 250).bytes), PERDURE_READ_ONLY);
    return area.units(0, 9);
}

Lines restart() {
    Area area({});
    perdure_format(&area.store, &area.config);
    perdure_put(&area.store, record_1, settings);
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    return area.units(0, 2);
}

Lines lone_restart() {
    Area area({});
    perdure_format(&area.store, &area.config);
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    return area.units(0, 2);
}

/// Puts until the head is `head` and one entry stands in it.
void fill(Area& area, uint16_t head) {
    perdure_format(&area.store, &area.config);
    perdure_put(&area.store, record_100, "abc");
    for (uint8_t i = 0; area.store.head != head; i++) {
        const uint8_t payload[4] = {i, 0, 0, 0};
        ASSERT_EQ(perdure_put(&area.store, record_1, payload), PERDURE_OK);
    }
}

Lines marks() {
    Area area({});
    fill(area, 1);
    Lines lines = area.units(0);
    const Lines next = area.units(1);
    lines.insert(lines.end(), next.begin(), next.end());
    return lines;
}

/// Operations from format until the erase of the first tail begins.
int operations_until_erase() {
    Area area({});
    perdure_format(&area.store, &area.config);
    perdure_put(&area.store, record_100, "abc");
    for (int operations = 1;; operations++) {
        Area other({});
        perdure_format(&other.store, &other.config);
        other.operations_left = operations;
        perdure_put(&other.store, record_100, "abc");
        for (uint8_t i = 0; other.operations_left != 0 && other.store.head != 1; i++) {
            const uint8_t payload[4] = {i, 0, 0, 0};
            perdure_put(&other.store, record_1, payload);
        }
        const Lines head = other.units(1, 2);
        if (!head.empty() && head.back().find(" 03 ") == 3) {
            return operations; // the mark stands, the operation that is cut is the erase
        }
    }
}

Lines pending() {
    Area area({});
    perdure_format(&area.store, &area.config);
    area.operations_left = operations_until_erase();
    perdure_put(&area.store, record_100, "abc");
    for (uint8_t i = 0; area.operations_left != 0; i++) {
        const uint8_t payload[4] = {i, 0, 0, 0};
        perdure_put(&area.store, record_1, payload);
    }
    area.operations_left = -1;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    return area.units(1, 2);
}

Lines format_mark() {
    Area area({});
    perdure_format(&area.store, &area.config);
    perdure_put(&area.store, record_1, settings);
    area.operations_left = 2;
    perdure_format(&area.store, &area.config);
    Lines lines = area.units(0, 2);
    const Lines next = area.units(1, 2);
    lines.insert(lines.end(), next.begin(), next.end());
    return lines;
}

Lines set_aside() {
    Area area({4, 40, 8, 16, 0xFF});
    area.erase_that_fails = 2;
    EXPECT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    return area.units(0, 2);
}

Lines widths() {
    Lines lines;
    for (const uint8_t bits : {uint8_t{8}, uint8_t{24}, uint8_t{32}}) {
        Area area({2, 40, 16, bits, 0xFF});
        perdure_format(&area.store, &area.config);
        EXPECT_EQ(perdure_put(&area.store, record_1, settings), PERDURE_OK);
        const Lines more = area.units(0);
        lines.insert(lines.end(), more.begin(), more.end());
    }
    return lines;
}

Lines blank_zero() {
    Area area({2, 60, 6, 16, 0x00});
    perdure_format(&area.store, &area.config);
    perdure_put(&area.store, record_1, settings);
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    return area.units(0);
}

const std::vector<std::pair<std::string, std::function<Lines()>>> examples = {
    {"stamps", stamps},
    {"value", value},
    {"long id", long_id},
    {"long payload", long_payload},
    {"total", total},
    {"log", log_entries},
    {"save", save},
    {"restart", restart},
    {"lone restart", lone_restart},
    {"mark", marks},
    {"pending", pending},
    {"format begun", format_mark},
    {"set aside", set_aside},
    {"check widths", widths},
    {"blank 0x00", blank_zero},
};

TEST(FormatDocument, ExamplesAreWhatTheStoreWrites) {
    const bool print = std::getenv("PERDURE_PRINT_EXAMPLES") != nullptr;
    const auto document = read_document();
    for (const auto& [name, make] : examples) {
        const Lines written = make();
        ASSERT_FALSE(written.empty()) << name;
        if (print) {
            std::cout << "Example " << name << ":\n\n```\n";
            for (const auto& line : written) { std::cout << line << '\n'; }
            std::cout << "```\n\n";
        }
        const auto at = document.find(name);
        ASSERT_TRUE(at != document.end() || print) << "store/format.md has no example '" << name << "'";
        if (at != document.end()) { EXPECT_EQ(at->second, written) << name; }
    }
    EXPECT_TRUE(document.size() == examples.size() || print) << "store/format.md has an example that no test produces";
}

} // namespace
} // namespace perdure::format_examples
