#include "cli/cut_report.hpp"

#include <algorithm>
#include <cmath>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "budget/demand.hpp"
#include "cli/cut_case.hpp"
#include "cli/text.hpp"
#include "dossier/markup.hpp"

namespace perdure {
namespace {

constexpr std::array<std::string_view, cut_calls> call_names{"put", "service", "start"};
constexpr std::array<std::string_view, cut_operations> operation_names{"program", "erase", "between"};
constexpr std::array<const char*, outcomes> outcome_names{"as_before", "as_new", "nothing_in_flight"};

std::string reading_name(unsigned reading) {
    if (reading < reading_kinds) { return std::string(name_of(static_cast<Reading>(reading))); }
    if (reading < reading_kinds + torn_erase_kinds) {
        return std::string(name_of(static_cast<TornErase>(reading - reading_kinds)));
    }
    return "not begun";
}

/// What --replay takes: "store:own-turn:a0.t1.r0", with the options that the path needs.
std::string replay_of(const CutArea& area, const std::string& part, const std::vector<uint64_t>& path) {
    return fmt::format("{}:{}:{}{}", area.area, part, path_text(path), area.options);
}

/// The path in such a line; `options` takes what stands behind it.
std::vector<uint64_t> path_of(const std::string& replay, std::string& options) {
    const size_t end = std::min(replay.size(), replay.find(' '));
    const size_t colon = replay.rfind(':', end);
    options = replay.substr(end);
    return path_from(replay.substr(colon + 1, end - colon - 1));
}

SearchCounts sum_of(const CutArea& area) {
    SearchCounts sum;
    for (const CutPart& part : area.parts) { sum += part.result.counts; }
    return sum;
}

std::string grouped(uint64_t value) {
    std::string digits = std::to_string(value);
    for (size_t at = digits.size(); at > 3;) { digits.insert(at -= 3, ","); }
    return digits;
}

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
                cells.push_back({{"cut_in", call_names[call]},
                                 {"operation", operation_names[operation]},
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

/// `options`: those behind the cases' paths, if there are any.
bool counts_from(const nlohmann::json& json, SearchResult& result, std::string& options) {
    SearchCounts& to = result.counts;
    try {
        to.actions = json.at("actions").get<uint64_t>();
        to.cuts = json.at("cuts").get<uint64_t>();
        to.trials = json.at("distinct_trials").get<uint64_t>();
        to.starts = json.at("starts").get<uint64_t>();
        to.saves = json.at("saves").get<uint64_t>();
        to.equal = json.at("equal").get<uint64_t>();
        to.sampled = json.at("sampled").get<uint64_t>();
        to.torn = json.at("torn").get<uint64_t>();
        to.chance = json.at("chance_matches").get<uint64_t>();
        for (const nlohmann::json& cell : json.at("outcomes")) {
            const auto index = [&](const char* key, const auto& names) {
                const auto found = std::find(names.begin(), names.end(), cell.at(key).get<std::string>());
                return static_cast<size_t>(found - names.begin());
            };
            const size_t call = index("cut_in", call_names);
            const size_t operation = index("operation", operation_names);
            unsigned reading = operation == 1 ? unsigned{reading_kinds} : 0U; // some names are those of both
            while (reading < cut_readings && reading_name(reading) != cell.at("reads").get<std::string>()) {
                reading++;
            }
            if (call >= cut_calls || operation >= cut_operations || reading >= cut_readings) { return false; }
            to.cells[call][operation][reading] = {cell.at("as_before").get<uint64_t>(),
                                                  cell.at("as_new").get<uint64_t>(),
                                                  cell.at("nothing_in_flight").get<uint64_t>()};
            if (!cell.contains("replay")) { continue; } // of an earlier version
            for (size_t outcome = 0; outcome < outcomes; outcome++) {
                const std::string line = cell["replay"].value(outcome_names[outcome], std::string{});
                if (line.empty()) { continue; }
                result.cases.push_back({static_cast<CutCall>(call), static_cast<CutOperation>(operation), reading,
                                        static_cast<Outcome>(outcome), path_of(line, options)});
            }
        }
    } catch (const nlohmann::json::exception&) { return false; }
    return true;
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

void print_table(const SearchCounts& counts, std::ostream& out) {
    out << fmt::format("  {:<18}{:<18}{:>13}{:>13}{:>13}\n", "cut in", "what it hit reads", "as before", "as new",
                       "no put then");
    for (unsigned call = 0; call < cut_calls; call++) {
        for (unsigned operation = 0; operation < cut_operations; operation++) {
            std::string name = fmt::format("{}, {}", call_names[call], operation_names[operation]);
            for (unsigned reading = 0; reading < cut_readings; reading++) {
                const Cell& cell = counts.cells[call][operation][reading];
                if (cell.as_before + cell.as_new + cell.nothing == 0) { continue; }
                out << fmt::format("  {:<18}{:<18}{:>13}{:>13}{:>13}\n", name, reading_name(reading),
                                   grouped(cell.as_before), grouped(cell.as_new), grouped(cell.nothing));
                name.clear();
            }
        }
    }
}

void print_area(const CutArea& area, std::ostream& out) {
    const SearchCounts sum = sum_of(area);
    double seconds = 0;
    for (const CutPart& part : area.parts) { seconds += part.seconds; }
    out << fmt::format("{}, area {}: {}\n", area.project, area.area,
                       holds(area) ? "no cut tried loses anything" : "A CUT LOSES SOMETHING, OR BYTES ARE MADE UP");
    const auto stopped = std::count_if(area.parts.begin(), area.parts.end(), [](const CutPart& part) {
        return !part.result.complete && !part.result.failure;
    });
    if (stopped != 0) {
        out << fmt::format("  NOT ALL WAS TRIED: in {} of {} parts the time was up\n", stopped, area.parts.size());
    }
    out << fmt::format("  {} blocks of {} units of {} B on {}, check code of {} bits{}\n\n", area.geometry.ring_blocks,
                       area.geometry.units_per_ring_block(), area.geometry.unit_bytes, area.part, area.check_bits,
                       area.shards > 1 && area.shards_seen.empty()
                           ? fmt::format("; shard {} of {} only", area.shard, area.shards)
                           : "");
    for (const CutPart& part : area.parts) {
        const SearchCounts& counts = part.result.counts;
        out << fmt::format("  {:<22}{:>13} cut trials,{:>11} distinct {:>7.1f} s\n", part.name,
                           grouped(counts.trials + counts.equal), grouped(counts.trials), part.seconds);
        out << "    " << wrapped(part.about, 4, 4) << '\n';
        if (!part.result.complete && !part.result.failure) {
            out << fmt::format("    NOT ALL: the time was up{}\n",
                               part.result.share > 0 && part.result.share < 1
                                   ? fmt::format(" after {:.0f} % of its actions", part.result.share * 100)
                                   : "");
        }
        if (counts.sampled != 0) {
            out << fmt::format("    {} starts had more ways to read than were tried: sampled there\n",
                               grouped(counts.sampled));
        }
    }
    out << '\n';
    print_table(sum, out);
    const ChanceLimit limit = chance_limit(sum.torn, area.check_bits);
    out << fmt::format("\n  {} cut points, {} cut trials, {} distinct, {} starts run, {:.1f} s\n", grouped(sum.cuts),
                       grouped(sum.trials + sum.equal), grouped(sum.trials), grouped(sum.starts), seconds);
    if (sum.saves != 0) { out << fmt::format("  saved when the supply fails: {} times\n", grouped(sum.saves)); }
    out << fmt::format("  torn units read in {} starts; passed the check by chance: {} ({:.2g} expected)\n",
                       grouped(sum.torn), sum.chance, limit.expected);
    out << "  "
        << wrapped(
               "Each distinct trial: opened read-only and for good, every record read, held against the model and "
               "the reader of dumps, the power lost again, the next put, and once more. 'A cut trial' counts each cut "
               "point with each way its weak units may read; equal states are run once.",
               2, 2)
        << '\n';
}

} // namespace

ChanceLimit chance_limit(uint64_t torn, uint32_t check_bits) {
    const double expected = static_cast<double>(torn) * std::exp2(-static_cast<double>(check_bits));
    return {expected, poisson_count(expected, 1 - 1e-6)};
}

bool holds(const CutArea& area) {
    const SearchCounts sum = sum_of(area);
    const bool one_shard = area.shards > 1 && area.shards_seen.empty(); // none may have fallen to it
    return (sum.cuts > 0 || one_shard) &&
           static_cast<double>(sum.chance) <= chance_limit(sum.torn, area.check_bits).most &&
           std::none_of(area.parts.begin(), area.parts.end(),
                        [](const CutPart& part) { return part.result.failure.has_value(); });
}

bool report(const std::vector<CutArea>& areas, bool json, std::ostream& out) {
    const bool all = std::all_of(areas.begin(), areas.end(), holds);
    if (json) {
        nlohmann::json list = nlohmann::json::array();
        for (const CutArea& area : areas) { list.push_back(json_of(area)); }
        out << nlohmann::json{{"holds", all}, {"sha256", areas.empty() ? "" : areas.front().sha256}, {"areas", list}}
                   .dump(2)
            << '\n';
        return all;
    }
    for (const CutArea& area : areas) { print_area(area, out); }
    return all;
}

void print_failure(const ProofPart& part, const SearchFailure& failure, const CutArea& area, bool flash,
                   std::ostream& out) {
    out << fmt::format("FAILURE in {}: {}\n", part.name, failure.what);
    for (const std::string& line : failure.story) { out << "  " << line << '\n'; }
    if (flash) {
        print_flash(part, failure.before, failure.after, failure.faulting, "the start that shows it", out);
    } else {
        out << fmt::format("  play it again, with the flash before and after:\n  perdure cut {} --replay {}\n\n",
                           area.file, replay_of(area, part.name, failure.path));
    }
}

std::string junit_of(const std::vector<CutArea>& areas) {
    size_t tests = 0;
    size_t failures = 0;
    std::string cases;
    for (const CutArea& area : areas) {
        for (const CutPart& part : area.parts) {
            tests++;
            cases += fmt::format("  <testcase classname=\"cut.{}\" name=\"{}\" time=\"{:.3f}\">\n",
                                 escaped_markup(area.area), escaped_markup(part.name), part.seconds);
            if (part.result.failure) {
                failures++;
                cases +=
                    fmt::format("    <failure message=\"{}\">{}</failure>\n", escaped_markup(part.result.failure->what),
                                escaped_markup(replay_of(area, part.name, part.result.failure->path)));
            }
            cases += "  </testcase>\n";
        }
    }
    return fmt::format("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuite name=\"perdure cut\" tests=\"{}\" "
                       "failures=\"{}\">\n{}</testsuite>\n",
                       tests, failures, cases);
}

std::string add_shard(std::vector<CutArea>& areas, const nlohmann::json& json) {
    try {
        for (const nlohmann::json& from : json.at("areas")) {
            CutArea area;
            area.project = from.at("project").get<std::string>();
            area.file = from.at("file").get<std::string>();
            area.area = from.at("area").get<std::string>();
            area.part = from.at("part").get<std::string>();
            area.sha256 = from.value("sha256", std::string{});
            area.geometry.unit_bytes = from.at("unit_bytes").get<uint32_t>();
            area.geometry.ring_blocks = from.at("blocks").get<uint32_t>();
            area.geometry.erase_block_bytes = from.at("block_units").get<uint32_t>() * area.geometry.unit_bytes;
            area.check_bits = from.at("check_bits").get<uint32_t>();
            area.shard = from.at("shard").get<unsigned>();
            area.shards = from.at("shards").get<unsigned>();
            if (area.shards < 1 || area.shards > shards_most || area.shard < 1 || area.shard > area.shards) {
                return "names a shard that cannot be";
            }
            for (const nlohmann::json& one : from.at("parts")) {
                CutPart part;
                part.name = one.at("name").get<std::string>();
                part.about = one.at("about").get<std::string>();
                part.depth = one.at("depth").get<unsigned>();
                part.seconds = one.at("seconds").get<double>();
                part.result.complete = one.at("complete").get<bool>();
                part.result.share = one.at("share").get<double>();
                if (!counts_from(one.at("counts"), part.result, area.options)) {
                    return "has outcomes that are not known";
                }
                if (one.contains("failure")) {
                    const nlohmann::json& failure = one.at("failure");
                    part.result.failure = SearchFailure{failure.at("what").get<std::string>(),
                                                        path_of(failure.at("replay").get<std::string>(), area.options),
                                                        {},
                                                        {},
                                                        {},
                                                        {}};
                }
                area.parts.push_back(std::move(part));
            }
            auto known =
                std::find_if(areas.begin(), areas.end(), [&](const CutArea& a) { return a.area == area.area; });
            if (known == areas.end()) {
                area.shards_seen = {area.shard};
                areas.push_back(std::move(area));
                continue;
            }
            const auto same = [](const CutPart& a, const CutPart& b) { return a.name == b.name && a.about == b.about; };
            if (known->project != area.project || known->sha256 != area.sha256 || known->shards != area.shards ||
                !std::equal(known->parts.begin(), known->parts.end(), area.parts.begin(), area.parts.end(), same)) {
                return "is of another project, other options or another number of shards";
            }
            if (std::find(known->shards_seen.begin(), known->shards_seen.end(), area.shard) !=
                known->shards_seen.end()) {
                return fmt::format("is shard {} once more", area.shard);
            }
            known->shards_seen.push_back(area.shard);
            for (size_t i = 0; i < area.parts.size(); i++) {
                CutPart& to = known->parts[i];
                CutPart& part = area.parts[i];
                to.result.counts += part.result.counts;
                add_cases(to.result.cases, part.result.cases);
                to.result.complete = to.result.complete && part.result.complete;
                to.result.share = std::min(to.result.share, part.result.share);
                to.seconds += part.seconds;
                if (!to.result.failure) { to.result.failure = std::move(part.result.failure); }
            }
        }
    } catch (const nlohmann::json::exception&) { return "is not what perdure cut --json puts out"; }
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
