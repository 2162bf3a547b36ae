// Promises 9 and 10 of store/README.md where one read, unit, program or erase fails: each one in turn. The flash of
// tests/adversary tears what a cut hits; here what fails leaves its unit as it was, so that each place in the store is
// met without chance.
#include <gtest/gtest.h>

#include "tests/promises/product.hpp"

namespace perdure {
namespace {

using namespace product;

/// Takes the charge of one bit of the unit at `from`, or of all its bits but one; false where it holds none.
bool decay(Bytes& flash, size_t from, size_t bytes, uint8_t blank, bool all_but_one_bit) {
    bool one = false;
    for (size_t i = from; i < from + bytes; i++) {
        const auto charge = static_cast<uint8_t>(flash[i] ^ blank);
        if (charge == 0) { continue; }
        const auto lowest = static_cast<uint8_t>(charge & -charge);
        const uint8_t left = one ? (all_but_one_bit ? uint8_t{0} : charge)
                                 : (all_but_one_bit ? lowest : static_cast<uint8_t>(charge & ~lowest));
        flash[i] = static_cast<uint8_t>(blank ^ left);
        one = true;
    }
    return one;
}

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

/// From one read of a start on all of them fault: nothing is made up then, nor at the next start.
TEST(Promise9, AllReadsOfAStartMayFaultFromOneOn) {
    for (const Shape& shape : {two, five}) {
        Product first(shape);
        fill(first, shape.blocks == 2 ? 73 : 200);
        bool all_read = false;
        for (int read = 0; !all_read; read++) {
            Product product(shape);
            copy(first, product);
            Area& area = product.area;
            area.reads_go_on = false;
            area.reads_left = read;
            (void)perdure_open(&area.store, &area.config, PERDURE_WRITE);
            all_read = area.reads_left > 0;
            area.reads_left = -1;
            (void)perdure_open(&area.store, &area.config, PERDURE_WRITE);
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

/// Late decay: a unit that was programmed and verified loses some of its charge afterwards, without any cut. What it
/// held is lost, and nothing is made up of it: not by the reads before the next put, nor by what is put and copied
/// then.
TEST(Promise9, AnyUnitMayDecay) {
    for (const uint8_t blank : {uint8_t{0xFF}, uint8_t{0x00}}) {
        for (const uint16_t blocks : {uint16_t{2}, uint16_t{5}}) {
            const Shape shape{blocks, 60, 8, 16, blank};
            Product first(shape);
            fill(first, blocks == 2 ? 73 : 200);
            int decayed = 0;
            for (int unit = 0; unit < blocks * 60; unit++) {
                for (const bool all_but_one_bit : {false, true}) {
                    Product product(shape);
                    copy(first, product);
                    Area& area = product.area;
                    if (!decay(area.flash, static_cast<size_t>(unit) * 8, 8, blank, all_but_one_bit)) { continue; }
                    decayed++;
                    const std::string when = "unit " + std::to_string(unit);
                    if (perdure_open(&area.store, &area.config, false) != PERDURE_OK) {
                        EXPECT_TRUE(blocks == 2 && unit % 60 < 2) << when; // the only head's stamp
                        continue;
                    }
                    product.expect_nothing_made_up(when);
                    EXPECT_EQ(product.put(record_100), PERDURE_OK) << when;
                    for (int i = 0; i < 20; i++) { EXPECT_EQ(product.put_next(), PERDURE_OK) << when; }
                    product.expect_nothing_lost("puts after " + when);
                    EXPECT_EQ(perdure_open(&area.store, &area.config, false), PERDURE_OK) << when;
                    product.expect_nothing_lost("the start after " + when);
                }
            }
            EXPECT_GT(decayed, blocks * 25);
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

} // namespace
} // namespace perdure
