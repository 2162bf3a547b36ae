// Arbitrary bytes as an area for the store, and what must hold whatever the bytes are.
#pragma once

#include <cstdint>
#include <set>
#include <span>
#include <string>

namespace perdure::fuzz {

/// What the store answered, so that a test can say what its inputs reach: "open OK", "get FAULT", "put READ_ONLY" ...
using Answers = std::set<std::string>;

/// Opens the area that `input` describes (area_input.hpp), without writing and then as a product does; reads, puts,
/// services, opens again, formats. Empty if all holds that must; else what does not:
/// - No access outside the area, none across a ring block, none of 0 bytes, no program off a unit's start.
/// - A read-only open changes nothing, and a second one answers the same.
/// - No call programs and erases without end.
/// - After an open that gives OK, a put that gives OK reads back, at once and after the next open. The second half is
///   held only where the check codes are of 24 bits and more and nobody has made them 0: else chance may undo it.
/// - A format of flash that takes programs and erases gives OK, and leaves no record stored.
std::string try_open(std::span<const uint8_t> input, Answers* answers = nullptr);

} // namespace perdure::fuzz
