// What was found in one dump, as JSON.
#pragma once

#include <nlohmann/json.hpp>

#include "inspect/inspection.hpp"

namespace perdure {

struct InspectShown {
    uint64_t history_max = 3; ///< entries of each record
    bool listing = false;     ///< every unit
};

nlohmann::json json_of(const Expected& expected, const DumpFile& dump, const Inspection& inspection,
                       const InspectShown& shown);

/// One field's value as JSON: a number, or a text as show_value gives it; null where it is no finite number.
nlohmann::json json_of(const FieldValue& value);

} // namespace perdure
