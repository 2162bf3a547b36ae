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

/// What an area without a size is looked for with.
struct Search {
    const Project& project;
    const Area& area;
    const Demand& demand;
    Traffic traffic;
    uint32_t most = 1; ///< ring blocks that can be laid out; 1: none can
};

/// Joined erase blocks bound the number of ring blocks from above; below that bound more blocks never wear faster.
std::optional<Search> search_of(const Project& project, const Area& area, const Demand& demand) {
    const auto run = best_run(project.part);
    if (!run) { return std::nullopt; }
    Search out{project, area, demand, traffic_of(project, area, demand, Figures::sizing)};
    uint32_t too_many = run->count + 1;
    for (uint32_t step = 2; step <= run->count && !lay_out(project, area, out.most); step *= 2) { out.most = step; }
    while (too_many - out.most > 1) {
        const uint32_t mid = out.most + (too_many - out.most) / 2;
        (lay_out(project, area, mid) ? out.most : too_many) = mid;
    }
    return out;
}

bool holds_with(const Search& search, uint32_t blocks, bool stall_counts, Precision precision) {
    const Project& project = search.project;
    const auto layout = lay_out(project, search.area, blocks);
    if (!layout) { return false; }
    const RingWear wear = ring_wear(*layout, search.traffic, precision);
    if (format_erases + erases_over(wear, blocks, search.demand.life_s).per_block_max > erases_allowed(project)) {
        return false;
    }
    if (const auto log = log_in(*layout)) {
        const Record& record = *records_of(project, search.area)[*log];
        if (kept_samples(wear, *log, record.log->batch) < double(record.log->depth_samples)) { return false; }
    }
    const auto times = operation_times(project.part);
    if (!stall_counts || !project.requirements.put_stall_max_ms || !times) { return true; }
    return latency_of(*layout, *times, wear, project.product.lazy_start).put_serviced_ms <=
           *project.requirements.put_stall_max_ms;
}

std::optional<uint32_t> fewest(const Search& search, bool stall_counts, Precision precision) {
    const auto holds = [&](uint32_t blocks, Precision how) {
        return blocks >= 2 && blocks <= search.most && holds_with(search, blocks, stall_counts, how);
    };
    uint32_t high = 2, low = 1;
    while (!holds(high, Precision::coarse)) {
        if (high >= search.most) { return std::nullopt; }
        low = high;
        high = std::min(high * 2, search.most);
    }
    while (high - low > 1) {
        const uint32_t mid = low + (high - low) / 2;
        (holds(mid, Precision::coarse) ? high : low) = mid;
    }
    if (precision == Precision::coarse) { return high; }
    while (holds(high - 1, precision)) { --high; }
    for (uint32_t tries = 0; tries < 8; ++tries, ++high) {
        if (holds(high, precision)) { return high; }
    }
    return std::nullopt;
}

/// Bytes that flash_share leaves this area: less what the others have or need, in equal parts among those that nothing
/// holds for.
double share_left_bytes(const Search& search) {
    const Project& project = search.project;
    double left = double(*project.part.flash_bytes) * *project.requirements.flash_share_max;
    int unsolved = 1;
    for (const Area& other : project.areas) {
        if (other.name == search.area.name) { continue; }
        if (other.size_bytes) {
            left -= double(*other.size_bytes);
            continue;
        }
        const auto blocks = fewest_blocks(project, other, search.demand, Precision::coarse);
        const auto layout = lay_out(project, other, blocks.value_or(0));
        if (blocks && layout) {
            left -= double(layout->geometry.area_bytes());
        } else {
            ++unsolved;
        }
    }
    return left / unsolved;
}

/// What so many blocks break first of flash_share and start_up, as far as they are asked and can be told; `given` where
/// they keep to both.
RingFound broken_by_size(const Search& search, double share_left, uint32_t blocks) {
    const Project& project = search.project;
    const auto layout = lay_out(project, search.area, blocks);
    if (!layout) { return RingFound::least; }
    if (double(layout->geometry.area_bytes()) > share_left) { return RingFound::most_by_share; }
    const auto times = operation_times(project.part);
    if (!project.requirements.start_up_max_ms || !times) { return RingFound::given; }
    const RingWear wear = ring_wear(*layout, search.traffic, Precision::coarse);
    const double open_ms = latency_of(*layout, *times, wear, project.product.lazy_start).open_ms;
    return open_ms > *project.requirements.start_up_max_ms ? RingFound::most_by_start : RingFound::given;
}

} // namespace

std::optional<uint32_t> fewest_blocks(const Project& project, const Area& area, const Demand& demand) {
    return fewest_blocks(project, area, demand, Precision::fine);
}

std::optional<uint32_t> fewest_blocks(const Project& project, const Area& area, const Demand& demand,
                                      Precision precision) {
    const auto search = search_of(project, area, demand);
    return search ? fewest(*search, true, precision) : std::nullopt;
}

NearestRing nearest_ring(const Project& project, const Area& area, const Demand& demand, Precision precision) {
    const auto search = search_of(project, area, demand);
    if (!search || search->most < 2) { return {}; }
    const bool share_asked = project.requirements.flash_share_max && project.part.flash_bytes;
    const double share_left = share_asked ? share_left_bytes(*search) : HUGE_VAL;
    const auto broken = [&](uint32_t blocks) { return broken_by_size(*search, share_left, blocks); };
    const auto keeps = [&](uint32_t blocks) { return broken(blocks) == RingFound::given; };
    if (project.requirements.put_stall_max_ms) {
        // Of two blocks a put empties one itself: with three, service does, and the stall is what a put takes at least.
        if (const auto blocks = fewest(*search, false, precision)) {
            if (*blocks == 2 && search->most > 2 && keeps(3)) { return {3, RingFound::fewest_but_stall}; }
            if (keeps(*blocks)) { return {*blocks, RingFound::fewest_but_stall}; }
        }
    }
    uint32_t low = 2; // the smallest that can be laid out
    while (low < search->most && !lay_out(project, area, low)) { ++low; }
    if (keeps(search->most)) { return {search->most, RingFound::most}; }
    if (!keeps(low)) { return {low, RingFound::least}; }
    uint32_t too_many = search->most;
    while (too_many - low > 1) {
        const uint32_t mid = low + (too_many - low) / 2;
        (keeps(mid) ? low : too_many) = mid;
    }
    return {low, broken(too_many)};
}

std::optional<double> longest_life_years(const Project& project, const Erases& erases) {
    if (erases.per_block_mean <= 0) { return std::nullopt; }
    const double spare = std::max(0.0, erases_allowed(project) - format_erases);
    return project.product.life_years * spare / erases.per_block_mean;
}

std::optional<double> fastest_periodic(const Project& project, const Area& area, const Demand& demand,
                                       const AreaLayout& layout, Precision precision) {
    const double allowed = erases_allowed(project);
    const auto over = [&](double factor_log, double limit, Precision how) {
        const Traffic traffic = traffic_of(project, area, demand, Figures::sizing, std::exp(factor_log));
        return std::log(erases_needed(layout, traffic, demand.life_s, how) / limit);
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
        if (precision == Precision::coarse || round == 1) { break; }
        // The finer figure differs by a nearly constant factor: aim the second round with it.
        limit = allowed * std::exp(over(root, allowed, Precision::coarse) - over(root, allowed, precision));
    }
    return std::exp(root);
}

} // namespace perdure
