// The sizes that layout.cpp predicts are those that the real store takes.
#include "unit/unit.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

Record record(uint16_t id, RecordKind kind, std::vector<uint32_t> sizes, uint64_t movement = 0) {
    Record out;
    out.id = id;
    out.kind = kind;
    for (const uint32_t bytes : sizes) {
        Field field;
        field.bytes = bytes;
        field.type = bytes == 8 ? FieldType::u64 : bytes == 4 ? FieldType::u32 : FieldType::bytes;
        field.movement_max = movement;
        out.fields.push_back(field);
    }
    return out;
}

TEST(Unit, EntriesTakeWhatTheLayoutSays) {
    const std::vector<Record> all{record(5, RecordKind::total, {8, 8}, 1000), record(62, RecordKind::value, {4}),
                                  record(63, RecordKind::value, {130}), record(700, RecordKind::total, {4}, 200)};
    for (const uint32_t unit_bytes : {1U, 2U, 3U, 4U, 6U, 8U, 16U, 32U, 64U}) {
        for (const uint32_t bits : {8U, 16U, 24U, 32U}) {
            FlashGeometry geometry;
            geometry.unit_bytes = unit_bytes;
            geometry.erase_block_bytes = unit_bytes * 2048;
            geometry.ring_blocks = 3;
            std::vector<const Record*> records;
            for (const Record& r : all) { records.push_back(&r); }
            const auto layout = lay_out_ring(geometry, bits, records);
            ASSERT_TRUE(layout) << layout.error().text;
            Unit unit(*layout, records, {});
            ASSERT_EQ(unit.format(), PERDURE_OK);
            EXPECT_EQ(unit.store().stamp_units, layout->stamp_units);
            EXPECT_EQ(unit.store().mark_units, layout->mark_units);
            EXPECT_EQ(unit.store().spare, layout->spare_blocks);
            for (uint16_t i = 0; i < all.size(); i++) {
                std::vector<uint8_t> payload(all[i].payload_bytes(), 0);
                uint32_t from = unit.store().unit;
                ASSERT_EQ(unit.put(i, payload.data()), PERDURE_OK);
                EXPECT_EQ(unit.store().unit - from, layout->records[i].full_units)
                    << unit_bytes << ' ' << bits << ' ' << i;
                if (layout->records[i].short_units == 0) { continue; }
                payload[0] = 100;
                from = unit.store().unit;
                ASSERT_EQ(unit.put(i, payload.data()), PERDURE_OK);
                EXPECT_EQ(unit.store().unit - from, layout->records[i].short_units)
                    << unit_bytes << ' ' << bits << ' ' << i;
            }
        }
    }
}

TEST(Unit, AStartTakesWhatTheLayoutSays) {
    const std::vector<Record> all{record(1, RecordKind::total, {4, 4}, 100), record(2, RecordKind::value, {20})};
    const std::vector<const Record*> records{&all[0], &all[1]};
    FlashGeometry geometry;
    geometry.unit_bytes = 8;
    geometry.ring_blocks = 4;
    const auto layout = lay_out_ring(geometry, 16, records);
    ASSERT_TRUE(layout);
    Unit unit(*layout, records, {});
    ASSERT_EQ(unit.format(), PERDURE_OK);
    for (uint16_t i = 0; i < 2; i++) {
        const std::vector<uint8_t> payload(all[i].payload_bytes(), 3);
        ASSERT_EQ(unit.put(i, payload.data()), PERDURE_OK);
        const uint32_t from = unit.store().unit;
        ASSERT_EQ(unit.open(), PERDURE_OK);
        EXPECT_EQ(unit.store().unit - from, layout->start_pad_units + layout->records[i].restart_units);
        std::vector<uint8_t> back(payload.size());
        ASSERT_EQ(unit.get(i, back.data()), PERDURE_OK);
        EXPECT_EQ(back, payload);
    }
}

TEST(Unit, TheStateFitsSixtyFourBytes) {
    // On a 32-bit target: the one pointer is half of this host's.
    EXPECT_LE(sizeof(perdure_store) - sizeof(void*) + 4, 64U);
}

TEST(Unit, DefaultsAreLittleEndianBytes) {
    Field field;
    field.type = FieldType::i16;
    field.bytes = 2;
    field.default_value = -2;
    EXPECT_EQ(default_bytes(field), (std::vector<uint8_t>{0xFE, 0xFF}));
    field.type = FieldType::f32;
    field.bytes = 4;
    field.default_value = 1.0; // IEEE 754 binary32: 0x3F800000
    EXPECT_EQ(default_bytes(field), (std::vector<uint8_t>{0, 0, 0x80, 0x3F}));
}

} // namespace
} // namespace perdure
