// What a project file says, and what is wrong in it, as JSON.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "project/diagnostic.hpp"
#include "project/project.hpp"

namespace perdure {

/// "value", "total" or "log".
std::string_view kind_word(const Record& record);

/// "program_bytes, vdd_min": the columns of a part's figures that have no document behind them.
std::string columns_from_memory(const Device& part);

/// Product, part, supply, areas and records, without anything that is computed.
nlohmann::json project_json(const Project& project);

/// One object an error: file, line, column, message, expected, nearest.
nlohmann::json diagnostics_json(const std::vector<Diagnostic>& errors);

} // namespace perdure
