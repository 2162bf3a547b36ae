// The reader of dumps beside the store, on areas left by cuts on the worst flash (tests/adversary): units that fault,
// blocks that fail, every check width, under the document's codes and under others in the port.
#pragma once

#include <algorithm>
#include <utility>

#include <gtest/gtest.h>

#include "dump/decode.hpp"
#include "tests/adversary/check_code.hpp"
#include "tests/adversary/drawn_case.hpp"

namespace perdure::adversary::decoding {
using Bytes = std::vector<uint8_t>;

template <unsigned Bits, unsigned Code> uint32_t carry(uint32_t state, const uint8_t* from, size_t bytes) {
    return check_over(check_table(Bits, Code), state, from, static_cast<uint32_t>(bytes));
}

/// The port's code number 1, as the reader takes it.
inline CheckFunction other_code(uint32_t check_bits) {
    constexpr CheckFunction codes[] = {carry<8, 1>, carry<16, 1>, carry<24, 1>, carry<32, 1>};
    return codes[check_bits / 8 - 1];
}

struct Seen {
    int areas = 0;
    int faulting = 0;     ///< areas in which some unit faults
    int faulting_met = 0; ///< of them, those that read otherwise if nothing faulted
    int set_aside = 0;    ///< areas with a block that is used no more
    int list_lost = 0;    ///< areas in which the list of those blocks cannot be read
    int flipped = 0;      ///< areas in which bits were turned round
    uint32_t voided = 0, doubted = 0, pending = 0;
};

/// Calls into the store with the power on; false if it went. Nothing between here and the flash has a destructor.
template <typename Call> [[gnu::noinline]] bool with_power(WorstFlash& flash, const Call& call) {
    if (setjmp(flash.power) != 0) { return false; }
    call();
    return true;
}

struct Play {
    Random random;
    DrawnCase drawn;
    unsigned code;
    WorstFlash flash;
    CaseMemory memory;
    perdure_store store{};
    bool flips = false; ///< bits are turned round as well
    Decoder decoder;
    Decoded decoded, without_faults;

    Play(Family family, uint64_t number)
        : random(Random::of_run(number)), drawn(draw_case(family, random)), code(drawn.fast_check ? number % 2 : 0),
          memory(drawn, &flash, code) {
        flash.shape(drawn.unit_bytes, drawn.block_units, drawn.blocks, drawn.blank);
        flash.random = Random::of_run(number ^ 0x5DEECE66Du);
        flash.ecc = drawn.ecc;
        flash.rubbish = family != Family::narrow_8 && family != Family::narrow_16;
        flash.pad_over = static_cast<PadOver>(random.below(3));
    }

    void compare(Seen& seen) {
        AreaView view{{drawn.blocks, drawn.block_units, drawn.unit_bytes, drawn.check_bits, drawn.blank},
                      flash.now,
                      flash.faulting,
                      code == 0 ? nullptr : other_code(drawn.check_bits)};
        decoder.decode(view, decoded);
        flash.never_change = true;
        perdure_store reader;
        perdure_status found = PERDURE_FAULT;
        ASSERT_TRUE(with_power(flash, [&] { found = perdure_open(&reader, &memory.config, true); })) << flash.breach;
        flash.never_change = false;
        seen.areas++;
        if (found != PERDURE_READ_ONLY) {
            ASSERT_EQ(decoded.contents, found == PERDURE_BLANK ? Contents::nothing : Contents::foreign);
            return;
        }
        ASSERT_EQ(decoded.contents, Contents::ring);
        EXPECT_EQ(decoded.sequence, reader.sequence);
        EXPECT_EQ(decoded.head, reader.head);
        // Where the newest list of blocks set aside cannot be read and the one before lies in a pending block, the
        // reader takes it as never stored; the store has seen it, steps over its blocks all the same, and counts the
        // blanks behind them.
        const uint8_t* flags = memory.config.block_flags;
        const bool list_lost = decoded.find(0xFFFF) == nullptr &&
                               std::any_of(flags, flags + drawn.blocks, [](uint8_t flag) { return flag != 0; });
        seen.list_lost += list_lost ? 1 : 0;
        if (!list_lost) { EXPECT_EQ(decoded.blanks, reader.blanks); }
        EXPECT_EQ(decoded.pending.value_or(0xFFFF), reader.pending);
        for (uint16_t index = 0; index < drawn.records.size(); index++) {
            Bytes value(drawn.records[index].bytes);
            const perdure_status got = perdure_get(&reader, index, value.data());
            const Bytes* payload = decoded.find(drawn.records[index].id);
            ASSERT_EQ(payload != nullptr, got == PERDURE_OK) << "record " << index << " gives status " << got;
            if (payload != nullptr) { EXPECT_EQ(*payload, value) << "record " << index; }
        }
        note(seen, view);
    }
    /// Some good units begin to fault, mostly a little before the newest entry; then they are good again.
    void compare_with_faults(Seen& seen) {
        const Bytes faulting = flash.faulting;
        const uint32_t faults = flash.faulting_count;
        const auto units = static_cast<uint32_t>(faulting.size());
        const uint32_t newest = store.head * drawn.block_units + store.unit;
        for (uint32_t more = 1 + random.below(3); more != 0; more--) {
            const uint32_t unit = random.one_in(4) ? random.below(units) : newest - std::min(newest, random.below(12));
            if (unit >= units || flash.faulting[unit] != 0) { continue; }
            flash.faulting[unit] = 1;
            flash.faulting_count++;
        }
        compare(seen);
        flash.faulting = faulting;
        flash.faulting_count = faults;
    }
    /// Some bits turn round, as at rest, mostly a little before the newest entry; then they are right again. Where the
    /// check code is wide enough for a turned bit not to pass it by chance in any run.
    void compare_with_flips(Seen& seen) {
        if (drawn.check_bits < 24) { return; }
        const Bytes now = flash.now;
        const auto units = static_cast<uint32_t>(flash.faulting.size());
        const uint32_t newest = store.head * drawn.block_units + store.unit;
        for (uint32_t more = 1 + random.below(3); more != 0; more--) {
            const uint32_t unit = random.one_in(4) ? random.below(units) : newest - std::min(newest, random.below(12));
            if (unit >= units) { continue; }
            flash.now[size_t{unit} * drawn.unit_bytes + random.below(drawn.unit_bytes)] ^=
                static_cast<uint8_t>(1U << random.below(8));
        }
        seen.flipped++;
        compare(seen);
        flash.now = now;
    }
    void note(Seen& seen, AreaView view) {
        seen.voided += decoded.voided;
        seen.doubted += static_cast<uint32_t>(decoded.doubted.size());
        seen.pending += decoded.pending ? 1U : 0U;
        for (uint32_t block = 0; block < drawn.blocks; block++) { seen.set_aside += decoded.set_aside(block) ? 1 : 0; }
        if (flash.faulting_count != 0) {
            seen.faulting++;
            view.faulting = {};
            decoder.decode(view, without_faults);
            seen.faulting_met += without_faults.entries.size() != decoded.entries.size() ? 1 : 0;
        }
    }

    Bytes next_value(uint16_t index) {
        const DrawnRecord& record = drawn.records[index];
        Bytes value(record.bytes);
        if (record.fields.empty()) {
            for (uint8_t& byte : value) { byte = static_cast<uint8_t>(random.next()); }
            return value;
        }
        (void)perdure_get(&store, index, value.data());
        size_t at = 0;
        for (const uint8_t field : record.fields) { // each grows by less than 200, or stays where that would carry over
            const uint32_t step = random.below(200);
            if (value[at] + step < 256) {
                value[at] = static_cast<uint8_t>(value[at] + step);
            } else if ((field >> 6) != 0 && value[at + 1] != 0xFF) {
                value[at + 1]++;
            }
            at += size_t{1} << (field >> 6);
        }
        return value;
    }
    /// Puts and idle work until the power goes.
    void run_until_cut() {
        flash.cut_in = 1 + random.below(random.one_in(3) ? 4 : 40);
        for (int i = 0; i < 60; i++) {
            const auto index = static_cast<uint16_t>(random.below(static_cast<uint32_t>(drawn.records.size())));
            const Bytes value = next_value(index);
            if (!with_power(flash, [&] { (void)perdure_put(&store, index, value.data()); })) { return; }
            if (random.one_in(2) && !with_power(flash, [&] { (void)perdure_service(&store); })) { return; }
        }
    }
    void play(Seen& seen) {
        ASSERT_TRUE(with_power(flash, [&] { (void)perdure_format(&store, &memory.config); }));
        for (int start = 0; start < 20 && !testing::Test::HasFailure(); start++) {
            if (start == 5 && drawn.family == Family::failing) {
                flash.failing_block = random.below(drawn.blocks);
                flash.failing_program = flash.failing_erase = true;
            }
            run_until_cut();
            const uint32_t cuts = random.below(drawn.blocks <= 3 ? 2 : 3); // in the starts that follow
            for (uint32_t cut = 0;; cut++) {
                flash.restart();
                compare(seen);
                if (random.one_in(2)) { compare_with_faults(seen); }
                if (flips) { compare_with_flips(seen); }
                flash.cut_in = cut < cuts ? static_cast<int64_t>(random.below(12)) : -1;
                perdure_status status = PERDURE_FAULT;
                if (with_power(flash, [&] { status = perdure_open(&store, &memory.config, false); })) {
                    ASSERT_EQ(status, PERDURE_OK);
                    break;
                }
                ASSERT_EQ(flash.breach, "");
            }
            flash.cut_in = -1;
        }
    }
};

} // namespace perdure::adversary::decoding
