// Writes emitted files into a folder, and never over what it did not write.
#pragma once

#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "firmware/firmware.hpp"

namespace perdure {

/// What became of each file, as paths in the folder.
struct FolderReport {
    std::vector<std::string> written;
    std::vector<std::string> unchanged; ///< held the same bytes already
    std::vector<std::string> kept;      ///< the engineer's: not touched
    std::vector<std::string> removed;   ///< emitted earlier, no longer part of it, and not changed since
    std::vector<std::string> left;      ///< the same, but changed by hand: not touched
};

/// Writes the files under `folder`, which is made if it is not there, and emitted.txt, which says what was written with
/// its SHA-256. All or nothing where a file stands in the way: one that is not in emitted.txt, or was changed since, is
/// overwritten only with `force`, and a file that is the engineer's never. Errors are texts that name the files.
tl::expected<FolderReport, std::vector<std::string>> write_folder(const std::string& folder,
                                                                  const std::vector<EmittedFile>& files, bool force);

} // namespace perdure
