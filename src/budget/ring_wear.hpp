// How fast a ring turns: by the formulas where they are close, counted entry by entry where they are not.
#pragma once

#include <cstdint>

#include "budget/wear.hpp"

namespace perdure {

/// As ring_wear_by_formula; `fine`, and where starts take more than counted_start_share, the entries of some thousand
/// blocks are counted one by one (count_walk.hpp).
RingWear ring_wear(const AreaLayout& layout, const Traffic& traffic, Precision precision = Precision::fine);

/// Erases over a life of `life_s`, after the erase of formatting.
struct Erases {
    double blocks_emptied = 0;
    double erases = 0; ///< those, and the blocks that starts erased again
    double per_block_mean = 0;
    double per_block_max = 0; ///< a whole number: blocks differ by one, and where starts erase again, by chance more
};
Erases erases_over(const RingWear& wear, uint32_t ring_blocks, double life_s);

} // namespace perdure
