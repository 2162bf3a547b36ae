#include "tests/paths.hpp"

namespace perdure {

std::string source_path(std::string_view within) {
    std::string out = PERDURE_SOURCE_DIR;
    if (!within.empty()) { out.append("/").append(within); }
    return out;
}

std::string binary_folder() {
    return PERDURE_BINARY_DIR;
}

std::string program_path() {
    return PERDURE_PROGRAM;
}

std::string faulty_program_path() {
    return PERDURE_FAULTY_PROGRAM;
}

} // namespace perdure
