// Answers for who waits at a keyboard, or asks for thousands.
#pragma once

#include "budget/findings.hpp"

namespace perdure {

/// As make_budget, in a few milliseconds: wear by the formulas' renewal limit alone, no entries counted. Where starts
/// take more than counted_start_share of the units it is off by up to as many per cent, so a verdict near its limit may
/// turn. To be shown as what it is, until make_budget has answered.
tl::expected<Budget, Refusal> make_coarse_budget(const Project& project);

/// As make_budget, the entries of starts reckoned, not counted: the same where starts take no more than
/// counted_start_share of the units, else off by up to as many per cent as they take.
tl::expected<Budget, Refusal> make_reckoned_budget(const Project& project);

} // namespace perdure
