// Project files of shipped versions, read from their folder.
#pragma once

#include <iosfwd>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "cli/commands.hpp"
#include "project/diagnostic.hpp"
#include "upgrade/schema.hpp"
#include "upgrade/shipped.hpp"

namespace perdure {

/// What is wrong with a version: the errors of its project file one by one, or else a text of whole lines.
struct WrongVersion {
    std::vector<Diagnostic> errors;
    std::string text;
};

/// Says so, and gives the exit code (files.hpp).
int complain(const CommandInput& input, const WrongVersion& wrong, std::ostream& out, std::ostream& err);

/// "versions" beside the project file, and the table in it.
std::string versions_folder(const std::string& project_path);

/// The table of the versions shipped of this project; empty where there is no folder. Every file that it names has to
/// be there, and as it was filed. Errors are whole lines, to print as they are.
tl::expected<std::vector<Shipped>, WrongVersion> shipped_versions(const std::string& project_path);

/// Reads a project file as a version of its product: one from a folder `versions` has its number and release from the
/// table, any other one is the present one on the present store. Placed. `release`: another release, 0 for none.
tl::expected<ProductVersion, WrongVersion> load_version(const std::string& path, int release = 0);

/// All shipped versions, oldest first, then the project itself if it is not the last one filed.
tl::expected<std::vector<ProductVersion>, WrongVersion> load_all_versions(const std::string& project_path);

} // namespace perdure
