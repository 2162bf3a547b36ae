// The contents of logs.
#pragma once

#include "inspect/inspection.hpp"

namespace perdure {

/// Fills in the samples of a log, and the number that the next one gets; of other records nothing.
void collect_samples(InspectedRecord& of, const Decoded& decoded);

} // namespace perdure
