// An area of flash made of arbitrary bytes: its shape first, then what stands in it.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "dump/decode.hpp"

namespace perdure::fuzz {

struct Area {
    AreaShape shape;
    std::vector<uint8_t> bytes;
    std::vector<uint8_t> faulting; ///< by unit; empty: none faults
    CheckFunction check = nullptr; ///< nullptr: the format's own codes
};

/// The area that `input` describes. Missing bytes of the shape count as 0.
/// Byte 0: blocks (lower 3 bits, plus 1) and unit bytes (upper 5 bits, plus 1). Byte 1: units a block (lower 6 bits,
/// plus 1). Byte 2, by bits: 0 every block gets a right stamp; 1 an entry's right check code is 0, so that chance finds
/// it; 2 blank is 0x00; 3 and 4 check width; 5 to 7, if not 0: every so many units one faults. Byte 3: number of the
/// first block's stamp; a block's is one higher than that of the block before. Then the area's bytes from its start,
/// over what the stamps hold; what is missing is blank.
Area make_area(std::span<const uint8_t> input);

/// The first bytes of an input that make_area takes as shape.
constexpr size_t shape_bytes = 4;

} // namespace perdure::fuzz
