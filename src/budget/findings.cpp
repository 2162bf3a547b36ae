#include "budget/findings.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "budget/coarse.hpp"
#include "budget/conditions.hpp"
#include "budget/hold_up.hpp"
#include "budget/loss.hpp"
#include "budget/ring_wear.hpp"
#include "budget/saves.hpp"
#include "budget/search.hpp"
#include "budget/sources.hpp"

namespace perdure {

namespace {

constexpr double assumed_read_us_per_byte = 1.0;

size_t run_index(const Device& part, const BlockRun& run) {
    for (size_t i = 0; i < part.runs.size(); ++i) {
        if (part.runs[i].offset_bytes == run.offset_bytes && part.runs[i].erase_bytes == run.erase_bytes) { return i; }
    }
    return 0;
}

std::optional<double> at_run(const std::vector<double>& values, size_t run) {
    if (values.empty()) { return std::nullopt; }
    return values[std::min(run, values.size() - 1)];
}

Finding wear_finding(const Project& project, const AreaBudget& area) {
    Finding out = named("wear", area.name, "erases");
    const Requirements& asked = project.requirements;
    const double endurance = project.part.endurance_cycles.value_or(0);
    const double blocks = area.layout.geometry.ring_blocks;
    const double spendable = std::min(erases_spendable(project), blocks_counted_max / blocks);
    judge(out, erases_of(project, area), spendable, asked.margin_min);
    out.note = fmt::format("nominal {:.0f}", format_erases + area.nominal_erases.per_block_max);
    if (spendable < endurance * asked.spend_limit) {
        out.note += fmt::format("; the store counts no further than {:.0f} erases of a block", spendable);
    }
    out.from = {
        from_part(project.part, "endurance_cycles", endurance, "erases"),
        from_file(project, asked.spend_limit_place, "spend_limit", asked.spend_limit, "of the endurance"),
        from_file(project, asked.margin_place, "margin", asked.margin_min, "had / needed"),
        from_file(project, project.product.life_place, "life", project.product.life_years, "y"),
        from_file(project, project.product.starts_place, "starts", project.product.starts_per_day, "a day"),
        by_formula("blocks emptied", area.erases.blocks_emptied, "blocks",
                   fmt::format("life / {:.6g} s a block{}", area.wear.block_s,
                               area.wear.start_units > counted_start_share * area.layout.capacity_units
                                   ? ", entries counted over some thousand blocks"
                                   : "")),
        by_formula("erased again", area.erases.erases - area.erases.blocks_emptied, "blocks",
                   "by starts before the next save, expected"),
        by_formula(
            "erases of each block", out.need, "erases",
            fmt::format("both / {:.0f} blocks, three standard deviations of the second, and {:.0f} of formatting",
                        blocks, format_erases))};
    if (project.conditions.erases_spent > 0) {
        out.from.push_back(from_file(project, project.conditions.spent_place, "spent before shipment",
                                     project.conditions.erases_spent, "erases"));
    }
    return out;
}

/// What a layout is made of: the part's sizes, and the area's own lines of the project file.
std::vector<Source> layout_sources(const Project& project, const Area& area) {
    const Device& part = project.part;
    std::vector<Source> out;
    if (part.program_bytes) { out.push_back(from_part(part, "program_bytes", *part.program_bytes, "bytes a unit")); }
    if (const auto run = best_run(part)) {
        out.push_back(from_part(part, "erase_layout", run->erase_bytes, "bytes an erase block"));
    }
    out.push_back(from_file(project, area.check_bits_place, "check_bits", area.check_bits, "bits"));
    if (area.size_bytes) { out.push_back(from_file(project, area.place, "size", double(*area.size_bytes), "bytes")); }
    for (const Record* record : records_of(project, area)) {
        out.push_back(from_file(project, record->place, record->name, record->payload_bytes(), "bytes"));
    }
    return out;
}

Finding layout_finding(const Project& project, const Area& of, const AreaBudget& area,
                       const std::optional<Refusal>& refusal) {
    Finding out = named("layout", area.name, "units");
    out.from = layout_sources(project, of);
    if (refusal) {
        out.need = refusal->need;
        out.have = refusal->have;
        out.unit = refusal->unit;
        out.margin = refusal->need > 0 ? refusal->have / refusal->need : 0;
        out.status = FindingStatus::fails;
        out.note = refusal->text;
        return out;
    }
    const AreaLayout& layout = area.layout;
    const double holds = double(layout.live_blocks) * (layout.capacity_units - layout.reserve_units);
    judge(out, layout.live_units, holds);
    out.note =
        fmt::format("live data may spread over {} of {} ring blocks", layout.live_blocks, layout.geometry.ring_blocks);
    out.from.push_back(by_formula("live", layout.live_units, "units", "one full entry of every record"));
    out.from.push_back(by_formula(
        "room", holds, "units",
        fmt::format("{} x ({} units a ring block, less stamp {}, less 3 starts and 2 marks{} {})", layout.live_blocks,
                    layout.geometry.units_per_ring_block(), layout.stamp_units,
                    layout.power_fail_units > 0 ? " and the save at power failure" : "", layout.reserve_units)));
    return out;
}

Finding residual_finding(const Project& project, const Area& area, const Demand& demand) {
    Finding out = named("torn entry passes", area.name, "expected in the fleet");
    out.need = demand.starts * double(project.product.fleet_units) * std::exp2(-double(area.check_bits));
    out.note = "at most, if every start followed a torn entry";
    out.from = {by_formula("chance", out.need, "", fmt::format("starts x units in the field x 2^-{}", area.check_bits)),
                from_file(project, project.product.starts_place, "starts", demand.starts, "over life"),
                from_file(project, project.product.fleet_place, "fleet", double(project.product.fleet_units), "units"),
                from_file(project, area.check_bits_place, "check_bits", area.check_bits, "bits")};
    return out;
}

Finding flash_finding(const Project& project, const std::vector<AreaBudget>& areas) {
    Finding out = named("flash share", "", "of flash");
    uint64_t bytes = 0;
    for (const AreaBudget& area : areas) { bytes += area.laid_out ? area.layout.geometry.area_bytes() : 0; }
    const std::optional<double> allowed = project.requirements.flash_share_max;
    if (!project.part.flash_bytes || *project.part.flash_bytes == 0) {
        out.status = allowed ? FindingStatus::unknown : FindingStatus::informs;
        out.note = "needs flash_bytes of the part: not known";
        return out;
    }
    const double flash = double(*project.part.flash_bytes);
    judge(out, double(bytes) / flash, allowed);
    out.note = fmt::format("{} bytes", bytes);
    if (double(bytes) > flash) { // asked or not: no part has more than its flash
        out.status = FindingStatus::fails;
        out.note = fmt::format("{} bytes: more than the part has", bytes);
    }
    out.from = {by_formula("areas", double(bytes), "bytes", "erase blocks of all areas"),
                from_part(project.part, "flash_bytes", flash, "bytes")};
    if (allowed) {
        out.from.push_back(
            from_file(project, project.requirements.flash_share_place, "flash_share", *allowed, "of flash"));
    }
    return out;
}

std::vector<RecordBudget> record_budgets(const Project& project, const Area& area, const Demand& demand,
                                         const AreaBudget& budget) {
    std::vector<RecordBudget> out;
    const double blocks =
        std::isfinite(budget.wear.block_s) && budget.wear.block_s > 0 ? demand.life_s / budget.wear.block_s : 0;
    const std::vector<const Record*> records = records_of(project, area);
    for (size_t i = 0; i < records.size(); ++i) {
        RecordBudget& record = out.emplace_back();
        record.id = records[i]->id;
        record.name = records[i]->name;
        record.demand = demand.records[static_cast<size_t>(records[i] - project.records.data())];
        record.layout = budget.layout.records[i];
        record.saves = record.demand.sizing_saves;
        record.payload_bytes =
            record.saves * records[i]->payload_bytes() * (records[i]->has_log_entries() ? records[i]->log->batch : 1);
        record.copies = budget.wear.records[i].copies * blocks;
        record.units = budget.wear.records[i].units * blocks;
        record.wear_share = budget.wear.records[i].share;
    }
    return out;
}

/// For what is shown beside the figure that is judged: counted only where the formulas would be far off.
RingWear wear_beside(const AreaLayout& layout, const Traffic& traffic, Precision precision) {
    const RingWear reckoned = ring_wear(layout, traffic, std::min(precision, Precision::reckoned));
    const bool much = reckoned.start_units > much_start_share * layout.capacity_units;
    return much ? ring_wear(layout, traffic, precision) : reckoned;
}

/// The wear with lazy starts where they are ordinary, and the other way round.
void note_other_start(Project project, const Area& area, const Demand& demand, Precision precision, AreaBudget& out) {
    out.lazy_start = project.product.lazy_start;
    if (demand.starts <= 0) { return; }
    project.product.lazy_start = !out.lazy_start;
    const RingWear wear = wear_beside(out.layout, traffic_of(project, area, demand, Figures::sizing), precision);
    out.other_start_erases = erases_over(wear, out.layout.geometry.ring_blocks, demand.life_s).per_block_mean;
}

tl::expected<AreaLayout, Refusal> choose_layout(const Project& project, const Area& area, const Demand& demand,
                                                Precision precision, AreaBudget& out) {
    if (area.size_bytes) { return lay_out_sized(project, area); }
    if (out.fewest_blocks) {
        out.found = RingFound::fewest;
        return lay_out(project, area, *out.fewest_blocks);
    }
    const NearestRing nearest = nearest_ring(project, area, demand, precision);
    out.found = nearest.found;
    return lay_out(project, area, nearest.blocks > 0 ? nearest.blocks : best_run(project.part)->count);
}

} // namespace

const char* words_of(RingFound found) {
    switch (found) {
    case RingFound::given:
        return "";
    case RingFound::fewest:
        return "the fewest that hold";
    case RingFound::fewest_but_stall:
        return "no number holds; these do but for the put stall";
    case RingFound::most_by_share:
        return "no number holds; the most that flash_share leaves";
    case RingFound::most_by_start:
        return "no number holds; the most that start_up allows";
    case RingFound::most:
        return "no number holds; the most there are";
    case RingFound::least:
        return "no number holds; even the fewest take more than flash_share or start_up leave";
    }
    return "";
}

bool Finding::from_memory() const {
    return std::any_of(from.begin(), from.end(), [](const Source& source) { return source.from_memory; });
}

bool Finding::assumed() const {
    return std::any_of(from.begin(), from.end(),
                       [](const Source& source) { return source.kind == SourceKind::assumption; });
}

bool Budget::holds() const {
    return std::all_of(findings.begin(), findings.end(), [](const Finding& finding) { return finding.holds(); });
}

std::optional<OperationTimes> operation_times(const Device& part) {
    const auto run = best_run(part);
    if (!run) { return std::nullopt; }
    const size_t index = run_index(part, *run);
    const auto erase = part.erase_ms_max.empty() ? at_run(part.erase_ms_typ, index) : at_run(part.erase_ms_max, index);
    const auto program = part.program_us_max ? part.program_us_max : part.program_us_typ;
    if (!erase || !program) { return std::nullopt; }
    return OperationTimes{*program, *erase, assumed_read_us_per_byte};
}

namespace {

void append(std::vector<Finding>& to, std::vector<Finding> from) {
    for (Finding& finding : from) { to.push_back(std::move(finding)); }
}

/// One area on the part as it meets it; the findings go to `findings`.
AreaBudget area_budget(const Project& project, const Area& area, const Demand& demand, Precision precision,
                       std::vector<Finding>& findings) {
    AreaBudget budget;
    budget.name = area.name;
    budget.erases_allowed = erases_allowed(project);
    budget.fewest_blocks = fewest_blocks(project, area, demand, precision);
    const auto layout = choose_layout(project, area, demand, precision, budget);
    if (!layout) {
        findings.push_back(layout_finding(project, area, budget, layout.error()));
        return budget;
    }
    budget.laid_out = true;
    budget.layout = *layout;
    budget.wear = ring_wear(*layout, traffic_of(project, area, demand, Figures::sizing), precision);
    budget.nominal_wear = wear_beside(*layout, traffic_of(project, area, demand, Figures::nominal), precision);
    budget.erases = erases_over(budget.wear, layout->geometry.ring_blocks, demand.life_s);
    budget.nominal_erases = erases_over(budget.nominal_wear, layout->geometry.ring_blocks, demand.life_s);
    note_other_start(project, area, demand, precision, budget);
    budget.longest_life_years = longest_life_years(project, budget.erases);
    budget.fastest_periodic = fastest_periodic(project, area, demand, *layout, precision);
    budget.records = record_budgets(project, area, demand, budget);
    if (const auto times = operation_times(project.part)) {
        budget.latency = latency_of(*layout, *times, budget.wear, budget.lazy_start);
    }
    findings.push_back(wear_finding(project, budget));
    findings.push_back(layout_finding(project, area, budget, std::nullopt));
    budget.log = log_budget(project, area, budget);
    if (budget.log) { findings.push_back(depth_finding(project, *budget.log, budget)); }
    append(findings, latency_findings(project, budget));
    findings.push_back(residual_finding(project, area, demand));
    append(findings, endurance_findings(project, area, budget));
    append(findings, fleet_findings(project, area, demand, budget));
    append(findings, retention_findings(project, budget));
    append(findings, erase_findings(project, area, budget));
    return budget;
}

tl::expected<Budget, Refusal> budget_of(const Project& project, Precision precision) {
    const Usable can = usable(project.part);
    if (!can.ok) { return tl::unexpected(Refusal{can.why_not, 0, 0, ""}); }
    if (const auto geometry = part_geometry(project.part); !geometry) { return tl::unexpected(geometry.error()); }
    if (!project.part.endurance_cycles) {
        return tl::unexpected(
            Refusal{"the part's guaranteed erases (endurance_cycles) are not known: give them", 0, 0, "erases"});
    }
    const Demand demand = demand_of(project);
    Budget out;
    out.project = project.product.name;
    out.life_years = project.product.life_years;
    for (const Area& area : project.areas) {
        out.areas.push_back(area_budget(as_met(project, area), area, demand, precision, out.findings));
    }
    append(out.findings, start_findings(project, out.areas));
    out.hold_up = hold_up_of(project, out.areas, demand);
    for (const Record& record : project.records) {
        out.losses.push_back(loss_of(project, record, out.hold_up && out.hold_up->holds));
    }
    out.saves = save_parts(project, out.areas, demand);
    append(out.findings, loss_findings(project, out.losses));
    append(out.findings, hold_up_findings(project, out.areas, out.hold_up));
    append(out.findings, wrong_entry_findings(project, demand, out.areas));
    append(out.findings, failing_findings(project, out.areas));
    append(out.findings, deadline_findings(project, out.areas));
    append(out.findings, energy_findings(project, demand, out.areas));
    out.caution = caution_of(project.conditions);
    out.findings.push_back(flash_finding(project, out.areas));
    return out;
}

} // namespace

tl::expected<Budget, Refusal> make_budget(const Project& project) {
    return budget_of(project, Precision::fine);
}

tl::expected<Budget, Refusal> make_reckoned_budget(const Project& project) {
    return budget_of(project, Precision::reckoned);
}

tl::expected<Budget, Refusal> make_coarse_budget(const Project& project) {
    return budget_of(project, Precision::coarse);
}

} // namespace perdure
