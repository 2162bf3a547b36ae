// Logs: order, numbers and depth against a plain std::deque, over random operations (RapidCheck) with clean starts,
// starts after a cut, read-only and lazy ones.
#include <deque>

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "tests/promises/log_area.hpp"

namespace perdure {
namespace {

/// What the log must hold: the numbers, newest last. The ring drops the oldest when it erases a block; how many it
/// drops is not the model's to know, but never more than a block's worth beyond `depth`.
struct Model {
    std::deque<uint32_t> kept;
    uint32_t next = 0;

    void append(uint32_t count) {
        for (uint32_t i = 0; i < count; i++) { kept.push_back(next++); }
    }
    /// The newest that the area holds for sure right after its tail was erased.
    void trim(size_t depth) {
        while (kept.size() > depth) { kept.pop_front(); }
    }
};

/// Samples that stay for sure where nothing but samples is put, in full entries of one sample each: those of the blocks
/// that are neither head nor blank, less half a block where perdure_service erases the tail once the head is half full.
size_t least_depth(const LogAreaShape& shape, bool served) {
    const uint32_t entry = (8 + shape.sample_bytes + shape.check_bits / 8 + shape.unit_bytes - 1) / shape.unit_bytes;
    const uint32_t spare = shape.blocks >= 4 ? 2 : 1;
    const uint32_t overhead = 16 / shape.unit_bytes + 2 + 4; // stamp, value, marks
    const size_t in_block = (shape.block_units - overhead) / entry - 1;
    return size_t{shape.blocks - spare - 1U} * in_block - (served ? in_block / 2 : 0);
}

void expect_log(const LogArea& area, Model& model) {
    const std::vector<uint32_t> read = area.read(0);
    ASSERT_EQ(perdure_log_next(&area.store, LogArea::log), model.next);
    for (size_t i = 1; i < read.size(); i++) { ASSERT_EQ(read[i], read[i - 1] + 1) << "order, no gap"; }
    if (!read.empty()) { ASSERT_EQ(read.back() + 1, model.next); }
    ASSERT_LE(read.size(), model.kept.size());
    if (read.empty()) { return; }
    model.trim(read.size());
    const uint32_t middle = read[read.size() / 2];
    ASSERT_EQ(area.read(middle),
              std::vector<uint32_t>(read.begin() + static_cast<std::ptrdiff_t>(read.size() / 2), read.end()));
    ASSERT_EQ(area.read(middle, 1), std::vector<uint32_t>{middle});
    ASSERT_TRUE(area.read(model.next).empty());
}

RC_GTEST_PROP(Logs, HoldTheirOrderAndDepthAgainstADeque, ()) {
    LogAreaShape shape;
    shape.unit_bytes = *rc::gen::element<uint16_t>(2, 4, 6, 8, 16, 32);
    shape.block_units = static_cast<uint16_t>(*rc::gen::element<uint16_t>(1200, 2048) / shape.unit_bytes * 2);
    shape.blocks = *rc::gen::inRange<uint16_t>(2, 7);
    shape.batch = *rc::gen::element<uint8_t>(1, 2, 4, 15);
    shape.sample_bytes = *rc::gen::element<uint16_t>(1, 2, 6, 9);
    LogArea area(shape);
    RC_ASSERT(area.format() == PERDURE_OK);
    Model model;
    uint32_t value = 0;
    const auto operations = *rc::gen::container<std::vector<uint32_t>>(400, rc::gen::arbitrary<uint32_t>());
    uint32_t done = 0;
    for (const uint32_t drawn : operations) {
        for (uint32_t times = 0; times < 1 + (drawn >> 8 & 0x1F); times++) {
            const auto count = static_cast<uint8_t>(drawn % 5 == 0 ? 1 + (drawn >> 4) % shape.batch : shape.batch);
            RC_ASSERT(area.append(count) == PERDURE_OK);
            model.append(count);
        }
        const uint32_t what = drawn >> 24 & 15;
        if (what < 3) {
            value++;
            RC_ASSERT(perdure_put(&area.store, LogArea::value, &value) == PERDURE_OK);
        } else if (what < 6) {
            while (perdure_service(&area.store)) {}
        } else if (what == 6) {
            RC_ASSERT(area.open() == PERDURE_OK);
        } else if (what == 7) {
            RC_ASSERT(area.open(PERDURE_LAZY) == PERDURE_OK);
        } else if (what == 8) { // a cut between two operations of an append
            area.operations_left = 1 + (drawn >> 16 & 3);
            const uint32_t before = model.next;
            const bool ok = area.append(shape.batch) == PERDURE_OK && area.operations_left != 0;
            area.operations_left = -1;
            RC_ASSERT(area.open() == PERDURE_OK);
            const uint32_t next = perdure_log_next(&area.store, LogArea::log);
            RC_ASSERT(next == before + shape.batch || (!ok && next == before));
            model.append(next - before);
        }
        if (done++ % 37 == 0) { expect_log(area, model); }
    }
    RC_ASSERT(area.open(PERDURE_READ) == PERDURE_READ_ONLY);
    expect_log(area, model);
    uint32_t stored = 0;
    const perdure_status found = perdure_get(&area.store, LogArea::value, &stored);
    RC_ASSERT(found == (value == 0 ? PERDURE_DEFAULT : PERDURE_OK));
    RC_ASSERT(stored == value);
}

RC_GTEST_PROP(Logs, KeepTheirDepth, ()) {
    LogAreaShape shape;
    shape.unit_bytes = *rc::gen::element<uint16_t>(2, 6, 8, 32);
    shape.block_units = static_cast<uint16_t>(*rc::gen::element<uint16_t>(1200, 2048) / shape.unit_bytes * 2);
    shape.blocks = *rc::gen::inRange<uint16_t>(3, 9);
    shape.batch = *rc::gen::element<uint8_t>(1, 4, 15);
    LogArea area(shape);
    RC_ASSERT(area.format() == PERDURE_OK);
    const bool served = *rc::gen::arbitrary<bool>();
    const size_t depth = least_depth(shape, served);
    size_t put = 0;
    for (uint32_t step = 0; step < 3000; step++) {
        RC_ASSERT(area.append(shape.batch) == PERDURE_OK);
        put += shape.batch;
        if (served && step % 3 == 0) { (void)perdure_service(&area.store); }
        if (step % 61 == 0) { RC_ASSERT(area.read(0).size() >= std::min(put, depth)); }
    }
    RC_ASSERT(put > depth); // the ring has turned, or the property says little
}

TEST(Log, PutsAsManyUnitsAsAValueOfTheSameSize) {
    LogAreaShape shape;
    shape.sample_bytes = 4;
    shape.batch = 1;
    shape.blocks = 8;
    LogArea area(shape);
    ASSERT_EQ(area.format(), PERDURE_OK);
    const uint32_t before = area.programs;
    for (uint32_t i = 0; i < 300; i++) { ASSERT_EQ(area.append(1), PERDURE_OK); }
    const uint32_t of_log = area.programs - before;
    ASSERT_EQ(area.format(), PERDURE_OK);
    const uint32_t again = area.programs;
    for (uint32_t i = 0; i < 300; i++) { ASSERT_EQ(perdure_put(&area.store, LogArea::value, &i), PERDURE_OK); }
    EXPECT_LE(of_log, (area.programs - again) * 105 / 100);
}

TEST(Log, RefusesWhatIsNotItsOwn) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    const uint8_t samples[64] = {};
    EXPECT_EQ(perdure_append(&area.store, LogArea::log, samples, 0), PERDURE_CONFIG);
    EXPECT_EQ(perdure_append(&area.store, LogArea::log, samples, 5), PERDURE_CONFIG) << "more than its batch";
    EXPECT_EQ(perdure_append(&area.store, LogArea::value, samples, 1), PERDURE_CONFIG) << "no log";
    EXPECT_EQ(perdure_put(&area.store, LogArea::log, samples), PERDURE_CONFIG);
    EXPECT_EQ(perdure_put_now(&area.store, LogArea::log, samples), PERDURE_CONFIG);
    ASSERT_EQ(area.open(PERDURE_READ), PERDURE_READ_ONLY);
    EXPECT_EQ(perdure_append(&area.store, LogArea::log, samples, 1), PERDURE_READ_ONLY);
    EXPECT_TRUE(area.read(0).empty());
}

TEST(Log, AGapShowsInTheNumbers) {
    LogAreaShape shape;
    shape.batch = 2;
    LogArea area(shape);
    ASSERT_EQ(area.format(), PERDURE_OK);
    for (uint32_t i = 0; i < 10; i++) { ASSERT_EQ(area.append(2), PERDURE_OK); }
    // The third short entry rots: its samples go, and nothing else does.
    for (size_t at = 0; at + 6 < area.flash.size(); at++) {
        if (std::memcmp(area.flash.data() + at, area.sample(6).data(), 6) == 0) {
            area.flash[at] ^= 1;
            break;
        }
    }
    EXPECT_EQ(area.read(0), (std::vector<uint32_t>{0, 1, 2, 3, 4, 5, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19}));
    ASSERT_EQ(area.open(), PERDURE_OK);
    EXPECT_EQ(area.read(5, 2), (std::vector<uint32_t>{5, 8}));
    ASSERT_EQ(area.append(2), PERDURE_OK);
    EXPECT_EQ(area.read(18), (std::vector<uint32_t>{18, 19, 20, 21}));
}

TEST(LazyStart, ProgramsNothingUntilSomethingIsPut) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    ASSERT_EQ(area.append(3), PERDURE_OK);
    uint32_t value = 77;
    ASSERT_EQ(perdure_put(&area.store, LogArea::value, &value), PERDURE_OK);
    const auto before = area.flash;
    for (int i = 0; i < 1000; i++) {
        ASSERT_EQ(area.open(PERDURE_LAZY), PERDURE_OK);
        EXPECT_FALSE(perdure_service(&area.store));
        uint32_t now = 0;
        EXPECT_EQ(perdure_get(&area.store, LogArea::value, &now), PERDURE_OK);
        EXPECT_EQ(now, 77u);
    }
    EXPECT_EQ(area.flash, before);
    EXPECT_EQ(perdure_put_now(&area.store, LogArea::value, &value), PERDURE_READ_ONLY) << "its start is not done yet";
    ASSERT_EQ(area.append(1), PERDURE_OK);
    EXPECT_EQ(area.read(0), (std::vector<uint32_t>{0, 1, 2, 3}));
    EXPECT_EQ(perdure_put_now(&area.store, LogArea::value, &++value), PERDURE_OK);
}

/// perdure_put_now in the middle of whatever comes: in each operation of a long run of appends, puts, services.
TEST(PutNow, MayInterruptAnyOperation) {
    for (const uint16_t blocks : {uint16_t{2}, uint16_t{3}, uint16_t{5}}) {
        uint32_t in_erases = 0;
        for (uint32_t at = 0; at < 700; at++) {
            LogAreaShape shape;
            shape.blocks = blocks;
            shape.block_units = 100;
            LogArea area(shape);
            ASSERT_EQ(area.format(), PERDURE_OK);
            uint32_t left = at;
            bool saved = false;
            uint32_t acknowledged = 0;
            uint32_t value = 0;
            uint32_t last = 0;
            std::function<void(bool)> interrupt = [&](bool erase) {
                if (left-- != 0) {
                    area.in_operation = interrupt;
                    return;
                }
                saved = true;
                in_erases += erase ? 1 : 0;
                last = 0xABCD0000 + at;
                const uint32_t programs = area.programs;
                const uint32_t erases = area.erases;
                ASSERT_EQ(perdure_put_now(&area.store, LogArea::value, &last), PERDURE_OK);
                EXPECT_LE(area.programs - programs, 2u) << "5 + 8 bytes in units of 8";
                EXPECT_EQ(area.erases, erases);
            };
            area.in_operation = interrupt;
            for (uint32_t step = 0; !saved; step++) {
                if (step % 3 == 0) {
                    value++;
                    if (perdure_put(&area.store, LogArea::value, &value) != PERDURE_OK) { break; }
                } else if (step % 7 == 0) {
                    (void)perdure_service(&area.store);
                } else {
                    const uint32_t next = perdure_log_next(&area.store, LogArea::log);
                    if (area.append(static_cast<uint8_t>(1 + step % 4)) != PERDURE_OK) { break; }
                    acknowledged = next + 1 + step % 4;
                }
            }
            ASSERT_TRUE(saved);
            const uint32_t programs = area.programs;
            EXPECT_NE(perdure_put(&area.store, LogArea::value, &value), PERDURE_OK)
                << "closed until it is opened again";
            EXPECT_FALSE(perdure_service(&area.store));
            EXPECT_EQ(area.programs, programs);
            for (int start = 0; start < 3; start++) {
                ASSERT_EQ(area.open(), PERDURE_OK);
                uint32_t now = 0;
                ASSERT_EQ(perdure_get(&area.store, LogArea::value, &now), PERDURE_OK);
                ASSERT_EQ(now, last) << blocks << " blocks, operation " << at;
                ASSERT_GE(perdure_log_next(&area.store, LogArea::log), acknowledged);
                const std::vector<uint32_t> read = area.read(0);
                for (size_t i = 1; i < read.size(); i++) { ASSERT_EQ(read[i], read[i - 1] + 1); }
                ASSERT_EQ(area.append(1), PERDURE_OK);
            }
        }
        EXPECT_GT(in_erases, 3u);
    }
}

} // namespace
} // namespace perdure
