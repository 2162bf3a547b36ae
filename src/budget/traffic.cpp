// From saves over life to saves a second.
#include <algorithm>
#include <cmath>

#include "budget/wear.hpp"

namespace perdure {

namespace {

void add_policy(RecordTraffic& out, double saves_per_s, bool even) {
    if (saves_per_s <= 0) { return; }
    if (!even) {
        out.random_per_s += saves_per_s;
        return;
    }
    const double period_s = 1 / saves_per_s;
    if (out.period_s > 0) { out.random_per_s += 1 / std::max(period_s, out.period_s); } // the quicker one stays even
    out.period_s = out.period_s > 0 ? std::min(period_s, out.period_s) : period_s;
}

} // namespace

Traffic traffic_of(const Project& project, const Area& area, const Demand& demand, Figures figures,
                   double periodic_factor) {
    Traffic out;
    out.starts_per_s = demand.life_s > 0 ? demand.starts / demand.life_s : 0;
    for (const Record* record : records_of(project, area)) {
        const RecordDemand& saves = demand.records[static_cast<size_t>(record - project.records.data())];
        RecordTraffic& traffic = out.records.emplace_back();
        for (const PolicyDemand& policy : saves.policies) {
            const double count = figures == Figures::nominal ? policy.nominal_saves : policy.sizing_saves;
            const double factor = policy.when == SaveWhen::periodic ? periodic_factor : 1.0;
            if (policy.when == SaveWhen::at_start || policy.when == SaveWhen::at_power_fail) {
                traffic.at_start += demand.starts > 0 ? count / demand.starts : 0;
            } else {
                add_policy(traffic, count * factor / demand.life_s,
                           policy.when == SaveWhen::periodic && policy.changed_share >= 1);
            }
        }
    }
    if (project.product.lazy_start) { out.starts_per_s *= starts_that_store(out); }
    return out;
}

double starts_that_store(const Traffic& traffic) {
    if (traffic.starts_per_s <= 0) { return 0; }
    const double apart_s = 1 / traffic.starts_per_s;
    double none = 1;
    for (const RecordTraffic& record : traffic.records) {
        const double even = record.period_s > 0 ? std::max(0.0, 1 - apart_s / record.period_s) : 1.0;
        none *= even * std::exp(-record.random_per_s * apart_s) * std::max(0.0, 1 - record.at_start);
    }
    return 1 - none;
}

} // namespace perdure
