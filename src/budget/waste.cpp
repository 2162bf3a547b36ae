// What stays blank at the end of a block.
#include <algorithm>
#include <cmath>

#include "budget/wear.hpp"

namespace perdure {

namespace {

constexpr uint32_t followed_units =
    1024; // a longer block's end does not depend on its beginning, but for the last item's size
constexpr size_t uncertain_max = 10;

void merge_alike(std::vector<FillItem>& items) {
    std::erase_if(items, [](const FillItem& item) { return !(item.weight > 0) || item.units == 0; });
    std::sort(items.begin(), items.end(), [](const FillItem& a, const FillItem& b) {
        return a.units != b.units ? a.units < b.units : a.need < b.need;
    });
    std::vector<FillItem> out;
    for (const FillItem& item : items) {
        if (!out.empty() && out.back().units == item.units && out.back().need == item.need) {
            out.back().weight += item.weight;
        } else {
            out.push_back(item);
        }
    }
    items = std::move(out);
}

double renewal_limit(const std::vector<FillItem>& items) {
    double mean = 0, lost = 0;
    for (const FillItem& item : items) {
        mean += item.weight * item.units;
        lost += item.weight * item.need * (double(item.need) - 1) / 2;
    }
    return mean > 0 ? lost / mean : 0;
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

double end_waste_units(uint32_t capacity_units, std::vector<FillItem> items, std::vector<FillFirst> first,
                       Precision precision) {
    merge_alike(items);
    if (items.empty()) { return 0; }
    const auto likeliest = std::max_element(items.begin(), items.end(),
                                            [](const FillItem& a, const FillItem& b) { return a.weight < b.weight; });
    if (precision == Precision::coarse) { return std::min(renewal_limit(items), double(capacity_units)); }
    double sum = 0;
    uint32_t largest = 0;
    for (const FillItem& item : items) {
        sum += item.weight;
        largest = std::max(largest, item.need);
    }
    for (FillItem& item : items) { item.weight /= sum; }
    // Left out of a long block: whole items of the likeliest size, so that what remains ends the same way.
    const uint32_t kept = std::max(followed_units, 4 * largest);
    uint32_t capacity = capacity_units;
    if (capacity > kept) { capacity -= (capacity - kept) / likeliest->units * likeliest->units; }
    for (FillFirst& entry : first) {
        if (entry.chance > 0.9995) { capacity -= std::min(capacity, entry.units); }
    }
    std::erase_if(first, [](const FillFirst& entry) { return entry.chance > 0.9995; });

    const std::vector<double> begin = positions_after(std::move(first), capacity);
    std::vector<double>
        opens; // the item that did not fit comes first in the next block: large items more often than their share
    double waste = 0;
    for (int pass = 0; pass < 2; ++pass) {
        std::vector<double> at(capacity + 1, 0.0);
        std::vector<double> did_not_fit(items.size(), 0.0);
        waste = 0;
        const auto step = [&](uint32_t from, size_t i, double chance) {
            if (from + items[i].need <= capacity) {
                at[from + items[i].units] += chance;
            } else {
                waste += chance * (capacity - from);
                did_not_fit[i] += chance;
            }
        };
        for (uint32_t from = 0; from <= capacity; ++from) {
            if (begin[from] <= 0) { continue; }
            for (size_t i = 0; i < items.size(); ++i) {
                step(from, i, begin[from] * (opens.empty() ? items[i].weight : opens[i]));
            }
        }
        for (uint32_t from = 0; from <= capacity; ++from) {
            if (at[from] <= 1e-12) { continue; }
            for (size_t i = 0; i < items.size(); ++i) { step(from, i, at[from] * items[i].weight); }
        }
        opens = did_not_fit;
    }
    return waste;
}

} // namespace perdure
