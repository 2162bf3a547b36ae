#include "flash/forking.hpp"

#include <set>
#include <string>

#include <gtest/gtest.h>

namespace perdure {
namespace {

constexpr uint32_t unit_bytes = 4;

FlashGeometry geometry(bool ecc = false) {
    FlashGeometry g;
    g.unit_bytes = unit_bytes;
    g.erase_block_bytes = 8 * unit_bytes;
    g.ring_blocks = 2;
    g.rule = ProgramRule::once_or_full;
    g.ecc = ecc;
    return g;
}

using Unit = std::array<uint8_t, unit_bytes>;
constexpr Unit value{0x12, 0x34, 0x56, 0x78}, other{0xF0, 0xF0, 0xF0, 0xF0}, pad{0, 0, 0, 0};
constexpr Unit blank{0xFF, 0xFF, 0xFF, 0xFF};

Unit read(const ForkingFlash& flash, uint32_t unit) {
    Unit out{};
    EXPECT_TRUE(flash.read(unit * unit_bytes, out.data(), unit_bytes));
    return out;
}

/// Everything that a unit reads as over all ways; a fault as nothing.
std::set<std::optional<Unit>> readings_of(ForkingFlash& flash, uint32_t unit) {
    std::set<std::optional<Unit>> seen;
    const uint64_t ways = flash.ways_to_read();
    for (uint64_t way = 0; way < ways; way++) {
        const ForkingFlash::Mark mark = flash.mark();
        flash.power_up(way);
        Unit out{};
        seen.insert(flash.read(unit * unit_bytes, out.data(), unit_bytes) ? std::optional(out) : std::nullopt);
        flash.undo(mark);
    }
    return seen;
}

TEST(ForkingFlash, ACutProgramReadsBlankCompleteOrTorn) {
    ForkingFlash flash(geometry(), {});
    flash.cut_program(3 * unit_bytes, value.data());
    const auto seen = readings_of(flash, 3);
    EXPECT_TRUE(seen.contains(value));
    EXPECT_TRUE(seen.contains(blank));
    EXPECT_TRUE(seen.contains(Unit{0x12, 0x34, 0xFF, 0xFF})) << "the first half of its bytes";
    EXPECT_TRUE(seen.contains(Unit{0xFF, 0xFF, 0x56, 0x78})) << "the last half";
    EXPECT_EQ(seen.size(), 7U);
}

TEST(ForkingFlash, UnderEccATornUnitFaults) {
    ForkingFlash flash(geometry(true), {});
    flash.cut_program(3 * unit_bytes, value.data());
    EXPECT_TRUE(readings_of(flash, 3).contains(std::nullopt));
}

TEST(ForkingFlash, TheSameBytesInFullMakeAWeakUnitTrusted) {
    ForkingFlash flash(geometry(), {});
    flash.cut_program(0, value.data());
    flash.power_up(0); // reads blank
    ASSERT_EQ(read(flash, 0), blank);
    EXPECT_TRUE(flash.program(0, value.data()));
    EXPECT_EQ(flash.ways_to_read(), 1U);
}

TEST(ForkingFlash, OtherBytesOverAWeakUnitVerifyNowAndAreWeakFromThenOn) {
    ForkingFlash flash(geometry(), {});
    flash.cut_program(0, value.data());
    flash.power_up(0);
    EXPECT_TRUE(flash.program(0, other.data()));
    EXPECT_EQ(read(flash, 0), other);
    const auto seen = readings_of(flash, 0);
    EXPECT_TRUE(seen.contains(other));
    EXPECT_TRUE(seen.contains(Unit{0x10, 0x30, 0x50, 0x70})) << "the charge of both";
    EXPECT_FALSE(seen.contains(value)) << "what was tried before does not come back whole";
}

TEST(ForkingFlash, ACutProgramOverAWeakUnitMayStillReadAsTheOneBefore) {
    ForkingFlash flash(geometry(), {});
    flash.cut_program(0, value.data());
    flash.power_up(0);
    flash.cut_program(0, pad.data());
    const auto seen = readings_of(flash, 0);
    EXPECT_TRUE(seen.contains(value));
    EXPECT_TRUE(seen.contains(pad));
    EXPECT_TRUE(seen.contains(blank));
}

TEST(ForkingFlash, ACutEraseReadsAsBeforeBlankOrAnyHalfAndAsBeforeAgainLater) {
    ForkingFlash flash(geometry(), {});
    ASSERT_TRUE(flash.program(0, value.data()));
    ASSERT_TRUE(flash.program(7 * unit_bytes, other.data()));
    flash.cut_erase(0);
    std::set<std::pair<Unit, Unit>> seen;
    for (int round = 0; round < 2; round++) { // without winding back: one start after another
        const uint64_t ways = flash.ways_to_read();
        for (uint64_t way = 0; way < ways; way++) {
            flash.power_up(way);
            seen.insert({read(flash, 0), read(flash, 7)});
        }
    }
    EXPECT_TRUE(seen.contains({value, other}));
    EXPECT_TRUE(seen.contains({blank, blank}));
    EXPECT_TRUE(seen.contains({value, blank}));
    EXPECT_TRUE(seen.contains({blank, other}));
    EXPECT_TRUE(seen.contains({pad, pad})) << "erases that program all bits first";
    EXPECT_EQ(read(flash, 8), blank) << "the other block is not touched";
}

TEST(ForkingFlash, WhatIsProgrammedIntoATornBlockIsWeakUntilItIsErased) {
    ForkingFlash flash(geometry(), {});
    ASSERT_TRUE(flash.program(0, value.data()));
    flash.cut_erase(0);
    for (uint64_t way = 0; way < flash.ways_to_read() && read(flash, 0) != blank; way++) { flash.power_up(way); }
    ASSERT_EQ(read(flash, 0), blank);
    EXPECT_TRUE(flash.program(0, other.data()));
    EXPECT_TRUE(readings_of(flash, 0).contains(blank));
    ASSERT_TRUE(flash.erase(0));
    EXPECT_EQ(flash.ways_to_read(), 1U);
    EXPECT_TRUE(flash.program(0, other.data()));
    EXPECT_EQ(flash.ways_to_read(), 1U);
}

TEST(ForkingFlash, WithoutWeakUnitsTheFirstReadingStays) {
    CutDevice device;
    device.weak = false;
    ForkingFlash flash(geometry(), device);
    flash.cut_program(0, value.data());
    flash.power_up(2);
    const Unit first = read(flash, 0);
    EXPECT_EQ(flash.ways_to_read(), 1U);
    flash.power_up(0);
    EXPECT_EQ(read(flash, 0), first);
}

TEST(ForkingFlash, ADeviceThatDamagesTheUnitBefore) {
    CutDevice device;
    device.collateral = true;
    ForkingFlash flash(geometry(), device);
    ASSERT_TRUE(flash.program(0, value.data()));
    flash.cut_program(unit_bytes, other.data());
    const auto seen = readings_of(flash, 0);
    EXPECT_TRUE(seen.contains(value));
    EXPECT_GT(seen.size(), 1U);
}

TEST(ForkingFlash, ADeviceWhoseWeakUnitsChangeFromReadToRead) {
    CutDevice device;
    device.undecided = true;
    ForkingFlash flash(geometry(), device);
    flash.cut_program(0, value.data());
    flash.power_up(0);
    EXPECT_NE(read(flash, 0), read(flash, 0));
}

TEST(ForkingFlash, ADeviceWhoseVerifiedUnitDecays) {
    CutDevice device;
    device.late_decay = true;
    ForkingFlash flash(geometry(), device);
    const auto fresh = flash.mark();
    ASSERT_TRUE(flash.program(0, value.data()));
    EXPECT_EQ(read(flash, 0), value); // it verifies
    EXPECT_EQ(read(flash, 0), value);
    const auto after_one = flash.state_hash();
    const auto seen = readings_of(flash, 0);
    EXPECT_TRUE(seen.contains(value));
    EXPECT_GT(seen.size(), 1U);
    EXPECT_FALSE(seen.contains(blank)); // some of its charge goes, not all
    // What has held when the next unit is programmed goes on holding; then that one is at stake.
    for (uint64_t way = 0; read(flash, 0) != value; way++) { flash.power_up(way); }
    ASSERT_TRUE(flash.program(unit_bytes, other.data()));
    EXPECT_EQ(readings_of(flash, 0), std::set<std::optional<Unit>>{value});
    EXPECT_GT(readings_of(flash, 1).size(), 1U);
    flash.undo(fresh);
    ASSERT_TRUE(flash.program(0, value.data()));
    EXPECT_EQ(flash.state_hash(), after_one);
    ASSERT_TRUE(flash.erase(0));
    EXPECT_EQ(readings_of(flash, 0), std::set<std::optional<Unit>>{blank});
}

TEST(ForkingFlash, ADeviceWhoseErasedUnitsFault) {
    CutDevice device;
    device.blank_faults = true;
    ForkingFlash flash(geometry(), device);
    Unit out{};
    EXPECT_FALSE(flash.read(0, out.data(), unit_bytes));
    ASSERT_TRUE(flash.program(0, value.data()));
    EXPECT_TRUE(flash.read(0, out.data(), unit_bytes));
}

TEST(ForkingFlash, RulesBrokenAreSaid) {
    ForkingFlash flash(geometry(), {});
    ASSERT_TRUE(flash.program(0, value.data()));
    EXPECT_FALSE(flash.program(0, other.data()));
    EXPECT_NE(flash.breach().find("not erased: block 0 unit 0"), std::string::npos) << flash.breach();
    flash.forget_breach();
    CutDevice device;
    device.programs_a_unit_max = 1;
    flash.set_device(device);
    EXPECT_FALSE(flash.program(0, pad.data()));
    EXPECT_NE(flash.breach().find("more programs"), std::string::npos) << flash.breach();
    EXPECT_FALSE(flash.program(3, value.data()));
}

TEST(ForkingFlash, AFailingBlockFails) {
    CutDevice device;
    device.failing_block = 1;
    device.failing_program = device.failing_erase = true;
    ForkingFlash flash(geometry(), device);
    EXPECT_FALSE(flash.program(8 * unit_bytes, value.data()));
    EXPECT_FALSE(flash.erase(1));
    EXPECT_TRUE(flash.erase(0));
}

TEST(ForkingFlash, WindingBackRestoresBytesReadingsAndHashes) {
    ForkingFlash flash(geometry(), {});
    ASSERT_TRUE(flash.program(0, value.data()));
    flash.cut_program(2 * unit_bytes, value.data());
    flash.power_up(1);
    const auto image = flash.image();
    const StateHash state = flash.state_hash();
    const StateHash reading = flash.reading_hash();
    const ForkingFlash::Mark mark = flash.mark();
    flash.cut_erase(0);
    flash.power_up(3);
    flash.cut_program(9 * unit_bytes, other.data());
    ASSERT_TRUE(flash.erase(0));
    ASSERT_TRUE(flash.program(0, other.data()));
    EXPECT_NE(flash.state_hash(), state);
    flash.undo(mark);
    EXPECT_EQ(flash.image(), image);
    EXPECT_EQ(flash.state_hash(), state);
    EXPECT_EQ(flash.reading_hash(), reading);
    EXPECT_EQ(flash.ways_to_read(), 7U);
}

TEST(ForkingFlash, EqualStatesHaveEqualHashesHoweverTheyWereReached) {
    ForkingFlash one(geometry(), {});
    ForkingFlash two(geometry(), {});
    ASSERT_TRUE(one.program(0, value.data()) && one.program(unit_bytes, other.data()));
    ASSERT_TRUE(two.program(unit_bytes, other.data()) && two.program(0, value.data()));
    EXPECT_EQ(one.state_hash(), two.state_hash());
    ASSERT_TRUE(one.erase(0) && two.erase(0));
    EXPECT_EQ(one.state_hash(), two.state_hash());
    ASSERT_TRUE(one.program(0, value.data()) && two.program(unit_bytes, value.data()));
    EXPECT_NE(one.state_hash(), two.state_hash());
}

} // namespace
} // namespace perdure
