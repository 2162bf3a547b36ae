// Arbitrary text as a project file, read with the built-in catalogue.
#pragma once

#include <span>
#include <string>

#include "tests/fuzz/open_input.hpp"

namespace perdure::fuzz {

/// Reads `input` as a project file, and budgets what it says. Empty if all holds that must: every error names a place
/// in the text and prints in short lines; a second reading gives the same; a budget's numbers are numbers. Else what
/// does not. `seen`: "errors", "refused", "holds", "fails".
std::string try_project(std::span<const uint8_t> input, Answers* seen = nullptr);

} // namespace perdure::fuzz
