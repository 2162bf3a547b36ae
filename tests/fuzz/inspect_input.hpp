// Arbitrary bytes as the file of a dump: HEX, S-records or binary, held against a small project.
#pragma once

#include <span>
#include <string>

#include "tests/fuzz/open_input.hpp"

namespace perdure::fuzz {

/// The first byte says how the rest is read (bits 0 and 1: by its contents, Intel HEX, S-records, binary; bit 2: a
/// base; bit 3: gaps are blank; bit 4: in the other of two shapes). Empty if all holds that must: every error has a
/// place in the text; what was read is written and read back as it was; the labels cover the area, byte by byte; all
/// damage lies in it. Else what does not. `seen`: "errors", contents and causes met.
std::string try_inspect(std::span<const uint8_t> input, Answers* seen = nullptr);

} // namespace perdure::fuzz
