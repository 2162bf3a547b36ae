// What `perdure inspect` found in one dump, for people and for programs.
#pragma once

#include <iosfwd>

#include <nlohmann/json.hpp>

#include "inspect/inspection.hpp"

namespace perdure {

struct InspectShown {
    uint64_t history_max = 3; ///< entries of each record
    bool listing = false;     ///< every unit
};

void print_inspection(const Expected& expected, const DumpFile& dump, const Inspection& inspection,
                      const InspectShown& shown, std::ostream& out);

nlohmann::json json_of(const Expected& expected, const DumpFile& dump, const Inspection& inspection,
                       const InspectShown& shown);

/// One field's value as JSON: a number, or a text as show_value gives it; null where it is no finite number.
nlohmann::json json_of(const FieldValue& value);

} // namespace perdure
