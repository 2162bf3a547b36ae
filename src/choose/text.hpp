// A comparison as text of 80 columns, and as JSON.
#pragma once

#include <string>

#include <nlohmann/json_fwd.hpp>

#include "choose/choose.hpp"

namespace perdure {

/// The winner, a second source, the front, the best of each part, and why each other one lost. `all`: every candidate.
std::string choice_text(const Choice& choice, bool all);

/// The same, unrounded; unknown figures are null.
nlohmann::json choice_json(const Choice& choice);

} // namespace perdure
