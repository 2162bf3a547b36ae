#include "budget/sources.hpp"

#include <fmt/format.h>

namespace perdure {

Source from_part(const Device& part, const std::string& column, double value, const std::string& unit) {
    const Provenance source = part.source_of(column);
    return {column,
            value,
            unit,
            SourceKind::part,
            source.text.empty() || source.text == "from memory" ? "no document" : source.text,
            source.from_memory};
}

Source from_file(const Project& project, Place place, const std::string& what, double value, const std::string& unit) {
    if (place.line == 0) { return {what, value, unit, SourceKind::file, "default, docs/project-file.md", false}; }
    return {what, value, unit, SourceKind::file, fmt::format("{}:{}", project.path, place.line), false};
}

Source by_formula(const std::string& what, double value, const std::string& unit, const std::string& text) {
    return {what, value, unit, SourceKind::formula, text, false};
}

Source assume(const std::string& what, double value, const std::string& unit, const std::string& text) {
    return {what, value, unit, SourceKind::assumption, text, false};
}

Finding named(const std::string& name, const std::string& area, const std::string& unit) {
    Finding out;
    out.name = name;
    out.area = area;
    out.unit = unit;
    return out;
}

void judge(Finding& finding, double need, std::optional<double> allowed, double margin_min) {
    finding.need = need;
    finding.have = allowed.value_or(0);
    finding.margin_min = margin_min;
    if (!allowed) { return; }
    finding.margin = need > 0 ? *allowed / need : 1e9;
    finding.status = finding.margin >= margin_min * (1 - 1e-12) ? FindingStatus::holds : FindingStatus::fails;
}

} // namespace perdure
