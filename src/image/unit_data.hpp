// The data of units as text: a table with a line for each, or "record.field=value" for one.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "image/image.hpp"

namespace perdure {

/// Reads comma-separated values (RFC 4180): a first row with `serial` and names "record.field", then a row a unit. An
/// empty cell is the field's default. A serial becomes a file name: letters, digits, '-', '_' and '.' (not first), up
/// to 64, none twice. Every error, up to 20, each a line: "path: row 3, column 2 (calibration.zero): ... ; expected
/// ...".
tl::expected<std::vector<UnitData>, std::string> read_units(std::string_view text, const std::string& path,
                                                            const Project& project);

/// Reads "record.field=value,record.field=value" into `data`. Empty, or what is wrong.
std::string read_settings(std::string_view text, const Project& project, UnitData& data);

/// Is it fit to be a file's name, as read_units says?
bool is_serial(std::string_view text);

} // namespace perdure
