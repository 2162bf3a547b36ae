// One candidate from a budget, or from values written in place in an external memory. Only src/choose includes this.
#pragma once

#include "choose/choose.hpp"

namespace perdure {

/// The voltage of energies where the project has no [energy].
constexpr double assumed_voltage_v = 3;

/// The project saved so.
Project saved_so(Project project, const SaveChange& change);

/// One candidate with its entries counted, as make_budget counts them.
Candidate counted(const Candidate& reckoned);

/// Candidates of one project as it stands, `policy` being how it is saved: up to `layouts` rings (ChooseOptions). One,
/// with its reasons, where nothing can be computed.
std::vector<Candidate> candidates_of(const Project& project, CandidateKind kind, const SaveChange& policy,
                                     uint32_t layouts);

/// The records in an external memory without erase (EEPROM, FRAM, MRAM): each in slots of whole pages, written in turn,
/// two at the least so that a cut leaves the one before; more slots for what wears most until it holds.
Candidate in_place(const Project& project, const ExternalMemory& memory, const SaveChange& policy);

/// A serial NOR memory as a part that carries the store: nothing where a figure for that is not known (`missing` names
/// it).
std::optional<Device> nor_part(const ExternalMemory& memory, std::string& missing);

} // namespace perdure
