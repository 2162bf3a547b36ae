// The C sources for one project, as texts: pure, nothing is written here. Same input, same bytes.
#pragma once

#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "firmware/plan.hpp"

namespace perdure {

struct EmittedFile {
    std::string path; ///< in the folder, with '/'
    std::string text;
    bool yours = false; ///< the engineer writes in it: never overwritten once they have
};

struct EmitOptions {
    std::string prefix = "data"; ///< of every name and file that is emitted
    bool bench = false;          ///< also a firmware for a bench that cuts the supply
    std::string project_sha256;  ///< of the project file's bytes, in hexadecimal
};

/// All files for the project's firmware. Refused, with a place, where a name of the project cannot be one in C and C++
/// beside the others that are emitted.
tl::expected<std::vector<EmittedFile>, Diagnostic> emit_firmware(const Project& project, const FirmwarePlan& plan,
                                                                 const EmitOptions& options);

/// SHA-256 of the bytes, in hexadecimal.
std::string sha256_hex(std::string_view bytes);

} // namespace perdure
