// The ring's rules walked save by save, with unit counts only and no flash bytes: the slow, exact reference for
// wear.hpp.
#pragma once

#include <cstdint>
#include <vector>

#include "budget/wear.hpp"
#include "project/layout.hpp"

namespace perdure {

/// What a walk saw. Units are program units.
struct WalkCount {
    double life_s = 0;
    uint64_t blocks_opened = 0;
    uint64_t blocks_emptied = 0;
    uint64_t saves = 0;
    std::vector<uint64_t> saves_of; ///< by record
    uint64_t full_saves = 0;
    uint64_t copies = 0;
    uint64_t waste_units = 0;
};

/// The traffic that a walk was: random saves at the rate that was drawn, so that a comparison is not one of luck.
Traffic as_drawn(const Traffic& traffic, const std::vector<uint64_t>& saves_of, double life_s);

/// Walks `life_s` of `traffic` through the ring of `layout`. Even saves and starts begin at phases drawn from `draw`,
/// random saves are drawn from it; the same `draw` gives the same walk.
WalkCount walk_counts(const AreaLayout& layout, const Traffic& traffic, double life_s, uint64_t draw);

} // namespace perdure
