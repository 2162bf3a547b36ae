// Promises 1 and 11 of store/README.md where the power goes between two programs or erases: at each one in turn, and in
// the starts and formats that follow. What the cut hits is not begun, so nothing here is torn; tests/adversary and
// src/cuts tear it.
#include <gtest/gtest.h>

#include "tests/promises/product.hpp"

namespace perdure {
namespace {

using namespace product;

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
