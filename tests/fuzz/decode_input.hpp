// Arbitrary bytes as an area for the reader of dumps and its listing, and what must hold whatever the bytes are.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace perdure::fuzz {

/// Decodes and lists the area that `input` describes. Empty if all holds that must; else what does not.
/// Byte 0: blocks (lower 3 bits, plus 1) and unit bytes (upper 5 bits, plus 1). Byte 1: units a block (lower 6 bits,
/// plus 1). Byte 2, by bits: 0 every block gets a right stamp; 1 an entry's right check code is 0, so that chance finds
/// it; 2 blank is 0x00; 3 and 4 check width; 5 to 7, if not 0: every so many units one faults. Byte 3: number of the
/// first block's stamp; a block's is one higher than that of the block before. Then the area's bytes from its start,
/// over what the stamps hold; what is missing is blank.
std::string try_decode(std::span<const uint8_t> input);

/// What kinds of entries and contents the area of `input` holds, so that a test can say what its inputs reach.
std::vector<std::string> kinds_met(std::span<const uint8_t> input);

} // namespace perdure::fuzz
