#include "choose/candidate.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "project/read.hpp"

namespace perdure {

namespace {

/// Columns whose figures decide. The rule of programming is not among them: the store programs each unit once.
constexpr const char* deciding_columns[] = {"erase_layout",   "program_bytes",    "erased_value",    "erase_ms_max",
                                            "program_us_max", "endurance_cycles", "retention_years", "program_ma"};

std::vector<std::string> columns_from_memory(const Device& part) {
    std::vector<std::string> out;
    for (const char* column : deciding_columns) {
        if (part.source_of(column).from_memory) { out.emplace_back(column); }
    }
    return out;
}

double longest_period_s(const Project& project) {
    double out = 0;
    for (const Record& record : project.records) {
        for (const SavePolicy& policy : record.saves) {
            if (policy.when == SaveWhen::periodic) { out = std::max(out, policy.every_s); }
        }
    }
    return out;
}

Candidate blank(const Project& project, CandidateKind kind, double stretch) {
    Candidate out;
    out.kind = kind;
    out.id = project.part.id;
    out.maker = project.part.maker;
    out.stretch = stretch;
    out.loss_s = longest_period_s(project);
    out.from_memory = columns_from_memory(project.part);
    return out;
}

std::string failing(const Finding& finding) {
    if (finding.status == FindingStatus::unknown || finding.name == "layout") {
        return fmt::format("{}: {}", finding.name, finding.note);
    }
    return fmt::format("{}: needs {:.4g} {}, has {:.4g}", finding.name, finding.need, finding.unit, finding.have);
}

void take_findings(const Budget& budget, Candidate& out) {
    out.margin = 1e9;
    std::vector<const Finding*> wrong;
    for (const Finding& finding : budget.findings) {
        if (finding.name == "wear") { out.margin = std::min(out.margin, finding.margin); }
        if (finding.name == "put stall" && !finding.from.empty()) {
            out.stall_ms = std::max(finding.need, out.stall_ms.value_or(0));
        }
        if (finding.name == "energy a day" && !finding.from.empty()) { out.energy_j = finding.need; }
        if (!finding.holds()) { wrong.push_back(&finding); }
    }
    std::stable_sort(wrong.begin(), wrong.end(),
                     [](const Finding* a, const Finding* b) { return a->margin < b->margin; });
    for (const Finding* finding : wrong) { out.reasons.push_back(failing(*finding)); }
    out.holds = wrong.empty();
}

Candidate judged(const Project& project, CandidateKind kind, double stretch) {
    Candidate out = blank(project, kind, stretch);
    const auto budget = make_budget(project);
    if (!budget) {
        out.reasons = {budget.error().text};
        return out;
    }
    for (const AreaBudget& area : budget->areas) {
        if (!area.laid_out) { continue; }
        const FlashGeometry& geometry = area.layout.geometry;
        out.ring_blocks += geometry.ring_blocks;
        out.bytes += geometry.area_bytes();
        out.block_bytes = geometry.ring_block_bytes();
        out.unit_bytes = geometry.unit_bytes;
    }
    take_findings(*budget, out);
    return out;
}

} // namespace

Project stretched(Project project, double factor) {
    for (Record& record : project.records) {
        for (SavePolicy& policy : record.saves) {
            if (policy.when == SaveWhen::periodic) { policy.every_s *= factor; }
        }
    }
    return project;
}

Project on_part(const Project& project, const Device& part) {
    Project out = project;
    out.part = part;
    out.flash_start_address.reset();
    for (Area& area : out.areas) {
        area.start_address.reset();
        area.size_bytes.reset();
    }
    Conditions& conditions = out.conditions;
    conditions.endurance.clear();
    conditions.aged.clear();
    conditions.wear_out.reset();
    conditions.qualification.reset();
    conditions.require.failed_share_max.reset();
    if (conditions.retention) { conditions.retention->pairs.clear(); }
    return out;
}

std::vector<Candidate> candidates_of(const Project& project, CandidateKind kind, double stretch) {
    std::string missing;
    for (const NeededFigure& figure : figures_to_give(project.part)) {
        missing += (missing.empty() ? "not known: " : ", ") + std::string(figure.column);
    }
    const Usable use = usable(project.part);
    const bool never = !use.ok && use.missing.empty(); // no figure would mend it
    if (!missing.empty() || !use.ok) {
        Candidate out = blank(project, kind, stretch);
        out.reasons = {never ? use.why_not : missing};
        return {out};
    }
    std::vector<Candidate> out{judged(project, kind, stretch)};
    const Candidate fewest = out.front();
    if (project.areas.size() != 1 || project.areas[0].size_bytes || fewest.ring_blocks == 0 || !fewest.holds) {
        return out;
    }
    const auto run = best_run(project.part);
    for (const uint32_t blocks : {fewest.ring_blocks + 1, 2 * fewest.ring_blocks}) {
        Project larger = project;
        larger.areas[0].size_bytes = uint64_t{blocks} * fewest.block_bytes;
        if (blocks == fewest.ring_blocks || *larger.areas[0].size_bytes > run->bytes()) { continue; }
        out.push_back(judged(larger, kind, stretch));
    }
    return out;
}

} // namespace perdure
