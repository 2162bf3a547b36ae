// The check codes of format.md, section 2, by tables: eight bytes a step. The table of k says what a byte does to the
// register when k bytes follow it, so the bytes of a step do not wait for each other.
#include <array>

#include "dump/decode.hpp"

namespace perdure {
namespace {

constexpr size_t step_bytes = 8;
using Tables = std::array<std::array<uint32_t, 256>, step_bytes>;

/// `polynomial` left-aligned in 32 bits.
constexpr Tables make_tables(uint32_t polynomial) {
    Tables out{};
    for (uint32_t byte = 0; byte < 256; byte++) {
        uint32_t state = byte << 24U;
        for (int bit = 0; bit < 8; bit++) { state = state << 1U ^ ((state >> 31U) != 0 ? polynomial : 0U); }
        out[0][byte] = state;
    }
    for (size_t k = 1; k < step_bytes; k++) {
        for (size_t byte = 0; byte < 256; byte++) {
            const uint32_t before = out[k - 1][byte];
            out[k][byte] = before << 8U ^ out[0][before >> 24U];
        }
    }
    return out;
}

template <uint32_t Polynomial> uint32_t carry(uint32_t state, const uint8_t* from, size_t bytes) {
    static constexpr Tables tables = make_tables(Polynomial);
    for (; bytes >= step_bytes; bytes -= step_bytes, from += step_bytes) {
        state = tables[7][from[0] ^ state >> 24U] ^ tables[6][from[1] ^ (state >> 16U & 0xFFU)] ^
                tables[5][from[2] ^ (state >> 8U & 0xFFU)] ^ tables[4][from[3] ^ (state & 0xFFU)] ^ tables[3][from[4]] ^
                tables[2][from[5]] ^ tables[1][from[6]] ^ tables[0][from[7]];
    }
    if (bytes >= 4) {
        state = tables[3][from[0] ^ state >> 24U] ^ tables[2][from[1] ^ (state >> 16U & 0xFFU)] ^
                tables[1][from[2] ^ (state >> 8U & 0xFFU)] ^ tables[0][from[3] ^ (state & 0xFFU)];
        bytes -= 4;
        from += 4;
    }
    for (; bytes > 0; bytes--, from++) { state = state << 8U ^ tables[0][*from ^ state >> 24U]; }
    return state;
}

} // namespace

CheckFunction format_check(uint32_t check_bits) {
    constexpr std::array<CheckFunction, 4> codes{carry<0x31000000U>, carry<0x10210000U>, carry<0x864CFB00U>,
                                                 carry<0x04C11DB7U>};
    return codes[check_bits / 8 - 1];
}

} // namespace perdure
