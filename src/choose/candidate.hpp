// One candidate from a budget, or from values written in place in an external memory. Only src/choose includes this.
#pragma once

#include "choose/choose.hpp"

namespace perdure {

/// The voltage of energies where the project has no [energy].
constexpr double assumed_voltage_v = 3;

/// The project's demand with periodic saves so many times as far apart.
Project stretched(Project project, double factor);

/// Candidates of one project as it stands: the fewest ring blocks, one more, and twice as many. One, with its reasons,
/// where nothing can be computed.
std::vector<Candidate> candidates_of(const Project& project, CandidateKind kind, double stretch);

/// The records in an external memory without erase (EEPROM, FRAM, MRAM): each in slots of whole pages, written in turn,
/// two at the least so that a cut leaves the one before; more slots for what wears most until it holds.
Candidate in_place(const Project& project, const ExternalMemory& memory, double stretch);

/// A serial NOR memory as a part that carries the store: nothing where a figure for that is not known (`missing` names
/// it).
std::optional<Device> nor_part(const ExternalMemory& memory, std::string& missing);

} // namespace perdure
