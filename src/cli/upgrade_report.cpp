#include "cli/upgrade_report.hpp"

#include <algorithm>
#include <ostream>

#include <fmt/format.h>

#include "cli/files.hpp"
#include "cli/text.hpp"
#include "upgrade/releases.hpp"

namespace perdure {
namespace {

constexpr size_t name_columns = 24;

void print_row(std::string_view name, std::string_view fate, std::string_view text, std::ostream& out) {
    constexpr size_t text_at = name_columns + 2 + 11;
    std::string line = fmt::format("{:<24}  {:<10} ", name, fate);
    if (name.size() > name_columns) { line = fmt::format("{}\n{:<26}{:<10} ", name, "", fate); }
    line += wrapped(text, text_at, text_at);
    line.erase(line.find_last_not_of(' ') + 1);
    out << line << '\n';
}

bool all_kept(const RecordChange& record) {
    return std::all_of(record.fields.begin(), record.fields.end(),
                       [](const FieldChange& f) { return f.fate == Fate::kept && f.text.empty(); });
}

void print_records(const SchemaChange& change, std::ostream& out) {
    print_row("record", "data", "", out);
    for (const RecordChange& record : change.records) {
        std::string text = record.text;
        if (text.empty() && all_kept(record)) { text = "every field as it was"; }
        print_row(fmt::format("{} (id {})", record.any().name, record.any().id), name_of(record.fate), text, out);
        if (all_kept(record)) { continue; }
        for (const FieldChange& field : record.fields) {
            const bool reads_default = field.fate == Fate::defaulted;
            print_row("  " + field.name, name_of(field.fate),
                      reads_default ? fmt::format("reads as {} until saved", field.text.empty() ? "0" : field.text)
                                    : field.text,
                      out);
        }
    }
}

/// What open made of a flash that is not this version's, and what to do.
std::string what_opened(const AreaTrial& area) {
    const std::string touched = area.untouched ? "no byte of it was changed" : "IT WAS CHANGED";
    switch (*area.opened) {
    case RELEASE_FOREIGN:
        return fmt::format("open gives PERDURE_FOREIGN: nothing is read, and {}. The data are not lost: the version "
                           "before still opens them. Never format on this answer in the field.",
                           touched);
    case RELEASE_BLANK:
        return fmt::format("open gives PERDURE_BLANK, as on a new part; {}. The data stand elsewhere in flash and are "
                           "not read; a product that formats on this answer begins from its defaults.",
                           touched);
    default:
        return fmt::format("open gives {}; {}", name_of(*area.opened), touched);
    }
}

void print_trial(const UpgradeResult& result, std::ostream& out) {
    out << "\n"
        << wrapped(fmt::format("tried: flash filled by {} with store {}, opened by {} with store {}; the power cut in "
                               "every program and erase of the migration, and on until a block more is full",
                               result.from->name, result.from->store_release, result.to->name,
                               result.to->store_release),
                   2, 0)
        << '\n';
    uint64_t by_chance = 0;
    bool went_back = false;
    for (const AreaTrial& area : result.trial->areas) {
        if (area.is_new) {
            out << wrapped(fmt::format("area {} is new: {}", area.name, what_opened(area)), 2, 0) << '\n';
        } else if (!area.carried) {
            out << wrapped(fmt::format("area {}: {}", area.name, what_opened(area)), 2, 0) << '\n';
        }
        if (area.images.empty()) { continue; }
        out << fmt::format("area {}\n", area.name);
        out << fmt::format("  {:<9}{:>9}{:>11}{:>9}{:>12}{:>12}  {}\n", "flash", "cuts", "read as", "saves", "starts",
                           "cut starts", "result");
        for (const ImageTrial& image : area.images) {
            out << fmt::format("  {:<9}{:>9}{:>11}{:>9}{:>12}{:>12}  {}\n", image.name, with_groups(image.cut_points),
                               with_groups(image.ways), with_groups(image.saves), with_groups(image.starts),
                               with_groups(image.nested_cuts), image.failure.empty() ? "holds" : "FAILS");
            by_chance += image.by_chance;
            went_back = went_back || image.back;
        }
        for (const ImageTrial& image : area.images) {
            out << "  " << wrapped(fmt::format("{}: {}", image.name, image.text), 4, 2) << '\n';
            if (image.after_step > 1) {
                out << "  "
                    << wrapped(fmt::format("{}: behind the migration one operation in {} was cut, of {}", image.name,
                                           image.after_step, with_groups(image.operations_after)),
                               4, 2)
                    << '\n';
            }
            if (!image.failure.empty()) {
                out << "  " << wrapped(fmt::format("FAILS, {}: {}", image.name, image.failure), 4, 2) << '\n';
            }
        }
    }
    if (went_back) {
        out << wrapped(fmt::format("without a cut: two turns under {}, one back under {}, one under {} again",
                                   result.to->name, result.from->name, result.to->name),
                       2, 0)
            << '\n';
    }
    for (const std::string& what : result.trial->not_tried) { out << wrapped("not tried: " + what, 2, 0) << '\n'; }
    if (by_chance != 0) {
        out << wrapped(fmt::format("{} cuts left a torn entry that passed its check code by chance: not so with other "
                                   "contents",
                                   by_chance),
                       2, 0)
            << '\n';
    }
}

std::string pair_of(const UpgradeResult& result) {
    return fmt::format("{} -> {}", result.from->name, result.to->name);
}

} // namespace

void print_breaches(const std::vector<Breach>& breaches, std::ostream& out) {
    for (const Breach& breach : breaches) {
        out << wrapped(fmt::format("BROKEN: {}. {}.", breach.rule, breach.text), 2, 0) << '\n'
            << "  " << wrapped(fmt::format("instead: {}", breach.instead), 4, 2) << '\n';
    }
}

void print_warnings(const std::vector<std::string>& warnings, std::ostream& out) {
    for (const std::string& warning : warnings) { out << wrapped("WARNING: " + warning, 2, 0) << '\n'; }
}

void print_upgrade(const UpgradeResult& result, std::ostream& out) {
    out << fmt::format("{}: {}, {}\n\n", result.to->project.product.name, pair_of(result),
                       result.holds()       ? "holds"
                       : result.change.back ? "does not hold as a downgrade"
                                            : "does not hold");
    print_records(result.change, out);
    out << '\n';
    if (result.change.breaches.empty()) { out << "rules: none is broken\n"; }
    print_breaches(result.change.breaches, out);
    print_warnings(result.change.warnings, out);
    for (const std::string& note : result.change.notes) { out << wrapped("note: " + note, 2, 0) << '\n'; }
    if (result.trial) { print_trial(result, out); }
}

void print_upgrades(const std::vector<UpgradeResult>& results, const std::vector<Breach>& breaches, std::ostream& out) {
    const bool holds = breaches.empty() &&
                       std::all_of(results.begin(), results.end(), [](const UpgradeResult& r) { return r.holds(); });
    out << fmt::format("{}: {} pairs of versions, {}\n\n", results.front().to->project.product.name, results.size(),
                       holds ? "every one holds" : "not every one holds");
    out << fmt::format("{:<36}{:>10}{:>12}  {}\n", "pair", "cuts", "starts", "result");
    for (const UpgradeResult& result : results) {
        uint64_t cuts = 0;
        uint64_t starts = 0;
        for (const AreaTrial& area : result.trial ? result.trial->areas : std::vector<AreaTrial>{}) {
            for (const ImageTrial& image : area.images) {
                cuts += image.cut_points + image.nested_cuts;
                starts += image.starts;
            }
        }
        out << fmt::format("{:<36}{:>10}{:>12}  {}\n", pair_of(result), with_groups(cuts), with_groups(starts),
                           result.holds() ? "holds" : "DOES NOT HOLD");
    }
    print_breaches(breaches, out);
    for (const UpgradeResult& result : results) {
        if (result.holds() && result.change.warnings.empty()) { continue; }
        out << '\n';
        if (result.holds()) {
            out << fmt::format("{}, holds\n", pair_of(result));
            print_warnings(result.change.warnings, out);
        } else {
            print_upgrade(result, out);
        }
    }
}

nlohmann::json json_of(const std::vector<Breach>& breaches) {
    nlohmann::json out = nlohmann::json::array();
    for (const Breach& breach : breaches) {
        out.push_back({{"rule", breach.rule}, {"text", breach.text}, {"instead", breach.instead}});
    }
    return out;
}

nlohmann::json json_of(const UpgradeResult& result) {
    nlohmann::json out;
    out["from"] = {{"name", result.from->name}, {"file", result.from->path}, {"store", result.from->store_release}};
    out["to"] = {{"name", result.to->name}, {"file", result.to->path}, {"store", result.to->store_release}};
    out["downgrade"] = result.change.back;
    out["holds"] = result.holds();
    out["broken_rules"] = json_of(result.change.breaches);
    out["warnings"] = result.change.warnings;
    out["notes"] = result.change.notes;
    out["records"] = nlohmann::json::array();
    for (const RecordChange& record : result.change.records) {
        nlohmann::json entry{{"name", record.any().name},
                             {"id", record.any().id},
                             {"data", name_of(record.fate)},
                             {"text", record.text},
                             {"fields", nlohmann::json::array()}};
        for (const FieldChange& field : record.fields) {
            entry["fields"].push_back({{"name", field.name}, {"data", name_of(field.fate)}, {"text", field.text}});
        }
        out["records"].push_back(std::move(entry));
    }
    if (!result.trial) { return out; }
    out["not_tried"] = result.trial->not_tried;
    for (const AreaTrial& area : result.trial->areas) {
        nlohmann::json entry{{"name", area.name}, {"carried", area.carried}, {"new", area.is_new}};
        if (area.opened) {
            entry["open_gives"] = name_of(*area.opened);
            entry["untouched"] = area.untouched;
        }
        for (const ImageTrial& image : area.images) {
            entry["flashes"].push_back({{"name", image.name},
                                        {"made", image.text},
                                        {"holds", image.failure.empty()},
                                        {"failure", image.failure},
                                        {"cuts", image.cut_points},
                                        {"cut_on_blocks", image.cut_blocks},
                                        {"operations_of_migration", image.operations},
                                        {"operations_behind_it", image.operations_after},
                                        {"one_cut_in", image.after_step},
                                        {"read_as", image.ways},
                                        {"saves_at_power_fail", image.saves},
                                        {"starts", image.starts},
                                        {"cut_starts", image.nested_cuts},
                                        {"passed_by_chance", image.by_chance},
                                        {"back_and_again", image.back}});
        }
        out["areas"].push_back(std::move(entry));
    }
    return out;
}

} // namespace perdure
