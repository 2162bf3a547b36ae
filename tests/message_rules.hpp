// Which literals of the sources are messages of the program.
#pragma once

#include "tests/literals.hpp"

namespace perdure {

/// A literal counts as a message unless a rule says why not, so a new message fails until docs/messages.md tells it:
/// three words or more anywhere, any number in what is given back as an error, as a finding's name or status, or in
/// capitals.
bool is_message(const Literal& literal);

} // namespace perdure
