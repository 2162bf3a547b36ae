// What is wrong in a project file, and where: one plain struct, its ordering and its printed form.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "project/project.hpp"

namespace perdure {

/// A stretch of one line: where it begins and how many characters it covers (0 counts as 1).
struct Span {
    Place place;
    uint32_t length = 1;
};

/// A second place that belongs to the same error, such as the first use of a number that is there twice.
struct Elsewhere {
    Span span;
    std::string text;
    std::string line_text; ///< the source line, as in the file
};

/// One error of a project file.
struct Diagnostic {
    std::string path;
    Span span;
    std::string message;   ///< what is wrong, without a full stop
    std::string line_text; ///< the source line, as in the file; empty when there is none to show
    std::string expected;  ///< what would be right; may be empty
    std::string nearest;   ///< the nearest known key or value; empty when none is near
    std::vector<Elsewhere> elsewhere;
};

/// The printed form, several lines, each ended by a line feed:
///
///     pump.toml:12:9: error: "every" must be longer than 0 s
///         every = "0 s"
///                 ^~~~~
///       expected: a time such as "45 s", "10 min" or "6 h"
///       nearest: ...
///
/// Characters that do not print are shown as '?', tabs as one space; of a long line only the part around the place is
/// shown.
std::string render(const Diagnostic& diagnostic);

/// All of them one after the other, then a line that counts them.
std::string render(const std::vector<Diagnostic>& diagnostics);

/// Sorts by line, then column; equal places keep their order.
void order_by_place(std::vector<Diagnostic>& diagnostics);

/// The number of letters to insert, drop, replace or swap with their neighbour to get from one word to the other, upper
/// and lower case taken as equal. (Optimal string alignment distance; textbook, no source.)
size_t edit_distance(std::string_view from, std::string_view to);

/// The candidate with the smallest edit distance to `word`, or empty when none is within a third of its length (at
/// least 1).
std::string nearest(std::string_view word, const std::vector<std::string>& candidates);

} // namespace perdure
