// Comma-separated values as RFC 4180 writes them: quoted fields may hold commas, line ends and doubled quotes.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

namespace perdure {

/// The records of `text` as lists of fields. Lines may end with LF or CRLF; the last line's end may be left out.
/// Errors name the line: a quoted field without its end, or anything but a comma or line end after a quoted field.
tl::expected<std::vector<std::vector<std::string>>, std::string> parse_csv(std::string_view text);

} // namespace perdure
