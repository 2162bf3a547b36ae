#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "cut_log/cut_log.hpp"
#include "project/layout.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

/// The names of the project's records by their keys in a log; empty without a project.
std::map<RecordKey, std::string> names_of(const Project& project) {
    std::map<RecordKey, std::string> out;
    for (size_t i = 0; i < project.areas.size(); ++i) {
        for (const Record* record : records_of(project, project.areas[i])) {
            out[{static_cast<uint32_t>(i), record->id}] = record->name;
        }
    }
    return out;
}

std::string name_of(const std::map<RecordKey, std::string>& names, const RecordKey& key) {
    const auto known = names.find(key);
    return known != names.end() ? known->second : fmt::format("{} (area {})", key.second, key.first);
}

void show(const std::string& path, const CutLogReport& report, const std::map<RecordKey, std::string>& names,
          const std::vector<std::string>& strange, std::ostream& out) {
    const bool holds = report.fault_count == 0 && strange.empty();
    out << fmt::format("{}: {}\n", path, holds ? "every start found what it had to" : "does not hold");
    out << fmt::format("  {} starts, {} of them cut; {} cuts in a save, {} between saves\n", with_groups(report.starts),
                       with_groups(report.starts_cut), with_groups(report.cuts_in_saves()),
                       with_groups(report.cuts_between));
    out << fmt::format("\n  {:<26}{:>14}{:>10}{:>10}{:>10}\n", "record", "acknowledged", "cut", "as put", "read");
    uint64_t gone = 0;
    for (const auto& [key, count] : report.records) {
        out << fmt::format("  {:<26}{:>14}{:>10}{:>10}{:>10}\n", name_of(names, key), with_groups(count.acknowledged),
                           with_groups(count.cut), with_groups(count.cut_read_new), with_groups(count.read_back));
        gone += count.gone;
    }
    out << "  cut: saves that had not returned; as put: those that the next start read as\n"
           "  put, the others it read as before; read: by starts\n";
    if (gone > 0) {
        out << wrapped(fmt::format("  {} times a log's last batch was gone: starts take room too, and here they come "
                                   "more often than in use",
                                   with_groups(gone)),
                       2, 0)
            << '\n';
    }
    if (report.damaged + report.missing > 0) {
        out << wrapped(fmt::format("  {} lines damaged and {} missing, beside those that a cut ended: what they said "
                                   "is not known, and nothing is concluded from it",
                                   with_groups(report.damaged), with_groups(report.missing)),
                       2, 0)
            << '\n';
    }
    for (const std::string& text : strange) { out << wrapped("  " + text, 4, 0) << '\n'; }
    for (const CutLogFault& fault : report.faults) {
        out << wrapped(fmt::format("  {}:{}: {}", path, fault.place, fault.text), 4, 0) << '\n';
    }
    if (report.fault_count > report.faults.size()) {
        out << fmt::format("  and {} more\n", with_groups(report.fault_count - report.faults.size()));
    }
    out << "  Only cuts that were made are judged. A supply that sags slowly, or comes back\n"
           "  at once, is another test; docs/bench.md names them.\n";
}

nlohmann::json json_of(const CutLogReport& report, const std::map<RecordKey, std::string>& names,
                       const std::vector<std::string>& strange) {
    nlohmann::json out{{"holds", report.fault_count == 0 && strange.empty()},
                       {"starts", report.starts},
                       {"starts_cut", report.starts_cut},
                       {"cuts_in_saves", report.cuts_in_saves()},
                       {"cuts_between_saves", report.cuts_between},
                       {"lines_damaged", report.damaged},
                       {"lines_missing", report.missing},
                       {"lines_of_others", report.other_text},
                       {"fault_count", report.fault_count},
                       {"records_do_not_match", strange},
                       {"faults", nlohmann::json::array()},
                       {"records", nlohmann::json::array()}};
    for (const CutLogFault& fault : report.faults) {
        out["faults"].push_back({{"line", fault.place}, {"text", fault.text}});
    }
    for (const auto& [key, count] : report.records) {
        out["records"].push_back({{"area", key.first},
                                  {"id", key.second},
                                  {"name", names.contains(key) ? names.at(key) : ""},
                                  {"acknowledged", count.acknowledged},
                                  {"cut", count.cut},
                                  {"cut_read_as_put", count.cut_read_new},
                                  {"read_back", count.read_back},
                                  {"last_batch_gone", count.gone}});
    }
    return out;
}

} // namespace

int run_cut_log(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const std::string& path = input.arguments[0];
    const auto text = read_file(path);
    if (!text) { return complain(input, text.error(), out, err); }
    std::map<RecordKey, std::string> names;
    if (input.arguments.size() > 1) {
        const auto project = load_project(input.arguments[1], catalog());
        if (!project) { return complain(input, project.error(), out, err); }
        names = names_of(*project);
    }
    const CutLogReport report = check_cut_log(read_bench_log(*text));
    if (report.starts < 2) {
        return complain(input,
                        fmt::format("{}: {} of a start, so no cut to judge; a log of `emit --bench` has a line "
                                    "\"PB1 0 start *....\" for each (docs/bench.md)",
                                    path, report.starts == 0 ? "no line" : "only one line"),
                        out, err);
    }
    std::vector<std::string> strange;
    if (!names.empty()) {
        std::vector<RecordKey> wanted;
        for (const auto& [key, name] : names) { wanted.push_back(key); }
        strange = compare_records(report, wanted);
    }
    if (input.json) {
        out << json_of(report, names, strange).dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    } else {
        show(path, report, names, strange, out);
    }
    return report.fault_count == 0 && strange.empty() ? exit_ok : exit_not_met;
}

} // namespace perdure
