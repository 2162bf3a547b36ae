// perdure inspect --fleet: many dumps into a database and a table, and what they add up to.
#pragma once

#include <iosfwd>
#include <optional>
#include <string>

#include "cli/commands.hpp"
#include "fleet/fleet.hpp"

namespace perdure {

struct FleetInput {
    std::string folder;
    std::optional<std::string> database, csv, ages; ///< paths
    FleetOptions options;
};

/// Gives the exit code: 0 if every unit is in order.
int run_fleet(const CommandInput& input, const Expected& expected, FleetInput fleet, std::ostream& out,
              std::ostream& err);

} // namespace perdure
