// The inverse questions: how few blocks, how long, how fast.
#include "budget/search.hpp"

#include <algorithm>
#include <cmath>

#include "budget/log.hpp"

namespace perdure {

double erases_spendable(const Project& project) {
    return std::min(project.part.endurance_cycles.value_or(0) * project.requirements.spend_limit, erases_counted_max);
}

double erases_allowed(const Project& project) {
    return erases_spendable(project) / project.requirements.margin_min - project.conditions.erases_spent;
}

double erases_needed(const AreaLayout& layout, const Traffic& traffic, double life_s, Precision precision) {
    const RingWear wear = ring_wear(layout, traffic, precision);
    return format_erases + erases_over(wear, layout.geometry.ring_blocks, life_s).per_block_mean;
}

namespace {

bool holds_with(const Project& project, const Area& area, const Demand& demand, const Traffic& traffic, uint32_t blocks,
                Precision precision) {
    const auto layout = lay_out(project, area, blocks);
    if (!layout) { return false; }
    const RingWear wear = ring_wear(*layout, traffic, precision);
    if (format_erases + erases_over(wear, blocks, demand.life_s).per_block_max > erases_allowed(project)) {
        return false;
    }
    if (const auto log = log_in(*layout)) {
        const Record& record = *records_of(project, area)[*log];
        if (kept_samples(wear, *log, record.log->batch) < double(record.log->depth_samples)) { return false; }
    }
    const auto times = operation_times(project.part);
    if (!project.requirements.put_stall_max_ms || !times) { return true; }
    return latency_of(*layout, *times, wear, project.product.lazy_start).put_serviced_ms <=
           *project.requirements.put_stall_max_ms;
}

} // namespace

std::optional<uint32_t> fewest_blocks(const Project& project, const Area& area, const Demand& demand) {
    return fewest_blocks(project, area, demand, Precision::fine);
}

std::optional<uint32_t> fewest_blocks(const Project& project, const Area& area, const Demand& demand,
                                      Precision precision) {
    const auto run = best_run(project.part);
    if (!run) { return std::nullopt; }
    const Traffic traffic = traffic_of(project, area, demand, Figures::sizing);
    const auto holds = [&](uint32_t blocks, Precision how) {
        return blocks >= 2 && blocks <= run->count && holds_with(project, area, demand, traffic, blocks, how);
    };
    // Joined erase blocks bound the number of ring blocks from above; more blocks never wear faster below that bound.
    uint32_t most = 1, too_many = run->count + 1;
    for (uint32_t step = 2; step <= run->count && !lay_out(project, area, most); step *= 2) { most = step; }
    while (too_many - most > 1) {
        const uint32_t mid = most + (too_many - most) / 2;
        (lay_out(project, area, mid) ? most : too_many) = mid;
    }
    uint32_t high = 2, low = 1;
    while (!holds(high, Precision::coarse)) {
        if (high >= most) { return std::nullopt; }
        low = high;
        high = std::min(high * 2, most);
    }
    while (high - low > 1) {
        const uint32_t mid = low + (high - low) / 2;
        (holds(mid, Precision::coarse) ? high : low) = mid;
    }
    if (precision == Precision::coarse) { return high; }
    while (holds(high - 1, Precision::fine)) { --high; }
    for (uint32_t tries = 0; tries < 8; ++tries, ++high) {
        if (holds(high, Precision::fine)) { return high; }
    }
    return std::nullopt;
}

std::optional<double> longest_life_years(const Project& project, const Erases& erases) {
    if (erases.per_block_mean <= 0) { return std::nullopt; }
    const double spare = std::max(0.0, erases_allowed(project) - format_erases);
    return project.product.life_years * spare / erases.per_block_mean;
}

std::optional<double> fastest_periodic(const Project& project, const Area& area, const Demand& demand,
                                       const AreaLayout& layout) {
    const double allowed = erases_allowed(project);
    const auto over = [&](double factor_log, double limit, Precision precision) {
        const Traffic traffic = traffic_of(project, area, demand, Figures::sizing, std::exp(factor_log));
        return std::log(erases_needed(layout, traffic, demand.life_s, precision) / limit);
    };
    bool any = false;
    for (const Record* record : records_of(project, area)) {
        for (const SavePolicy& policy : record->saves) {
            any = any || (policy.when == SaveWhen::periodic && policy.every_s > 0);
        }
    }
    if (!any || allowed <= format_erases || over(-30, allowed, Precision::coarse) > 0) { return std::nullopt; }
    double limit = allowed, root = 0;
    for (int round = 0; round < 2; ++round) {
        double low = -30, high = 30;
        double below = over(low, limit, Precision::coarse), above = over(high, limit, Precision::coarse);
        if (above <= 0) { return std::nullopt; }
        for (int step = 0; step < 60 && high - low > 1e-6; ++step) {
            // Secant where it falls well inside, bisection where the curve is flat.
            const double secant = (low * above - high * below) / (above - below);
            root = step % 3 == 2 ? (low + high) / 2 : secant;
            const double value = over(root, limit, Precision::coarse);
            if (std::abs(value) < 1e-6) { break; }
            (value > 0 ? high : low) = root;
            (value > 0 ? above : below) = value;
        }
        // The fine figure differs by a nearly constant factor: aim the second round with it.
        limit = allowed * std::exp(over(root, allowed, Precision::coarse) - over(root, allowed, Precision::fine));
    }
    return std::exp(root);
}

} // namespace perdure
