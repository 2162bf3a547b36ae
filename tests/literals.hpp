// The string literals of the program's sources, each with the calls that it stands in: what a document says of the
// program's messages is held against them.
#pragma once

#include <cstddef>
#include <string>
#include <utility>
#include <vector>

namespace perdure {

struct Literal {
    std::string file; ///< below src/
    size_t line = 0;
    std::string text;   ///< adjacent pieces joined, escapes resolved, as format strings have it
    std::string before; ///< up to 40 characters of code in front of it, blanks and line ends as one blank
    std::vector<std::pair<std::string, size_t>>
        calls; ///< the calls and braces around it, the innermost last, and which argument of each it is in, from 0
};

/// All literals of a C++ source, in order; those of #include lines, comments and raw strings left out.
std::vector<Literal> literals_of(const std::string& file, const std::string& source);

/// Of every .cpp and .hpp below src/ but the tests and their samples.
std::vector<Literal> program_literals();

/// The pieces of a format string between its {}, without blanks at their ends, line ends as blanks, backquotes as
/// ends too; those without a letter or digit left out.
std::vector<std::string> fixed_pieces(const std::string& format);

/// Words of two letters or more in those pieces.
size_t words_in(const std::string& format);

} // namespace perdure
