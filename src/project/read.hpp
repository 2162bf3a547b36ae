// Reads a project file. docs/project-file.md describes its keys.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "catalog/catalog.hpp"
#include "project/diagnostic.hpp"
#include "project/project.hpp"

namespace perdure {

/// Reads the text of a project file. `path` is used in messages only. Gives the whole project, or every error that was
/// found, ordered by place (a text that is no TOML gives one error, where it stops being TOML). Any bytes are safe to
/// pass in.
tl::expected<Project, std::vector<Diagnostic>> read_project(std::string_view text, std::string path,
                                                            const Catalog& catalog);

/// As read_project, from a file of at most 1 MiB. A file that cannot be read is an error without a line.
tl::expected<Project, std::vector<Diagnostic>> load_project(const std::string& path, const Catalog& catalog);

/// A figure of a part without which nothing is computed.
struct NeededFigure {
    std::string_view column;  ///< of catalog/devices.csv
    std::string_view key;     ///< of [part]
    std::string_view example; ///< of what to write there
};

/// What a project file has to add to `part`, from its data sheet; empty when it can be used as it is.
std::vector<NeededFigure> figures_to_give(const Device& part);

} // namespace perdure
