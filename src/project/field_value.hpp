// One field's value: from text to its bytes in flash, and back.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include <tl/expected.hpp>

#include "project/project.hpp"

namespace perdure {

using FieldValue = std::variant<uint64_t, int64_t, float, double, std::vector<uint8_t>>;

/// The value that field.bytes little-endian bytes hold.
FieldValue value_of(const Field& field, std::span<const uint8_t> bytes);

/// The default of a field, zeros without one.
FieldValue default_of(const Field& field);

/// "4200", "-3", "20.5"; bytes as a text in quotes where they are printable up to the zeros at their end, else as
/// "hex:0A0B".
std::string show_value(const FieldValue& value);

/// Its bytes in flash, field.bytes of them.
std::vector<uint8_t> bytes_of(const Field& field, const FieldValue& value);

/// Reads a whole number (decimal, or hexadecimal behind 0x), a finite number for floats, and for bytes a text, filled
/// up with zeros, or "hex:" and two digits a byte, all of them. The error says what would be right.
tl::expected<FieldValue, std::string> parse_value(const Field& field, std::string_view text);

} // namespace perdure
