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

/// Programs bytes as the next entry of the head's block behind the store's back, with a right check code.
void forge(Area& area, std::vector<uint8_t> entry) {
    std::vector<uint8_t> covered{static_cast<uint8_t>(area.store.sequence), 0, 0, 0};
    covered.insert(covered.end(), entry.begin(), entry.end());
    const uint32_t code = format_check(16)(0xFFFF0000U, covered.data(), covered.size()) >> 16;
    entry.push_back(static_cast<uint8_t>(code));
    entry.push_back(static_cast<uint8_t>(code >> 8));
    const uint32_t at = (area.store.head * uint32_t{area.shape.block_units} + area.store.unit) * area.shape.unit_bytes;
    std::copy(entry.begin(), entry.end(), area.flash.begin() + at);
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
