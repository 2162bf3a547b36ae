// Those promises of store/README.md that need no power cut to be checked. Cuts are the matter of tests/adversary.
#include <algorithm>
#include <initializer_list>

#include <gtest/gtest.h>

#include "dump/decode.hpp"
#include "tests/format/area.hpp"

namespace perdure {
namespace {

using format_examples::Area;
using format_examples::record_1;
using format_examples::record_100;
using format_examples::record_2;
using format_examples::Shape;
using format_examples::totals_of;

perdure_status put_number(Area& area, uint32_t number) {
    uint8_t payload[4];
    std::memcpy(payload, &number, sizeof payload);
    return perdure_put(&area.store, record_1, payload);
}

uint32_t get_number(const Area& area) {
    uint32_t number = 0;
    EXPECT_LE(perdure_get(&area.store, record_1, &number), PERDURE_DEFAULT);
    return number;
}

/// Erases since the area was formatted, highest and lowest of the blocks.
struct Wear {
    uint32_t lowest;
    uint32_t highest;
};
Wear wear_of(const Area& area, const std::vector<uint32_t>& at_first) {
    Wear wear{0xFFFFFFFF, 0};
    for (uint16_t block = 0; block < area.shape.blocks; block++) {
        uint32_t count = 0;
        EXPECT_TRUE(perdure_erase_count(&area.store, block, &count));
        wear.lowest = std::min(wear.lowest, count - at_first[block]);
        wear.highest = std::max(wear.highest, count - at_first[block]);
    }
    return wear;
}

std::vector<uint32_t> erase_counts(const Area& area) {
    std::vector<uint32_t> counts(area.shape.blocks);
    for (uint16_t block = 0; block < area.shape.blocks; block++) {
        EXPECT_TRUE(perdure_erase_count(&area.store, block, &counts[block]));
    }
    return counts;
}

TEST(Promise13, AFormatCountsItsOwnErasesOnly) {
    for (const uint16_t blocks : {uint16_t{2}, uint16_t{3}, uint16_t{12}}) {
        Shape shape;
        shape.blocks = blocks;
        Area area(shape);
        for (uint32_t formats = 1; formats < 4; formats++) {
            ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
            // One block is erased twice; on a blank area the others count on from it.
            for (const uint32_t count : erase_counts(area)) {
                EXPECT_GE(count, formats) << blocks;
                EXPECT_LE(count, 2 * formats) << blocks;
            }
        }
    }
}

TEST(Promise4, ATotalIsNotPutBackward) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(100, 50).bytes), PERDURE_OK);
    const auto before = area.flash;
    EXPECT_EQ(perdure_put(&area.store, record_2, totals_of(101, 49).bytes), PERDURE_BACKWARD);
    EXPECT_EQ(perdure_put(&area.store, record_2, totals_of(99, 50).bytes), PERDURE_BACKWARD);
    EXPECT_EQ(area.flash, before);
    format_examples::Totals now{};
    EXPECT_EQ(perdure_get(&area.store, record_2, now.bytes), PERDURE_OK);
    EXPECT_EQ(std::memcmp(now.bytes, totals_of(100, 50).bytes, 6), 0);
}

TEST(Promise5, WearIsLevel) {
    for (const uint16_t blocks : {uint16_t{2}, uint16_t{3}, uint16_t{4}, uint16_t{7}}) {
        Area area({blocks, 60, 8, 16, 0xFF});
        ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
        const auto first = erase_counts(area);
        for (uint32_t i = 0; i < 20000; i++) {
            ASSERT_EQ(put_number(area, i), PERDURE_OK);
            if (i % 1000 == 0) {
                const Wear wear = wear_of(area, first);
                EXPECT_LE(wear.highest - wear.lowest, 1u) << blocks << " blocks, put " << i;
            }
        }
        EXPECT_GT(wear_of(area, first).lowest, 20u);
    }
}

TEST(Promise6, ServedPutsDoNotErase) {
    for (const uint16_t blocks : {uint16_t{3}, uint16_t{4}, uint16_t{7}}) {
        Area area({blocks, 60, 8, 16, 0xFF});
        ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
        ASSERT_EQ(perdure_put(&area.store, record_100, "abc"), PERDURE_OK);
        uint32_t erases_in_service = 0;
        for (uint32_t i = 0; i < 5000; i++) {
            const auto before = erase_counts(area);
            ASSERT_EQ(put_number(area, i), PERDURE_OK);
            const auto between = erase_counts(area);
            EXPECT_EQ(before, between) << blocks << " blocks, put " << i;
            while (perdure_service(&area.store)) {}
            erases_in_service += erase_counts(area) != between ? 1 : 0;
        }
        EXPECT_GT(erases_in_service, 10u);
    }
}

TEST(Promise10, ABlockThatCannotBeErasedIsSetAside) {
    Area area({5, 60, 8, 16, 0xFF});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_100, "abc"), PERDURE_OK);
    area.erase_that_fails = 3;
    for (uint32_t i = 0; i < 3000; i++) { ASSERT_EQ(put_number(area, i), PERDURE_OK); }
    perdure_health health{};
    perdure_get_health(&area.store, &health);
    EXPECT_EQ(health.blocks_bad, 1);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    perdure_get_health(&area.store, &health);
    EXPECT_EQ(health.blocks_bad, 1) << "the list of blocks set aside outlives a start";
    EXPECT_EQ(get_number(area), 2999u);
    char text[3];
    EXPECT_EQ(perdure_get(&area.store, record_100, text), PERDURE_OK);
    EXPECT_EQ(std::memcmp(text, "abc", 3), 0);
}

TEST(Promise10, WithTooFewGoodBlocksEverythingStaysReadable) {
    Area area({3, 60, 8, 16, 0xFF});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    perdure_status status = PERDURE_OK;
    uint32_t last = 0;
    for (uint32_t i = 1; status == PERDURE_OK && i < 5000; i++) {
        area.erase_that_fails = static_cast<int>((i / 400) % 3);
        status = put_number(area, i);
        last = status == PERDURE_OK ? i : last;
    }
    EXPECT_EQ(status, PERDURE_READ_ONLY);
    EXPECT_EQ(get_number(area), last);
}

TEST(Promise11, ABlankAreaIsToldAndNotTouched) {
    Area area({});
    const auto before = area.flash;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_BLANK);
    EXPECT_EQ(area.flash, before);
    EXPECT_EQ(put_number(area, 1), PERDURE_READ_ONLY);
    EXPECT_EQ(area.flash, before);
}

TEST(Promise11, AnotherContentOrGeometryIsToldAndNotTouched) {
    Area rubbish({});
    std::fill(rubbish.flash.begin() + 100, rubbish.flash.begin() + 300, uint8_t{0x5A});
    const auto before = rubbish.flash;
    EXPECT_EQ(perdure_open(&rubbish.store, &rubbish.config, false), PERDURE_FOREIGN);
    EXPECT_EQ(rubbish.flash, before);

    Area written({});
    ASSERT_EQ(perdure_format(&written.store, &written.config), PERDURE_OK);
    ASSERT_EQ(put_number(written, 1), PERDURE_OK);
    Area wider({2, 40, 8, 32, 0xFF});
    wider.flash = written.flash;
    EXPECT_EQ(perdure_open(&wider.store, &wider.config, false), PERDURE_FOREIGN);
    EXPECT_EQ(wider.flash, written.flash);
}

TEST(Promise11, TheFirstFormatCutLooksForeignOnlyUntilItsFirstStampIsWhole) {
    int last_blank = 0;
    for (int operations = 1;; operations++) {
        Area area({3, 60, 8, 16, 0xFF}); // a stamp takes two units
        area.operations_left = operations;
        const bool complete = perdure_format(&area.store, &area.config) == PERDURE_OK;
        area.operations_left = -1;
        const perdure_status found = perdure_open(&area.store, &area.config, true);
        if (complete) {
            EXPECT_EQ(found, PERDURE_READ_ONLY);
            break;
        }
        // The operations are: an erase, the two units of a stamp, ...
        EXPECT_EQ(found, operations == 3 ? PERDURE_FOREIGN : PERDURE_BLANK) << operations;
        last_blank = operations;
        EXPECT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK) << operations;
        EXPECT_EQ(put_number(area, 7), PERDURE_OK);
    }
    EXPECT_GT(last_blank, 10);
}

TEST(Promise11, AReadOnlyOpenProgramsAndErasesNothing) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(put_number(area, 77), PERDURE_OK);
    const auto before = area.flash;
    EXPECT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_READ_ONLY);
    EXPECT_EQ(get_number(area), 77u);
    EXPECT_EQ(put_number(area, 78), PERDURE_READ_ONLY);
    EXPECT_FALSE(perdure_service(&area.store));
    EXPECT_EQ(area.flash, before);
}

/// An older firmware that knows record 1 only.
void make_older(Area& area, uint16_t unknown_max) {
    area.config.record_count = 1;
    area.config.unknown_max = unknown_max;
}

TEST(Promise12, RecordsOfANewerFirmwareSurviveAnOlderOne) {
    Area newer({2, 60, 8, 16, 0xFF});
    ASSERT_EQ(perdure_format(&newer.store, &newer.config), PERDURE_OK);
    ASSERT_EQ(perdure_put(&newer.store, record_2, totals_of(1234, 56).bytes), PERDURE_OK);
    ASSERT_EQ(perdure_put(&newer.store, record_100, "abc"), PERDURE_OK);

    Area older({2, 60, 8, 16, 0xFF});
    older.flash = newer.flash;
    make_older(older, 3);
    ASSERT_EQ(perdure_open(&older.store, &older.config, false), PERDURE_OK);
    for (uint32_t i = 0; i < 1000; i++) { // many turns of the ring
        ASSERT_EQ(put_number(older, i), PERDURE_OK);
    }

    newer.flash = older.flash;
    ASSERT_EQ(perdure_open(&newer.store, &newer.config, false), PERDURE_OK);
    format_examples::Totals totals{};
    EXPECT_EQ(perdure_get(&newer.store, record_2, totals.bytes), PERDURE_OK);
    EXPECT_EQ(std::memcmp(totals.bytes, totals_of(1234, 56).bytes, 6), 0);
    char text[3];
    EXPECT_EQ(perdure_get(&newer.store, record_100, text), PERDURE_OK);
    EXPECT_EQ(std::memcmp(text, "abc", 3), 0);
    EXPECT_EQ(get_number(newer), 999u);
}

TEST(Promise12, MoreUnknownRecordsThanThereIsRoomForMakeItReadOnly) {
    Area area({2, 60, 8, 16, 0xFF});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(put_number(area, 5), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(1, 2).bytes), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_100, "abc"), PERDURE_OK);
    make_older(area, 1);
    const auto before = area.flash;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_READ_ONLY);
    EXPECT_EQ(get_number(area), 5u);
    EXPECT_EQ(area.flash, before);
}

/// Short entries of a record that this firmware does not know rest on a full one that it has no room for, or carries
/// along.
TEST(Promise12, ShortEntriesOfAnUnknownTotalGoWithoutItsFullOne) {
    for (const uint16_t unknown_max : {uint16_t{0}, uint16_t{3}}) {
        Area newer({2, 60, 8, 16, 0xFF});
        ASSERT_EQ(perdure_format(&newer.store, &newer.config), PERDURE_OK);
        ASSERT_EQ(put_number(newer, 5), PERDURE_OK);
        ASSERT_EQ(perdure_put(&newer.store, record_2, totals_of(1234, 56).bytes), PERDURE_OK);
        for (uint32_t i = 1; i < 9; i++) {
            ASSERT_EQ(perdure_put(&newer.store, record_2, totals_of(1234 + i, 56).bytes), PERDURE_OK);
        }
        Area older({2, 60, 8, 16, 0xFF});
        older.flash = newer.flash;
        make_older(older, unknown_max);
        const perdure_status opened = perdure_open(&older.store, &older.config, false);
        EXPECT_EQ(get_number(older), 5U);
        if (unknown_max == 0) {
            EXPECT_EQ(opened, PERDURE_READ_ONLY);
            EXPECT_EQ(older.flash, newer.flash);
            continue;
        }
        ASSERT_EQ(opened, PERDURE_OK);
        for (uint32_t i = 0; i < 1000; i++) { ASSERT_EQ(put_number(older, i), PERDURE_OK); }
        newer.flash = older.flash;
        ASSERT_EQ(perdure_open(&newer.store, &newer.config, false), PERDURE_OK);
        uint8_t totals[6];
        EXPECT_EQ(perdure_get(&newer.store, record_2, totals), PERDURE_OK);
        EXPECT_EQ(std::memcmp(totals, totals_of(1234, 56).bytes, 6), 0) << "full entries are what survives";
    }
}

TEST(Upgrade, AShorterStoredPayloadIsCompletedFromTheDefault) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(put_number(area, 0x44332211), PERDURE_OK);
    const uint8_t defaults[6] = {1, 2, 3, 4, 5, 6};
    area.records[record_1].bytes = 6;
    area.records[record_1].defaults = defaults;
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint8_t now[6] = {};
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
    const uint8_t expected[6] = {0x11, 0x22, 0x33, 0x44, 5, 6};
    EXPECT_EQ(std::memcmp(now, expected, 6), 0);
}

TEST(Promise13, ItTells) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    perdure_health health{};
    perdure_get_health(&area.store, &health);
    const uint32_t at_first = health.programs;
    ASSERT_EQ(put_number(area, 1), PERDURE_OK);                         // one unit
    ASSERT_EQ(perdure_put(&area.store, record_100, "abc"), PERDURE_OK); // two
    perdure_get_health(&area.store, &health);
    EXPECT_EQ(health.programs, at_first + 3);
    EXPECT_EQ(health.sequence, 1u);
    EXPECT_EQ(health.blanks, 1);
    EXPECT_EQ(health.faults, 0);
    area.flash[(40 - 1) * 8] = 0x12; // rubbish in the last unit of block 0
    ASSERT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_READ_ONLY);
    perdure_get_health(&area.store, &health);
    EXPECT_EQ(health.recovered, 5 + 1) << "the first start's pads, and the rubbish";
}

/// The rule of README.md, "Sizes", for the three records of Area.
bool fits(const Shape& shape) {
    const auto units = [&](unsigned bytes) { return (bytes + shape.unit_bytes - 1) / shape.unit_bytes; };
    const unsigned c = shape.check_bits / 8u;
    const unsigned entries[3] = {units(1 + 1 + 4 + c), units(1 + 1 + 2 + 6 + c), units(3 + 1 + 3 + c)};
    const unsigned mark = units(3 + c);
    const unsigned live = entries[0] + entries[1] + entries[2];
    const unsigned largest = std::max({entries[0], entries[1], entries[2], mark});
    const unsigned reserve = units(16) + 2 * mark + 3 * (2 + 2 * (largest + units(5)));
    const unsigned k = shape.blocks < 4 ? 1 : shape.blocks - 3u;
    return reserve <= shape.block_units && live <= k * (shape.block_units - reserve);
}

/// What perdure_check_config says of the usual area after `change`, with the record that is meant.
template <class Change> std::string wrong_after(const Change& change) {
    Area area({});
    change(area);
    uint16_t record = 0;
    const char* wrong = perdure_check_config(&area.config, &record);
    if (wrong == nullptr) { return ""; }
    return (record == 0xFFFF ? "" : std::to_string(record) + ": ") + wrong;
}

TEST(CheckConfig, SaysWhatIsWrong) {
    const std::string widths =
        "fields: a short entry carries at most 56 bits of a field, and no more than the field has";
    EXPECT_EQ(wrong_after([](Area&) {}), "");
    EXPECT_EQ(wrong_after([](Area& a) { a.fields[1] = PERDURE_FIELD(1, 16); }), "");
    EXPECT_EQ(wrong_after([](Area& a) { a.fields[1] = PERDURE_FIELD(1, 17); }), "1: " + widths);
    EXPECT_EQ(wrong_after([](Area& a) { a.fields[0] = PERDURE_FIELD(3, 57); }), "1: " + widths);
    EXPECT_EQ(wrong_after([](Area& a) { a.fields[0] = PERDURE_FIELD(3, 12); }),
              "1: bytes: not the sum of the total's fields");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[1].field_count = 33; }),
              "1: field_count: a total has 1 to 32 fields");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[1].field_count = 0; }), "1: field_count: a total has 1 to 32 fields");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[2].id = 2; }), "2: id: the records must ascend by id, each id once");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[0].id = 0; }), "0: id: 1 to 65534");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[2].id = 0xFFFF; }), "2: id: 1 to 65534");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[2].bytes = 0; }), "2: bytes: 1 to 32767");
    EXPECT_EQ(wrong_after([](Area& a) { a.records[2].bytes = 32768; }), "2: bytes: 1 to 32767");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.totals = nullptr; }), "1: totals: NULL, though a record is a total");
    // A log: 6 bytes of RAM beside the totals, and none of these with short entries.
    const auto log_after = [](const auto& change) {
        return wrong_after([&](Area& a) {
            a.fields[0] = PERDURE_FIELD(2, 0);
            a.fields[1] = PERDURE_FIELD(1, 0);
            a.records[2].batch = 4;
            change(a);
        });
    };
    EXPECT_EQ(log_after([](Area&) {}), "");
    EXPECT_EQ(log_after([](Area& a) { a.records[2].fields = a.fields; }), "2: fields: a log has none");
    EXPECT_EQ(log_after([](Area& a) {
                  a.config.totals = nullptr;
                  a.records[1].fields = nullptr;
              }),
              "2: totals: NULL, though a record is a log");
    EXPECT_EQ(log_after([](Area& a) { a.records[2].bytes = 8191; }), "2: batch: batch * bytes is at most 32762");
    EXPECT_EQ(log_after([](Area& a) { a.records[0].batch = 1; }), "0: batch: an area has one log at most");
    EXPECT_EQ(log_after([](Area& a) { a.fields[1] = PERDURE_FIELD(1, 8); }),
              "2: batch: an area with a log has no totals with short entries");
    EXPECT_EQ(log_after([](Area& a) { a.config.urgent = 3; }), "urgent: not for a log");
    EXPECT_EQ(log_after([](Area& a) { a.config.urgent = 1; }), "");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.urgent = 4; }), "urgent: 1 + place of a record, or 0");
    const auto units = [](uint16_t urgent, uint16_t block_units) {
        return wrong_after([=](Area& a) {
            a.config.urgent = urgent;
            a.config.block_units = block_units;
        });
    };
    EXPECT_EQ(units(2, 0xFFFF), "block_units: 65,534 at most with urgent");
    EXPECT_EQ(units(2, 0xFFFE), "");
    EXPECT_EQ(units(0, 0xFFFF), "");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.check_bits = 12; }), "check_bits: 8, 16, 24 or 32");
    for (const uint8_t bits : {uint8_t{8}, uint8_t{16}, uint8_t{24}, uint8_t{32}}) {
        EXPECT_EQ(wrong_after([bits](Area& a) { a.config.check_bits = bits; }), "");
    }
    EXPECT_EQ(wrong_after([](Area& a) { a.config.blocks = 1; }), "blocks: 2 to 32767");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.blocks = 32768; }), "blocks: 2 to 32767");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.unit_bytes = 0; }), "block_units, unit_bytes: 1 at least");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.block_units = 0; }), "block_units, unit_bytes: 1 at least");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.blank = 0xAA; }), "blank: 0xFF or 0x00");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.blank = 0x00; }), "");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.unknown_ids = nullptr; }),
              "unknown_ids: NULL, though unknown_max is not 0");
    EXPECT_EQ(wrong_after([](Area& a) {
                  a.config.unknown_ids = nullptr;
                  a.config.unknown_max = 0;
              }),
              "");
    EXPECT_EQ(wrong_after([](Area& a) { a.config.block_flags = nullptr; }),
              "block_flags: needed with PERDURE_BAD_BLOCKS");
    const std::string needed = "records, newest, unit_buffer: needed, for one record at least";
    EXPECT_EQ(wrong_after([](Area& a) { a.config.records = nullptr; }), needed);
    EXPECT_EQ(wrong_after([](Area& a) { a.config.record_count = 0; }), needed);
    EXPECT_EQ(wrong_after([](Area& a) { a.config.newest = nullptr; }), needed);
    EXPECT_EQ(wrong_after([](Area& a) { a.config.unit_buffer = nullptr; }), needed);
    const std::string port = "port: read, program and erase are needed";
    EXPECT_EQ(wrong_after([](Area& a) { a.config.port = nullptr; }), port);
    EXPECT_EQ(wrong_after([](Area& a) { a.port.read = nullptr; }), port);
    EXPECT_EQ(wrong_after([](Area& a) { a.port.program = nullptr; }), port);
    EXPECT_EQ(wrong_after([](Area& a) { a.port.erase = nullptr; }), port);
}

TEST(Sizes, TheRuleOfTheReadmeIsTheStores) {
    int refused = 0;
    int accepted = 0;
    for (const uint8_t unit_bytes : std::initializer_list<uint8_t>{1, 2, 3, 4, 6, 8, 16, 32}) {
        for (const uint8_t blocks : std::initializer_list<uint8_t>{2, 3, 4, 5, 6}) {
            for (const uint8_t check_bits : {uint8_t{8}, uint8_t{16}, uint8_t{24}, uint8_t{32}}) {
                for (uint16_t block_units = 10; block_units < 150; block_units++) {
                    const Shape shape{blocks, block_units, unit_bytes, check_bits, 0xFF};
                    Area area(shape);
                    const bool works = perdure_open(&area.store, &area.config, false) != PERDURE_CONFIG;
                    ASSERT_EQ(works, fits(shape)) << unit_bytes << ' ' << blocks << ' ' << block_units;
                    (works ? accepted : refused)++;
                }
            }
        }
    }
    EXPECT_GT(refused, 1000);
    EXPECT_GT(accepted, 1000);
}

/// Trap 8 of store/README.md. A payload holds a whole valid entry of another record, standing on a unit; the first unit
/// of the real entry is lost.
/// Reading an entry touches no unit behind it, however its bytes fall on units: that one may be torn, and fault.
TEST(Trap16, AUnitThatFaultsBehindAnEntryDoesNotSpoilIt) {
    for (const uint16_t unit_bytes : {1, 2, 3, 8, 16, 32}) {
        for (uint16_t bytes = 1; bytes <= 40; bytes++) {
            Shape shape;
            shape.unit_bytes = unit_bytes;
            shape.block_units = 500;
            Area area(shape);
            area.records[record_100].bytes = bytes;
            ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
            std::vector<uint8_t> payload(bytes, 0x5A);
            ASSERT_EQ(perdure_put(&area.store, record_100, payload.data()), PERDURE_OK);
            area.faulting_unit = area.store.head * shape.block_units + area.store.unit;
            for (const bool read_only : {true, false}) {
                const perdure_status opened = perdure_open(&area.store, &area.config, read_only);
                ASSERT_EQ(opened, read_only ? PERDURE_READ_ONLY : PERDURE_OK) << unit_bytes << ' ' << bytes;
                std::vector<uint8_t> got(bytes);
                EXPECT_EQ(perdure_get(&area.store, record_100, got.data()), PERDURE_OK) << unit_bytes << ' ' << bytes;
                EXPECT_EQ(got, payload) << unit_bytes << ' ' << bytes;
            }
        }
    }
}

TEST(Trap8, APayloadThatLooksLikeAnEntryIsNotBelievedBehindAGap) {
    Shape shape;
    shape.block_units = 200;
    Area area(shape);
    area.config.record_count = 4; // with record 300
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(put_number(area, 7), PERDURE_OK);
    const uint32_t unit = area.store.unit;
    std::vector<uint8_t> payload(area.records[format_examples::record_300].bytes, 0x11);
    const uint8_t fake[] = {1, 0, 0, 0, 0x81, 4, 99, 0, 0, 0}; // number of the block; record 1, 4 bytes: 99
    const uint32_t code = format_check(16)(0xFFFF0000U, fake, sizeof fake) >> 16;
    std::copy(fake + 4, fake + 10, payload.begin() + 3); // the real entry has 5 bytes before its payload
    payload[9] = static_cast<uint8_t>(code);
    payload[10] = static_cast<uint8_t>(code >> 8);
    ASSERT_EQ(perdure_put(&area.store, format_examples::record_300, payload.data()), PERDURE_OK);
    const auto first = area.flash.begin() + unit * area.shape.unit_bytes;
    std::fill(first, first + area.shape.unit_bytes, area.shape.blank);
    ASSERT_EQ(area.flash[(unit + 1) * area.shape.unit_bytes], 0x81) << "the payload stands on a unit";
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    EXPECT_EQ(get_number(area), 7U);
}

} // namespace
} // namespace perdure
