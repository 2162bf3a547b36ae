// Answers for who waits at a keyboard, or asks for thousands.
#pragma once

#include "budget/findings.hpp"

namespace perdure {

/// As make_budget, in a few milliseconds: wear by the formulas' renewal limit alone, no entries counted. It is
/// off by some per cent, more where starts take much, so a verdict near its limit may turn. To be shown as what it is,
/// until make_budget has answered.
tl::expected<Budget, Refusal> make_coarse_budget(const Project& project);

/// As make_budget, the entries of starts reckoned, not counted: the same where starts take no more than
/// counted_start_share of the units, else off by up to reckoned_off and reckoned_off_much (wear.hpp).
tl::expected<Budget, Refusal> make_reckoned_budget(const Project& project);

} // namespace perdure
