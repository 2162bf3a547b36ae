// What `perdure inspect` found in one dump, for people.
#pragma once

#include <iosfwd>

#include "inspect/json.hpp"

namespace perdure {

void print_inspection(const Expected& expected, const DumpFile& dump, const Inspection& inspection,
                      const InspectShown& shown, std::ostream& out);

} // namespace perdure
