// The names that the emitted C and C++ get from those of the project.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "firmware/plan.hpp"

namespace perdure {

/// "water" as "WATER".
std::string upper_case(std::string_view name);

/// The text as it may stand in a comment or a string of C, a Makefile and a linker script: printable, one line.
std::string for_comment(std::string_view text);

/// The text in lines of at most `columns`, broken at blanks.
std::vector<std::string> broken_lines(std::string_view text, size_t columns);

/// Why a prefix cannot begin a name in C; nothing when it can.
std::optional<std::string> why_no_prefix(std::string_view prefix);

/// The first name of the project that collides with another in what is emitted, or is a word of C++.
std::optional<Diagnostic> colliding_name(const Project& project, const FirmwarePlan& plan, const std::string& prefix);

} // namespace perdure
