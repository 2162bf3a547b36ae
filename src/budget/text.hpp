// The budget as text of 80 columns, and as JSON.
#pragma once

#include <string>

#include <nlohmann/json_fwd.hpp>

#include "budget/findings.hpp"

namespace perdure {

/// Verdict with its reasons, findings, records, and the inverse answers. Figures from memory or from an assumption say
/// so.
std::string budget_text(const Budget& budget);

/// The same figures, unrounded. Infinite ones are null.
nlohmann::json budget_json(const Budget& budget);

} // namespace perdure
