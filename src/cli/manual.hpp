// The program's manual page and the completion of its command line, from the table of commands.
#pragma once

#include <string>

namespace perdure {

/// A manual page of section 1, as roff for man(7).
std::string manual_page();

/// A completion script for bash: commands, their options, files.
std::string bash_completion();

} // namespace perdure
