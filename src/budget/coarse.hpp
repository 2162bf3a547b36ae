// A first answer for who waits at a keyboard.
#pragma once

#include "budget/findings.hpp"

namespace perdure {

/// As make_budget, in a few milliseconds: wear by the formulas' renewal limit alone, no entries counted. Where starts
/// take more than counted_start_share of the units it is off by up to as many per cent, so a verdict near its limit may
/// turn. To be shown as what it is, until make_budget has answered.
tl::expected<Budget, Refusal> make_coarse_budget(const Project& project);

} // namespace perdure
