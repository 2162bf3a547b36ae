// Check codes a byte at a time from tables: what a part's hardware unit would do, and fast enough for millions of
// starts.
#pragma once

#include <cstdint>

namespace perdure::adversary {

/// Codes to choose from for each width. Number 0 is the store's own polynomial; the others tell a chance match of the
/// check code (gone under another code) from a fault of the store (still there).
constexpr unsigned check_codes = 8;

/// Table of 256 left-aligned states for `check_bits` (8, 16, 24, 32) and code number `code`.
const uint32_t* check_table(unsigned check_bits, unsigned code);

/// Carries `state` (left-aligned in 32 bits) over `bytes` bytes at `from`.
inline uint32_t check_over(const uint32_t* table, uint32_t state, const uint8_t* from, uint32_t bytes) {
    for (; bytes != 0; bytes--) { state = (state << 8) ^ table[(state >> 24) ^ *from++]; }
    return state;
}

} // namespace perdure::adversary
