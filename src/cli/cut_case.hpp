// One case of the power-cut proof, played again: what was done, what the power was cut in, and the flash before and
// after, for people and for programs.
#pragma once

#include <iosfwd>
#include <string>

#include <nlohmann/json_fwd.hpp>

#include "cuts/proof.hpp"

namespace perdure {

/// "as before", "as new", "nothing was under way".
std::string_view name_of(Outcome outcome);

/// Prints the flash before the first cut, where there was one, and at the start behind it.
void print_flash(const ProofPart& part, const std::vector<uint8_t>& before, const std::vector<uint8_t>& after,
                 const std::vector<uint8_t>& faulting, std::string_view at_the_start, std::ostream& out);

/// A case that loses nothing.
void print_case(const ProofPart& part, const PlayedCase& played, std::ostream& out);

/// Of a path that was played: a failure, or a case that loses nothing.
nlohmann::json case_json(const ProofPart& part, const SearchResult& result);

} // namespace perdure
