// A field's default as it stands in flash.
#pragma once

#include <cstdint>
#include <vector>

#include "project/project.hpp"

namespace perdure {

/// A field's default as its little-endian bytes in flash (two's complement, IEEE 754); zeros without one.
std::vector<uint8_t> default_bytes(const Field& field);

/// What a record reads as before it was ever put, record.payload_bytes() long: its fields' defaults; of a log zeros,
/// for there are no samples yet.
std::vector<uint8_t> default_payload(const Record& record);

} // namespace perdure
