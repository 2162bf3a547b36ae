// Where a ring stands in a dump, by its stamps alone: for dumps that are shifted, of another shape, or of a whole flash
// whose layout is not known.
#pragma once

#include <vector>

#include "dump/decode.hpp"

namespace perdure {

/// A ring that stamps speak of.
struct FoundArea {
    int64_t begin = 0;          ///< of its first byte, in the dump; below 0: the dump begins inside it
    AreaShape shape;            ///< blank: the value given, unless the stamps' own filler says otherwise
    std::vector<size_t> stamps; ///< where they stand in the dump, ascending
};

/// Every ring of which the bytes hold a stamp whose own check code is right (format.md, section 3), those with the most
/// stamps first; equal ones by their place. A stamp stands anywhere, and its numbers make sense: at least two blocks
/// that hold a stamp each and take 4 GiB at most. Random bytes hold one in about 4 million places by chance. Stamps
/// with number 0 say no block, and are left out.
std::vector<FoundArea> find_areas(std::span<const uint8_t> bytes, uint8_t blank);

} // namespace perdure
