#include "cli/fleet_report.hpp"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "catalog/csv.hpp"
#include "cli/files.hpp"
#include "cli/progress.hpp"
#include "fleet/database.hpp"

namespace perdure {
namespace {

constexpr std::array all_causes{Cause::cut,    Cause::worn,  Cause::rot,     Cause::overwritten,
                                Cause::erased, Cause::shape, Cause::missing, Cause::unclear};
static_assert(all_causes.size() == cause_count);

/// A cell as RFC 4180 wants it.
std::string cell(std::string_view text) {
    if (text.find_first_of(",\"\r\n") == std::string_view::npos) { return std::string(text); }
    std::string out = "\"";
    for (const char c : text) { (out += c == '"' ? "\"" : "") += c; }
    return out + "\"";
}

std::string csv_head(const Expected& expected) {
    std::string out = "unit,serial,file,in_order,error,area,contents,erases_most,erases_mean,erases_left,years_left,"
                      "reaches_life,restarts,bytes_missing";
    for (const Cause cause : all_causes) { out += fmt::format(",{}", name_of(cause)); }
    for (const ExpectedArea& area : expected.areas) {
        for (const Record* record : area.records) {
            for (const Field& field : record->fields) { out += fmt::format(",{}.{}", record->name, field.name); }
        }
    }
    return out + "\n";
}

/// A line an area; fields of other areas, and those that are not sure or not stored, stay empty.
std::string csv_lines(const Expected& expected, const UnitRow& row) {
    const std::string head = fmt::format("{},{},{},{},{}", row.number, cell(row.serial), cell(row.file),
                                         row.holds() ? 1 : 0, cell(row.error));
    if (row.areas.empty()) { return head + "\n"; }
    std::string out;
    for (const AreaRow& area : row.areas) {
        const Wear& wear = area.wear;
        out += fmt::format("{},{},{}", head, cell(area.area), area.contents);
        out += wear.known == 0 ? std::string(",,,")
                               : fmt::format(",{},{:.2f},{:.0f}", wear.most, wear.mean, wear.left_allowed);
        out += wear.years_left_seen ? fmt::format(",{:.4g}", *wear.years_left_seen) : ",";
        out += wear.reaches_life ? fmt::format(",{}", *wear.reaches_life ? 1 : 0) : ",";
        out += fmt::format(",{},{}", area.restarts, area.bytes_missing);
        for (const Cause cause : all_causes) {
            out += fmt::format(",{}",
                               std::ranges::count_if(area.damage, [&](const Damage& d) { return d.cause == cause; }));
        }
        for (const ExpectedArea& of : expected.areas) {
            for (const Record* record : of.records) {
                for (const Field& field : record->fields) {
                    const auto found = std::ranges::find_if(area.fields, [&](const FieldRow& f) {
                        return of.name == area.area && f.record == record->name && f.field == field.name;
                    });
                    const bool shown = found != area.fields.end() && found->stored && !found->unsure;
                    out += "," + (shown ? cell(found->value) : "");
                }
            }
        }
        out += "\n";
    }
    return out;
}

/// Serial and years in use, from a table with those two columns. Empty, or what is wrong with it.
std::string read_ages(const std::string& path, std::map<std::string, double, std::less<>>& ages) {
    const auto text = read_file(path);
    if (!text) { return text.error(); }
    const auto rows = parse_csv(*text);
    if (!rows) { return fmt::format("{}: {}", path, rows.error()); }
    if (rows->empty() || rows->front() != std::vector<std::string>{"serial", "years"}) {
        return fmt::format("{}: row 1 is not \"serial,years\"", path);
    }
    for (size_t i = 1; i < rows->size(); i++) {
        const std::vector<std::string>& row = (*rows)[i];
        if (row.size() == 1 && row[0].empty()) { continue; }
        double years = 0;
        const char* end = row.size() == 2 ? row[1].data() + row[1].size() : nullptr;
        if (end == nullptr || std::from_chars(row[1].data(), end, years).ptr != end || !(years > 0) || years > 1000) {
            return fmt::format("{}: row {} is no serial and years in use, such as OV-00001,3.5", path, i + 1);
        }
        ages[row[0]] = years;
    }
    return {};
}

nlohmann::json json_of(const FleetSummary& summary, const Expected& expected, size_t left_out, double seconds) {
    using nlohmann::json;
    std::vector<uint32_t> sorted = summary.most;
    std::ranges::sort(sorted);
    json out{{"project", expected.project->product.name},
             {"holds", summary.in_order == summary.units},
             {"units", summary.units},
             {"in_order", summary.in_order},
             {"unreadable", summary.unreadable},
             {"files_left_out", left_out},
             {"file_bytes", summary.file_bytes},
             {"seconds", seconds},
             {"reach_life", summary.reach_life},
             {"miss_life", summary.miss_life},
             {"miss_life_serials", summary.missing_life},
             {"restarts", summary.restarts},
             {"units_with_cuts", summary.units_with_cuts},
             {"erases_most", json::object()},
             {"damage", json::object()}};
    for (const auto& [name, share] :
         {std::pair{"least", 0.0}, {"p05", .05}, {"median", .5}, {"p95", .95}, {"most", 1.0}}) {
        out["erases_most"][name] = sorted.empty() ? json() : json(quantile(sorted, share));
    }
    for (const auto& [cause, count] : summary.damage) {
        out["damage"][std::string(name_of(cause))] = {{"units", count.first}, {"places", count.second}};
    }
    return out;
}

void print_wear(const std::vector<uint32_t>& sorted, std::ostream& out) {
    out << "\nwear: erases of each unit's most worn block\n";
    if (sorted.empty()) {
        out << "  no stamp of any unit could be read\n";
        return;
    }
    for (const auto& [name, share] :
         {std::pair{"least", 0.0}, {"5 %", .05}, {"median", .5}, {"95 %", .95}, {"most", 1.0}}) {
        out << fmt::format("  {:<8}{:>10}\n", name, with_groups(quantile(sorted, share)));
    }
    constexpr size_t bins = 10;
    const auto width = static_cast<uint32_t>((sorted.back() - sorted.front()) / bins + 1);
    std::array<size_t, bins> counts{};
    for (const uint32_t erases : sorted) { counts[(erases - sorted.front()) / width]++; }
    const size_t most = *std::ranges::max_element(counts);
    for (size_t i = 0; i < bins; i++) {
        const uint64_t from = sorted.front() + uint64_t{i} * width;
        if (from > sorted.back()) { break; }
        out << fmt::format("  {:>9} to {:>9}  {:>8}  {}\n", with_groups(from), with_groups(from + width - 1),
                           with_groups(counts[i]), std::string((counts[i] * 40 + most - 1) / most, '='));
    }
}

void print_fleet(const FleetSummary& summary, const Expected& expected, size_t left_out, std::ostream& out) {
    out << fmt::format("{}: {} units, {} in order, {} not", expected.project->product.name, with_groups(summary.units),
                       with_groups(summary.in_order), with_groups(summary.units - summary.in_order));
    out << (summary.unreadable == 0 ? "\n"
                                    : fmt::format(" ({} of them unreadable)\n", with_groups(summary.unreadable)));
    if (left_out != 0) {
        out << fmt::format("  {} other file{} or folder{} left out: no ending of a dump\n", with_groups(left_out),
                           left_out == 1 ? "" : "s", left_out == 1 ? "" : "s");
    }
    std::vector<uint32_t> sorted = summary.most;
    std::ranges::sort(sorted);
    print_wear(sorted, out);
    out << "\nlife\n";
    if (summary.reach_life + summary.miss_life == 0) {
        out << "  not known without --age YEARS or --ages CSV\n";
    } else {
        out << fmt::format("  {} of {} units reach {:.4g} years at the rate seen\n", with_groups(summary.reach_life),
                           with_groups(summary.reach_life + summary.miss_life), expected.project->product.life_years);
        for (const std::string& serial : summary.missing_life) { out << fmt::format("  does not: {}\n", serial); }
        if (summary.miss_life > summary.missing_life.size()) {
            out << fmt::format("  and {} more; see the database or the table\n",
                               with_groups(summary.miss_life - summary.missing_life.size()));
        }
    }
    out << "\nrecoveries\n";
    out << fmt::format("  {} starts still show in the rings; {} units show traces of a power cut\n",
                       with_groups(summary.restarts), with_groups(summary.units_with_cuts));
    out << "\ndamage              units     places\n";
    if (summary.damage.empty()) { out << "  none\n"; }
    for (const auto& [cause, count] : summary.damage) {
        out << fmt::format("  {:<14}{:>9}  {:>9}\n", name_of(cause), with_groups(count.first),
                           with_groups(count.second));
    }
}

} // namespace

int run_fleet(const CommandInput& input, const Expected& expected, FleetInput fleet, std::ostream& out,
              std::ostream& err) {
    if (!std::filesystem::is_directory(fleet.folder)) {
        return complain(input, fmt::format("'{}' is no folder", fleet.folder), out, err);
    }
    if (fleet.ages) {
        const std::string wrong = read_ages(*fleet.ages, fleet.options.ages);
        if (!wrong.empty()) { return complain(input, wrong, out, err); }
    }
    size_t left_out = 0;
    const std::vector<std::string> files = dumps_in(fleet.folder, left_out);
    if (files.empty()) {
        return complain(input, fmt::format("no dump in '{}': files end in .hex, .srec, .s19, .bin ...", fleet.folder),
                        out, err);
    }
    std::unique_ptr<FleetDatabase> database;
    if (fleet.database) {
        auto created = FleetDatabase::create(*fleet.database, expected.project->product.name);
        if (!created) { return complain(input, created.error(), out, err); }
        database = std::move(*created);
    }
    std::ofstream csv;
    const std::string beside = fleet.csv.value_or("") + ".part";
    if (fleet.csv) {
        csv.open(beside, std::ios::binary);
        csv << csv_head(expected);
    }
    FleetSummary summary;
    std::string wrong;
    const auto begin = std::chrono::steady_clock::now();
    {
        Progress bar(!input.json, err);
        inspect_fleet(expected, files, fleet.options, [&](UnitRow&& row) {
            summary.add(row);
            if (database) { wrong = database->add(row); }
            if (fleet.csv) { csv << csv_lines(expected, row); }
            bar.show(summary.units, files.size(), "dumps");
            return wrong.empty();
        });
    }
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    if (wrong.empty() && database) { wrong = database->finish(); }
    if (fleet.csv) {
        csv.close();
        std::error_code error;
        if (csv && wrong.empty()) { std::filesystem::rename(beside, *fleet.csv, error); }
        if (!csv || error) {
            wrong = fmt::format("cannot write '{}'{}", *fleet.csv, error ? ": " + error.message() : "");
        }
        std::filesystem::remove(beside, error);
    }
    if (!wrong.empty()) { return complain(input, wrong, out, err); }
    if (input.json) {
        out << json_of(summary, expected, left_out, seconds)
                   .dump(2, ' ', false, nlohmann::json::error_handler_t::replace)
            << '\n';
    } else {
        print_fleet(summary, expected, left_out, out);
        out << fmt::format("\n  {:.2f} s, {:.1f} MB of dumps a second\n", seconds,
                           seconds > 0 ? static_cast<double>(summary.file_bytes) / 1e6 / seconds : 0);
    }
    return summary.in_order == summary.units ? exit_ok : exit_not_met;
}

} // namespace perdure
