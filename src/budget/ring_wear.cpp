#include "budget/ring_wear.hpp"

#include <algorithm>
#include <cmath>

#include "budget/count_walk.hpp"

namespace perdure {

namespace {

/// The layout as its starts see it where each follows a save at power failure. That save is a restart entry, while the
/// traffic counts it as an ordinary one: the starts take the difference. And its record is the newest at each start.
AreaLayout with_power_fail_save(AreaLayout layout) {
    const RecordLayout saved = layout.records[*layout.power_fail_record];
    const uint32_t counted = saved.short_units > 0 ? saved.short_units : saved.full_units;
    layout.start_pad_units += saved.restart_units + passed_over_units - counted;
    for (RecordLayout& record : layout.records) { record.restart_units = saved.restart_units; }
    layout.power_fail_record.reset();
    return layout;
}

} // namespace

RingWear ring_wear(const AreaLayout& layout, const Traffic& traffic, Precision precision) {
    RingWear out =
        ring_wear_by_formula(layout.power_fail_record ? with_power_fail_save(layout) : layout, traffic, precision);
    if (layout.power_fail_record) { out.erased_again = 0; } // something was put since a block was erased
    const bool few_starts = out.start_units <= counted_start_share * layout.capacity_units;
    return precision != Precision::fine || few_starts ? out : counted_wear(layout, traffic, out);
}

Erases erases_over(const RingWear& wear, uint32_t ring_blocks, double life_s) {
    Erases out;
    if (!std::isfinite(wear.block_s) || wear.block_s <= 0) { return out; }
    // The first blocks are opened without emptying any; on average half an emptying is under way at the end.
    out.blocks_emptied = std::max(0.0, life_s / wear.block_s - wear.data_blocks - wear.empties_at + 0.5);
    out.erases = out.blocks_emptied * (1 + wear.erased_again);
    out.per_block_mean = out.erases / ring_blocks;
    // Which blocks a start erases again is chance: three standard deviations of that many trials.
    constexpr double deviations = 3;
    const double variance = out.blocks_emptied / ring_blocks * wear.erased_again * (1 - wear.erased_again);
    out.per_block_max = std::ceil(out.per_block_mean + deviations * std::sqrt(std::max(0.0, variance)));
    return out;
}

} // namespace perdure
