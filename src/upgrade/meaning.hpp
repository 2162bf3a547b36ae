// What differs between two versions though the bytes in flash stay as they are: warnings, as no rule is broken.
#pragma once

#include <string>

#include "upgrade/schema.hpp"

namespace perdure {

/// What the emitted load gives where nothing good is stored. `who`: "record limits (id 2)".
void compare_if_lost(RecordChange& record, const std::string& who, SchemaChange& out);

/// The number stays, and may be taken for another quantity.
void compare_units(const Field& from, const Field& to, const std::string& who, FieldChange& field, SchemaChange& out);

} // namespace perdure
