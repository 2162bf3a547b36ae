#include "dossier/part_figures.hpp"

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "project/read.hpp"
#include "project/units.hpp"

namespace perdure {
namespace {

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

} // namespace

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

std::string part_caution(const Device& part) {
    const bool erased_faults =
        part.note.find("reading an erased") != std::string::npos && part.note.find("fault") != std::string::npos;
    return erased_faults ? "CAUTION: erased flash of this part faults when read. The port's read has to find that out "
                           "and answer blank bytes (store/port.h); try it with perdure cut --blank-faults."
                         : "";
}

nlohmann::json part_json(const Device& part) {
    const Readiness use = readiness(part);
    nlohmann::json out{
        {"id", part.id},     {"maker", part.maker}, {"family", part.family}, {"example_part", part.example_part},
        {"core", part.core}, {"usable", use.ready}, {"note", part.note}};
    if (const std::string caution = part_caution(part); !caution.empty()) { out["caution"] = caution; }
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

} // namespace perdure
