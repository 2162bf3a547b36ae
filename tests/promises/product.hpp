// A product that puts the three records of Area in turn and knows what each may read as.
#pragma once

#include <algorithm>
#include <set>

#include <gtest/gtest.h>

#include "tests/format/area.hpp"

namespace perdure::product {

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
inline void fill(Product& product, int count) {
    product.format();
    ASSERT_EQ(product.put(record_100), PERDURE_OK);
    for (int i = 0; i < count; i++) { ASSERT_EQ(product.put_next(), PERDURE_OK); }
}

/// Flash and RAM of `from` in `to`.
inline void copy(const Product& from, Product& to) {
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

} // namespace perdure::product
