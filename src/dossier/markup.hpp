// Text inside HTML and XML.
#pragma once

#include <string>
#include <string_view>

namespace perdure {

/// `text` as it stands in an element or in a quoted attribute.
std::string escaped_markup(std::string_view text);

} // namespace perdure
