// The ring's rules walked save by save, with unit counts only and no flash bytes: the slow, exact reference for the
// formulas of wear.hpp, and what the budget counts with where starts take much of the flash.
#pragma once

#include <cstdint>
#include <vector>

#include "budget/wear.hpp"
#include "project/layout.hpp"

namespace perdure {

struct WalkRecord {
    uint64_t now_saves = 0; ///< at power failure; their units are counted with the starts
    uint64_t full_saves = 0;
    uint64_t short_saves = 0;
    uint64_t copies = 0;
    uint64_t started = 0; ///< starts that put it again
    [[nodiscard]] uint64_t saves() const { return full_saves + short_saves + now_saves; }
};

/// What a walk saw. Units are program units.
struct WalkCount {
    double life_s = 0;
    uint64_t blocks_opened = 0;
    uint64_t blocks_emptied = 0;
    uint64_t erased_again = 0;       ///< by starts that found nothing put since the erase
    double erased_again_chances = 0; ///< the same as the sum of the chances of it, each taken when a block is erased
    uint64_t starts = 0;
    uint64_t start_units = 0;
    uint64_t mark_units = 0;
    uint64_t waste_units = 0;
    std::vector<WalkRecord> records;
};

/// The traffic that a walk was: random saves, and those at starts, at the rate that was drawn, so that a comparison is
/// not one of luck.
Traffic as_drawn(const Traffic& traffic, const std::vector<uint64_t>& saves_of, double life_s);
Traffic as_drawn(const Traffic& traffic, const WalkCount& count);

/// Walks `life_s` of `traffic` through the ring of `layout`. Even saves come at the multiples of their periods. Random
/// saves are drawn from `draw`, and so is the time of each start within its turn; the same `draw` gives the same walk.
WalkCount walk_counts(const AreaLayout& layout, const Traffic& traffic, double life_s, uint64_t draw);

/// `formula` put right by a walk of some thousand blocks. What luck the walk had with its random saves is taken out
/// again: the coarse formula's answer to the saves as asked and as drawn says how much.
RingWear counted_wear(const AreaLayout& layout, const Traffic& traffic, const RingWear& formula);

} // namespace perdure
