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

/// Why the files were not written, or not all of them.
struct FolderError {
    std::vector<std::string> why;     ///< texts that name the files, with the system's reason where there is one
    std::vector<std::string> written; ///< paths that were written before it failed; none where something is in the way
    bool in_the_way = false;          ///< `force` or another folder helps
};

/// Writes the files under `folder`, which is made if it is not there, and emitted.txt, which says what was written with
/// its SHA-256. All or nothing where a file stands in the way: one that is not in emitted.txt, or was changed since, is
/// overwritten only with `force`, and a file that is the engineer's never. Where the system refuses a write,
/// emitted.txt still says what was written until then, so that the next run takes it for its own.
tl::expected<FolderReport, FolderError> write_folder(const std::string& folder, const std::vector<EmittedFile>& files,
                                                     bool force);

} // namespace perdure
