// How often cleaning copies a record: what was saved last and not again while its block waited to be emptied.
#pragma once

#include "budget/wear.hpp"

namespace perdure {

/// Traffic of one record as its copies see it.
struct SeenTraffic {
    RecordTraffic saves;
    double starts_per_s = 0;
    double later_s = 0; ///< a save counts from the last start that put it again: so much later, on average

    /// Chance that the record is not saved during `s` seconds: random saves, even ones of unknown phase, and at starts.
    [[nodiscard]] double unsaved(double s) const;
    /// From then on a save is certain; infinite without any.
    [[nodiscard]] double saved_after_s() const;
};

/// Copies of a record in each block. Its newest save is copied when none follows for as long as its block waits to be
/// emptied, from `wait_s` (written last in its block) to `wait_s + block_s` (written first), and again every `again_s`.
/// So the copies are the sum over k of unsaved(wait + k again) - unsaved(wait + block + k again).
double copies_a_block(const SeenTraffic& seen, double block_s, double wait_s, double again_s);

} // namespace perdure
