// The contents of logs.
#pragma once

#include "inspect/inspection.hpp"

namespace perdure {

/// Fills in the samples of a log (how many, and `with_bytes` each of them), and the number that the next one gets; of
/// other records nothing.
void collect_samples(InspectedRecord& of, const Decoded& decoded, bool with_bytes);

} // namespace perdure
