// How the commands print paragraphs: plain text, 80 columns, no colour.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace perdure {

constexpr size_t text_columns = 80;

/// The words in lines of at most 80 columns, each after the first indented by `indent` blanks. The first line is taken
/// to begin at column `used`. No line feed at the end.
std::string wrapped(std::string_view words, size_t indent, size_t used);

} // namespace perdure
