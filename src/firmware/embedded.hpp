// The files built into this part: templates/*.mustache and those of store/.
#pragma once

#include <string_view>

namespace perdure {

/// The file of that name ("data.h.mustache", "store.c"); empty without such a one.
std::string_view firmware_file(std::string_view file_name);

} // namespace perdure
