// One field of a record as C: its declaration, how it is packed and unpacked, and what the emitted test does with it.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "project/project.hpp"

namespace perdure {

/// "uint16_t open_minute", "uint8_t label[16]".
std::string declaration(const Field& field);

/// What to know of it, for a comment; empty when there is nothing.
std::string field_comment(const Field& field);

/// The statement that packs it at `offset` of `payload`, an array of bytes, and the one that unpacks it.
std::string pack_statement(const Field& field, uint32_t offset, std::string_view payload = "payload");
std::string unpack_statement(const Field& field, uint32_t offset, std::string_view payload = "payload");

/// Its default as a C literal; empty where it is all zeros.
std::string default_literal(const Field& field);

/// The emitted test's contents number n of the field that is the `place`th of its record: a statement, and what has to
/// stand in flash for n = 1.
std::string fill_statement(const Field& field, size_t place);
std::vector<uint8_t> filled_bytes(const Field& field, size_t place);

/// Whether fields of `a` and `b` are equal, as a C expression.
std::string same_expression(const Field& field);

/// "0x01, 0x02," in lines of twelve.
std::vector<std::string> byte_lines(const std::vector<uint8_t>& bytes);

} // namespace perdure
