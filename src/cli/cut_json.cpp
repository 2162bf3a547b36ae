#include "cli/cut_json.hpp"

#include <algorithm>
#include <array>
#include <iterator>
#include <stdexcept>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace perdure {
namespace {

constexpr std::array<const char*, outcomes> outcome_names{"as_before", "as_new", "nothing_in_flight"};

nlohmann::json json_of(const CutArea& area, const CutPart& part) {
    const SearchCounts& counts = part.result.counts;
    nlohmann::json cells = nlohmann::json::array();
    for (unsigned call = 0; call < cut_calls; call++) {
        for (unsigned operation = 0; operation < cut_operations; operation++) {
            for (unsigned reading = 0; reading < cut_readings; reading++) {
                const Cell& cell = counts.cells[call][operation][reading];
                if (cell.as_before + cell.as_new + cell.nothing == 0) { continue; }
                nlohmann::json replay = nlohmann::json::object();
                for (const CellCase& one : part.result.cases) {
                    if (unsigned(one.call) != call || unsigned(one.operation) != operation || one.reading != reading) {
                        continue;
                    }
                    replay[outcome_names[static_cast<size_t>(one.outcome)]] = replay_of(area, part.name, one.path);
                }
                cells.push_back({{"cut_in", name_of(static_cast<CutCall>(call))},
                                 {"operation", name_of(static_cast<CutOperation>(operation))},
                                 {"reads", reading_name(reading)},
                                 {"as_before", cell.as_before},
                                 {"as_new", cell.as_new},
                                 {"nothing_in_flight", cell.nothing},
                                 {"replay", std::move(replay)}});
            }
        }
    }
    return {{"actions", counts.actions}, {"cuts", counts.cuts},   {"distinct_trials", counts.trials},
            {"starts", counts.starts},   {"saves", counts.saves}, {"equal", counts.equal},
            {"sampled", counts.sampled}, {"torn", counts.torn},   {"chance_matches", counts.chance},
            {"outcomes", cells}};
}

nlohmann::json json_of(const CutArea& area) {
    const SearchCounts sum = sum_of(area);
    const ChanceLimit limit = chance_limit(sum.torn, area.check_bits);
    const bool merged = !area.shards_seen.empty();
    nlohmann::json out{{"project", area.project},
                       {"file", area.file},
                       {"area", area.area},
                       {"part", area.part},
                       {"sha256", area.sha256},
                       {"unit_bytes", area.geometry.unit_bytes},
                       {"blocks", area.geometry.ring_blocks},
                       {"block_units", area.geometry.units_per_ring_block()},
                       {"check_bits", area.check_bits},
                       {"options", area.options},
                       {"shard", merged ? 1 : area.shard},
                       {"shards", merged ? 1 : area.shards},
                       {"holds", holds(area)},
                       {"chance_matches_expected", limit.expected},
                       {"chance_matches_most", limit.most}};
    for (const CutPart& part : area.parts) {
        nlohmann::json one{{"name", part.name},
                           {"about", part.about},
                           {"depth", part.depth},
                           {"seconds", part.seconds},
                           {"complete", part.result.complete},
                           {"share", part.result.share},
                           {"counts", json_of(area, part)}};
        if (part.result.failure) {
            one["failure"] = {{"what", part.result.failure->what},
                              {"replay", replay_of(area, part.name, part.result.failure->path)}};
        }
        out["parts"].push_back(std::move(one));
    }
    return out;
}

// --- read back: nlohmann's exceptions end in add_shard ------------------------------------------------------------

/// A cell with a name that is not known.
struct UnknownName : std::runtime_error {
    using std::runtime_error::runtime_error;
};

/// A number, path or shape that perdure cut does not put out.
struct NotAResult : std::runtime_error {
    NotAResult() : std::runtime_error("not a result") {}
};

/// The whole number `name` of `json`, from `least` to `most`.
uint64_t count_of(const nlohmann::json& json, const char* name, uint64_t least = 0, uint64_t most = UINT64_MAX) {
    const nlohmann::json& number = json.at(name);
    if (!number.is_number_unsigned() || number.get<uint64_t>() < least || number.get<uint64_t>() > most) {
        throw NotAResult();
    }
    return number.get<uint64_t>();
}

/// The path in a line for --replay; `options` takes what stands behind it.
std::vector<uint64_t> path_of(const std::string& replay, std::string& options) {
    const size_t end = std::min(replay.size(), replay.find(' '));
    const size_t colon = replay.rfind(':', end);
    options = replay.substr(end);
    std::vector<uint64_t> path = path_from(replay.substr(colon + 1, end - colon - 1));
    if (path.empty()) { throw NotAResult(); }
    return path;
}

/// The first number from `from` to below `count` whose name is `name`.
template <class NameOf> unsigned number_of(const std::string& name, unsigned from, unsigned count, NameOf name_of) {
    for (unsigned i = from; i < count; i++) {
        if (name_of(i) == name) { return i; }
    }
    throw UnknownName(name);
}

/// `options`: those behind the cases' paths, if there are any.
SearchResult result_from(const nlohmann::json& json, std::string& options) {
    SearchResult result;
    SearchCounts& to = result.counts;
    to.actions = count_of(json, "actions");
    to.cuts = count_of(json, "cuts");
    to.trials = count_of(json, "distinct_trials");
    to.starts = count_of(json, "starts");
    to.saves = count_of(json, "saves");
    to.equal = count_of(json, "equal");
    to.sampled = count_of(json, "sampled");
    to.torn = count_of(json, "torn");
    to.chance = count_of(json, "chance_matches");
    for (const nlohmann::json& cell : json.at("outcomes")) {
        const unsigned call = number_of(cell.at("cut_in").get<std::string>(), 0, cut_calls,
                                        [](unsigned i) { return name_of(static_cast<CutCall>(i)); });
        const unsigned operation = number_of(cell.at("operation").get<std::string>(), 0, cut_operations,
                                             [](unsigned i) { return name_of(static_cast<CutOperation>(i)); });
        const bool of_block = static_cast<CutOperation>(operation) == CutOperation::erase;
        const unsigned reading =
            number_of(cell.at("reads").get<std::string>(), of_block ? reading_kinds : 0U, cut_readings, reading_name);
        to.cells[call][operation][reading] = {count_of(cell, "as_before"), count_of(cell, "as_new"),
                                              count_of(cell, "nothing_in_flight")};
        if (!cell.contains("replay")) { continue; } // of an earlier version
        for (size_t outcome = 0; outcome < outcomes; outcome++) {
            const std::string line = cell["replay"].value(outcome_names[outcome], std::string{});
            if (line.empty()) { continue; }
            result.cases.push_back({static_cast<CutCall>(call), static_cast<CutOperation>(operation), reading,
                                    static_cast<Outcome>(outcome), path_of(line, options)});
        }
    }
    return result;
}

CutPart part_from(const nlohmann::json& json, std::string& options) {
    CutPart part;
    part.name = json.at("name").get<std::string>();
    part.about = json.at("about").get<std::string>();
    part.depth = json.at("depth").get<unsigned>();
    part.seconds = json.at("seconds").get<double>();
    part.result = result_from(json.at("counts"), options);
    part.result.complete = json.at("complete").get<bool>();
    part.result.share = json.at("share").get<double>();
    if (json.contains("failure")) {
        const nlohmann::json& failure = json.at("failure");
        SearchFailure& to = part.result.failure.emplace();
        to.what = failure.at("what").get<std::string>();
        to.path = path_of(failure.at("replay").get<std::string>(), options);
    }
    return part;
}

CutArea area_from(const nlohmann::json& json) {
    CutArea area;
    area.project = json.at("project").get<std::string>();
    area.file = json.at("file").get<std::string>();
    area.area = json.at("area").get<std::string>();
    area.part = json.at("part").get<std::string>();
    area.sha256 = json.value("sha256", std::string{});
    area.geometry.unit_bytes = static_cast<uint32_t>(count_of(json, "unit_bytes", 1, UINT16_MAX));
    area.geometry.ring_blocks = static_cast<uint32_t>(count_of(json, "blocks", 1, UINT16_MAX));
    area.geometry.erase_block_bytes =
        static_cast<uint32_t>(count_of(json, "block_units", 1, UINT16_MAX)) * area.geometry.unit_bytes;
    area.check_bits = static_cast<uint32_t>(count_of(json, "check_bits", 8, 32));
    area.shard = static_cast<unsigned>(count_of(json, "shard", 0, UINT32_MAX));
    area.shards = static_cast<unsigned>(count_of(json, "shards", 0, UINT32_MAX));
    for (const nlohmann::json& one : json.at("parts")) { area.parts.push_back(part_from(one, area.options)); }
    area.options = json.value("options", area.options); // an earlier version named them behind its paths only
    return area;
}

/// Adds a further shard of the same area; empty, or what is wrong with it. A shard ends with its first failure: of the
/// parts behind it, it has tried nothing.
std::string add_to(CutArea& known, CutArea&& area) {
    const auto same = [](const CutPart& a, const CutPart& b) { return a.name == b.name && a.about == b.about; };
    const auto ends_early = [](const CutArea& one) { return !one.parts.empty() && one.parts.back().result.failure; };
    std::vector<CutPart>& to = known.parts;
    std::vector<CutPart>& more = area.parts;
    const size_t both = std::min(to.size(), more.size());
    const bool fits = to.size() == more.size() || ends_early(to.size() < more.size() ? known : area);
    if (known.project != area.project || known.sha256 != area.sha256 || known.shards != area.shards ||
        known.options != area.options || known.part != area.part || known.check_bits != area.check_bits ||
        known.geometry.unit_bytes != area.geometry.unit_bytes || !fits ||
        !std::equal(to.begin(), to.begin() + static_cast<ptrdiff_t>(both), more.begin(), same)) {
        return "is of another project, other options or another number of shards";
    }
    if (std::find(known.shards_seen.begin(), known.shards_seen.end(), area.shard) != known.shards_seen.end()) {
        return fmt::format("is shard {} once more", area.shard);
    }
    known.shards_seen.push_back(area.shard);
    for (size_t i = 0; i < both; i++) {
        to[i].seconds += more[i].seconds;
        to[i].result.add(std::move(more[i].result));
    }
    std::move(more.begin() + static_cast<ptrdiff_t>(both), more.end(), std::back_inserter(to));
    for (size_t i = both; i < to.size(); i++) { to[i].result.complete = false; }
    return {};
}

} // namespace

nlohmann::json cuts_json(const std::vector<CutArea>& areas) {
    nlohmann::json list = nlohmann::json::array();
    for (const CutArea& area : areas) { list.push_back(json_of(area)); }
    return {{"holds", std::all_of(areas.begin(), areas.end(), holds)},
            {"sha256", areas.empty() ? "" : areas.front().sha256},
            {"areas", list}};
}

std::string replay_of(const CutArea& area, const std::string& part, const std::vector<uint64_t>& path) {
    return fmt::format("{}:{}:{}{}", area.area, part, path_text(path), area.options);
}

std::string add_shard(std::vector<CutArea>& areas, const nlohmann::json& json) {
    try {
        for (const nlohmann::json& one : json.at("areas")) {
            CutArea area = area_from(one);
            if (area.shards < 1 || area.shards > shards_most || area.shard < 1 || area.shard > area.shards) {
                return "names a shard that cannot be";
            }
            const auto known =
                std::find_if(areas.begin(), areas.end(), [&](const CutArea& a) { return a.area == area.area; });
            if (known == areas.end()) {
                area.shards_seen = {area.shard};
                areas.push_back(std::move(area));
                continue;
            }
            std::string wrong = add_to(*known, std::move(area));
            if (!wrong.empty()) { return wrong; }
        }
    } catch (const nlohmann::json::exception&) {
        return "is not what perdure cut --json puts out";
    } catch (const NotAResult&) { return "is not what perdure cut --json puts out"; } catch (const UnknownName&) {
        return "has outcomes that are not known";
    }
    return {};
}

std::string missing_shards(const std::vector<CutArea>& areas) {
    for (const CutArea& area : areas) {
        for (unsigned shard = 1; shard <= area.shards; shard++) {
            if (std::find(area.shards_seen.begin(), area.shards_seen.end(), shard) == area.shards_seen.end()) {
                return fmt::format("shard {} of {} of area {} is missing", shard, area.shards, area.area);
            }
        }
    }
    return areas.empty() ? "--merge takes the files that --shard with --json has put out" : "";
}

} // namespace perdure
