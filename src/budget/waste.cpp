// What stays blank at the end of a block.
#include <algorithm>
#include <cmath>
#include <numeric>
#include <tuple>
#include <utility>

#include "budget/wear.hpp"

namespace perdure {

namespace {

constexpr uint32_t followed_units =
    1024; // a longer block's end does not depend on its beginning, but for the last item's size
constexpr size_t uncertain_max = 64;

void merge_alike(std::vector<FillItem>& items) {
    std::erase_if(items, [](const FillItem& item) { return !(item.weight > 0) || item.units == 0; });
    const auto key = [](const FillItem& item) { return std::tie(item.units, item.need, item.start, item.then); };
    std::sort(items.begin(), items.end(), [&](const FillItem& a, const FillItem& b) { return key(a) < key(b); });
    std::vector<FillItem> out;
    for (const FillItem& item : items) {
        if (!out.empty() && key(out.back()) == key(item)) {
            out.back().weight += item.weight;
        } else {
            out.push_back(item);
        }
    }
    items = std::move(out);
}

uint32_t units_with_following(const FillItem& item) {
    return std::accumulate(item.then.begin(), item.then.end(), item.units);
}

BlockEnd renewal_limit(const std::vector<FillItem>& items, uint32_t capacity_units) {
    double mean = 0, lost = 0, opened = 0, by_start = 0;
    for (const FillItem& item : items) {
        mean += item.weight * units_with_following(item);
        lost += item.weight * item.need * (double(item.need) - 1) / 2;
        opened += item.weight * item.need;
        by_start += item.start ? item.weight * item.need : 0;
        for (const uint32_t units : item.then) {
            lost += item.weight * units * (double(units) - 1) / 2;
            opened += item.weight * units;
        }
    }
    if (mean <= 0) { return {}; }
    return {std::min(lost / mean, double(capacity_units)), by_start / opened};
}

/// Chances of the position after the entries that a block begins with; positions beyond the block are dropped to its
/// end.
std::vector<double> positions_after(std::vector<FillFirst> first, uint32_t capacity_units) {
    const auto doubt = [](const FillFirst& a) { return a.units * a.chance * (1 - a.chance); };
    std::sort(first.begin(), first.end(), [&](const FillFirst& a, const FillFirst& b) { return doubt(a) > doubt(b); });
    double certain = 0;
    std::vector<double> at(capacity_units + 1, 0.0);
    at[0] = 1;
    uint32_t reach = 0;
    for (size_t i = 0; i < first.size(); ++i) {
        const FillFirst& entry = first[i];
        if (i >= uncertain_max || doubt(entry) < 1e-3) {
            certain += entry.units * entry.chance;
            continue;
        }
        reach = std::min(reach + entry.units, capacity_units);
        for (uint32_t to = reach + 1; to-- > 0;) {
            const double stays = at[to] * (1 - entry.chance);
            at[to] = stays + (to >= entry.units ? at[to - entry.units] * entry.chance : 0);
        }
    }
    const auto shift = std::min(static_cast<uint32_t>(std::lround(certain)), capacity_units);
    std::rotate(at.begin(), at.end() - shift, at.end());
    return at;
}

} // namespace

BlockEnd end_of_block(uint32_t capacity_units, std::vector<FillItem> items, std::vector<FillFirst> first,
                      Precision precision) {
    merge_alike(items);
    if (items.empty()) { return {}; }
    const auto likeliest = std::max_element(items.begin(), items.end(),
                                            [](const FillItem& a, const FillItem& b) { return a.weight < b.weight; });
    if (precision == Precision::coarse) { return renewal_limit(items, capacity_units); }
    double sum = 0;
    uint32_t largest = 0;
    for (const FillItem& item : items) {
        sum += item.weight;
        largest = std::max({largest, item.need, units_with_following(item)});
    }
    std::vector<std::pair<uint32_t, double>> fitting; // units and weights
    for (FillItem& item : items) {
        item.weight /= sum;
        fitting.emplace_back(units_with_following(item), item.weight);
    }
    // Left out of a long block: whole items of the likeliest size, so that what remains ends the same way.
    const uint32_t kept = std::max(followed_units, 4 * largest);
    const uint32_t step_units = units_with_following(*likeliest);
    uint32_t capacity = capacity_units;
    if (capacity > kept) { capacity -= (capacity - kept) / step_units * step_units; }
    for (FillFirst& entry : first) {
        if (entry.chance > 0.9995) { capacity -= std::min(capacity, entry.units); }
    }
    std::erase_if(first, [](const FillFirst& entry) { return entry.chance > 0.9995; });

    const std::vector<double> begin = positions_after(std::move(first), capacity);
    // What did not fit comes first in the next block: large items more often than their share. Chances of the units it
    // takes there.
    std::vector<double> opens;
    BlockEnd out;
    for (int pass = 0; pass < 3; ++pass) {
        std::vector<double> at(capacity + 1, 0.0);
        std::vector<double> opened(capacity + 1, 0.0);
        out = {};
        const auto does_not_fit = [&](uint32_t from, uint32_t units, double chance) {
            out.waste_units += chance * (capacity - from);
            opened[std::min(units, capacity)] += chance;
        };
        const auto step = [&](uint32_t from, const FillItem& item, double chance) {
            if (from + item.need > capacity) {
                out.opened_by_start += item.start ? chance : 0;
                return does_not_fit(from, units_with_following(item), chance);
            }
            from += item.units;
            for (size_t i = 0; i < item.then.size(); ++i) {
                if (from + item.then[i] > capacity) {
                    return does_not_fit(
                        from, std::accumulate(item.then.begin() + std::ptrdiff_t(i), item.then.end(), 0U), chance);
                }
                from += item.then[i];
            }
            at[from] += chance;
        };
        for (uint32_t from = 0; from <= capacity; ++from) {
            if (begin[from] <= 0) { continue; }
            for (const FillItem& item : items) {
                if (opens.empty()) { step(from, item, begin[from] * item.weight); }
            }
            for (uint32_t units = 0; units < opens.size(); ++units) {
                if (opens[units] > 0) { at[std::min(from + units, capacity)] += begin[from] * opens[units]; }
            }
        }
        for (uint32_t from = 0; from <= capacity; ++from) {
            const double chance = at[from];
            if (chance <= 1e-12) { continue; }
            if (from + largest <= capacity) { // all of them fit
                for (const auto& [units, weight] : fitting) { at[from + units] += chance * weight; }
                continue;
            }
            for (const FillItem& item : items) { step(from, item, chance * item.weight); }
        }
        opens = opened;
    }
    return out;
}

} // namespace perdure
