// Arbitrary bytes as an area for the reader of dumps and its listing, and what must hold whatever the bytes are.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace perdure::fuzz {

/// Decodes and lists the area that `input` describes. Empty if all holds that must; else what does not.
/// area_input.hpp says how.
std::string try_decode(std::span<const uint8_t> input);

/// What kinds of entries and contents the area of `input` holds, so that a test can say what its inputs reach.
std::vector<std::string> kinds_met(std::span<const uint8_t> input);

} // namespace perdure::fuzz
