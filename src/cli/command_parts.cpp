#include <array>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "catalog/catalog.hpp"
#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "dossier/part_figures.hpp"
#include "project/diagnostic.hpp"
#include "project/read.hpp"
#include "project/units.hpp"

namespace perdure {
namespace {

std::string marked(const Device& part, std::string_view column, const std::string& text) {
    if (text.empty()) { return "-"; }
    return part.source_of(column).from_memory ? text + "*" : text;
}

std::string show_erases(const Device& part) {
    if (!part.endurance_cycles) { return ""; }
    return *part.endurance_cycles < 1e7 ? fmt::format("{:.0f}", *part.endurance_cycles)
                                        : fmt::format("{:g}", *part.endurance_cycles);
}

std::string show_smallest_block(const Device& part) {
    if (part.runs.empty()) { return ""; }
    const std::optional<BlockRun> run = best_run(part);
    return show_bytes(run ? run->erase_bytes : part.runs.front().erase_bytes);
}

void show_list(const Catalog& parts, std::ostream& out) {
    out << fmt::format("{:<13}{:>9}{:>10}{:>8}{:>9}  {}\n", "id", "flash", "block", "unit", "erases",
                       "can carry a store");
    size_t count = 0;
    for (const Device& part : parts.devices) {
        const Readiness use = readiness(part);
        count += use.ready ? 1 : 0;
        out << fmt::format("{:<13}{:>9}{:>10}{:>8}{:>9}  {}\n", part.id,
                           marked(part, "flash_bytes", part.flash_bytes ? show_bytes(*part.flash_bytes) : ""),
                           marked(part, "erase_layout", show_smallest_block(part)),
                           marked(part, "program_bytes", part.program_bytes ? show_bytes(*part.program_bytes) : ""),
                           marked(part, "endurance_cycles", show_erases(part)),
                           use.ready   ? "yes"
                           : use.never ? "no"
                                       : "with more figures");
        if (!use.ready) { out << "    " << wrapped(use.why_not, 4, 4) << '\n'; }
    }
    out << fmt::format("\n{} parts, {} can carry a store as they are. -: the catalogue has no such figure.\n"
                       "*: from memory, no document behind it; check it before use.\n"
                       "block: the erase block of the run that a store uses. erases: the guaranteed\n"
                       "minimum. perdure parts ID shows all figures of a part with their sources.\n",
                       parts.devices.size(), count);
}

void show_one(const Device& part, std::ostream& out) {
    out << fmt::format("{}: {} {}, such as {}, {}\n", part.id, part.maker, part.family, part.example_part, part.core);
    if (const std::string caution = part_caution(part); !caution.empty()) {
        out << "  " << wrapped(caution, 2, 2) << '\n';
    }
    bool any_from_memory = false;
    for (const Figure& figure : figures_of(part)) {
        if (figure.value.empty()) {
            out << fmt::format("  {:<18}not found\n", figure.column);
            continue;
        }
        const Provenance source = part.source_of(figure.column);
        any_from_memory = any_from_memory || source.from_memory;
        out << fmt::format("  {:<18}{}\n", figure.column, marked(part, figure.column, figure.value));
        out << "      " << wrapped(source.text.empty() ? "no source given" : source.text, 6, 6) << '\n';
    }
    if (!part.note.empty()) { out << "  note: " << wrapped(part.note, 4, 8) << '\n'; }
    const Readiness use = readiness(part);
    out << wrapped(use.ready ? "  It can carry a store." : "  It cannot carry a store as it is: " + use.why_not, 4, 2)
        << '\n';
    if (any_from_memory) { out << "  *: from memory, no document behind it; check it before use.\n"; }
}

} // namespace

int run_parts(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const Catalog& parts = catalog();
    if (input.arguments.empty()) {
        if (!input.json) {
            show_list(parts, out);
            return exit_ok;
        }
        nlohmann::json all = nlohmann::json::array();
        for (const Device& part : parts.devices) { all.push_back(part_json(part)); }
        out << all.dump(2) << '\n';
        return exit_ok;
    }
    const std::string& id = input.arguments.front();
    const Device* part = parts.find(id);
    if (part == nullptr) {
        std::vector<std::string> ids;
        for (const Device& known : parts.devices) { ids.push_back(known.id); }
        const std::string near = nearest(id, ids);
        return complain(input, fmt::format("no part \"{}\" in the catalogue", id), near, out, err);
    }
    if (input.json) {
        out << part_json(*part).dump(2) << '\n';
    } else {
        show_one(*part, out);
    }
    return exit_ok;
}

} // namespace perdure
