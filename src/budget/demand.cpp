#include "budget/demand.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

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

double settled_per_s(double per_s, double settle_s, std::optional<double> latest_s) {
    const double by_pauses = per_s * std::exp(-per_s * settle_s);
    if (!latest_s || *latest_s <= 0) { return by_pauses; }
    return std::min(by_pauses + 1 / *latest_s, per_s / (1 + per_s * settle_s));
}

namespace {

/// What one policy asks for before changed share and heavy user: saves over life, and how that was reached.
double occasions_of(const Project& project, const Record& record, const SavePolicy& policy, std::string& formula) {
    const Product& product = project.product;
    const double days = product.life_days();
    switch (policy.when) {
    case SaveWhen::periodic:
        formula = fmt::format("{:.6g} s of life / {:.6g} s", product.life_s(), policy.every_s);
        return policy.every_s > 0 ? product.life_s() / policy.every_s : 0;
    case SaveWhen::events:
        formula = fmt::format("{:.6g} a day x {:.6g} d", policy.events_per_day, days);
        return policy.events_per_day * days;
    case SaveWhen::at_start:
        formula = fmt::format("{:.6g} starts a day x {:.6g} d", project.starts_per_day(), days);
        return project.starts_per_day() * days;
    case SaveWhen::at_power_fail:
        formula = fmt::format("{:.6g} failures of the supply a day x {:.6g} d (one before each start)",
                              project.starts_per_day(), days);
        return project.starts_per_day() * days;
    case SaveWhen::moved: {
        const double rate = record.fields.at(policy.field).rate_per_day.value_or(0);
        formula = fmt::format("{:.6g} a day / {:.6g} a save x {:.6g} d", rate, policy.moved_by, days);
        return policy.moved_by > 0 ? rate / policy.moved_by * days : 0;
    }
    case SaveWhen::settled:
        formula = fmt::format("{:.6g} changes a day x {:.6g} d, pauses above {:.6g} s", policy.events_per_day, days,
                              policy.settle_s);
        if (policy.latest_s) { formula += fmt::format(", and after {:.6g} s", *policy.latest_s); }
        return settled_per_s(policy.events_per_day / 86400, policy.settle_s, policy.latest_s) * product.life_s();
    }
    return 0;
}

PolicyDemand demand_of_policy(const Project& project, const Record& record, const SavePolicy& policy) {
    PolicyDemand out;
    out.when = policy.when;
    out.changed_share = policy.changed_share;
    out.place = policy.place;
    std::string occasions;
    out.nominal_saves = occasions_of(project, record, policy, occasions);
    // How often the supply fails is not the user's doing.
    const double heavy_user_factor = policy.when == SaveWhen::at_power_fail ? 1.0 : record.heavy_user_factor;
    out.nominal_saves *= policy.changed_share;
    out.sizing_saves = out.nominal_saves * heavy_user_factor;
    out.formula = occasions;
    if (policy.changed_share != 1.0) { out.formula += fmt::format(" x {:.6g} changed", policy.changed_share); }
    if (heavy_user_factor != 1.0) { out.formula += fmt::format(" x {:.6g} heavy user", heavy_user_factor); }
    if (policy.when == SaveWhen::events && policy.confidence) {
        out.sizing_saves = poisson_count(out.sizing_saves, *policy.confidence);
        out.formula += fmt::format(", Poisson quantile {:.6g}", *policy.confidence);
    }
    if (record.has_log_entries() && record.log->batch > 1) {
        out.nominal_saves /= record.log->batch;
        out.sizing_saves /= record.log->batch;
        out.formula += fmt::format(" / {} samples an entry", record.log->batch);
    }
    return out;
}

} // namespace

Demand demand_of(const Project& project) {
    Demand out;
    out.life_s = project.product.life_s();
    out.starts = project.starts_per_day() * project.product.life_days();
    for (const Record& record : project.records) {
        RecordDemand& entry = out.records.emplace_back();
        entry.id = record.id;
        entry.name = record.name;
        for (const SavePolicy& policy : record.saves) {
            entry.policies.push_back(demand_of_policy(project, record, policy));
            entry.nominal_saves += entry.policies.back().nominal_saves;
            entry.sizing_saves += entry.policies.back().sizing_saves;
        }
    }
    return out;
}

void widen_movement(Record& record, double factor) {
    if (factor <= 1) { return; }
    for (Field& field : record.fields) {
        const uint64_t most = field.bytes < 8 ? (uint64_t{1} << (8 * field.bytes)) - 1
                                              : uint64_t(std::numeric_limits<int64_t>::max()); // as the file can say
        const double wanted = std::ceil(double(field.movement_max) * factor);
        field.movement_max = wanted >= double(most) ? most : static_cast<uint64_t>(wanted);
    }
}

} // namespace perdure
