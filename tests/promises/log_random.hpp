// A log against a plain std::deque: order, numbers and depth over random operations (RapidCheck) with clean starts,
// starts after a cut, read-only and lazy ones.
#pragma once

#include <deque>

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "tests/promises/log_area.hpp"

namespace perdure::log_random {

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

inline void expect_log(const LogArea& area, Model& model) {
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

/// One area of a drawn shape, and `steps` drawn steps; each appends 1 to 32 entries and does one other thing. The
/// appends are counted in `appended`.
inline void holds_a_deque(size_t steps, uint64_t& appended) {
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
    const auto operations = *rc::gen::container<std::vector<uint32_t>>(steps, rc::gen::arbitrary<uint32_t>());
    uint32_t done = 0;
    for (const uint32_t drawn : operations) {
        for (uint32_t times = 0; times < 1 + (drawn >> 8 & 0x1F); times++) {
            const auto count = static_cast<uint8_t>(drawn % 5 == 0 ? 1 + (drawn >> 4) % shape.batch : shape.batch);
            RC_ASSERT(area.append(count) == PERDURE_OK);
            model.append(count);
            appended++;
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

} // namespace perdure::log_random
