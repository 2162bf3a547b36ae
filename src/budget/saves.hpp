// Each reason to save on its own: what it costs over life, and what it alone leaves open to a sudden cut.
#pragma once

#include <vector>

#include "budget/findings.hpp"

namespace perdure {

/// One part a save of the project file, by record, in the file's order.
std::vector<SavePart> save_parts(const Project& project, const std::vector<AreaBudget>& areas, const Demand& demand);

} // namespace perdure
