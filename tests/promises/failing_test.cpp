// Promises 1, 2, 9, 10 and 11 of store/README.md where one read, program, erase or start fails: each one in turn. The
// flash of tests/adversary tears what a cut hits; here what fails leaves its unit as it was, so that each place in the
// store is met without chance.
#include <algorithm>
#include <set>

#include <gtest/gtest.h>

#include "tests/format/area.hpp"

namespace perdure {
namespace {

using format_examples::Area;
using format_examples::record_1;
using format_examples::record_100;
using format_examples::record_2;
using format_examples::Shape;
using format_examples::totals_of;

using Bytes = std::vector<uint8_t>;

/// Puts records in turn, and knows every value that each may read as: all that were ever put.
struct Product {
    explicit Product(const Shape& shape) : area(shape) {}
    Area area;
    uint32_t puts = 0;
    Bytes last;              ///< that a put was called with
    std::set<Bytes> once[3]; ///< all values ever put, and the default
    Bytes acknowledged[3];   ///< the last ones that a put said OK to

    void format() {
        ASSERT_EQ(perdure_format(&area.store, &area.config), PERDURE_OK);
        for (uint16_t index = 0; index < 3; index++) {
            acknowledged[index] = Bytes(area.records[index].bytes);
            once[index] = {acknowledged[index]};
        }
    }
    perdure_status put(uint16_t index) {
        Bytes value(area.records[index].bytes);
        puts++;
        if (index == record_2) {
            const auto totals = totals_of(3 * puts, static_cast<uint16_t>(puts));
            value.assign(totals.bytes, totals.bytes + 6);
        } else {
            for (size_t i = 0; i < value.size(); i++) { value[i] = static_cast<uint8_t>(puts >> (8 * (i % 2))); }
        }
        once[index].insert(value);
        last = value;
        const perdure_status status = perdure_put(&area.store, index, value.data());
        if (status == PERDURE_OK) { acknowledged[index] = value; }
        return status;
    }
    /// Record 100 lies long, the totals change less often than the value.
    perdure_status put_next() { return put(puts % 4 == 1 ? record_2 : record_1); }

    /// What record `index` reads as; none on PERDURE_FAULT.
    [[nodiscard]] Bytes get(uint16_t index) const {
        Bytes value(area.records[index].bytes);
        const perdure_status status = perdure_get(&area.store, index, value.data());
        EXPECT_TRUE(status == PERDURE_OK || status == PERDURE_DEFAULT || status == PERDURE_FAULT);
        return status == PERDURE_FAULT ? Bytes{} : value;
    }
    /// Totals are worked out in RAM while the ring is read, so a read that faults between two good ones of the same
    /// unit spoils them: such units are among those that the store makes no promise for (docs/testing.md). Hence
    /// `but_totals`.
    void expect_nothing_made_up(const std::string& when, bool but_totals = false) const {
        for (uint16_t index = 0; index < 3; index++) {
            if (but_totals && index == record_2) { continue; }
            const Bytes value = get(index);
            EXPECT_TRUE(value.empty() || once[index].contains(value)) << when << ", record " << index;
        }
    }
    void expect_nothing_lost(const std::string& when) const {
        for (uint16_t index = 0; index < 3; index++) {
            EXPECT_EQ(get(index), acknowledged[index]) << when << ", " << index;
        }
    }
};

/// `count` further puts after one of record 100.
void fill(Product& product, int count) {
    product.format();
    ASSERT_EQ(product.put(record_100), PERDURE_OK);
    for (int i = 0; i < count; i++) { ASSERT_EQ(product.put_next(), PERDURE_OK); }
}

/// Flash and RAM of `from` in `to`.
void copy(const Product& from, Product& to) {
    to.area.flash = from.area.flash;
    to.area.store = from.area.store;
    to.area.store.config = &to.area.config;
    std::copy(std::begin(from.area.newest), std::end(from.area.newest), to.area.newest);
    std::copy(std::begin(from.area.unknown_ids), std::end(from.area.unknown_ids), to.area.unknown_ids);
    std::copy(std::begin(from.area.totals), std::end(from.area.totals), to.area.totals);
    std::copy(std::begin(from.area.block_flags), std::end(from.area.block_flags), to.area.block_flags);
    to.puts = from.puts;
    std::copy_n(from.once, 3, to.once);
    std::copy_n(from.acknowledged, 3, to.acknowledged);
}

constexpr Shape two{2, 60, 8, 16, 0xFF};
constexpr Shape five{5, 60, 8, 16, 0xFF};

/// Promise 9 in a read-only open and in the gets after it: one read faults, or all do from one on.
TEST(Promise9, AnyReadOfAReadOnlyOpenMayFault) {
    for (const uint8_t check_bits : {uint8_t{8}, uint8_t{16}, uint8_t{24}, uint8_t{32}}) {
        for (const bool go_on : {true, false}) {
            Product product({2, 60, 8, check_bits, 0xFF});
            fill(product, 70);
            Area& area = product.area;
            const Bytes before = area.flash;
            area.reads_go_on = go_on;
            bool all_read = false;
            int read = 0;
            for (; !all_read; read++) {
                area.reads_left = read;
                const perdure_status found = perdure_open(&area.store, &area.config, true);
                EXPECT_TRUE(found == PERDURE_READ_ONLY || found == PERDURE_BLANK || found == PERDURE_FOREIGN) << read;
                product.expect_nothing_made_up("read " + std::to_string(read), true);
                all_read = area.reads_left > 0;
                area.reads_left = -1;
                EXPECT_EQ(area.flash, before);
            }
            EXPECT_GT(read, 150);
            EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
            product.expect_nothing_lost("afterwards");
        }
    }
}

/// A start that may write goes on from what it could read, so older values may be all that is left; never others.
TEST(Promise9, AnyReadOfAStartOrAPutMayFault) {
    for (const Shape& shape : {two, five}) {
        Product first(shape);
        fill(first, shape.blocks == 2 ? 73 : 200);
        bool all_read = false;
        for (int read = 0; !all_read; read++) {
            Product product(shape);
            copy(first, product);
            Area& area = product.area;
            area.reads_left = read;
            const perdure_status found = perdure_open(&area.store, &area.config, false);
            for (int i = 0; found == PERDURE_OK && i < 40; i++) {
                product.put_next();
                (void)perdure_service(&area.store);
            }
            all_read = area.reads_left > 0;
            area.reads_left = -1;
            product.expect_nothing_made_up("read " + std::to_string(read), true);
            (void)perdure_open(&area.store, &area.config, false);
            product.expect_nothing_made_up("the start after read " + std::to_string(read), true);
        }
    }
}

/// As ECC answers: the unit faults each time until its block is erased.
TEST(Promise9, AnyUnitMayFault) {
    for (const uint8_t check_bits : {uint8_t{8}, uint8_t{16}, uint8_t{24}, uint8_t{32}}) {
        for (const uint16_t blocks : {uint16_t{2}, uint16_t{5}}) {
            const Shape shape{blocks, 60, 8, check_bits, 0xFF};
            Product first(shape);
            fill(first, blocks == 2 ? 73 : 200);
            for (int unit = 0; unit < blocks * 60; unit++) {
                Product product(shape);
                copy(first, product);
                Area& area = product.area;
                area.faulting_unit = unit;
                const perdure_status found = perdure_open(&area.store, &area.config, true);
                // Without the head's stamp there is no head where no other block holds an entry.
                EXPECT_TRUE(found == PERDURE_READ_ONLY || (found == PERDURE_BLANK && blocks == 2 && unit % 60 < 2))
                    << unit;
                product.expect_nothing_made_up("read-only, unit " + std::to_string(unit));
                EXPECT_EQ(area.flash, first.area.flash);
                const perdure_status opened = perdure_open(&area.store, &area.config, false);
                EXPECT_EQ(opened, found == PERDURE_BLANK ? PERDURE_BLANK : PERDURE_OK) << unit;
                if (opened != PERDURE_OK) {
                    EXPECT_EQ(area.flash, first.area.flash);
                    continue;
                }
                product.expect_nothing_made_up("unit " + std::to_string(unit));
                perdure_status status = PERDURE_OK;
                int i = 0;
                for (; status == PERDURE_OK && i < 150; i++) {
                    status = product.put_next();
                } // more than a turn of two blocks
                // A blank unit that faults is found at its program, and then two blocks are too few.
                EXPECT_TRUE(status == PERDURE_OK || blocks == 2) << unit;
                if (i > 4) { // both have been put since
                    EXPECT_EQ(product.get(record_1), product.acknowledged[record_1]) << unit;
                    EXPECT_EQ(product.get(record_2), product.acknowledged[record_2]) << unit;
                }
                product.expect_nothing_made_up("puts after unit " + std::to_string(unit));
            }
        }
    }
}

/// Promise 10: what could not be programmed goes elsewhere, and what was acknowledged stays.
TEST(Promise10, AnyProgramMayFail) {
    for (const Shape& shape : {two, Shape{3, 60, 8, 16, 0xFF}, five}) {
        for (const int begun : {0, 20, 45, 73, 120, 200}) {
            Product first(shape);
            fill(first, begun);
            bool all_programmed = false;
            for (int program = 0; !all_programmed; program++) {
                Product product(shape);
                copy(first, product);
                Area& area = product.area;
                area.programs_left = program;
                const std::string when = std::to_string(shape.blocks) + " blocks, " + std::to_string(begun) +
                                         " puts, program " + std::to_string(program);
                perdure_status status = perdure_open(&area.store, &area.config, false);
                for (int i = 0; status == PERDURE_OK && i < 30; i++) {
                    status = product.put_next();
                    if (i % 2 == 0) { (void)perdure_service(&area.store); }
                }
                if (status == PERDURE_OK) { product.expect_nothing_lost(when); }
                all_programmed = area.programs_left >= 0;
                area.programs_left = -1;
                (void)perdure_open(&area.store, &area.config, false);
                if (status == PERDURE_OK) { product.expect_nothing_lost(when + ", next start"); }
                product.expect_nothing_made_up(when);
            }
        }
    }
}

/// The same, in service: with too few good blocks left puts are refused, and everything stays readable.
TEST(Promise10, AnErasesFailureInServiceIsTold) {
    Product product({3, 60, 8, 16, 0xFF});
    fill(product, 10);
    perdure_status status = PERDURE_OK;
    for (int i = 0; status == PERDURE_OK && i < 5000; i++) {
        product.area.erase_that_fails = (i / 400) % 3;
        while (perdure_service(&product.area.store)) {}
        product.expect_nothing_lost("service");
        status = product.put_next();
    }
    EXPECT_EQ(status, PERDURE_READ_ONLY);
    product.expect_nothing_lost("after all");
    EXPECT_FALSE(perdure_service(&product.area.store));
}

/// Trap 17 of the README, with a block that cannot be erased: whatever is cut, the next format makes it good.
TEST(Promise11, AFormatOverAFailingBlockMayBeCutAnywhere) {
    bool complete = false;
    for (int operations = 1; !complete; operations++) {
        Product product(five);
        product.area.erase_that_fails = 2;
        product.area.operations_left = operations;
        complete = perdure_format(&product.area.store, &product.area.config) == PERDURE_OK;
        product.area.operations_left = -1;
        const perdure_status found = perdure_open(&product.area.store, &product.area.config, true);
        EXPECT_TRUE(found == PERDURE_READ_ONLY || found == PERDURE_BLANK ||
                    (found == PERDURE_FOREIGN && operations < 4))
            << operations << ' ' << found;
        product.format();
        perdure_health health{};
        perdure_get_health(&product.area.store, &health);
        EXPECT_EQ(health.blocks_bad, 1) << operations;
        ASSERT_EQ(perdure_open(&product.area.store, &product.area.config, false), PERDURE_OK);
        perdure_get_health(&product.area.store, &health);
        EXPECT_EQ(health.blocks_bad, 1) << "the list is there at the next start, " << operations;
        product.expect_nothing_lost("formatted");
    }
}

/// Promise 11, from every fill of a ring: a cut leaves the area as it was, or formatted, or PERDURE_BLANK.
TEST(Promise11, AFormatMayBeCutAnywhere) {
    Product going({3, 60, 8, 16, 0xFF});
    fill(going, 0);
    for (int puts = 0; puts < 200; puts++) {
        ASSERT_EQ(going.put_next(), PERDURE_OK);
        bool complete = false;
        for (int operations = 1; !complete; operations++) {
            Product product(going.area.shape);
            copy(going, product);
            Area& area = product.area;
            area.operations_left = operations;
            complete = perdure_format(&area.store, &area.config) == PERDURE_OK;
            area.operations_left = -1;
            const perdure_status found = perdure_open(&area.store, &area.config, true);
            if (found != PERDURE_BLANK) {
                EXPECT_EQ(found, PERDURE_READ_ONLY) << operations;
                if (product.get(record_100) == Bytes(3)) { // formatted
                    for (Bytes& value : product.acknowledged) { value.assign(value.size(), 0); }
                }
                product.expect_nothing_lost("format cut at " + std::to_string(operations));
            }
            product.format();
            ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
            product.expect_nothing_lost("formatted");
        }
    }
}

/// Trap 17: each format that is cut behind its marks leaves two more of them, until the head has no room.
TEST(Promise11, AFormatMayBeCutAgainAndAgain) {
    Product product(two);
    fill(product, 30);
    Area& area = product.area;
    for (int i = 0; i < 100; i++) {
        area.operations_left = 3; // two marks, and not the erase
        (void)perdure_format(&area.store, &area.config);
        area.operations_left = -1;
        EXPECT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_BLANK) << i;
    }
    product.format();
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
    product.expect_nothing_lost("formatted");
}

/// Cuts starts of `product` behind `operations` programs and erases, `times` in a row or until one needs fewer; then
/// one completes. Each record reads as acknowledged or as `in_flight` throughout, or, where more are cut than promise 1
/// says, as nothing that was never put.
void cut_starts(Product& product, int operations, int times, uint16_t index, const Bytes& in_flight,
                const std::string& when) {
    Area& area = product.area;
    const int promised = area.shape.blocks < 4 ? 1 : 2;
    const auto check = [&] {
        if (product.get(index) == in_flight) { product.acknowledged[index] = in_flight; }
        if (times <= promised) {
            product.expect_nothing_lost(when);
        } else {
            product.expect_nothing_made_up(when);
        }
    };
    bool cut = true;
    for (int i = 0; cut && i < times; i++) {
        area.operations_left = operations;
        (void)perdure_open(&area.store, &area.config, false);
        cut = area.operations_left == 0;
        area.operations_left = -1;
        ASSERT_EQ(perdure_open(&area.store, &area.config, true), PERDURE_READ_ONLY) << when;
        check();
    }
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK) << when;
    check();
    ASSERT_EQ(product.put_next(), PERDURE_OK) << when;
    ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK) << when;
    check();
}

/// Traps 12 and 13: a put is cut, then starts are: as many in a row as promise 1 says, then more.
TEST(Promise1, StartsMayBeCutAgainAndAgain) {
    for (const uint16_t blocks : {uint16_t{2}, uint16_t{3}, uint16_t{4}}) {
        const Shape shape{blocks, 84, 8, 16, 0xFF};
        const auto lengthen = [](Product& product) { product.area.records[record_100].bytes = 60; };
        Product going(shape);
        lengthen(going);
        fill(going, 0);
        for (int jobs = 0; jobs < 2;) {
            Product before(shape);
            lengthen(before);
            copy(going, before);
            const uint32_t programs = going.area.store.programs;
            ASSERT_EQ(going.put_next(), PERDURE_OK);
            const int operations = static_cast<int>(going.area.store.programs - programs) + 1; // and an erase
            if (operations < 6) { continue; }
            jobs++;
            const auto cut_both = [&](int cut, int start_cut, int times) {
                Product product(shape);
                lengthen(product);
                copy(before, product);
                product.area.operations_left = cut;
                const uint16_t index = product.puts % 4 == 1 ? record_2 : record_1;
                ASSERT_NE(product.put_next(), PERDURE_OK);
                product.area.operations_left = -1;
                cut_starts(product, start_cut, times, index, product.last,
                           std::to_string(blocks) + " blocks, put " + std::to_string(product.puts) + " cut at " +
                               std::to_string(cut) + ", starts at " + std::to_string(start_cut));
            };
            for (int cut = 1; cut < operations; cut++) {
                for (int start_cut = 1; start_cut < 40; start_cut++) {
                    for (const int times : {1, 2, 8}) { ASSERT_NO_FATAL_FAILURE(cut_both(cut, start_cut, times)); }
                }
            }
        }
    }
}

/// A cut in service, at each of its programs and erases.
TEST(Promise1, ServiceMayBeCutAnywhere) {
    for (const uint16_t blocks : {uint16_t{3}, uint16_t{4}}) {
        const Shape shape{blocks, 60, 8, 16, 0xFF};
        Product going(shape);
        fill(going, 0);
        int cuts = 0;
        for (int i = 0; i < 300; i++) {
            ASSERT_EQ(going.put_next(), PERDURE_OK);
            for (int operations = 1;; operations++) {
                Product product(shape);
                copy(going, product);
                Area& area = product.area;
                area.operations_left = operations;
                while (perdure_service(&area.store)) {}
                const bool cut = area.operations_left == 0;
                area.operations_left = -1;
                ASSERT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK);
                product.expect_nothing_lost("service cut");
                if (!cut) { break; }
                cuts++;
            }
            while (perdure_service(&going.area.store)) {}
        }
        EXPECT_GT(cuts, 10);
    }
}

} // namespace
} // namespace perdure
