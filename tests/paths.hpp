// Where the tests find what they read and run. The one place that knows where this tree lies, so that the objects of
// two clones are the same.
#pragma once

#include <string>
#include <string_view>

namespace perdure {

/// Of the sources: `within` is a path from their folder on; without it that folder.
std::string source_path(std::string_view within = "");

/// What is built: the folder, the program, and the program with a fault in its store.
std::string binary_folder();
std::string program_path();
std::string faulty_program_path();

} // namespace perdure
