// The files of catalog/ as they were when the program was built.
#pragma once

#include <string_view>

namespace perdure {

/// The whole text of catalog/<file_name> ("devices.csv"); empty when there was no such file at build time.
std::string_view embedded_file(std::string_view file_name);

} // namespace perdure
