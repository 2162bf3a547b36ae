#include "budget/log.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "budget/loss.hpp"
#include "budget/ring_wear.hpp"
#include "budget/search.hpp"
#include "budget/sources.hpp"

namespace perdure {

std::optional<size_t> log_in(const AreaLayout& layout) {
    for (size_t i = 0; i < layout.records.size(); ++i) {
        if (layout.records[i].log) { return i; }
    }
    return std::nullopt;
}

double kept_samples(const RingWear& wear, size_t record, uint32_t batch) {
    if (!std::isfinite(wear.block_s)) { return std::numeric_limits<double>::infinity(); } // nothing is ever dropped
    const double entries = wear.records[record].full_saves + wear.records[record].short_saves;
    // The last entry in the head may not fit any more where its share ends: one less.
    return std::max(0.0, std::floor((wear.data_blocks - 1 + wear.empties_at) * entries) - 1) * batch;
}

namespace {

const Record* log_record(const Project& project, const Area& area) {
    for (const Record* record : records_of(project, area)) {
        if (record->has_log_entries()) { return record; }
    }
    return nullptr;
}

LogCost cost_of(const Project& project, const Record& record, const AreaLayout& layout, const RingWear& wear,
                const Erases& erases) {
    const size_t place = *log_in(layout);
    const RecordLayout& size = layout.records[place];
    LogCost out;
    out.batch = record.log->batch;
    out.full_bytes = size.full_bytes;
    out.full_units = size.full_units;
    out.short_bytes = size.short_bytes;
    out.short_units = size.short_units;
    const double entries = std::ceil(double(record.log->depth_samples) / out.batch);
    const double a_block = std::max(1.0, wear.records[place].full_saves + wear.records[place].short_saves);
    const double full = size.short_units > 0 ? std::ceil(entries / a_block) : entries;
    out.used_bytes = (full * size.full_units + (entries - full) * size.short_units) * layout.geometry.unit_bytes;
    out.flash_bytes = double(layout.geometry.area_bytes());
    out.kept = kept_samples(wear, place, out.batch);
    out.erases_per_block = erases.per_block_mean;
    out.loss_s = loss_of(project, record, false).time_s;
    return out;
}

/// The same log with a batch of one, in an area as small as holds it.
std::optional<LogCost> cost_one_by_one(Project project, Area area, const Record& record) {
    area.size_bytes.reset();
    for (Record& of : project.records) {
        if (of.id == record.id) { of.log->batch = 1; }
    }
    const Record& single = *log_record(project, area);
    const Demand demand = demand_of(project);
    const auto blocks = fewest_blocks(project, area, demand);
    LogCost out;
    if (!blocks) { return out; }
    const auto layout = lay_out(project, area, *blocks);
    if (!layout) { return out; }
    const RingWear wear = ring_wear(*layout, traffic_of(project, area, demand, Figures::sizing));
    return cost_of(project, single, *layout, wear, erases_over(wear, *blocks, demand.life_s));
}

} // namespace

std::optional<LogBudget> log_budget(const Project& project, const Area& area, const AreaBudget& laid_out) {
    const Record* record = log_record(project, area);
    if (record == nullptr || !laid_out.laid_out) { return std::nullopt; }
    LogBudget out;
    out.record = record->name;
    out.area = area.name;
    out.sample_bytes = record->fields_bytes();
    out.depth_samples = double(record->log->depth_samples);
    out.raw_bytes = out.depth_samples * out.sample_bytes;
    out.cost = cost_of(project, *record, laid_out.layout, laid_out.wear, laid_out.erases);
    if (record->log->batch > 1) { out.one_by_one = cost_one_by_one(project, area, *record); }
    return out;
}

Finding depth_finding(const Project& project, const LogBudget& log, const AreaBudget& area) {
    Finding out = named("log depth", area.name, "samples");
    const auto record = std::find_if(project.records.begin(), project.records.end(),
                                     [&](const Record& of) { return of.name == log.record; });
    judge(out, log.depth_samples, log.cost.kept);
    out.note = fmt::format("of {} right after a block was erased: {:.4g} of {} blocks", log.record,
                           area.wear.data_blocks - 1 + area.wear.empties_at, area.layout.geometry.ring_blocks);
    out.from = {from_file(project, record->log->depth_place, "depth", log.depth_samples, "samples"),
                by_formula("kept", log.cost.kept, "samples",
                           fmt::format("{:.4g} blocks x {:.6g} entries a block x {} samples",
                                       area.wear.data_blocks - 1 + area.wear.empties_at,
                                       area.wear.records[*log_in(area.layout)].full_saves +
                                           area.wear.records[*log_in(area.layout)].short_saves,
                                       log.cost.batch))};
    return out;
}

} // namespace perdure
