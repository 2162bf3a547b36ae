// Shape and rules of a flash memory, as its data sheet states them: plain numbers, units in the names.
#pragma once

#include <cstdint>

namespace perdure {

/// How often a program unit may be programmed between two erases.
enum class ProgramRule {
    bits_one_way, ///< again and again, as long as bits only move away from blank
    once,         ///< once (units under ECC, or by the maker's rule)
    once_or_full, ///< once, then only with all bits programmed
};

/// An area of equal erase blocks, as one ring sees it. A ring block may join several erase blocks.
struct FlashGeometry {
    uint32_t unit_bytes = 8;           ///< program unit
    uint32_t erase_block_bytes = 2048; ///< smallest erasable piece
    uint32_t erase_blocks_per_ring_block = 1;
    uint32_t ring_blocks = 2;
    uint8_t blank = 0xFF; ///< 0xFF or 0x00
    ProgramRule rule = ProgramRule::once;
    bool ecc = false; ///< a torn unit reads as a fault instead of as wrong bytes

    [[nodiscard]] uint32_t ring_block_bytes() const { return erase_block_bytes * erase_blocks_per_ring_block; }
    [[nodiscard]] uint32_t units_per_ring_block() const { return ring_block_bytes() / unit_bytes; }
    [[nodiscard]] uint64_t area_bytes() const { return uint64_t{ring_block_bytes()} * ring_blocks; }
};

/// What each operation costs. Times are the data sheet's maximum unless the project says otherwise.
struct FlashCosts {
    double program_us = 0; ///< one unit
    double erase_ms = 0;   ///< one erase block
    double read_us_per_unit = 0;
    double program_ma = 0; ///< supply current while programming or erasing
    double vdd_v = 0;      ///< for the energy
};

} // namespace perdure
