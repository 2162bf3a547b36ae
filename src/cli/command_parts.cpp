#include <array>
#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "catalog/catalog.hpp"
#include "cli/commands.hpp"
#include "cli/text.hpp"
#include "project/diagnostic.hpp"
#include "project/read.hpp"
#include "project/units.hpp"

namespace perdure {
namespace {

/// One figure of a part, as text, under its column's name.
struct Figure {
    std::string_view column;
    std::string value; ///< empty when the catalogue has none
};

std::string show(const std::optional<double>& value, std::string_view unit) {
    return value ? fmt::format("{:.10g} {}", *value, unit) : "";
}

std::string show(const std::vector<double>& values, std::string_view unit) {
    std::string out;
    for (const double value : values) { out += fmt::format("{}{:g}", out.empty() ? "" : " / ", value); }
    return out.empty() ? out : fmt::format("{} {}", out, unit);
}

std::string show_runs(const Device& part) {
    std::string out;
    for (const BlockRun& run : part.runs) {
        out += fmt::format("{}{} x {}", out.empty() ? "" : ", ", run.count, show_bytes(run.erase_bytes));
    }
    return out;
}

std::vector<Figure> figures_of(const Device& part) {
    return {
        {"flash_bytes", part.flash_bytes ? show_bytes(*part.flash_bytes) : ""},
        {"erase_layout", show_runs(part)},
        {"program_bytes", part.program_bytes ? show_bytes(*part.program_bytes) : ""},
        {"program_once_ecc", part.program_rule},
        {"erased_value", part.erased_value},
        {"read_while_write", part.read_while_write},
        {"erase_ms_typ", show(part.erase_ms_typ, "ms")},
        {"erase_ms_max", show(part.erase_ms_max, "ms")},
        {"program_us_typ", show(part.program_us_typ, "us")},
        {"program_us_max", show(part.program_us_max, "us")},
        {"endurance_cycles", show(part.endurance_cycles, "erases")},
        {"endurance_temp_c", part.endurance_temp_c},
        {"retention_years", show(part.retention_years, "y")},
        {"retention_temp_c", show(part.retention_temp_c, "C")},
        {"vdd_min", show(part.vdd_min_v, "V")},
        {"vdd_max", show(part.vdd_max_v, "V")},
        {"program_ma", show(part.program_ma, "mA")},
        {"data_eeprom_bytes", part.data_eeprom_bytes ? show_bytes(*part.data_eeprom_bytes) : ""},
    };
}

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

/// What stands between a part and a project that only names it.
struct Readiness {
    bool ready = false;
    bool never = false;               ///< no figure would help
    std::string why_not;              ///< empty when ready
    std::vector<std::string> missing; ///< columns of the figures to give
};

Readiness readiness(const Device& part) {
    Readiness out;
    const Usable use = usable(part);
    if (!use.ok && use.missing.empty()) {
        out.never = true;
        out.why_not = use.why_not;
        return out;
    }
    std::string keys;
    for (const NeededFigure& figure : figures_to_give(part)) {
        out.missing.emplace_back(figure.column);
        keys += fmt::format("{}{}", keys.empty() ? "" : ", ", figure.key);
    }
    out.ready = out.missing.empty();
    if (!out.ready) { out.why_not = fmt::format("give {} in [part], from the data sheet", keys); }
    return out;
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

/// What has to be said before any figure of a part; empty if nothing. The catalogue keeps it in the part's note.
std::string caution_of(const Device& part) {
    const bool erased_faults =
        part.note.find("reading an erased") != std::string::npos && part.note.find("fault") != std::string::npos;
    return erased_faults ? "CAUTION: erased flash of this part faults when read. The port's read has to find that out "
                           "and answer blank bytes (store/port.h); try it with perdure cut --blank-faults."
                         : "";
}

void show_one(const Device& part, std::ostream& out) {
    out << fmt::format("{}: {} {}, such as {}, {}\n", part.id, part.maker, part.family, part.example_part, part.core);
    if (const std::string caution = caution_of(part); !caution.empty()) {
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

nlohmann::json json_of(const Device& part) {
    const Readiness use = readiness(part);
    nlohmann::json out{
        {"id", part.id},     {"maker", part.maker}, {"family", part.family}, {"example_part", part.example_part},
        {"core", part.core}, {"usable", use.ready}, {"note", part.note}};
    if (const std::string caution = caution_of(part); !caution.empty()) { out["caution"] = caution; }
    if (!use.ready) {
        out["why_not"] = use.why_not;
        out["missing"] = use.missing;
    }
    for (const Figure& figure : figures_of(part)) {
        if (figure.value.empty()) { continue; }
        const Provenance source = part.source_of(figure.column);
        out["figures"][std::string(figure.column)] = {
            {"value", figure.value}, {"source", source.text}, {"from_memory", source.from_memory}};
    }
    return out;
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
        for (const Device& part : parts.devices) { all.push_back(json_of(part)); }
        out << all.dump(2) << '\n';
        return exit_ok;
    }
    const std::string& id = input.arguments.front();
    const Device* part = parts.find(id);
    if (part == nullptr) {
        std::vector<std::string> ids;
        for (const Device& known : parts.devices) { ids.push_back(known.id); }
        const std::string near = nearest(id, ids);
        const std::string text = fmt::format("no part \"{}\" in the catalogue", id);
        if (input.json) {
            nlohmann::json json{{"errors", text}};
            if (!near.empty()) { json["nearest"] = near; }
            out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
            return exit_input_wrong;
        }
        err << fmt::format("perdure: error: {}\n", text);
        if (!near.empty()) { err << fmt::format("  nearest: {}\n", near); }
        return exit_input_wrong;
    }
    if (input.json) {
        out << json_of(*part).dump(2) << '\n';
    } else {
        show_one(*part, out);
    }
    return exit_ok;
}

} // namespace perdure
