// The curves as JSON.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "budget/findings.hpp"

namespace perdure {

/// All curves of a budget; `what_if_points` 0 leaves those out.
nlohmann::json curves_json(const Project& project, const Budget& budget, unsigned what_if_points);

/// Only the curves of `what_if`.
nlohmann::json what_if_json(const Project& project, const Budget& budget, unsigned points);

} // namespace perdure
