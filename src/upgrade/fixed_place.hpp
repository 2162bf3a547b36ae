// Does a project file itself say where its data lie? What it leaves to be found is found anew by each later catalogue,
// budget and program, and may then come out elsewhere than in the products that have been shipped.
#pragma once

#include <vector>

#include "upgrade/schema.hpp"

namespace perdure {

/// A breach for each area whose size or start `version` leaves to be found, with the lines that fix it where it lies
/// now. `version` is placed.
std::vector<Breach> check_places(const ProductVersion& version);

} // namespace perdure
