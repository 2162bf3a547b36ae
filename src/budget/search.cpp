// The inverse questions: how few blocks, how long, how fast.
#include "budget/search.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include <boost/math/tools/toms748_solve.hpp>

#include "budget/log.hpp"
#include "budget/ring_wear.hpp"

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

/// Does `layout` last and keep its log's depth, with such wear? `off`: by what share the wear may be off; nothing
/// where that leaves it open.
std::optional<bool> lasts(const Search& search, const AreaLayout& layout, const RingWear& wear, double off) {
    const double allowed = erases_allowed(search.project);
    const double erases =
        format_erases + erases_over(wear, layout.geometry.ring_blocks, search.demand.life_s).per_block_max;
    double least_spare = allowed - erases * (1 + off), most_spare = allowed - erases * (1 - off);
    if (const auto log = log_in(layout)) {
        const Record& record = *records_of(search.project, search.area)[*log];
        const double kept = kept_samples(wear, *log, record.log->batch), depth = double(record.log->depth_samples);
        least_spare = std::min(least_spare, kept * (1 - off) - depth);
        most_spare = std::min(most_spare, kept * (1 + off) - depth);
    }
    if (most_spare < 0) { return false; }
    return least_spare >= 0 ? std::optional(true) : std::nullopt;
}

bool holds_with(const Search& search, uint32_t blocks, bool stall_counts, Precision precision) {
    const Project& project = search.project;
    const auto layout = lay_out(project, search.area, blocks);
    if (!layout) { return false; }
    RingWear wear = ring_wear(*layout, search.traffic, std::min(precision, Precision::reckoned));
    // Entries are counted only where the formulas leave it open.
    auto holds = lasts(search, *layout, wear, precision == Precision::fine ? reckoned_may_be_off(*layout, wear) : 0);
    if (!holds) {
        wear = ring_wear(*layout, search.traffic, precision);
        holds = lasts(search, *layout, wear, 0);
    }
    if (!*holds) { return false; }
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

namespace {

/// Where `rises` crosses zero, near `guess`; the first bracket is that wide on either side.
template <class Function> double crossing(const Function& rises, double guess, double width) {
    double low = guess - width, high = guess + width;
    double below = rises(low), above = rises(high);
    for (; below > 0; width *= 4) {
        high = low;
        above = below;
        low -= 4 * width;
        below = rises(low);
    }
    for (; above < 0; width *= 4) {
        low = high;
        below = above;
        high += 4 * width;
        above = rises(high);
    }
    if (below == 0) { return low; }
    if (above == 0) { return high; }
    const auto near = [](double a, double b) { return std::abs(b - a) < 1e-6; };
    std::uintmax_t steps = 60;
    const auto found = boost::math::tools::toms748_solve(rises, low, high, below, above, near, steps);
    return (found.first + found.second) / 2;
}

} // namespace

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
    if (over(30, allowed, Precision::coarse) <= 0) { return std::nullopt; }
    const double first = -over(0, allowed, Precision::coarse); // as if every erase were for a periodic save
    double root = crossing([&](double at) { return over(at, allowed, Precision::coarse); }, first, 0.1);
    if (precision != Precision::coarse) {
        // The finer figure differs by a nearly constant factor: aim a second time with it.
        const double limit =
            allowed * std::exp(over(root, allowed, Precision::coarse) - over(root, allowed, precision));
        root = crossing([&](double at) { return over(at, limit, Precision::coarse); }, root, 0.01);
    }
    return std::exp(root);
}

} // namespace perdure
