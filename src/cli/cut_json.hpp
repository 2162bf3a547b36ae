// What `perdure cut` found as JSON, and shards of one proof that were kept so added up again.
#pragma once

#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "cli/cut_report.hpp"

namespace perdure {

nlohmann::json cuts_json(const std::vector<CutArea>& areas);

/// What --replay takes: "store:own-turn:a0.t1.r0", with the options that the path needs.
std::string replay_of(const CutArea& area, const std::string& part, const std::vector<uint64_t>& path);

/// Adds the counts of one shard's --json; empty, or what is wrong with it.
std::string add_shard(std::vector<CutArea>& areas, const nlohmann::json& json);
/// Empty when all shards were added, else which are missing.
std::string missing_shards(const std::vector<CutArea>& areas);

} // namespace perdure
