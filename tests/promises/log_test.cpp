// Logs, saves when the supply fails and lazy starts, where nothing is left to chance: log_random_test.cpp has the rest.
#include <algorithm>

#include <gtest/gtest.h>

#include "tests/format/area.hpp"
#include "tests/promises/log_area.hpp"

namespace perdure {
namespace {

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

/// Numbers `from` to `to`, without the last.
std::vector<uint32_t> numbers(uint32_t from, uint32_t to) {
    std::vector<uint32_t> all;
    for (; from < to; from++) { all.push_back(from); }
    return all;
}

TEST(Log, AnEntryThatNothingWritesIsNone) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    ASSERT_EQ(area.append(2), PERDURE_OK);
    const std::vector<std::vector<uint8_t>> made_up = {
        {0x04, 0xC2, 0x06, 0x8C, 0x48, 1, 2, 3}, // a log's tag before a total
        {0x04, 0x82, 0x04, 1, 0, 0, 0, 0},       // too short for count and number
    };
    for (const std::vector<uint8_t>& bytes : made_up) {
        std::memcpy(area.flash.data() + (size_t{area.store.head} * 64 + area.store.unit) * 8, bytes.data(), 8);
        ASSERT_EQ(area.open(PERDURE_READ), PERDURE_READ_ONLY);
        EXPECT_EQ(area.read(0), numbers(0, 2));
        ASSERT_EQ(area.open(), PERDURE_OK);
        EXPECT_EQ(area.read(0), numbers(0, 2));
    }
}

TEST(Log, LongEntriesOfManySamples) {
    LogAreaShape shape;
    shape.batch = 40;
    shape.block_units = 400;
    LogArea area(shape);
    ASSERT_EQ(area.format(), PERDURE_OK);
    ASSERT_EQ(area.append(40), PERDURE_OK);
    ASSERT_EQ(area.append(40), PERDURE_OK);
    ASSERT_EQ(area.append(21), PERDURE_OK);
    ASSERT_EQ(area.open(), PERDURE_OK);
    EXPECT_EQ(area.read(0), numbers(0, 101));
}

TEST(Log, AFullEntryFollows255ShortOnes) {
    LogAreaShape shape;
    shape.batch = 1;
    shape.block_units = 600;
    LogArea area(shape);
    ASSERT_EQ(area.format(), PERDURE_OK);
    for (uint32_t i = 0; i < 260; i++) { ASSERT_EQ(area.append(1), PERDURE_OK); }
    EXPECT_EQ(area.read(0), numbers(0, 260));
    ASSERT_EQ(area.open(), PERDURE_OK);
    EXPECT_EQ(area.read(0), numbers(0, 260));
    EXPECT_EQ(perdure_log_next(&area.store, LogArea::log), 260U);
}

/// Promise 10 for each kind of log entry: what could not be programmed goes elsewhere.
TEST(Log, AnyProgramMayFail) {
    for (int64_t left = 0; left < 40; left++) {
        LogAreaShape shape;
        shape.blocks = 5;
        LogArea area(shape);
        ASSERT_EQ(area.format(), PERDURE_OK);
        ASSERT_EQ(area.append(2), PERDURE_OK);
        uint32_t next = 2;
        area.programs_left = left;
        perdure_status status = PERDURE_OK;
        for (int i = 0; status == PERDURE_OK && i < 40; i++) {
            const auto count = static_cast<uint8_t>(i % 5 == 4 ? 1 : 2);
            status = area.append(count);
            next += status == PERDURE_OK ? count : 0;
        }
        EXPECT_NE(status, PERDURE_OK) << "in the end every program fails";
        area.programs_left = -1;
        const std::vector<uint32_t> read = area.read(0);
        ASSERT_EQ(read, numbers(read.empty() ? next : read[0], next)) << left;
        ASSERT_EQ(area.open(), PERDURE_OK);
        EXPECT_EQ(perdure_log_next(&area.store, LogArea::log), next) << left;
    }
}

TEST(Log, WhatWasAValueOrAnotherLogIsNotThisLog) {
    LogArea area({});
    area.records[LogArea::log].batch = 0;
    ASSERT_EQ(area.format(), PERDURE_OK);
    ASSERT_EQ(perdure_put(&area.store, LogArea::log, area.sample(7).data()), PERDURE_OK);
    area.records[LogArea::log].batch = area.shape.batch;
    ASSERT_EQ(area.open(PERDURE_READ), PERDURE_READ_ONLY);
    EXPECT_TRUE(area.read(0).empty());
    ASSERT_EQ(area.open(), PERDURE_OK);
    EXPECT_TRUE(area.read(0).empty());
    ASSERT_EQ(area.append(3), PERDURE_OK);
    EXPECT_EQ(area.read(0), numbers(0, 3));
    area.records[LogArea::log].id = 3;
    ASSERT_EQ(area.open(PERDURE_READ), PERDURE_READ_ONLY);
    EXPECT_TRUE(area.read(0).empty());
    EXPECT_TRUE(area.read(1).empty());
    LogArea other({}); // nothing before it in its block but format's mark
    ASSERT_EQ(other.format(), PERDURE_OK);
    ASSERT_EQ(other.append(3), PERDURE_OK);
    other.records[LogArea::log].id = 3;
    ASSERT_EQ(other.open(PERDURE_READ), PERDURE_READ_ONLY);
    EXPECT_TRUE(other.read(1).empty());
}

TEST(Log, AnyReadOfAReaderMayFault) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    for (int i = 0; i < 9; i++) { ASSERT_EQ(area.append(static_cast<uint8_t>(1 + i % 3)), PERDURE_OK); }
    bool all_read = false;
    size_t least = 18;
    for (int64_t read = 0; !all_read; read++) {
        area.reads_left = read;
        const std::vector<uint32_t> seen = area.read(0);
        all_read = area.reads_left > 0;
        area.reads_left = -1;
        least = std::min(least, seen.size());
        for (size_t i = 0; i < seen.size(); i++) {
            ASSERT_LT(seen[i], 18U) << "a sample reads right or not at all";
            if (i > 0) { ASSERT_GT(seen[i], seen[i - 1]); }
        }
    }
    EXPECT_LT(least, 18U);
    EXPECT_EQ(area.read(0), numbers(0, 18));
}

TEST(Log, ValuesAtTheBeginningOfABlockDoNotHideIt) {
    LogAreaShape shape;
    shape.blocks = 5;
    LogArea area(shape);
    ASSERT_EQ(area.format(), PERDURE_OK);
    for (uint32_t i = 0; i < 60; i++) {
        ASSERT_EQ(area.append(2), PERDURE_OK);
        const uint16_t head = area.store.head;
        uint32_t more = 6; // when a value has opened a block
        for (uint32_t j = 0; j < 6 || (area.store.head != head && more-- != 0); j++) {
            ASSERT_EQ(perdure_put(&area.store, LogArea::value, &j), PERDURE_OK);
        }
    }
    const std::vector<uint32_t> all = area.read(0);
    ASSERT_GT(all.size(), 20U);
    for (const uint32_t from : all) {
        EXPECT_EQ(area.read(from), numbers(from, 120));
        EXPECT_EQ(area.read(from, 1), numbers(from, from + 1)) << "the reader stops blocks before the head";
    }
}

/// A cut between a mark and the erase that it announces: the block's samples are dropped, whoever reads.
TEST(Log, SamplesInABlockWhoseEraseMayHaveBegunAreGone) {
    uint32_t pending = 0;
    for (int64_t cut = 0; cut < 60; cut++) {
        LogAreaShape shape;
        shape.blocks = 3;
        LogArea area(shape);
        ASSERT_EQ(area.format(), PERDURE_OK);
        uint32_t next = 0;
        while (area.store.sequence < 3) {
            ASSERT_EQ(area.append(2), PERDURE_OK);
            next += 2;
        }
        area.operations_left = 1 + cut;
        while (area.append(2) == PERDURE_OK) { next += 2; }
        area.operations_left = -1;
        ASSERT_EQ(area.open(PERDURE_READ), PERDURE_READ_ONLY);
        const std::vector<uint32_t> read = area.read(0);
        ASSERT_FALSE(read.empty());
        EXPECT_GE(read.back() + 1, next);
        pending += area.store.pending != 0xFFFF ? 1 : 0;
        ASSERT_EQ(area.open(), PERDURE_OK);
        const std::vector<uint32_t> later = area.read(0);
        ASSERT_FALSE(later.empty());
        EXPECT_EQ(later, std::vector<uint32_t>(read.end() - static_cast<std::ptrdiff_t>(later.size()), read.end()));
    }
    EXPECT_GT(pending, 0U);
}

TEST(Log, IsEmptyWhereNothingIsOpen) {
    LogArea area({});
    EXPECT_EQ(area.open(), PERDURE_BLANK);
    EXPECT_TRUE(area.read(0).empty());
    area.flash[0] = 1;
    EXPECT_EQ(area.open(), PERDURE_FOREIGN);
    EXPECT_TRUE(area.read(0).empty());
    area.config.block_units = 20;
    EXPECT_EQ(area.open(), PERDURE_CONFIG);
    EXPECT_TRUE(area.read(0).empty());
}

TEST(LazyStart, APutIsRefusedWhereTheStartCannotBeDone) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    ASSERT_EQ(area.append(2), PERDURE_OK);
    ASSERT_EQ(area.open(PERDURE_LAZY), PERDURE_OK);
    const std::vector<uint8_t> before = area.flash;
    area.programs_left = 0;
    area.operations_left = 1; // nor is anything erased
    EXPECT_EQ(area.append(1), PERDURE_READ_ONLY);
    area.operations_left = -1;
    area.programs_left = -1;
    EXPECT_EQ(area.flash, before);
    ASSERT_EQ(area.open(), PERDURE_OK);
    EXPECT_EQ(area.read(0), numbers(0, 2));
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

/// The same in any read: also where nothing of the call has been programmed yet.
TEST(PutNow, MayInterruptAnyRead) {
    bool all_read = false;
    for (uint32_t at = 0; !all_read; at++) {
        LogAreaShape shape;
        shape.blocks = 3;
        LogArea area(shape);
        ASSERT_EQ(area.format(), PERDURE_OK);
        uint32_t left = at;
        bool saved = false;
        uint32_t last = 0xABCD0000 + at;
        const uint32_t first = 5;
        ASSERT_EQ(perdure_put(&area.store, LogArea::value, &first), PERDURE_OK);
        area.in_read = [&] {
            if (saved || left-- != 0) { return; }
            saved = true;
            ASSERT_EQ(perdure_put_now(&area.store, LogArea::value, &last), PERDURE_OK);
        };
        uint32_t next = 0;
        for (uint32_t step = 0; !saved && step < 60; step++) {
            const auto count = static_cast<uint8_t>(1 + step % 4);
            const perdure_status status = area.append(count);
            EXPECT_EQ(status == PERDURE_OK, !saved) << at;
            next += saved ? 0 : count;
        }
        area.in_read = nullptr;
        all_read = !saved;
        ASSERT_EQ(area.open(), PERDURE_OK);
        uint32_t now = 0;
        ASSERT_EQ(perdure_get(&area.store, LogArea::value, &now), PERDURE_OK);
        EXPECT_EQ(now, saved ? last : first) << at;
        EXPECT_EQ(perdure_log_next(&area.store, LogArea::log), next) << at;
    }
}

/// The save takes the unit buffer that the interrupted call reads its unit back against. Here it ends with the very
/// bytes of that unit, a sample: the append must not be taken for complete.
TEST(PutNow, InterruptsAnAppendWhoseUnitEqualsItsOwnLastOne) {
    std::vector<uint8_t> sample(8);
    std::vector<uint8_t> last_unit(8);
    for (const bool equal : {false, true}) {
        LogAreaShape shape;
        shape.sample_bytes = 8;
        shape.batch = 1;
        LogArea area(shape);
        ASSERT_EQ(area.format(), PERDURE_OK);
        const uint32_t programs = area.programs;
        const uint32_t value = 77;
        bool saved = false;
        area.in_read = [&] {
            if (saved || area.programs != programs + 2) { return; } // count and number; then the sample's unit
            saved = true;
            EXPECT_EQ(perdure_put_now(&area.store, LogArea::value, &value), PERDURE_OK);
            const size_t at = (size_t{area.store.head} * shape.block_units + area.store.unit - 1U) * 8;
            std::copy_n(area.flash.begin() + static_cast<std::ptrdiff_t>(at), 8, last_unit.begin());
        };
        EXPECT_NE(perdure_append(&area.store, LogArea::log, sample.data(), 1), PERDURE_OK);
        area.in_read = nullptr;
        ASSERT_TRUE(saved);
        EXPECT_EQ(sample == last_unit, equal);
        ASSERT_EQ(area.open(), PERDURE_OK);
        EXPECT_EQ(perdure_log_next(&area.store, LogArea::log), 0U);
        sample = last_unit;
    }
}

TEST(PutNow, SaysWhereTheFlashTakesNothing) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    uint32_t value = 5;
    ASSERT_EQ(perdure_put(&area.store, LogArea::value, &value), PERDURE_OK);
    area.programs_left = 0;
    value = 6;
    EXPECT_EQ(perdure_put_now(&area.store, LogArea::value, &value), PERDURE_FAULT);
    area.programs_left = -1;
    ASSERT_EQ(area.open(), PERDURE_OK);
    ASSERT_EQ(perdure_get(&area.store, LogArea::value, &value), PERDURE_OK);
    EXPECT_EQ(value, 5U);
}

TEST(PutNow, StoresATotal) {
    format_examples::Area area({2, 60, 8, 16, 0xFF});
    area.config.urgent = 1 + format_examples::record_2;
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    const auto totals = format_examples::totals_of(4000, 250);
    EXPECT_EQ(perdure_put_now(&area.store, format_examples::record_2, totals.bytes), PERDURE_OK);
    for (const bool opened : {false, true}) {
        if (opened) { ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK); }
        uint8_t now[6] = {};
        EXPECT_EQ(perdure_get(&area.store, format_examples::record_2, now), PERDURE_OK);
        EXPECT_EQ(std::memcmp(now, totals.bytes, 6), 0);
    }
}

// A newer firmware's samples have a field more. A short entry of its own must not rest on a full one of shorter
// samples, which a start has put again.
TEST(Log, LongerSamplesFollowShorterOnes) {
    LogArea area({});
    ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
    for (int i = 0; i < 3; i++) { ASSERT_EQ(area.append(1), PERDURE_OK); }
    for (const uint8_t bytes : {uint8_t{8}, uint8_t{6}, uint8_t{8}}) {
        area.shape.sample_bytes = bytes;
        area.records[LogArea::log].bytes = bytes;
        ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
        const uint32_t from = perdure_log_next(&area.store, LogArea::log);
        for (int i = 0; i < 3; i++) { ASSERT_EQ(area.append(1), PERDURE_OK); }
        EXPECT_EQ(area.read(from), (std::vector<uint32_t>{from, from + 1, from + 2})) << int{bytes};
        ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
        EXPECT_EQ(area.read(from), (std::vector<uint32_t>{from, from + 1, from + 2})) << int{bytes};
    }
}

} // namespace
} // namespace perdure
