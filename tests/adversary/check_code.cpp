#include "check_code.hpp"

#include <array>

namespace perdure::adversary {
namespace {

using Table = std::array<uint32_t, 256>;

Table make_table(uint32_t generator) {
    Table table{};
    for (uint32_t i = 0; i < 256; i++) {
        uint32_t state = i << 24;
        for (int bit = 0; bit < 8; bit++) { state = (state << 1) ^ ((state >> 31) != 0 ? generator : 0u); }
        table[i] = state;
    }
    return table;
}

// The polynomials that store.c names, left-aligned.
constexpr uint32_t own_polynomials[4] = {0x31000000u, 0x10210000u, 0x864CFB00u, 0x04C11DB7u};

/// Other codes only have to differ, so they are the store's own polynomial with some bits turned over; the last bit
/// stays 1.
uint32_t polynomial(unsigned width, unsigned code) {
    const unsigned shift = 32 - 8 * (width + 1);
    return own_polynomials[width] ^ (((code * 0x5Au) & 0xFEu) << shift);
}

} // namespace

const uint32_t* check_table(unsigned check_bits, unsigned code) {
    static const auto tables = [] {
        std::array<std::array<Table, check_codes>, 4> all{};
        for (unsigned width = 0; width < 4; width++) {
            for (unsigned i = 0; i < check_codes; i++) { all[width][i] = make_table(polynomial(width, i)); }
        }
        return all;
    }();
    return tables[check_bits / 8 - 1][code].data();
}

} // namespace perdure::adversary
