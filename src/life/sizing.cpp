// What a life is run with: the traffic that the budget sizes for, and what the part takes.
#include "budget/demand.hpp"
#include "budget/findings.hpp"
#include "life/life.hpp"

namespace perdure {

LifeDemand sizing_demand(const Project& project, const std::vector<const Record*>& records) {
    const Demand demand = demand_of(project);
    LifeDemand out;
    out.life_s = demand.life_s;
    out.lazy_start = project.product.lazy_start;
    out.starts_per_s = demand.life_s > 0 ? demand.starts / demand.life_s : 0;
    for (const Record* record : records) {
        LifeRecord live;
        live.at_power_fail = record->saved_at_power_fail();
        double periodic_per_s = 0;
        for (const RecordDemand& of : demand.records) {
            if (of.id != record->id) { continue; }
            for (const PolicyDemand& policy : of.policies) {
                const double per_s = demand.life_s > 0 ? policy.sizing_saves / demand.life_s : 0;
                if (policy.when == SaveWhen::periodic && policy.changed_share >= 1) {
                    periodic_per_s += per_s;
                } else if (policy.when == SaveWhen::at_power_fail) {
                    continue; // one before each start
                } else if (policy.when == SaveWhen::at_start) {
                    live.at_start += demand.starts > 0 ? policy.sizing_saves / demand.starts : 0;
                } else {
                    live.random_per_s += per_s;
                }
            }
        }
        if (periodic_per_s > 0) { live.period_s = 1 / periodic_per_s; }
        out.records.push_back(live);
    }
    return out;
}

FlashCosts flash_costs(const Device& part) {
    FlashCosts costs;
    if (const auto times = operation_times(part)) {
        costs.program_us = times->program_us;
        costs.erase_ms = times->erase_ms;
    }
    costs.program_ma = part.program_ma.value_or(0);
    costs.vdd_v = part.vdd_max_v.value_or(0);
    return costs;
}

} // namespace perdure
