// The whole program in this process, as it is called from a shell.
#pragma once

#include <sstream>
#include <string>
#include <vector>

#include "cli/commands.hpp"

namespace perdure {

struct ProgramRan {
    int code = -1;        ///< exit code
    std::string out, err; ///< standard output, standard error
};

/// Runs "perdure" with these words behind it.
inline ProgramRan run_program(const std::vector<std::string>& words) {
    std::vector<const char*> argv{"perdure"};
    for (const std::string& word : words) { argv.push_back(word.c_str()); }
    std::ostringstream out;
    std::ostringstream err;
    const int code = run_command_line(static_cast<int>(argv.size()), argv.data(), out, err);
    return {code, out.str(), err.str()};
}

} // namespace perdure
