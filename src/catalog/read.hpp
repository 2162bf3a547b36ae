// Reads the catalogue's two tables. catalog/README.md tells what their cells mean.
#pragma once

#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "catalog/catalog.hpp"

namespace perdure {

/// The catalogue of the two tables' texts. Errors name the table, the part and the column: malformed CSV, a column
/// missing, a cell that is not a number, runs that do not add up to the flash, a figure that no source claims, a claim
/// on an empty cell.
tl::expected<Catalog, std::string> read_catalog(std::string_view devices_csv, std::string_view externals_csv);

} // namespace perdure
