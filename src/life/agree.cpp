#include "life/agree.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "budget/ring_wear.hpp"
namespace perdure {

namespace {

/// The time that `ring_wear` would take for what the run wrote. The budget takes each start to find something stored,
/// as after a factory image. A start before the first save finds nothing, and its restart entry names no record: more
/// of them fit a block, so that time counts less.
double time_as_reckoned_s(const AreaLayout& layout, const RingWear& wear, const LifeResult& result) {
    constexpr uint32_t restart_fixed_bytes = 5; // store/format.md, "Restart entries"
    // The start at the end of the run is not counted with the starts either.
    const double starts = double(std::min(result.empty_starts, result.starts - 1));
    if (starts <= 0 || !std::isfinite(wear.block_s)) { return result.simulated_s; }
    const uint32_t unit_bytes = layout.geometry.unit_bytes;
    const uint32_t entry = (restart_fixed_bytes + layout.check_bytes + unit_bytes - 1) / unit_bytes;
    const uint32_t longest = std::max(entry, layout.nearly_full_units);
    const uint32_t pads = layout.start_pad_units + longest - layout.nearly_full_units;
    // The start that opens a block erases one, behind a mark; the next one erases it again, between two more.
    const double room = double(layout.capacity_units) - 3.0 * layout.mark_units - pads - longest;
    const double starts_a_block = 1 + std::max(0.0, std::floor(room / (pads + entry)));
    return result.simulated_s - result.first_save_s + starts / starts_a_block * wear.block_s;
}

} // namespace

Agreement agree(const AreaLayout& layout, const LifeDemand& demand, const LifeOptions& options,
                const LifeResult& result) {
    Traffic traffic;
    traffic.service_in_time = options.service;
    const double starts = std::max(0.0, double(result.starts) - 1);
    traffic.starts_per_s = result.simulated_s > 0 ? starts / result.simulated_s : 0;
    for (size_t i = 0; i < demand.records.size(); i++) {
        RecordTraffic record;
        record.period_s = demand.records[i].period_s;
        record.at_start = demand.records[i].at_start + (demand.records[i].at_power_fail ? 1 : 0);
        const double even = (record.period_s > 0 ? std::floor(result.simulated_s / record.period_s) : 0) +
                            record.at_start * std::max(0.0, double(result.starts) - 1);
        const double random = std::max(0.0, double(result.records[i].saves) - even);
        record.random_per_s =
            result.simulated_s > 0 && demand.records[i].random_per_s > 0 ? random / result.simulated_s : 0;
        traffic.records.push_back(record);
    }
    if (demand.lazy_start && result.simulated_s > 0) { // starts that nothing was put after programmed nothing
        traffic.starts_per_s = std::max(0.0, starts - double(result.lazy_starts)) / result.simulated_s;
    }
    const double blocks = double(layout.geometry.ring_blocks);
    const RingWear wear = ring_wear(layout, traffic);
    const Erases erases = erases_over(wear, layout.geometry.ring_blocks, time_as_reckoned_s(layout, wear, result));
    Agreement out;
    // Formatting erases every block once, and the first one twice.
    out.predicted = erases.per_block_mean + 1 + 1 / blocks;
    out.predicted_max = erases.per_block_max + 2;
    out.observed =
        std::accumulate(result.erases_per_block.begin(), result.erases_per_block.end(), 0.0) / std::max(1.0, blocks);
    out.difference = out.observed > 0 ? std::fabs(out.predicted - out.observed) / out.observed : 0;
    // A ring that was emptied only a few times cannot show half a per cent: one block more or less is a matter of when
    // we look.
    out.allowed = std::max(agreement_limit, out.observed > 0 ? 1.0 / (blocks * out.observed) : 1.0);
    const double by_chance = 3 * std::sqrt(erases.blocks_emptied * wear.erased_again * (1 - wear.erased_again));
    if (out.observed > 0) { out.allowed = std::max(out.allowed, by_chance / (blocks * out.observed)); }
    out.observed_max = result.erases_per_block.empty()
                           ? 0
                           : *std::max_element(result.erases_per_block.begin(), result.erases_per_block.end());
    return out;
}

std::vector<StallCheck> compare_stalls(const std::optional<Latency>& latency, const Requirements& asked,
                                       const LifeOptions& options, const LifeResult& result) {
    const bool helped = options.service && (!latency || latency->service_can_help); // two blocks: it never does
    StallCheck put{"put", helped ? result.put_served_longest_ms : result.put_longest_ms, std::nullopt,
                   asked.put_stall_max_ms};
    StallCheck owed{"put with service owed since a start", result.put_owed_longest_ms, std::nullopt, std::nullopt};
    StallCheck open{"open", result.open_longest_ms, std::nullopt, asked.start_up_max_ms};
    if (latency) {
        put.budget_ms = options.service ? latency->put_serviced_ms : latency->put_alone_ms;
        owed.budget_ms = latency->put_alone_ms;
        open.budget_ms = latency->open_ms;
    }
    if (!helped || result.put_owed_longest_ms <= result.put_served_longest_ms) { return {put, open}; }
    return {put, owed, open};
}

std::vector<DemandCount> compare_demand(const Demand& demand, const std::vector<const Record*>& records,
                                        const LifeResult& result) {
    constexpr double deviations = 5, ends = 2;
    const double share = demand.life_s > 0 ? result.simulated_s / demand.life_s : 0;
    std::vector<DemandCount> out;
    // The run ends with a start that no demand asks for.
    out.push_back({"starts", demand.starts * share, std::max(0.0, double(result.starts) - 1), ends});
    double bytes = 0, bytes_allowed = 0;
    for (size_t i = 0; i < records.size(); i++) {
        for (const RecordDemand& of : demand.records) {
            if (of.id != records[i]->id) { continue; }
            DemandCount count{records[i]->name, of.sizing_saves * share, double(result.records[i].saves), ends};
            for (const PolicyDemand& policy : of.policies) {
                const bool by_chance = policy.when == SaveWhen::events || policy.when == SaveWhen::moved ||
                                       policy.when == SaveWhen::settled;
                const bool even = !by_chance && policy.changed_share >= 1;
                if (!even) { count.allowed += deviations * std::sqrt(policy.sizing_saves * share); }
            }
            const double save_bytes =
                double(records[i]->payload_bytes()) * (records[i]->has_log_entries() ? records[i]->log->batch : 1);
            bytes += count.budgeted * save_bytes;
            bytes_allowed += count.allowed * save_bytes;
            out.push_back(count);
        }
    }
    out.push_back({"bytes", bytes, double(result.payload_bytes), bytes_allowed});
    return out;
}

} // namespace perdure
