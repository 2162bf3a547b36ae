#include "project/layout.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

Field field(uint32_t bytes, uint64_t movement_max = 0) {
    Field out;
    out.bytes = bytes;
    out.movement_max = movement_max;
    return out;
}

Record energies() {
    Record out;
    out.name = "energies";
    out.id = 1;
    out.kind = RecordKind::total;
    out.fields = {field(8, 1023), field(8, 1023)};
    return out;
}

Record bytes_value(uint16_t id, uint32_t bytes) {
    Record out;
    out.id = id;
    out.fields = {field(bytes)};
    return out;
}

Project on_part(uint32_t count, uint32_t erase_bytes, uint32_t unit_bytes, std::vector<Record> records) {
    Project out;
    out.part.runs = {BlockRun{count, erase_bytes, 0}};
    out.part.program_bytes = unit_bytes;
    out.part.program_rule = "ecc-zero";
    out.part.erased_value = "0xFF";
    out.areas = {Area{}};
    out.records = std::move(records);
    return out;
}

TEST(Layout, FullEntryCountsIdLengthDescriptorsPayloadAndCheck) {
    const RecordLayout total = lay_out_record(energies(), 6, 2);
    EXPECT_EQ(total.full_bytes, 1U + 1 + 2 + 16 + 2);
    EXPECT_EQ(total.full_units, 4U);
    EXPECT_EQ(total.restart_units, 5U);
    EXPECT_EQ(lay_out_record(bytes_value(62, 127), 8, 4).full_bytes, 1U + 1 + 127 + 4);
    EXPECT_EQ(lay_out_record(bytes_value(63, 128), 8, 1).full_bytes, 3U + 2 + 128 + 1);
}

TEST(Layout, ShortEntryTakesTheFewestBitsAndThenTheRestOfItsUnits) {
    // 1023 a save and two entries lost: 3069, 12 bits; two fields and 3 bytes around them are 6 bytes.
    const RecordLayout six = lay_out_record(energies(), 6, 2);
    EXPECT_EQ(six.short_units, 1U);
    EXPECT_EQ(six.short_bits, (std::vector<uint8_t>{12, 12}));
    EXPECT_EQ(six.short_bytes, 6U);
    const RecordLayout eight = lay_out_record(energies(), 8, 2);
    EXPECT_EQ(eight.short_bits, (std::vector<uint8_t>{20, 20}));
    EXPECT_EQ(eight.short_bytes, 8U);
    Record narrow = energies();
    narrow.fields[0].bytes = 2;
    const RecordLayout uneven = lay_out_record(narrow, 8, 2);
    EXPECT_EQ(uneven.short_bits, (std::vector<uint8_t>{16, 24}));
}

TEST(Layout, NoShortEntryWhereItSavesNothingOrAMovementIsMissing) {
    EXPECT_EQ(lay_out_record(energies(), 32, 2).short_units, 0U);
    Record open = energies();
    open.fields[1].movement_max = 0;
    EXPECT_EQ(lay_out_record(open, 6, 2).short_units, 0U);
    Record wide = energies();
    wide.fields[0].movement_max = UINT64_MAX / 2;
    EXPECT_EQ(lay_out_record(wide, 1, 2).short_units, 0U);
}

TEST(Layout, MeterOn24BitWords) {
    const Project project = on_part(100, 1536, 6, {energies()});
    const auto layout = lay_out(project, project.areas[0], 5);
    ASSERT_TRUE(layout);
    EXPECT_EQ(layout->capacity_units, 256U - 3);
    EXPECT_EQ(layout->mark_units, 1U);
    EXPECT_EQ(layout->nearly_full_units, 4U);
    EXPECT_EQ(layout->spare_blocks, 2U);
    EXPECT_EQ(layout->start_pad_units, 2U + 4 + 1);
    EXPECT_EQ(layout->reserve_units, 3U * (2 + 2 * (4 + 1)) + 2);
    EXPECT_EQ(lay_out(project, project.areas[0], 3)->spare_blocks, 1U);
    EXPECT_EQ(layout->geometry.rule, ProgramRule::once_or_full);
    EXPECT_TRUE(layout->geometry.ecc);
}

TEST(Layout, SmallEraseBlocksAreJoined) {
    const Project project = on_part(128, 128, 32, {bytes_value(1, 8)});
    const auto layout = lay_out(project, project.areas[0], 4);
    ASSERT_TRUE(layout);
    EXPECT_EQ(layout->geometry.erase_blocks_per_ring_block, 8U); // 32 units, though 16 would take one live entry
    EXPECT_EQ(layout->geometry.units_per_ring_block(), 32U);
}

TEST(Layout, LiveDataMaySpreadOverAllButThreeBlocks) {
    std::vector<Record> records;
    for (uint16_t id = 1; id <= 12; ++id) { records.push_back(bytes_value(id, 100)); }
    const Project project = on_part(8, 1024, 8, records);
    const auto layout = lay_out(project, project.areas[0], 8);
    ASSERT_TRUE(layout);
    EXPECT_EQ(layout->live_blocks, 5U);
    EXPECT_EQ(layout->live_units, 12U * 13);
}

TEST(Layout, RefusesWithTheNumbers) {
    const Project project = on_part(2, 1024, 8, {bytes_value(1, 2000)});
    const auto layout = lay_out(project, project.areas[0], 2);
    ASSERT_FALSE(layout);
    EXPECT_EQ(layout.error().text,
              "1 records need 1771 units a ring block (251 live over 1, and 3 starts and two marks), a ring block of "
              "1024 bytes has 126");
    EXPECT_EQ(layout.error().need, 1771);
    EXPECT_EQ(layout.error().have, 126);
}

TEST(Layout, SizedAreaGivesItsBlocks) {
    Project project = on_part(100, 1536, 6, {energies()});
    project.areas[0].size_bytes = 5 * 1536 + 100;
    const auto layout = lay_out_sized(project, project.areas[0]);
    ASSERT_TRUE(layout);
    EXPECT_EQ(layout->geometry.ring_blocks, 5U);
}

} // namespace
} // namespace perdure
