// What `inspect` says of units whose history is known: the cause that was put there, and no other.
#include <algorithm>

#include <gtest/gtest.h>

#include "tests/returned/returned_unit.hpp"

namespace perdure::returned {
namespace {

using Causes = std::vector<Cause>;
using Bytes = std::vector<uint8_t>;

constexpr size_t block_bytes = 512;
constexpr size_t unit_bytes = 8;

void expect_values(const UsedUnit& unit, const InspectedArea& area) {
    ASSERT_GE(area.records.size(), 3U);
    for (size_t i = 0; i < 3; i++) {
        if (!area.records[i].stored) { continue; }
        EXPECT_EQ(area.records[i].payload, unit.value(i)) << i;
        EXPECT_EQ(area.records[i].may_be_old, "") << i;
        EXPECT_EQ(area.records[i].differs, "") << i;
    }
}

std::string said(const Inspection& inspection) {
    std::string out;
    for (const Damage& damage : inspection.areas.front().damage) {
        out += std::string(name_of(damage.cause)) + " " + std::to_string(damage.block) + ":" +
               std::to_string(damage.unit) + (damage.harmless ? " harmless " : " ") + damage.what + ": " + damage.why +
               "\n";
    }
    return out;
}

TEST(Inspect, AUnitInOrderHasNoDamage) {
    for (const uint32_t blocks : {2U, 3U, 5U}) {
        const Product product(project_text(blocks));
        UsedUnit unit(product, blocks);
        for (int round = 0; round < 20; round++) {
            unit.use(25);
            const Inspection inspection = inspected(product, dump_of(unit.flash()));
            EXPECT_TRUE(inspection.holds()) << said(inspection);
            EXPECT_EQ(inspection.areas[0].damage.size(), 0U) << said(inspection);
            expect_values(unit, inspection.areas[0]);
            const std::vector<uint32_t>& wear = unit.simulated().erases_per_block();
            for (size_t block = 0; block < wear.size(); block++) {
                // Never too few; on a blank part each first stamp counts on from the highest of the others (format.md,
                // section 3), so up to a block's worth too many.
                ASSERT_TRUE(inspection.areas[0].wear.erases[block]);
                EXPECT_GE(*inspection.areas[0].wear.erases[block], wear[block]) << block;
                EXPECT_LE(*inspection.areas[0].wear.erases[block], wear[block] + blocks) << block;
            }
        }
    }
}

// Whatever cuts leave, also in starts, also before the next start: never anything but 'power cut', harmless.
TEST(Inspect, CutsAreNothingButCuts) {
    size_t seen = 0;
    for (const uint32_t blocks : {2U, 3U, 4U, 5U}) {
        for (const char* blank : {"0xFF", "0x00"}) {
            const Product product(project_text(blocks, block_bytes, blank));
            UsedUnit unit(product, blocks * 7U);
            std::mt19937_64 random(blocks);
            for (int round = 0; round < 120; round++) {
                unit.use(static_cast<int>(random() % 12));
                const int starts = blocks < 4 ? static_cast<int>(random() % 2) : static_cast<int>(random() % 3);
                unit.cut(random() % 8, starts, false);
                const Inspection torn = inspected(product, dump_of(unit.flash()));
                EXPECT_EQ(causes(torn), Causes{}) << blocks << ' ' << blank << ' ' << round << '\n' << said(torn);
                seen += torn.areas[0].damage.size();
                ASSERT_TRUE(unit.start());
                const Inspection after = inspected(product, dump_of(unit.flash()));
                EXPECT_EQ(causes(after), Causes{}) << blocks << ' ' << blank << ' ' << round << '\n' << said(after);
                expect_values(unit, after.areas[0]);
                if (HasFailure()) { return; }
            }
        }
    }
    EXPECT_GT(seen, 300U);
}

// A bit of an entry that others followed in the same run: found, named, and its record's value said to be unsure if it
// was the newest.
TEST(Inspect, OneBitOfAnEntryIsBitRot) {
    const Product product(project_text(4));
    size_t found = 0;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        UsedUnit unit(product, seed);
        unit.use(70);
        Bytes bytes = unit.flash();
        const Decoded decoded = decode({product.expected.areas[0].shape, bytes, {}});
        // An entry of a record (no mark), with two entries behind it in the same block.
        const size_t at = 3 + seed * 5 % (decoded.entries.size() - 8);
        const DumpEntry& entry = decoded.entries[at];
        if (entry.mark || entry.restart || decoded.entries[at + 2].block != entry.block) { continue; }
        const size_t byte = (size_t{entry.block} * 64 + entry.unit) * unit_bytes + seed % entry.bytes;
        bytes[byte] ^= static_cast<uint8_t>(1U << seed % 8);
        const Inspection inspection = inspected(product, dump_of(bytes));
        ASSERT_EQ(causes(inspection), Causes{Cause::rot}) << seed << '\n' << said(inspection);
        const auto& damage = inspection.areas[0].damage;
        const auto rot = std::ranges::find_if(damage, [](const Damage& d) { return d.cause == Cause::rot; });
        EXPECT_EQ(rot->block, entry.block) << seed;
        EXPECT_EQ(rot->unit, entry.unit) << seed;
        EXPECT_EQ(rot->id, entry.id) << seed;
        EXPECT_FALSE(inspection.holds());
        found++;
    }
    EXPECT_GT(found, 20U);
}

// Short entries are read with the full one before them in their block: when that is lost, so are they, up to the
// block's end.
TEST(Inspect, AFullEntryTakesItsShortOnesWithIt) {
    const Product product(project_text(4));
    size_t tried = 0;
    for (uint64_t seed = 1; seed <= 30; seed++) {
        UsedUnit unit(product, seed);
        unit.use(61);
        Bytes bytes = unit.flash();
        const Decoded decoded = decode({product.expected.areas[0].shape, bytes, {}});
        const auto full = std::ranges::find_if(decoded.entries, [&](const DumpEntry& entry) {
            return entry.block == decoded.head && entry.id == 1U && !entry.is_short;
        });
        if (full == decoded.entries.end() || !decoded.entries.back().is_short || decoded.entries.end() - full < 3) {
            continue;
        }
        const bool others =
            std::any_of(full + 1, decoded.entries.end(), [](const DumpEntry& e) { return !e.is_short; });
        bytes[(size_t{full->block} * 64 + full->unit) * unit_bytes + 4] ^= 0x40;
        const Inspection inspection = inspected(product, dump_of(bytes));
        if (!others) {
            ASSERT_EQ(causes(inspection), Causes{Cause::rot}) << seed << '\n' << said(inspection);
            EXPECT_NE(said(inspection).find("which can only be read with it"), std::string::npos) << said(inspection);
            tried++;
        }
        EXPECT_NE(inspection.areas[0].records[0].may_be_old, "") << seed << '\n' << said(inspection);
    }
    EXPECT_GT(tried, 0U);
}

TEST(Inspect, ALostNewestEntryMakesItsRecordUnsure) {
    const Product product(project_text(4));
    size_t tried = 0;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        UsedUnit unit(product, seed);
        unit.use(40);
        Bytes bytes = unit.flash();
        const Decoded decoded = decode({product.expected.areas[0].shape, bytes, {}});
        const auto last = std::find_if(decoded.entries.rbegin(), decoded.entries.rend(),
                                       [](const DumpEntry& entry) { return entry.id == 2U; });
        if (last - decoded.entries.rbegin() < 3 || (last - 2)->block != last->block) { continue; }
        bytes[(size_t{last->block} * 64 + last->unit) * unit_bytes + 4] ^= 0x10;
        const Inspection inspection = inspected(product, dump_of(bytes));
        const std::vector<InspectedRecord>& records = inspection.areas[0].records;
        EXPECT_NE(records[1].may_be_old.find("a newer entry of this record was lost there"), std::string::npos)
            << said(inspection);
        EXPECT_EQ(records[0].may_be_old, "");
        tried++;
    }
    EXPECT_GT(tried, 5U);
}

TEST(Inspect, ABlockThatFailsIsWorn) {
    const Product product(project_text(5));
    UsedUnit unit(product, 9);
    unit.use(60);
    const Decoded before = decode({product.expected.areas[0].shape, unit.flash(), {}});
    unit.simulated().fail_block(before.head);
    unit.use(8);
    const Inspection inspection = inspected(product, dump_of(unit.flash()));
    EXPECT_TRUE(causes(inspection).empty() || causes(inspection) == Causes{Cause::worn}) << said(inspection);
    expect_values(unit, inspection.areas[0]);
    unit.use(200); // round the ring: the block is set aside
    const Inspection later = inspected(product, dump_of(unit.flash()));
    EXPECT_EQ(causes(later), Causes{Cause::worn}) << said(later);
    EXPECT_EQ(later.areas[0].damage[0].what, "a block that is set aside");
    EXPECT_EQ(later.areas[0].damage[0].block, before.head);
    expect_values(unit, later.areas[0]);
}

TEST(Inspect, AProgramThatFailedHalfWayIsWorn) {
    // As a block that refuses a program leaves it: a part of an entry, then nothing, and the entry again in the next
    // block.
    const Product product(project_text(5));
    size_t tried = 0;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        UsedUnit unit(product, seed);
        unit.use(60);
        const Decoded before = decode({product.expected.areas[0].shape, unit.flash(), {}});
        if (before.entries.back().block != before.head) { continue; }
        const uint32_t end = before.entries.back().unit + before.entries.back().units;
        unit.simulated().fail_block(before.head);
        unit.put_one();
        Bytes bytes = unit.flash();
        const size_t at = (size_t{before.head} * 64 + end) * unit_bytes;
        for (size_t i = 0; i < unit_bytes; i++) { bytes[at + i] = static_cast<uint8_t>(0x81 + 37 * i); }
        const Decoded after = decode({product.expected.areas[0].shape, bytes, {}});
        if (!after.stamps[before.head].is_read || end > 60) { continue; } // emptied already
        const Inspection inspection = inspected(product, dump_of(bytes));
        EXPECT_EQ(causes(inspection), Causes{Cause::worn}) << said(inspection);
        expect_values(unit, inspection.areas[0]);
        tried++;
    }
    EXPECT_GT(tried, 3U);
}

TEST(Inspect, AForeignTextIsOverwritten) {
    const Product product(project_text(4));
    for (const size_t at : {size_t{20}, size_t{200}, block_bytes + 100, 2 * block_bytes + 40, 3 * block_bytes + 300}) {
        UsedUnit unit(product, at);
        unit.use(90);
        Bytes bytes = unit.flash();
        const std::string text = "BOOT LOG 2031-04-01 08:00 watchdog reset, retry";
        std::copy(text.begin(), text.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at));
        const Inspection inspection = inspected(product, dump_of(bytes));
        EXPECT_FALSE(inspection.holds());
        const Causes all = causes(inspection);
        EXPECT_NE(std::ranges::find(all, Cause::overwritten), all.end()) << at << '\n' << said(inspection);
        EXPECT_EQ(std::ranges::find(all, Cause::worn), all.end()) << at << '\n' << said(inspection);
        EXPECT_NE(said(inspection).find("BOOT LOG"), std::string::npos) << at << '\n' << said(inspection);
    }
}

TEST(Inspect, ABlockErasedBySomethingElse) {
    const Product product(project_text(4));
    UsedUnit unit(product, 2);
    unit.use(90);
    Bytes bytes = unit.flash();
    const Decoded decoded = decode({product.expected.areas[0].shape, bytes, {}});
    const uint32_t victim = (decoded.head + 3) % 4; // the block before the head
    std::fill_n(bytes.begin() + static_cast<std::ptrdiff_t>(victim * block_bytes), block_bytes, uint8_t{0xFF});
    const Inspection inspection = inspected(product, dump_of(bytes));
    EXPECT_EQ(causes(inspection), Causes{Cause::erased}) << said(inspection);
    EXPECT_EQ(inspection.areas[0].damage[0].block, victim);
}

TEST(Inspect, ATruncatedDumpGivesWhatItHolds) {
    const Product product(project_text(4));
    UsedUnit unit(product, 5);
    unit.use(90);
    for (const size_t bytes :
         {size_t{1}, size_t{15}, size_t{16}, size_t{700}, size_t{1024}, size_t{2000}, size_t{2047}}) {
        const Inspection inspection = inspected(product, dump_of(unit.flash(), 0, bytes));
        EXPECT_FALSE(inspection.holds());
        EXPECT_EQ(inspection.areas[0].known, bytes);
        const std::string note = inspection.areas[0].notes.back();
        EXPECT_NE(note.find(" of its 2048 bytes are not in the dump"), std::string::npos) << note;
        for (const Cause cause : causes(inspection)) {
            EXPECT_EQ(cause, Cause::missing) << bytes << '\n' << said(inspection);
        }
    }
}

TEST(Inspect, AShiftedDumpIsFoundByItsStamps) {
    const Product product(project_text(4));
    UsedUnit unit(product, 6);
    unit.use(90);
    // In front cut off: 300 bytes of block 0 are gone.
    const Inspection cut_off = inspected(product, dump_of(unit.flash(), 300));
    EXPECT_EQ(cut_off.areas[0].begin, -300);
    EXPECT_EQ(cut_off.areas[0].known, 2048U - 300U);
    EXPECT_EQ(cut_off.place.first_byte, "300 bytes into area store");
    EXPECT_EQ(cut_off.areas[0].decoded.contents, Contents::ring);
    // Behind 1,237 other bytes.
    Bytes moved(1237 + unit.flash().size(), 0xA5);
    std::copy(unit.flash().begin(), unit.flash().end(), moved.begin() + 1237);
    const Inspection behind = inspected(product, dump_of(moved));
    EXPECT_EQ(behind.areas[0].begin, 1237);
    EXPECT_EQ(behind.place.first_byte, "1237 bytes before area store");
    EXPECT_EQ(behind.place.why, "the stamps of area store in it say so");
    EXPECT_EQ(behind.outside_bytes, 1237U);
    expect_values(unit, behind.areas[0]);
}

TEST(Inspect, ADumpOfTheWholeFlash) {
    const Product product(project_text(4));
    UsedUnit unit(product, 6);
    unit.use(30);
    Bytes flash(16 * block_bytes, 0x5A);
    std::copy(unit.flash().begin(), unit.flash().end(), flash.end() - static_cast<std::ptrdiff_t>(unit.flash().size()));
    const Inspection binary = inspected(product, dump_of(flash));
    EXPECT_EQ(binary.areas[0].begin, 12 * 512);
    EXPECT_TRUE(binary.areas[0].notes.empty());
    const Memory memory{{{0x08000000, flash}}, {}, {}, {}};
    for (const std::string& text : {write_intel_hex(memory), write_s_records(memory)}) {
        const Inspection inspection = inspected(product, read_dump("dump", text, std::nullopt, std::nullopt));
        EXPECT_TRUE(inspection.holds());
        EXPECT_EQ(inspection.areas[0].begin, 0x08000000 + 12 * 512);
        EXPECT_EQ(inspection.dump_bytes, flash.size());
        EXPECT_EQ(inspection.outside_bytes, flash.size() - 2048);
        expect_values(unit, inspection.areas[0]);
    }
}

TEST(Inspect, AnotherGeometryIsReadWithItsOwn) {
    const Product product(project_text(4));
    const Product other(project_text(3, 1024));
    UsedUnit unit(other, 6);
    unit.use(90);
    const Inspection inspection = inspected(product, dump_of(unit.flash()));
    const InspectedArea& area = inspection.areas[0];
    EXPECT_EQ(area.shape.blocks, 3U);
    EXPECT_EQ(area.shape.block_units, 128U);
    EXPECT_NE(area.notes.at(0).find("another shape"), std::string::npos);
    EXPECT_EQ(causes(inspection), Causes{Cause::shape});
    expect_values(unit, area);
}

TEST(Inspect, AnotherVersionOfTheSchema) {
    const Product product(project_text(4));
    const Product older(project_text(4, block_bytes, "0xFF", "{ name = \"delay_s\", type = \"u16\", default = 30 }"));
    UsedUnit unit(older, 6);
    unit.use(60);
    const Inspection by_newer = inspected(product, dump_of(unit.flash()));
    const InspectedRecord& shorter = by_newer.areas[0].records[1];
    EXPECT_EQ(shorter.differs, "2 of 12 bytes are stored: a firmware with fewer fields wrote it");
    EXPECT_EQ(shorter.values.size(), 1U);
    UsedUnit newer(product, 6);
    newer.use(60);
    const Inspection by_older = inspected(older, dump_of(newer.flash()));
    EXPECT_EQ(by_older.areas[0].records[1].differs,
              "12 bytes are stored, the project knows 2: a firmware with more fields wrote it");
    EXPECT_EQ(by_older.areas[0].records[1].values.size(), 1U);
}

TEST(Inspect, BlankAndForeignAreas) {
    const Product product(project_text(4));
    EXPECT_EQ(causes(inspected(product, dump_of(Bytes(2048, 0xFF)))), Causes{Cause::erased});
    Bytes rubbish(2048);
    std::mt19937 random(3);
    for (uint8_t& byte : rubbish) { byte = static_cast<uint8_t>(random()); }
    EXPECT_EQ(causes(inspected(product, dump_of(rubbish))), Causes{Cause::overwritten});
}

TEST(Inspect, YearsLeftFollowFromTheAge) {
    const Product product(project_text(4));
    UsedUnit unit(product, 6);
    unit.use(2000);
    InspectOptions options;
    options.age_years = 2;
    const Wear wear = inspected(product, dump_of(unit.flash()), options).areas[0].wear;
    // 10,000 erases, half of them allowed, less the one of a format (the budget's rule); so many in two years.
    EXPECT_DOUBLE_EQ(wear.left_allowed, product.expected.areas[0].erases_allowed - wear.most);
    EXPECT_NEAR(*wear.years_left_seen, wear.left_allowed / ((wear.most - 2.0) / 2), 1e-9);
    EXPECT_EQ(wear.reaches_life, 2 + *wear.years_left_seen >= 10);
    EXPECT_FALSE(inspected(product, dump_of(unit.flash())).areas[0].wear.reaches_life);
}

} // namespace
} // namespace perdure::returned
