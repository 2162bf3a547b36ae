// What a later firmware with other records finds, and what a flash that has changed at rest or programs wrongly leads
// to: promises 2, 9, 10 and 12 of store/README.md without cuts.
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

/// An area with (4000, 250), then (4100, 251) as a short entry, in record 2.
void put_totals(Area& area) {
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(4000, 250).bytes), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(4100, 251).bytes), PERDURE_OK);
}

/// Programs bytes as an entry at `unit` of `block`, whose number is `sequence`, behind the store's back, with a right
/// check code.
void forge_at(Area& area, uint32_t block, uint32_t unit, uint32_t sequence, std::vector<uint8_t> entry) {
    std::vector<uint8_t> covered{static_cast<uint8_t>(sequence), 0, 0, 0};
    covered.insert(covered.end(), entry.begin(), entry.end());
    const uint32_t code = format_check(16)(0xFFFF0000U, covered.data(), covered.size()) >> 16;
    entry.push_back(static_cast<uint8_t>(code));
    entry.push_back(static_cast<uint8_t>(code >> 8));
    const uint32_t at = (block * area.shape.block_units + unit) * area.shape.unit_bytes;
    std::copy(entry.begin(), entry.end(), area.flash.begin() + at);
}

/// The same, as the next entry of the head.
void forge(Area& area, std::vector<uint8_t> entry) {
    forge_at(area, area.store.head, area.store.unit, area.store.sequence, std::move(entry));
}

TEST(ChangedRecords, ATotalThatLostItsLastFieldReadsTheFirst) {
    Area area({});
    put_totals(area);
    area.records[record_2].bytes = 4;
    area.records[record_2].field_count = 1;
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint32_t first = 0;
    ASSERT_EQ(perdure_get(&area.store, record_2, &first), PERDURE_OK);
    EXPECT_EQ(first, 4100U) << "its short entry counts, as far as the record goes";
    first = 4105;
    ASSERT_EQ(perdure_put(&area.store, record_2, &first), PERDURE_OK);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    ASSERT_EQ(perdure_get(&area.store, record_2, &first), PERDURE_OK);
    EXPECT_EQ(first, 4105U);
}

// A downgrade in between: the older firmware's entry ends before the second field, whose older values still stand in
// the ring. They are not taken up again: what such a read gave would be gone with their block.
TEST(ChangedRecords, ATotalPutShorterInBetweenIsCompletedWithTheDefault) {
    Area area({});
    put_totals(area);
    area.records[record_2].bytes = 4;
    area.records[record_2].field_count = 1;
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    const uint32_t first = 4105;
    ASSERT_EQ(perdure_put(&area.store, record_2, &first), PERDURE_OK);
    area.records[record_2].bytes = 6;
    area.records[record_2].field_count = 2;
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint8_t now[6];
    ASSERT_EQ(perdure_get(&area.store, record_2, now), PERDURE_OK);
    EXPECT_EQ(std::memcmp(now, totals_of(4105, 0).bytes, 6), 0);
}

TEST(ChangedRecords, ATotalWithOtherWidthsIsPutInFullFirst) {
    Area area({});
    put_totals(area);
    area.fields[0] = PERDURE_FIELD(2, 20);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(4200, 252).bytes), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(4300, 253).bytes), PERDURE_OK);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint8_t now[6];
    ASSERT_EQ(perdure_get(&area.store, record_2, now), PERDURE_OK);
    EXPECT_EQ(std::memcmp(now, totals_of(4300, 253).bytes, 6), 0);
}

TEST(ChangedRecords, AValueThatBecameATotalIsStoredAndTakesPuts) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    const uint8_t value[] = {5, 0, 0, 0};
    ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    uint8_t field[] = {PERDURE_FIELD(2, 12)};
    uint8_t totals[10] = {};
    area.records[record_1].fields = field;
    area.records[record_1].field_count = 1;
    area.records[record_1].total_offset = 6;
    area.config.totals = totals;
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint32_t now = 0;
    ASSERT_EQ(perdure_get(&area.store, record_1, &now), PERDURE_OK);
    EXPECT_EQ(now, 0U)
        << "a change of kind needs a conversion by the firmware; the old bytes are not taken for a total";
    now = 6;
    ASSERT_EQ(perdure_put(&area.store, record_1, &now), PERDURE_OK);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    ASSERT_EQ(perdure_get(&area.store, record_1, &now), PERDURE_OK);
    EXPECT_EQ(now, 6U);
}

/// Record 2 as a log of samples of 6 bytes, or again as the total that it was.
void make_log(Area& area, bool log) {
    area.records[record_2].fields = log ? nullptr : area.fields;
    area.records[record_2].field_count = log ? 0 : 2;
    area.records[record_2].batch = log ? 2 : 0;
}

// There and back: what the log's firmware put, short entries too, is none of the total's.
TEST(ChangedRecords, ATotalThatWasALogInBetweenHasAValueThatWasPut) {
    Shape shape;
    shape.block_units = 64;
    Area area(shape);
    put_totals(area);
    make_log(area, true);
    ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
    EXPECT_EQ(perdure_log_next(&area.store, record_2), 0U) << "what was a total is no sample";
    const uint8_t samples[] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12};
    for (int i = 0; i < 4; i++) {
        ASSERT_EQ(perdure_append(&area.store, record_2, samples, 2), PERDURE_OK); // short ones from the second on
    }
    make_log(area, false);
    ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
    uint8_t now[6];
    ASSERT_EQ(perdure_get(&area.store, record_2, now), PERDURE_OK);
    EXPECT_TRUE(std::memcmp(now, totals_of(4000, 250).bytes, 6) == 0 ||
                std::memcmp(now, totals_of(4100, 251).bytes, 6) == 0);
}

// A total of a newer firmware that gets no room, put in turn with one that is known: its short entries are read over.
TEST(ChangedRecords, ShortEntriesOfATotalThatHasNoRoomAreReadOver) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(4000, 250).bytes), PERDURE_OK);
    forge(area, {0xC5, 2, PERDURE_FIELD(1, 8), 0x34, 0x12}); // record 5, one field, its low 8 bits when short
    area.store.unit++;
    ASSERT_EQ(perdure_put(&area.store, record_2, totals_of(4100, 251).bytes), PERDURE_OK);
    forge(area, {0x45, 0x40});
    area.store.unit++;
    const uint8_t value[4] = {1, 2, 3, 4};
    ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    const std::vector<uint8_t> before = area.flash;
    area.config.unknown_max = 0;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_READ_ONLY);
    uint8_t found[6] = {};
    EXPECT_EQ(perdure_get(&area.store, record_1, found), PERDURE_OK);
    EXPECT_EQ(std::memcmp(found, value, 4), 0);
    EXPECT_EQ(perdure_get(&area.store, record_2, found), PERDURE_OK);
    EXPECT_EQ(std::memcmp(found, totals_of(4100, 251).bytes, 6), 0);
    EXPECT_EQ(area.flash, before) << "nothing is touched";
}

TEST(ChangedRecords, AnotherShapeOfBlocksIsForeign) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    area.config.block_units = 36;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_FOREIGN);
}

TEST(ChangedFlash, ARottenNewestValueIsAFaultAndStopsNothing) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    const uint8_t value[] = {1, 2, 3, 4};
    const uint32_t unit = area.store.unit;
    ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    area.flash[unit * area.shape.unit_bytes + 3] ^= 1;
    uint8_t now[4];
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_FAULT);
    for (uint8_t i = 0; i < 200; i++) { // the ring goes over it
        const uint8_t other[] = {i, 0, 0};
        ASSERT_EQ(perdure_put(&area.store, record_100, other), PERDURE_OK) << int{i};
    }
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_DEFAULT) << "nothing could save it";
    ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
}

TEST(ChangedFlash, AProgramThatLiesIsFoundByReadingBack) {
    struct Liar {
        static bool program(void* context, uint32_t address, const void* unit) {
            auto& area = *static_cast<Area*>(context);
            std::memcpy(area.flash.data() + address, unit, area.shape.unit_bytes);
            if (area.operations_left == 0) { area.flash[address] ^= 0x10; }
            return true;
        }
    };
    Shape shape;
    shape.blocks = 5;
    Area area(shape);
    area.port.program = Liar::program;
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    area.operations_left = 0;
    const uint8_t value[] = {1, 2, 3, 4};
    EXPECT_EQ(perdure_put(&area.store, record_1, value), PERDURE_FAULT) << "no block takes it";
    area.operations_left = -1;
    perdure_health health;
    perdure_get_health(&area.store, &health);
    EXPECT_GT(health.faults, 0);
}

TEST(ChangedFlash, NumbersThatAreNoBlocksAreIgnored) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    forge(area, {0x80, 0xFF, 0xFF, 2, 99, 0}); // a list of blocks set aside with one that does not exist
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    perdure_health health;
    perdure_get_health(&area.store, &health);
    EXPECT_EQ(health.blocks_bad, 0);
    forge(area, {3, 77, 0}); // a mark that speaks of a block that does not exist
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    const uint8_t value[] = {1, 2, 3, 4};
    EXPECT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint8_t now[4] = {};
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
    EXPECT_EQ(std::memcmp(now, value, 4), 0);
}

TEST(ChangedFlash, AListThatNamesEveryBlockLeavesEverythingReadable) {
    Area area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    const uint8_t value[] = {1, 2, 3, 4};
    ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    forge(area, {0x80, 0xFF, 0xFF, 4, 0, 0, 1, 0});
    for (int start = 0; start < 20; start++) { // until they have filled the head
        EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_READ_ONLY) << start;
        uint8_t now[4] = {};
        EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK) << start;
        EXPECT_EQ(std::memcmp(now, value, 4), 0) << start;
        EXPECT_EQ(perdure_put(&area.store, record_1, now), PERDURE_READ_ONLY);
    }
}

/// format.md, section 6: such a restart entry says that the block is erased, whatever its pending bit.
TEST(ChangedFlash, ARestartEntryInThePendingBlockEndsIt) {
    Shape shape;
    shape.blocks = 3;
    Area area(shape);
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    forge(area, {3, 1, 0});                                           // in block 0: block 2 has been emptied
    forge_at(area, 2, 2, 3, {1, 2, 0, 0, 0x80, 0x81, 4, 1, 2, 3, 4}); // in block 2, which has become the head
    const AreaView view{{3, area.shape.block_units, area.shape.unit_bytes, 16, 0xFF}, area.flash, {}};
    const auto decoded = decode(view);
    ASSERT_NE(decoded.find(1), nullptr);
    EXPECT_EQ(*decoded.find(1), (std::vector<uint8_t>{1, 2, 3, 4}));
    for (const bool read_only : {true, false}) {
        EXPECT_EQ(perdure_open(&area.store, &area.config, read_only), read_only ? PERDURE_READ_ONLY : PERDURE_OK);
        uint8_t now[4] = {};
        EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
        EXPECT_EQ(now[0], 1);
        EXPECT_EQ(now[3], 4);
    }
}

/// format.md, section 4: a short entry rests on the newest full entry of its record, which has to be a total's.
TEST(ChangedFlash, AShortEntryBehindAValueIsNone) {
    Area area({});
    put_totals(area);
    const uint32_t unit = area.store.unit;
    forge(area, {0x82, 6, 1, 2, 3, 4, 5, 6}); // two units with its code
    forge_at(area, 0, unit + 2, 1, {0x42, 0, 0, 0});
    const AreaView view{{2, area.shape.block_units, area.shape.unit_bytes, 16, 0xFF}, area.flash, {}};
    EXPECT_EQ(decode(view).entries.back().unit, unit) << "the value";
    ASSERT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_READ_ONLY);
    perdure_health health;
    perdure_get_health(&area.store, &health);
    EXPECT_EQ(health.recovered, 1) << "a bad unit";
}

/// Trap 7: a block with a right stamp and no entry is no head; nor is one under another number than its place says.
TEST(ChangedFlash, ABlockWithoutEntriesOrUnderAnotherNumberIsNoHead) {
    Shape shape;
    shape.blocks = 3;
    Area area(shape);
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    const uint8_t value[] = {1, 2, 3, 4};
    ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
    const std::ptrdiff_t block_bytes = std::ptrdiff_t{shape.block_units} * shape.unit_bytes;
    std::copy_n(area.flash.begin(), 16, area.flash.begin() + block_bytes); // block 1 says 1, as block 0 does
    EXPECT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_READ_ONLY);
    uint8_t now[4] = {};
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
    EXPECT_EQ(std::memcmp(now, value, 4), 0);
    std::fill(area.flash.begin() + 16, area.flash.end(), uint8_t{0xFF}); // the stamp of block 0 is all there is
    const auto before = area.flash;
    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_BLANK);
    EXPECT_EQ(area.flash, before);
}

/// format.md, section 5: what a restart entry voids stays void when the next start's stands in the next block.
TEST(ChangedFlash, ARestartEntryVoidsFromTheOldestBlockOn) {
    Shape shape;
    shape.blocks = 3;
    Area area(shape);
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, record_100, "abc"), PERDURE_OK);
    // At the end of block 0, so that the next one does not fit: from unit 2 of the block two before.
    forge_at(area, 0, 37, 1, {1, 2, 0, 2, 0, 0x81, 4, 1, 2, 3, 4});
    for (int start = 0; start < 3; start++) {
        ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
        EXPECT_EQ(area.store.head, 1);
        uint8_t now[4] = {};
        EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
        EXPECT_EQ(now[3], 4);
        EXPECT_EQ(perdure_get(&area.store, record_100, now), PERDURE_DEFAULT) << start;
        const AreaView view{{3, shape.block_units, shape.unit_bytes, 16, 0xFF}, area.flash, {}};
        const auto decoded = decode(view);
        EXPECT_NE(decoded.find(1), nullptr);
        EXPECT_EQ(decoded.find(100), nullptr);
    }
}

/// format.md, section 2: a port may calculate the check codes of the area's width; the bytes are the same.
TEST(Port, ItsCheckFunctionMakesTheSameBytes) {
    struct Hardware {
        static uint32_t check(void* context, uint32_t state, const void* from, uint32_t bytes) {
            const auto& area = *static_cast<Area*>(context);
            return format_check(area.shape.check_bits)(state, static_cast<const uint8_t*>(from), bytes);
        }
    };
    for (const uint8_t check_bits : {uint8_t{8}, uint8_t{16}, uint8_t{24}, uint8_t{32}}) {
        Area software({2, 60, 8, check_bits, 0xFF});
        Area hardware({2, 60, 8, check_bits, 0xFF});
        hardware.port.check = Hardware::check;
        for (Area* area : {&software, &hardware}) {
            put_totals(*area);
            ASSERT_EQ(perdure_open(&area->store, &area->config, false), PERDURE_OK);
            uint8_t now[6];
            EXPECT_EQ(perdure_get(&area->store, record_2, now), PERDURE_OK);
        }
        EXPECT_EQ(software.flash, hardware.flash) << int{check_bits};
    }
}

/// format.md, section 4: the bits of a short entry that fill their bytes have no byte more.
TEST(ShortEntries, WholeBytesOfBitsAreNotFilledUp) {
    Area area({});
    area.fields[0] = PERDURE_FIELD(2, 16);
    put_totals(area);
    const auto lines = area.units(0, static_cast<uint16_t>(area.store.unit - 1));
    ASSERT_EQ(lines.size(), 1U);
    EXPECT_EQ(lines[0].substr(lines[0].find(' '), 12), " 42 04 10 FB") << "4100, 251";
    EXPECT_EQ(lines[0].substr(lines[0].size() - 6), " FF FF") << "six bytes with the code";
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    uint8_t now[6];
    EXPECT_EQ(perdure_get(&area.store, record_2, now), PERDURE_OK);
    EXPECT_EQ(std::memcmp(now, totals_of(4100, 251).bytes, 6), 0);
}

/// Promise 9: the code of a value happens to be 0, which is also what a byte that cannot be read counts as.
TEST(Promise9, ACheckCodeThatFaultsIsNotTakenForZero) {
    Area area({2, 200, 2, 8, 0xFF});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    uint32_t code_unit = 0;
    for (uint8_t i = 0;; i++) {
        const uint8_t value[] = {1, 2, 3, i};
        code_unit = area.store.unit + 3U; // behind 81 04, 01 02, 03 i
        ASSERT_EQ(perdure_put(&area.store, record_1, value), PERDURE_OK);
        if (area.flash[code_unit * 2] == 0) { break; }
        ASSERT_LT(i, 255) << "some value has it";
        ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    }
    uint8_t now[4];
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_OK);
    area.faulting_unit = static_cast<int>(code_unit);
    EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_FAULT);
}

TEST(ChangedFlash, AnEntryOfNoBytesOrOfRecordZeroIsNone) {
    for (const std::vector<uint8_t>& entry : {std::vector<uint8_t>{0x81, 0}, {0x80, 0, 0, 2, 1, 2}}) {
        Area area({});
        ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
        forge(area, entry);
        const AreaView view{{2, area.shape.block_units, area.shape.unit_bytes, 16, 0xFF}, area.flash, {}};
        EXPECT_EQ(decode(view).entries.size(), 1U) << "the mark 'done' of the format";
        ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
        uint8_t now[4];
        EXPECT_EQ(perdure_get(&area.store, record_1, now), PERDURE_DEFAULT);
        perdure_health health;
        perdure_get_health(&area.store, &health);
        EXPECT_EQ(health.recovered, 1) << "a bad unit";
    }
}

TEST(ChangedFlash, FormatOfAConfigurationThatCannotWorkTouchesNothing) {
    Shape shape;
    shape.block_units = 12;
    Area area(shape);
    const auto before = area.flash;
    EXPECT_EQ(perdure_format(&area.store, &area.config), PERDURE_CONFIG);
    EXPECT_EQ(area.flash, before);
}

} // namespace
} // namespace perdure
