#include <algorithm>
#include <map>
#include <set>

#include <gtest/gtest.h>

#include "flash/flash.hpp"

namespace perdure {
namespace {

using Bytes = std::vector<uint8_t>;

FlashGeometry geometry(uint32_t unit_bytes, ProgramRule rule, uint8_t blank = 0xFF, bool ecc = false) {
    FlashGeometry out;
    out.unit_bytes = unit_bytes;
    out.erase_block_bytes = unit_bytes * 16;
    out.erase_blocks_per_ring_block = 2;
    out.ring_blocks = 3;
    out.blank = blank;
    out.rule = rule;
    out.ecc = ecc;
    return out;
}

FlashResult program(Flash& flash, uint32_t address, const Bytes& bytes) {
    return flash.program(address, bytes.data(), static_cast<uint32_t>(bytes.size()));
}

Bytes read(const Flash& flash, uint32_t address, uint32_t bytes) {
    Bytes out(bytes, 0x5A);
    EXPECT_EQ(flash.read(address, out.data(), bytes), FlashResult::ok);
    return out;
}

const Bytes entry{0x12, 0x34, 0x56, 0x78};
const Bytes other{0xA0, 0xB1, 0xC2, 0xD3};
const Bytes blank{0xFF, 0xFF, 0xFF, 0xFF};
const Bytes full{0, 0, 0, 0};
const Bytes faulted{}; // stands for a read that faulted

/// The unit at 0 over 400 starts: what it read, and how often.
std::map<Bytes, int> readings(Flash& flash, uint64_t draw = 1) {
    std::mt19937_64 random(draw);
    std::map<Bytes, int> seen;
    for (int i = 0; i < 400; i++) {
        flash.power_up(random);
        Bytes out(4), again(4);
        const FlashResult result = flash.read(0, out.data(), 4);
        EXPECT_EQ(flash.read(0, again.data(), 4), result) << "stable within a run";
        if (result == FlashResult::ok) { EXPECT_EQ(out, again); }
        seen[result == FlashResult::fault ? faulted : out]++;
    }
    return seen;
}

/// Powers up until the unit at 0 reads `wanted`.
bool power_up_until(Flash& flash, const Bytes& wanted) {
    std::mt19937_64 random(7);
    for (int i = 0; i < 1000; i++) {
        flash.power_up(random);
        Bytes out(4);
        if (flash.read(0, out.data(), 4) == FlashResult::ok && out == wanted) { return true; }
    }
    return false;
}

void cut_program(Flash& flash, const Bytes& bytes) {
    flash.cut_after(0);
    ASSERT_EQ(program(flash, 0, bytes), FlashResult::power_cut);
}

} // namespace

TEST(Flash, KeepsWhatWasProgrammedForEveryUnitSize) {
    for (const uint32_t unit_bytes : {1U, 2U, 3U, 4U, 6U, 8U, 12U, 16U, 32U, 256U}) {
        SCOPED_TRACE(unit_bytes);
        Flash flash(geometry(unit_bytes, ProgramRule::once), {});
        const auto units = static_cast<uint32_t>(flash.geometry().area_bytes() / unit_bytes);
        ASSERT_EQ(units, 96U);
        for (uint32_t unit = 0; unit < units; unit++) {
            ASSERT_EQ(program(flash, unit * unit_bytes, Bytes(unit_bytes, uint8_t(unit))), FlashResult::ok);
        }
        for (uint32_t unit = 0; unit < units; unit++) {
            EXPECT_EQ(read(flash, unit * unit_bytes, unit_bytes), Bytes(unit_bytes, uint8_t(unit)));
        }
        ASSERT_EQ(flash.erase(1), FlashResult::ok);
        EXPECT_EQ(read(flash, 32 * unit_bytes, 32 * unit_bytes), Bytes(size_t{32} * unit_bytes, 0xFF));
        EXPECT_EQ(read(flash, 31 * unit_bytes, unit_bytes), Bytes(unit_bytes, 31)) << "the block before is untouched";
        EXPECT_EQ(read(flash, 64 * unit_bytes, unit_bytes), Bytes(unit_bytes, 64)) << "and the one behind";
        EXPECT_EQ(program(flash, 32 * unit_bytes, Bytes(unit_bytes, 9)), FlashResult::ok);
        EXPECT_EQ(flash.counters().refused, 0U);
    }
}

TEST(Flash, RefusesWhatNoPartAllowsAndSaysWhere) {
    Flash flash(geometry(4, ProgramRule::once), {});
    EXPECT_EQ(program(flash, 2, entry), FlashResult::refused);
    EXPECT_EQ(flash.refusal(), "program of 4 bytes at 0x2: the program unit is 4 bytes, at multiples of that");
    EXPECT_EQ(program(flash, 4, {1, 2}), FlashResult::refused);
    EXPECT_EQ(flash.refusal(), "program of 2 bytes at 0x4: the program unit is 4 bytes, at multiples of that");
    EXPECT_EQ(program(flash, 384, entry), FlashResult::refused);
    EXPECT_EQ(flash.refusal(), "program of 4 bytes at 0x180: the area ends at 0x180");
    EXPECT_EQ(program(flash, 0xFFFFFFFCU, entry), FlashResult::refused);
    EXPECT_EQ(flash.erase(3), FlashResult::refused);
    EXPECT_EQ(flash.refusal(), "erase of block 3: the area has 3");
    Bytes out(8);
    EXPECT_EQ(flash.read(380, out.data(), 8), FlashResult::refused);
    EXPECT_EQ(flash.refusal(), "read of 8 bytes at 0x17C: the area ends at 0x180");
    EXPECT_EQ(flash.counters().refused, 6U);
    EXPECT_EQ(flash.counters().programs + flash.counters().erases, 0U);
}

TEST(Flash, AUnitTakesWhatItsRuleAllows) {
    Flash once(geometry(4, ProgramRule::once), {});
    ASSERT_EQ(program(once, 132, entry), FlashResult::ok);
    EXPECT_EQ(program(once, 132, entry), FlashResult::refused);
    EXPECT_EQ(once.refusal(),
              "program at 0x84 (unit 1 of block 1): it is programmed already, and may be only once between erases");
    EXPECT_EQ(program(once, 132, full), FlashResult::refused);
    ASSERT_EQ(program(once, 0, blank), FlashResult::ok);
    EXPECT_EQ(program(once, 0, entry), FlashResult::refused) << "a unit programmed with blank bytes has its check code";

    Flash or_full(geometry(4, ProgramRule::once_or_full), {});
    ASSERT_EQ(program(or_full, 0, entry), FlashResult::ok);
    EXPECT_EQ(program(or_full, 0, other), FlashResult::refused);
    EXPECT_EQ(program(or_full, 0, full), FlashResult::ok);
    EXPECT_EQ(read(or_full, 0, 4), full);

    for (const uint8_t erased : {uint8_t{0xFF}, uint8_t{0x00}}) {
        Flash bits(geometry(1, ProgramRule::bits_one_way, erased), {});
        ASSERT_EQ(program(bits, 0, {uint8_t(erased ^ 0x0F)}), FlashResult::ok);
        EXPECT_EQ(program(bits, 0, {uint8_t(erased ^ 0x3F)}), FlashResult::ok) << "more bits";
        EXPECT_EQ(program(bits, 0, {uint8_t(erased ^ 0x3E)}), FlashResult::refused) << "one bit back";
        EXPECT_EQ(bits.refusal(), "program at 0x0 (unit 0 of block 0): byte 0 would move bits back towards blank");
        EXPECT_EQ(read(bits, 0, 1), Bytes{uint8_t(erased ^ 0x3F)});
    }
}

TEST(Flash, CountsWearTimeAndEnergy) {
    FlashCosts costs;
    costs.program_us = 100;
    costs.erase_ms = 20;
    costs.program_ma = 5;
    costs.vdd_v = 3;
    Flash flash(geometry(4, ProgramRule::once), costs);
    for (uint32_t unit = 0; unit < 10; unit++) { ASSERT_EQ(program(flash, unit * 4, entry), FlashResult::ok); }
    ASSERT_EQ(flash.erase(0), FlashResult::ok);
    ASSERT_EQ(flash.erase(0), FlashResult::ok);
    ASSERT_EQ(flash.erase(2), FlashResult::ok);
    EXPECT_EQ(flash.counters().programs, 10U);
    EXPECT_EQ(flash.counters().erases, 3U);
    EXPECT_EQ(flash.erases_per_block(), (std::vector<uint32_t>{2, 0, 1}));
    // 10 x 100 us, and 3 ring blocks of two erase blocks of 20 ms; 121 ms at 5 mA and 3 V.
    EXPECT_DOUBLE_EQ(flash.busy_us(), 1000 + 3 * 2 * 20000.0);
    EXPECT_NEAR(flash.energy_mj(), 0.121 * 5 * 3, 1e-12);
}

TEST(Flash, NothingHappensWithoutSupply) {
    Flash flash(geometry(4, ProgramRule::once), {});
    flash.cut_after(2);
    ASSERT_EQ(program(flash, 4, entry), FlashResult::ok);
    ASSERT_EQ(flash.erase(2), FlashResult::ok);
    ASSERT_EQ(program(flash, 8, entry), FlashResult::power_cut) << "the third operation";
    EXPECT_TRUE(flash.is_cut());
    Bytes out(4);
    EXPECT_EQ(flash.read(4, out.data(), 4), FlashResult::power_cut);
    EXPECT_EQ(program(flash, 12, entry), FlashResult::power_cut);
    EXPECT_EQ(flash.erase(1), FlashResult::power_cut);
    EXPECT_EQ(flash.counters().programs + flash.counters().erases, 2U);
    std::mt19937_64 random(1);
    flash.power_up(random);
    EXPECT_FALSE(flash.is_cut());
    EXPECT_EQ(read(flash, 4, 4), entry);
    EXPECT_EQ(read(flash, 12, 4), blank) << "what was not begun left nothing";
    EXPECT_EQ(program(flash, 12, entry), FlashResult::ok);
    flash.cut_after(0);
    flash.disarm();
    EXPECT_EQ(program(flash, 16, entry), FlashResult::ok);
}

TEST(Flash, ATornProgramReadsBlankCompleteOrSomeOfItsBits) {
    for (const bool ecc : {false, true}) {
        Flash flash(geometry(4, ProgramRule::once, 0xFF, ecc), {});
        cut_program(flash, entry);
        const std::map<Bytes, int> seen = readings(flash);
        EXPECT_GT(seen.at(blank), 80); // a third each, of 400
        EXPECT_GT(seen.at(entry), 80);
        EXPECT_EQ(seen.contains(faulted), ecc);
        EXPECT_GT(seen.size(), 10U);
        for (const auto& [bytes, times] : seen) {
            for (size_t i = 0; i < bytes.size(); i++) {
                EXPECT_EQ(bytes[i] & entry[i], entry[i]) << "a bit that was never to be programmed";
            }
        }
    }
}

TEST(Flash, TheSameBytesMakeATornUnitTrusted) {
    Flash flash(geometry(4, ProgramRule::once), {});
    cut_program(flash, entry);
    ASSERT_TRUE(power_up_until(flash, blank));
    ASSERT_EQ(program(flash, 0, entry), FlashResult::ok);
    EXPECT_EQ(readings(flash), (std::map<Bytes, int>{{entry, 400}}));
}

TEST(Flash, OtherBytesOverATornUnitVerifyNowAndAreWeakLater) {
    Flash flash(geometry(4, ProgramRule::once), {});
    cut_program(flash, entry);
    ASSERT_TRUE(power_up_until(flash, blank));
    ASSERT_EQ(program(flash, 0, other), FlashResult::ok);
    EXPECT_EQ(read(flash, 0, 4), other);
    EXPECT_EQ(program(flash, 0, entry), FlashResult::refused) << "it does not read blank any more";
    const std::map<Bytes, int> seen = readings(flash);
    EXPECT_GT(seen.at(other), 100);
    EXPECT_GT(seen.size(), 10U) << "rubbish";
    EXPECT_FALSE(seen.contains(blank));
}

TEST(Flash, AllBitsOverATornUnitDriveTheGhostOut) {
    for (const uint32_t unit_bytes : {1U, 4U}) {
        Flash flash(geometry(unit_bytes, ProgramRule::once), {});
        const Bytes ghost(entry.begin(), entry.begin() + unit_bytes);
        flash.cut_after(0);
        ASSERT_EQ(program(flash, 0, ghost), FlashResult::power_cut);
        std::mt19937_64 random(3);
        do { flash.power_up(random); } while (read(flash, 0, unit_bytes) != ghost);
        EXPECT_EQ(program(flash, 0, Bytes(unit_bytes, 0x81)), FlashResult::refused);
        ASSERT_EQ(program(flash, 0, Bytes(unit_bytes, 0)), FlashResult::ok);
        std::set<Bytes> seen;
        for (int i = 0; i < 3000; i++) {
            flash.power_up(random);
            seen.insert(read(flash, 0, unit_bytes));
        }
        EXPECT_TRUE(seen.contains(Bytes(unit_bytes, 0)));
        EXPECT_GT(seen.size(), 10U) << "weak too";
        EXPECT_FALSE(seen.contains(ghost));
    }
}

TEST(Flash, ATornEraseLeavesEveryKindOfReading) {
    Flash flash(geometry(4, ProgramRule::once), {});
    ASSERT_EQ(program(flash, 0, entry), FlashResult::ok);
    ASSERT_EQ(program(flash, 128, entry), FlashResult::ok);
    flash.cut_after(0);
    ASSERT_EQ(flash.erase(0), FlashResult::power_cut);
    EXPECT_EQ(flash.erases_per_block()[0], 0U) << "only whole erases are counted";
    const std::map<Bytes, int> seen = readings(flash);
    for (const Bytes& bytes : {entry, blank, full}) { EXPECT_GT(seen.at(bytes), 40); }
    EXPECT_GT(seen.size(), 20U);
    EXPECT_EQ(read(flash, 128, 4), entry) << "the neighbour keeps what it has";

    ASSERT_TRUE(power_up_until(flash, blank));
    ASSERT_EQ(program(flash, 0, other), FlashResult::ok);
    EXPECT_EQ(read(flash, 0, 4), other) << "verifies now";
    const std::map<Bytes, int> later = readings(flash);
    EXPECT_GT(later.at(other), 80);
    EXPECT_GT(later.at(blank), 80);
    EXPECT_FALSE(later.contains(entry)) << "the old entry does not come back whole";
    ASSERT_EQ(flash.erase(0), FlashResult::ok);
    ASSERT_EQ(program(flash, 0, entry), FlashResult::ok);
    EXPECT_EQ(readings(flash), (std::map<Bytes, int>{{entry, 400}})) << "a whole erase mends all";
}

TEST(Flash, KindsOfOutcomesCanBeSwitchedOff) {
    Cuts cuts;
    cuts.garbage = false;
    Flash clean(geometry(4, ProgramRule::once, 0xFF, true), {}, cuts);
    cut_program(clean, entry);
    const std::map<Bytes, int> seen = readings(clean);
    EXPECT_EQ(seen.size(), 2U);
    EXPECT_GT(seen.at(blank), 120);
    EXPECT_GT(seen.at(entry), 120);

    cuts = {};
    cuts.weak_program = false;
    std::set<Bytes> first;
    for (uint64_t draw = 0; draw < 40; draw++) {
        Flash settled(geometry(4, ProgramRule::once), {}, cuts);
        cut_program(settled, entry);
        const std::map<Bytes, int> all = readings(settled, draw);
        ASSERT_EQ(all.size(), 1U) << "the first reading stays";
        first.insert(all.begin()->first);
        EXPECT_EQ(program(settled, 0, other) == FlashResult::ok, all.begin()->first == blank);
    }
    EXPECT_GT(first.size(), 5U);

    cuts = {};
    cuts.weak_erase = false;
    Flash erased(geometry(4, ProgramRule::once), {}, cuts);
    ASSERT_EQ(program(erased, 0, entry), FlashResult::ok);
    erased.cut_after(0);
    ASSERT_EQ(erased.erase(0), FlashResult::power_cut);
    EXPECT_FALSE(readings(erased).contains(entry));
}

TEST(Flash, TheSameRandomNumbersReplayTheSameStarts) {
    std::array<std::map<Bytes, int>, 3> seen;
    for (size_t i = 0; i < 3; i++) {
        Flash flash(geometry(4, ProgramRule::once), {});
        cut_program(flash, entry);
        seen[i] = readings(flash, i == 2 ? 99 : 5);
    }
    EXPECT_EQ(seen[0], seen[1]);
    EXPECT_NE(seen[0], seen[2]);
}

TEST(Flash, ABlockAtItsEndFails) {
    Flash flash(geometry(4, ProgramRule::once), {});
    flash.fail_block(1);
    EXPECT_EQ(flash.erase(1), FlashResult::failed);
    EXPECT_EQ(program(flash, 128, entry), FlashResult::failed);
    EXPECT_EQ(read(flash, 128, 4), blank);
    EXPECT_EQ(program(flash, 0, entry), FlashResult::ok);
    EXPECT_EQ(flash.erase(2), FlashResult::ok);
}

TEST(Flash, AnImageIsTakenAsProgrammed) {
    Flash flash(geometry(4, ProgramRule::once), {});
    Bytes image(flash.geometry().area_bytes(), 0xFF);
    std::copy(entry.begin(), entry.end(), image.begin() + 8);
    flash.load(image);
    EXPECT_EQ(read(flash, 8, 4), entry);
    EXPECT_EQ(program(flash, 8, other), FlashResult::refused);
    EXPECT_EQ(program(flash, 12, other), FlashResult::ok);
    EXPECT_TRUE(std::equal(other.begin(), other.end(), flash.image().begin() + 12));
}

} // namespace perdure
