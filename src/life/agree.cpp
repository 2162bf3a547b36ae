#include "life/agree.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace perdure {

Agreement agree(const AreaLayout& layout, const LifeDemand& demand, const LifeOptions& options,
                const LifeResult& result) {
    Traffic traffic;
    traffic.service_in_time = options.service;
    traffic.starts_per_s = result.simulated_s > 0 ? double(result.starts) / result.simulated_s : 0;
    for (size_t i = 0; i < demand.records.size(); i++) {
        RecordTraffic record;
        record.period_s = demand.records[i].period_s;
        const double even = record.period_s > 0 ? std::floor(result.simulated_s / record.period_s) : 0;
        const double random = std::max(0.0, double(result.records[i].saves) - even);
        record.random_per_s =
            result.simulated_s > 0 && demand.records[i].random_per_s > 0 ? random / result.simulated_s : 0;
        traffic.records.push_back(record);
    }
    const double blocks = double(layout.geometry.ring_blocks);
    const RingWear wear = ring_wear(layout, traffic);
    Agreement out;
    // Formatting erases every block once, and the first one twice.
    out.predicted = erases_over(wear, layout.geometry.ring_blocks, result.simulated_s).per_block_mean + 1 + 1 / blocks;
    out.observed =
        std::accumulate(result.erases_per_block.begin(), result.erases_per_block.end(), 0.0) / std::max(1.0, blocks);
    out.difference = out.observed > 0 ? std::fabs(out.predicted - out.observed) / out.observed : 0;
    // A ring that was emptied only a few times cannot show half a per cent: one block more or less is a matter of when
    // we look.
    out.allowed = std::max(agreement_limit, out.observed > 0 ? 1.0 / (blocks * out.observed) : 1.0);
    return out;
}

} // namespace perdure
