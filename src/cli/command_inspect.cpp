// perdure inspect: what a dump of a returned unit holds, and what happened to it.
#include <charconv>
#include <filesystem>
#include <ostream>
#include <thread>

#include <fmt/format.h>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/fleet_report.hpp"
#include "cli/inspect_report.hpp"
#include "cli/text.hpp"

namespace perdure {
namespace {

/// What was typed, checked.
struct InspectInput {
    std::optional<HexFormat> format;
    std::optional<uint64_t> base, flash_start;
    InspectOptions options;
    InspectShown shown;
    std::optional<FleetInput> fleet; ///< many dumps instead of one
    std::string wrong;               ///< not empty: what cannot be
};

/// --fleet and the options that go with it.
void read_fleet_options(const CommandInput& input, InspectInput& out) {
    const auto take = [&](std::string wrong) {
        if (out.wrong.empty()) { out.wrong = std::move(wrong); }
    };
    const auto folder = option_of(input, "--fleet");
    if (!folder) {
        for (const char* name : {"--db", "--csv", "--ages", "--threads"}) {
            if (option_of(input, name)) { take(fmt::format("{} goes with --fleet DIR", name)); }
        }
        return;
    }
    for (const char* name : {"--format", "--history", "--listing", "--logs"}) {
        if (option_of(input, name)) { take(fmt::format("{} is for one dump, not for --fleet", name)); }
    }
    uint64_t threads = std::max(1U, std::thread::hardware_concurrency());
    take(number_option(input, "--threads", 1, 256, threads));
    FleetInput& fleet = out.fleet.emplace();
    fleet.folder = *folder;
    fleet.database = option_of(input, "--db");
    fleet.csv = option_of(input, "--csv");
    fleet.ages = option_of(input, "--ages");
    fleet.options.threads = static_cast<unsigned>(threads);
    fleet.options.base = out.base;
    fleet.options.age_years = out.options.age_years;
    fleet.options.gaps_are_blank = out.options.gaps_are_blank;
}

InspectInput input_of(const CommandInput& input) {
    InspectInput out;
    const auto take = [&](std::string wrong) {
        if (out.wrong.empty()) { out.wrong = std::move(wrong); }
    };
    take(address_option(input, "--base", out.base));
    take(address_option(input, "--flash-start", out.flash_start));
    take(number_option(input, "--history", 0, 1'000'000, out.shown.history_max));
    out.options.gaps_are_blank = option_of(input, "--blank-gaps").has_value();
    out.shown.listing = option_of(input, "--listing").has_value();
    if (const auto word = option_of(input, "--format")) {
        out.format = format_of_word(*word);
        if (!out.format) { take(fmt::format("--format takes hex, srec or bin, not '{}'", *word)); }
    }
    if (const auto text = option_of(input, "--age")) {
        double years = 0;
        const auto [end, error] = std::from_chars(text->data(), text->data() + text->size(), years);
        if (error != std::errc{} || end != text->data() + text->size() || !(years > 0) || years > 1000) {
            take(fmt::format("--age takes years in use, such as 3.5, not '{}'", *text));
        }
        out.options.age_years = years;
    }
    read_fleet_options(input, out);
    return out;
}

/// A file for each log, by its record's name or id. Empty, or what cannot be written.
std::string write_logs(const Inspection& inspection, const std::string& folder) {
    std::error_code error;
    std::filesystem::create_directories(folder, error);
    for (const InspectedArea& area : inspection.areas) {
        for (const InspectedRecord& record : area.records) {
            if (!record.log_next) { continue; }
            const std::string name =
                record.record != nullptr ? record.record->name : fmt::format("record-{}", record.id);
            std::string wrong =
                write_file((std::filesystem::path(folder) / (name + ".csv")).string(), samples_csv(record));
            if (!wrong.empty()) { return wrong; }
        }
    }
    return {};
}

} // namespace

int run_inspect(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const InspectInput typed = input_of(input);
    if (!typed.wrong.empty()) { return complain(input, typed.wrong, out, err); }
    if (input.arguments.size() != (typed.fleet ? 1 : 2)) {
        return complain(input, "inspect takes a project file and a dump, or with --fleet DIR a project file", out, err);
    }
    const auto project = project_of(input, out, err);
    if (!project) { return exit_input_wrong; }
    const auto expected = make_expected(*project, typed.flash_start);
    if (!expected) { return complain(input, expected.error().text, out, err); }
    if (typed.fleet) { return run_fleet(input, *expected, *typed.fleet, out, err); }
    const std::string& path = input.arguments[1];
    const auto contents = read_file(path);
    if (!contents) { return complain(input, contents.error(), out, err); }
    const DumpFile dump = read_dump(path, *contents, typed.format, typed.base);
    if (typed.base && dump.format != HexFormat::binary) {
        return complain(input,
                        fmt::format("--base is for binary dumps; {} is read as {}, which has addresses", path,
                                    name_of(dump.format)),
                        out, err);
    }
    const std::string errors = render_hex_errors(path, *contents, dump.read);
    if (dump.read.memory.segments.empty()) {
        return complain_rendered(input, errors + fmt::format("perdure: error: {} holds no bytes\n", path), out, err);
    }
    const Inspection inspection = inspect(*expected, dump, typed.options);
    if (!inspection.place.unclear.empty()) {
        const std::string text = fmt::format("{}: {}: say it with --base ADDRESS", path, inspection.place.unclear);
        if (input.json) { return complain(input, text, out, err); }
        return complain_rendered(input, wrapped("perdure: error: " + text, 2, 0) + "\n", out, err);
    }
    if (const auto folder = option_of(input, "--logs")) {
        const std::string wrong = write_logs(inspection, *folder);
        if (!wrong.empty()) { return complain(input, wrong, out, err); }
    }
    if (input.json) {
        out << json_of(*expected, dump, inspection, typed.shown)
                   .dump(2, ' ', false, nlohmann::json::error_handler_t::replace)
            << '\n';
    } else {
        err << errors;
        print_inspection(*expected, dump, inspection, typed.shown, out);
    }
    return inspection.holds() && dump.read.error_count == 0 ? exit_ok : exit_not_met;
}

} // namespace perdure
