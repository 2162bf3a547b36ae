// What the live page's requests are answered with: pure functions of what was sent.
#pragma once

#include <optional>
#include <string>

#include <nlohmann/json.hpp>

#include "dossier/dossier.hpp"

namespace perdure {

/// A change that is tried without writing it into the file. Absent: as the file says.
struct TriedChange {
    std::optional<double> life_years;
    std::optional<double> saves_factor;  ///< all saves but those at starts and at power failure, so many times as often
    std::optional<uint32_t> ring_blocks; ///< of every area
    std::optional<std::string> part;     ///< of the catalogue
};

/// Reads "life", "saves", "blocks", "part" of a request; the text says what is wrong, or is empty.
std::string read_change(const nlohmann::json& request, TriedChange& to);

/// The findings of the project with that change; `errors` or `refused` as in a dossier.
nlohmann::json tried_json(const ProjectFile& file, const TriedChange& change);

/// Plays the calls of a request ("area", "script") and says what each flash operation of the last one did. `error` says
/// what is wrong with the request.
nlohmann::json steps_json(const ProjectFile& file, const nlohmann::json& request);

/// A dump of a returned unit, held against the project: what `perdure inspect` says, and each unit of each area.
nlohmann::json dump_json(const ProjectFile& file, const std::string& name, const std::string& contents,
                         bool gaps_are_blank);

/// Is `replay` one of the lines that a result of the power-cut proof names, of a case or of a failure?
bool names_case(const nlohmann::json& result, const std::string& replay);

/// Ids, makers and whether a store can be carried, of all parts in the catalogue.
nlohmann::json part_list_json();

} // namespace perdure
