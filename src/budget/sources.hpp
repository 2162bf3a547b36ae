// How the findings are written: where a number came from, and how a need is judged. Only src/budget includes this.
#pragma once

#include <optional>
#include <string>

#include "budget/findings.hpp"

namespace perdure {

/// A figure of the part, under its name in the catalogue.
Source from_part(const Device& part, const std::string& column, double value, const std::string& unit);
/// A figure of the project file; a place without a line is a default.
Source from_file(const Project& project, Place place, const std::string& what, double value, const std::string& unit);
Source by_formula(const std::string& what, double value, const std::string& unit, const std::string& text);
Source assume(const std::string& what, double value, const std::string& unit, const std::string& text);

Finding named(const std::string& name, const std::string& area, const std::string& unit);

/// Judges smaller-is-better figures: `have` is what is allowed, if anything is.
void judge(Finding& finding, double need, std::optional<double> allowed, double margin_min = 1);

} // namespace perdure
