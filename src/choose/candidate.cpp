#include "choose/candidate.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <fmt/format.h>

#include "budget/coarse.hpp"
#include "budget/conditions.hpp"
#include "budget/demand.hpp"
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
            if (policy.when != SaveWhen::periodic) { continue; }
            out = std::max(out, policy.every_s * (record.has_log_entries() ? record.log->batch : 1));
        }
    }
    return out;
}

Candidate blank(const Project& project, CandidateKind kind, const SaveChange& policy) {
    Candidate out;
    out.kind = kind;
    out.id = project.part.id;
    out.maker = project.part.maker;
    out.policy = policy;
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

Candidate judged(const Project& project, CandidateKind kind, const SaveChange& policy,
                 Precision precision = Precision::reckoned) {
    Candidate out = blank(project, kind, policy);
    out.judged = std::make_shared<const Project>(project);
    const auto budget = precision == Precision::fine ? make_budget(project) : make_reckoned_budget(project);
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
        const double off = reckoned_may_be_off(area.layout, area.wear);
        if (precision != Precision::fine && off > reckoned_off_little) {
            out.may_be_off = std::max(out.may_be_off, off);
        }
    }
    take_findings(*budget, out);
    return out;
}

} // namespace

Candidate counted(const Candidate& reckoned) {
    Candidate out = judged(*reckoned.judged, reckoned.kind, reckoned.policy, Precision::fine);
    out.note = reckoned.note;
    out.bus_not_counted = reckoned.bus_not_counted;
    return out;
}

std::string words_of(const SaveChange& change) {
    std::string out = change.stretch == 1 ? "" : fmt::format("/{:g}", change.stretch);
    if (change.batch) { out += fmt::format("{}batch{}", out.empty() ? "" : " ", *change.batch); }
    if (change.lazy_start) { out += out.empty() ? "lazy" : " lazy"; }
    return out;
}

std::string refused(const Project& project, const SaveChange& change) {
    const auto any = [&](auto&& is) { return std::any_of(project.records.begin(), project.records.end(), is); };
    if (change.stretch != 1 && longest_period_s(project) == 0) { return "no record is saved periodically"; }
    if (change.lazy_start && project.product.lazy_start) { return "its starts are lazy already"; }
    if (change.lazy_start && any([](const Record& record) { return record.saved_at_power_fail(); })) {
        return "a record is saved at power failure, and needs its room prepared by the start";
    }
    if (!change.batch) { return ""; }
    bool other = false;
    for (const Record& record : project.records) {
        if (!record.has_log_entries()) { continue; }
        other = other || record.log->batch_found || record.log->batch != *change.batch;
        if (*change.batch > longest_batch(record)) {
            return fmt::format("an entry takes at most {} samples of {}", longest_batch(record), record.name);
        }
    }
    if (!any([](const Record& record) { return record.has_log_entries(); })) { return "no log has entries of its own"; }
    return other ? "" : "its logs have that batch already";
}

Project saved_so(Project project, const SaveChange& change) {
    project.product.lazy_start = project.product.lazy_start || change.lazy_start;
    for (Record& record : project.records) {
        bool periodic = false;
        for (SavePolicy& policy : record.saves) {
            if (policy.when != SaveWhen::periodic) { continue; }
            policy.every_s *= change.stretch;
            periodic = true;
        }
        if (periodic) { widen_movement(record, change.stretch); }
        if (!record.log) { continue; }
        LogShape& log = *record.log;
        // The same days take fewer samples, and the same loss allows fewer of them in a batch.
        if (periodic && log.depth_s > 0) {
            log.depth_samples = static_cast<uint64_t>(std::ceil(double(log.depth_samples) / change.stretch - 1e-9));
        }
        if (periodic && log.batch_found) {
            const double batch = std::floor(double(log.batch) / change.stretch + 1e-9);
            log.batch = static_cast<uint32_t>(std::clamp(batch, 1.0, double(longest_batch(record))));
        }
        if (change.batch && record.has_log_entries()) { log.batch = *change.batch; }
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

std::vector<Candidate> candidates_of(const Project& project, CandidateKind kind, const SaveChange& policy,
                                     uint32_t layouts) {
    std::string missing;
    for (const NeededFigure& figure : figures_to_give(project.part)) {
        missing += (missing.empty() ? "not known: " : ", ") + std::string(figure.column);
    }
    const Usable use = usable(project.part);
    const bool never = !use.ok && use.missing.empty(); // no figure would mend it
    if (!missing.empty() || !use.ok) {
        Candidate out = blank(project, kind, policy);
        out.reasons = {never ? use.why_not : missing};
        return {out};
    }
    std::vector<Candidate> out{judged(project, kind, policy)};
    const Candidate fewest = out.front();
    if (project.areas.size() != 1 || project.areas[0].size_bytes || fewest.ring_blocks == 0 || !fewest.holds) {
        return out;
    }
    const auto run = best_run(project.part);
    const uint32_t least = fewest.ring_blocks;
    std::set<uint32_t> tried{least};
    const uint32_t ring_blocks[layouts_max] = {least,     least + 1,         2 * least, 4 * least,
                                               8 * least, least + least / 2, 3 * least, 6 * least};
    for (uint32_t i = 0; i < std::min(layouts, layouts_max); ++i) {
        Project larger = project;
        larger.areas[0].size_bytes = uint64_t{ring_blocks[i]} * fewest.block_bytes;
        if (*larger.areas[0].size_bytes > run->bytes() || !tried.insert(ring_blocks[i]).second) { continue; }
        out.push_back(judged(larger, kind, policy));
    }
    return out;
}

} // namespace perdure
