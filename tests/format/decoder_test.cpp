// The reader written from store/format.md (src/dump) and the store agree on what an area holds, over thousands of
// areas left by cuts, torn units, half-done erases and changed bytes. Every area is drawn from its number alone, so a
// failure can be run again.
#include <algorithm>
#include <map>
#include <random>
#include <string>

#include <gtest/gtest.h>

#include "dump/decode.hpp"
#include "tests/format/area.hpp"

namespace perdure::format_examples {
namespace {

using Bytes = std::vector<uint8_t>;

/// A flash that a cut leaves in some torn state, drawn at random. What it leaves it keeps: weak units are
/// tests/adversary's matter.
struct TearingFlash {
    const Shape& shape;
    std::mt19937 generator;
    Bytes bytes;
    std::map<uint32_t, Bytes> weak = {}; ///< by address, what the cut unit was to hold, or what its erase was to remove
    int operations_left = -1;            ///< below 0: the power stays

    /// False when there is no power; `cut` when it goes during this operation.
    bool begin(bool& cut) {
        cut = operations_left == 1;
        operations_left -= operations_left > 0 ? 1 : 0;
        return cut || operations_left != 0;
    }
    static bool read(void* context, uint32_t address, void* to, uint32_t count) {
        std::memcpy(to, static_cast<TearingFlash*>(context)->bytes.data() + address, count);
        return true;
    }
    uint32_t draw() { return static_cast<uint32_t>(generator()); }

    /// Nothing of `wanted`, all of it, or some of its bits.
    void draw_unit(uint32_t address, const Bytes& wanted, uint32_t outcome) {
        for (uint32_t i = 0; i < shape.unit_bytes; i++) {
            const auto kept = static_cast<uint8_t>(outcome == 0 ? 0 : outcome == 1 ? 0xFF : draw());
            bytes[address + i] = static_cast<uint8_t>(shape.blank ^ ((shape.blank ^ wanted[i]) & kept));
        }
    }
    void draw_weak() {
        const uint32_t mode = draw() % 4; // all alike, or each its own
        for (const auto& [address, wanted] : weak) { draw_unit(address, wanted, mode < 3 ? mode : draw() % 3); }
    }
    static bool program(void* context, uint32_t address, const void* unit) {
        auto& flash = *static_cast<TearingFlash*>(context);
        const auto* first = static_cast<const uint8_t*>(unit);
        const Bytes wanted(first, first + flash.shape.unit_bytes);
        bool cut = false;
        if (!flash.begin(cut)) { return false; }
        flash.weak.erase(address);
        if (cut) { flash.weak[address] = wanted; }
        flash.draw_unit(address, wanted, 1);
        return !cut;
    }
    static bool erase(void* context, uint32_t block) {
        auto& flash = *static_cast<TearingFlash*>(context);
        const uint32_t unit_bytes = flash.shape.unit_bytes;
        const uint32_t begin = block * flash.shape.block_units * unit_bytes;
        bool cut = false;
        if (!flash.begin(cut)) { return false; }
        for (uint32_t at = begin; at < begin + flash.shape.block_units * unit_bytes; at += unit_bytes) {
            const auto old = flash.bytes.begin() + at;
            flash.weak.erase(at);
            if (cut) { flash.weak[at] = Bytes(old, old + unit_bytes); }
            flash.draw_unit(at, Bytes(unit_bytes, flash.shape.blank), 1);
        }
        return !cut;
    }
};

struct Seen {
    int areas = 0;
    uint32_t voided = 0;
    uint32_t doubted = 0;
    uint32_t pending = 0;
};

/// Opens the area without writing, decodes it, and compares. Changes nothing in flash.
void compare(Area& area, const TearingFlash& flash, Seen& seen) {
    const Shape& shape = area.shape;
    const perdure_status found = perdure_open(&area.store, &area.config, true);
    const Decoded decoded =
        decode({{shape.blocks, shape.block_units, shape.unit_bytes, shape.check_bits, shape.blank}, flash.bytes, {}});
    seen.areas++;
    if (found != PERDURE_READ_ONLY) {
        EXPECT_EQ(decoded.contents, found == PERDURE_BLANK ? Contents::nothing : Contents::foreign);
        return;
    }
    ASSERT_EQ(decoded.contents, Contents::ring);
    EXPECT_EQ(decoded.sequence, area.store.sequence);
    EXPECT_EQ(decoded.blanks, area.store.blanks);
    seen.voided += decoded.voided;
    seen.doubted += static_cast<uint32_t>(decoded.doubted.size());
    seen.pending += decoded.pending ? 1U : 0U;
    for (uint16_t index = 0; index < 3; index++) {
        Bytes payload(area.records[index].bytes);
        const perdure_status got = perdure_get(&area.store, index, payload.data());
        const std::vector<uint8_t>* record = decoded.find(area.records[index].id);
        ASSERT_NE(got, PERDURE_FAULT);
        ASSERT_EQ(record != nullptr, got == PERDURE_OK) << "record " << area.records[index].id;
        if (got == PERDURE_OK) { EXPECT_EQ(*record, payload) << "record " << area.records[index].id; }
    }
}

void run_until_cut(Area& area, TearingFlash& flash) {
    for (int i = 0; i < 300 && flash.operations_left != 0 && area.store.state == PERDURE_OK; i++) {
        const auto index = static_cast<uint16_t>(flash.draw() % 3);
        uint32_t number = flash.draw();
        if (index == record_2) {
            Totals now{};
            perdure_get(&area.store, record_2, now.bytes);
            uint32_t first = 0;
            std::memcpy(&first, now.bytes, 4);
            const auto second = static_cast<uint16_t>(now.bytes[4] | now.bytes[5] << 8);
            now = totals_of(first + number % (number % 7 == 0 ? 100000 : 1300),
                            static_cast<uint16_t>(second + number % 80));
            perdure_put(&area.store, record_2, now.bytes);
        } else {
            perdure_put(&area.store, index, &number);
        }
        if (number % 2 == 0) { perdure_service(&area.store); }
    }
}

void try_area(uint32_t number, Seen& seen) {
    std::mt19937 draw(number);
    const uint16_t unit_bytes[] = {1, 2, 3, 4, 6, 8, 16, 32};
    Shape shape;
    shape.unit_bytes = unit_bytes[draw() % 8];
    shape.blocks = static_cast<uint16_t>(2 + draw() % 5);
    shape.check_bits = draw() % 2 == 0 ? 24 : 32; // torn units do not match these by chance, within this number of them
    shape.blank = draw() % 2 == 0 ? 0xFF : 0x00;
    for (shape.block_units = 12;; shape.block_units++) {
        Area small(shape);
        if (perdure_open(&small.store, &small.config, false) != PERDURE_CONFIG) { break; }
    }
    shape.block_units = static_cast<uint16_t>(shape.block_units + draw() % 30);
    Area area(shape);
    TearingFlash flash{area.shape, draw, area.flash};
    area.port = {TearingFlash::read, TearingFlash::program, TearingFlash::erase, nullptr, &flash};
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    for (int start = 0; start < 10; start++) {
        flash.operations_left = static_cast<int>(1 + flash.draw() % (flash.draw() % 3 != 0 ? 20 : 200));
        run_until_cut(area, flash);
        for (int nested = 0; nested < 3; nested++) {
            flash.draw_weak();
            if (number % 4 == 0 && flash.draw() % 2 == 0) { // a changed byte, mostly a little before the newest entry
                const uint32_t last =
                    (area.store.head * uint32_t{shape.block_units} + area.store.unit) * shape.unit_bytes;
                const uint32_t back = 1 + flash.draw() % (4 * shape.unit_bytes + 12);
                flash.bytes[last - std::min(back, last)] ^= static_cast<uint8_t>(flash.draw());
            }
            compare(area, flash, seen);
            flash.operations_left = static_cast<int>(1 + flash.draw() % 25);
            perdure_open(&area.store, &area.config, false);
        }
        flash.draw_weak();
        flash.operations_left = -1;
        if (perdure_open(&area.store, &area.config, false) != PERDURE_OK) {
            return;
        } // changed bytes can bring it there
    }
}

TEST(FormatDocument, AReaderWrittenFromItAgreesWithTheStore) {
    Seen seen;
    for (uint32_t number = 1; number <= 400 && !HasFailure(); number++) {
        SCOPED_TRACE("area " + std::to_string(number));
        try_area(number, seen);
    }
    EXPECT_GT(seen.areas, 5000);
    EXPECT_GT(seen.voided, 1000U);
    EXPECT_GT(seen.doubted, 30U);
    EXPECT_GT(seen.pending, 100U);
}

} // namespace
} // namespace perdure::format_examples
