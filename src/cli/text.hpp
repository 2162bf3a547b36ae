// How the commands print figures and paragraphs: plain text, 80 columns, no colour.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace perdure {

constexpr size_t text_columns = 80;

/// "2 KiB", "1536 B": the largest unit in which it is whole.
std::string show_bytes(uint64_t bytes);

/// "45 s", "10 min", "250 us": the largest unit in which it is a short number.
std::string show_seconds(double seconds);

/// The words in lines of at most 80 columns, each after the first indented by `indent` blanks. The first line is taken to
/// begin at column `used`. No line feed at the end.
std::string wrapped(std::string_view words, size_t indent, size_t used);

} // namespace perdure
