#include "budget/demand.hpp"

#include <boost/math/distributions/poisson.hpp>
#include <fmt/format.h>

namespace perdure {

double poisson_count(double mean, double confidence) {
    namespace policies = boost::math::policies;
    // Boost's default rounds quantiles outward, which below the median is one too few.
    using Upward = policies::policy<policies::discrete_quantile<policies::integer_round_up>>;
    if (mean <= 0) { return 0; }
    return boost::math::quantile(boost::math::poisson_distribution<double, Upward>(mean), confidence);
}

namespace {

PolicyDemand demand_of_policy(const Product& product, const SavePolicy& policy, double heavy_user_factor) {
    PolicyDemand out;
    out.when = policy.when;
    out.changed_share = policy.changed_share;
    out.place = policy.place;
    std::string occasions;
    switch (policy.when) {
    case SaveWhen::periodic:
        out.nominal_saves = policy.every_s > 0 ? product.life_s() / policy.every_s : 0;
        occasions = fmt::format("{:.6g} s of life / {:.6g} s", product.life_s(), policy.every_s);
        break;
    case SaveWhen::events:
        out.nominal_saves = policy.events_per_day * product.life_days();
        occasions = fmt::format("{:.6g} a day x {:.6g} d", policy.events_per_day, product.life_days());
        break;
    case SaveWhen::at_start:
        out.nominal_saves = product.starts_per_day * product.life_days();
        occasions = fmt::format("{:.6g} starts a day x {:.6g} d", product.starts_per_day, product.life_days());
        break;
    }
    out.nominal_saves *= policy.changed_share;
    out.sizing_saves = out.nominal_saves * heavy_user_factor;
    out.formula = occasions;
    if (policy.changed_share != 1.0) { out.formula += fmt::format(" x {:.6g} changed", policy.changed_share); }
    if (heavy_user_factor != 1.0) { out.formula += fmt::format(" x {:.6g} heavy user", heavy_user_factor); }
    if (policy.when == SaveWhen::events && policy.confidence) {
        out.sizing_saves = poisson_count(out.sizing_saves, *policy.confidence);
        out.formula += fmt::format(", Poisson quantile {:.6g}", *policy.confidence);
    }
    return out;
}

} // namespace

Demand demand_of(const Project& project) {
    Demand out;
    out.life_s = project.product.life_s();
    out.starts = project.product.starts_per_day * project.product.life_days();
    for (const Record& record : project.records) {
        RecordDemand& entry = out.records.emplace_back();
        entry.id = record.id;
        entry.name = record.name;
        for (const SavePolicy& policy : record.saves) {
            entry.policies.push_back(demand_of_policy(project.product, policy, record.heavy_user_factor));
            entry.nominal_saves += entry.policies.back().nominal_saves;
            entry.sizing_saves += entry.policies.back().sizing_saves;
        }
    }
    return out;
}

} // namespace perdure
