// Sentences of store/format.md that areas left by cuts hardly ever put to the test: entries made by hand, with right
// check codes, read by the reader of dumps and by the store.
#include <algorithm>
#include <optional>

#include <gtest/gtest.h>

#include "dump/decode.hpp"
#include "tests/format/area.hpp"

namespace perdure::format_examples {
namespace {

using Bytes = std::vector<uint8_t>;

/// Two blocks of 40 units of 8 bytes, 16 check bits, and the records of area.hpp.
struct Forged {
    Area area{Shape{}};
    uint32_t block = 0, number = 1, unit = 2;

    explicit Forged(uint32_t first_number = 1, uint32_t second_number = 2) {
        stamp(0, first_number);
        stamp(1, second_number);
    }
    void stamp(uint32_t of_block, uint32_t its_number) {
        Bytes bytes{0x12, 8, 0, 2, 0, 40, 0, static_cast<uint8_t>(its_number), 0, 0, 0, 1, 0, 0};
        const uint32_t code = format_check(16)(0xFFFF0000U, bytes.data(), bytes.size()) >> 16;
        bytes.insert(bytes.end(), {static_cast<uint8_t>(code), static_cast<uint8_t>(code >> 8)});
        std::copy(bytes.begin(), bytes.end(), area.flash.begin() + of_block * 320);
    }
    /// Entries go to this block, which has this number, from its first unit behind the stamp on.
    void go_to(uint32_t to_block, uint32_t its_number) {
        block = to_block;
        number = its_number;
        unit = 2;
    }
    /// Puts an entry, its check code behind it. Returns its unit.
    uint32_t entry(Bytes bytes) {
        const uint8_t prefix[4] = {static_cast<uint8_t>(number), 0, 0, 0};
        uint32_t state = format_check(16)(0xFFFF0000U, prefix, 4);
        state = format_check(16)(state, bytes.data(), bytes.size());
        bytes.insert(bytes.end(), {static_cast<uint8_t>(state >> 16), static_cast<uint8_t>(state >> 24)});
        const uint32_t at = unit;
        std::copy(bytes.begin(), bytes.end(), area.flash.begin() + block * 320 + at * 8);
        unit += static_cast<uint32_t>((bytes.size() + 7) / 8);
        return at;
    }
    /// Record 1.
    uint32_t value(uint8_t low) { return entry({0x81, 4, low, 0, 0, 0}); }
    /// Record 1 in a restart entry that voids from a unit of the same block.
    uint32_t restart(uint32_t from, uint8_t low, bool pending = false) {
        return entry(
            {1, static_cast<uint8_t>(from), 0, 0, static_cast<uint8_t>(pending ? 0x80 : 0), 0x81, 4, low, 0, 0, 0});
    }
    void lone_restart(uint32_t from) { entry({2, static_cast<uint8_t>(from), 0, 0, 0}); }
    void gap() { area.flash[block * 320 + unit++ * 8] = 0x12; }

    Decoded decode_it() { return decode({{2, 40, 8, 16, 0xFF}, area.flash, {}}); }
    /// Both readers give this payload; empty: nothing is stored.
    void expect(uint16_t index, const Bytes& payload) {
        const Decoded decoded = decode_it();
        ASSERT_EQ(decoded.contents, Contents::ring);
        const Bytes* found = decoded.find(area.records[index].id);
        EXPECT_EQ(found == nullptr ? Bytes{} : *found, payload) << "the reader of dumps";
        ASSERT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_READ_ONLY);
        Bytes value(area.records[index].bytes);
        const perdure_status got = perdure_get(&area.store, index, value.data());
        EXPECT_EQ(got == PERDURE_OK ? value : Bytes{}, payload) << "the store, status " << got;
    }
};

TEST(FormatRules, AVoidRestartEntryVoidsNothing) {
    Forged forged;
    const uint32_t first = forged.entry({0x80, 100, 0, 3, 'a', 'b', 'c'});
    forged.value(1);
    const uint32_t void_one = forged.restart(first, 2);
    forged.restart(void_one, 3);
    forged.expect(record_1, {3, 0, 0, 0});
    forged.expect(record_100, {'a', 'b', 'c'});
}

TEST(FormatRules, AStandingRestartEntryVoidsFromItsUnitOnUpToItself) {
    Forged forged;
    forged.value(1);
    const uint32_t from = forged.entry({0x80, 100, 0, 3, 'a', 'b', 'c'});
    forged.value(2);
    forged.lone_restart(from);
    forged.expect(record_1, {1, 0, 0, 0});
    forged.expect(record_100, {});
}

TEST(FormatRules, BehindAGapAnEntryIsBelievedIfAnotherFollows) {
    Forged forged;
    forged.value(1);
    forged.gap();
    forged.value(2);
    forged.expect(record_1, {1, 0, 0, 0});
    forged.entry({0x80, 100, 0, 3, 'a', 'b', 'c'});
    forged.expect(record_1, {2, 0, 0, 0});
    forged.expect(record_100, {'a', 'b', 'c'});
}

TEST(FormatRules, BehindAGapARestartEntryIsNoSuchOther) {
    Forged forged;
    forged.entry({0x80, 100, 0, 3, 'a', 'b', 'c'});
    forged.gap();
    forged.value(2);
    forged.lone_restart(forged.unit); // voids nothing but itself
    forged.expect(record_1, {});
    forged.expect(record_100, {'a', 'b', 'c'});
}

TEST(FormatRules, TheSecondIsReadWithTheFullEntryKnownBeforeTheFirst) {
    const Bytes narrow{0xC2, 6, PERDURE_FIELD(2, 12), PERDURE_FIELD(1, 8), 0, 1, 0, 0, 9, 0};
    const Bytes wide{0xC2, 6, PERDURE_FIELD(2, 16), PERDURE_FIELD(1, 16), 0, 2, 0, 0, 9, 0};
    Forged with_wide_bits;
    with_wide_bits.entry(narrow);
    with_wide_bits.gap();
    with_wide_bits.entry(wide);
    with_wide_bits.entry({0x42, 5, 2, 9, 0}); // four bytes of bits, as the wide one says
    with_wide_bits.expect(record_2, {0, 1, 0, 0, 9, 0});
    Forged with_narrow_bits;
    with_narrow_bits.entry(narrow);
    with_narrow_bits.gap();
    with_narrow_bits.entry(wide);
    with_narrow_bits.entry({0x42, 5, 0x91, 0}); // three, as the narrow one says: so the wide one is believed
    with_narrow_bits.expect(record_2, {0, 2, 0, 0, 9, 0});
}

TEST(FormatRules, ARestartEntryInThePendingBlockEndsThat) {
    Forged forged;
    forged.value(1);
    forged.entry({3, 1, 0}); // block 1 has been emptied
    forged.go_to(1, 2);
    const uint32_t at = forged.unit;
    forged.restart(at, 2, true);
    EXPECT_EQ(forged.decode_it().pending, std::nullopt);
    forged.expect(record_1, {2, 0, 0, 0});
}

TEST(FormatRules, NothingIsDecidedFromABlockWhoseEraseMayHaveBegun) {
    Forged forged;
    forged.entry({0x80, 100, 0, 3, 'a', 'b', 'c'});
    forged.go_to(1, 2);
    const uint32_t from = forged.value(1);
    forged.entry({3, 1, 0}); // block 0 has been emptied
    EXPECT_EQ(forged.decode_it().pending, 0U);
    forged.expect(record_100, {});
    forged.restart(from, 1, true);
    EXPECT_EQ(forged.decode_it().pending, 0U);
    forged.expect(record_100, {});
    forged.restart(from, 1, false);
    EXPECT_EQ(forged.decode_it().pending, std::nullopt);
    forged.expect(record_100, {'a', 'b', 'c'});
}

TEST(FormatRules, ABlockWithoutAStampIsReadAndOneWithAnotherNumberIsNot) {
    Forged forged(3, 2);
    forged.go_to(1, 2);
    forged.value(1);
    forged.go_to(0, 3);
    forged.entry({0x80, 100, 0, 3, 'a', 'b', 'c'});
    forged.expect(record_1, {1, 0, 0, 0});
    forged.area.flash[320 + 14] ^= 1; // the stamp's code
    forged.expect(record_1, {1, 0, 0, 0});
    forged.stamp(1, 4);
    forged.expect(record_1, {});
    EXPECT_EQ(forged.decode_it().blanks, 1U);
}

} // namespace
} // namespace perdure::format_examples
