// Check codes of the same width that differ from the store's: under another one a chance match of torn bytes is gone, a
// fault of the store is still there.
#pragma once

#include <cstddef>
#include <cstdint>

namespace perdure {

/// Number 0 is the store's own code.
constexpr unsigned check_code_count = 8;

using StoreCheck = uint32_t (*)(void* context, uint32_t state, const void* from, uint32_t bytes);
using DumpCheck = uint32_t (*)(uint32_t state, const uint8_t* from, size_t bytes);

/// Code `number` (below check_code_count) of `check_bits` (8, 16, 24 or 32) bits as the store's port takes it, and as
/// the reader of dumps takes it. The state is left-aligned in 32 bits.
StoreCheck store_check(uint32_t check_bits, unsigned number);
DumpCheck dump_check(uint32_t check_bits, unsigned number);

} // namespace perdure
