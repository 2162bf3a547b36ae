// Arbitrary bytes as what a product does with its store, power cuts in it, held against a model.
#pragma once

#include <span>
#include <string>

#include "tests/fuzz/open_input.hpp"

namespace perdure::fuzz {

/// Runs the store on the simulated flash as `input` says. Empty if all holds that must: every record reads as its last
/// acknowledged value or as the one whose put was cut, and goes on so (store/README.md, promises 1 to 4); nothing is
/// programmed that promise 8 forbids. Else what does not.
/// Byte 0: bits 0 and 1 ring blocks, plus 2; 2 to 4 unit bytes; 5 blank is 0x00; 6 ECC; 7 pads are taken over anything.
/// Byte 1: units a block beyond the least. Bytes 2 and 3: what weak units read. Then two bytes a step, see
/// calls_input.cpp; what is missing ends the run with a last start. Check codes have 32 bits: chance passes none.
/// `seen`: what happened, "put", "cut put", "cut open" ...
std::string try_calls(std::span<const uint8_t> input, Answers* seen = nullptr);

} // namespace perdure::fuzz
