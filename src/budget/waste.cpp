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

/// One pass through a block: the chance of each position, item by item.
class Filling {
public:
    /// `largest`: the most units that an item needs or takes.
    Filling(const std::vector<FillItem>& items, uint32_t capacity, uint32_t largest)
        : opened(capacity + 1, 0.0), items_(items), capacity_(capacity), largest_(largest), at_(capacity + 1, 0.0) {
        for (const FillItem& item : items) { fitting_.emplace_back(units_with_following(item), item.weight); }
    }

    /// From the positions after what each block begins with. What did not fit comes first in the next block, large
    /// items more often than their share: `opens` are the chances of the units that it takes there; empty: not known
    /// yet.
    void begin(const std::vector<double>& positions, const std::vector<double>& opens) {
        for (uint32_t from = 0; from <= capacity_; ++from) {
            if (positions[from] <= 0) { continue; }
            if (opens.empty()) { put_each(from, positions[from]); }
            for (uint32_t units = 0; units < opens.size(); ++units) {
                if (opens[units] > 0) { at_[std::min(from + units, capacity_)] += positions[from] * opens[units]; }
            }
        }
    }

    void go_on() {
        for (uint32_t from = 0; from <= capacity_; ++from) {
            const double chance = at_[from];
            if (chance <= 1e-12) { continue; }
            if (from + largest_ > capacity_) {
                put_each(from, chance);
                continue;
            }
            for (const auto& [units, weight] : fitting_) { at_[from + units] += chance * weight; }
        }
    }

    BlockEnd end;
    std::vector<double> opened; ///< chances of the units with which the next block opens

private:
    void put_each(uint32_t from, double chance) {
        for (const FillItem& item : items_) { put(from, item, chance * item.weight); }
    }

    void put(uint32_t from, const FillItem& item, double chance) {
        if (from + item.need > capacity_) {
            end.opened_by_start += item.start ? chance : 0;
            return does_not_fit(from, units_with_following(item), chance);
        }
        from += item.units;
        for (size_t i = 0; i < item.then.size(); ++i) {
            if (from + item.then[i] > capacity_) {
                return does_not_fit(from, std::accumulate(item.then.begin() + std::ptrdiff_t(i), item.then.end(), 0U),
                                    chance);
            }
            from += item.then[i];
        }
        at_[from] += chance;
    }

    void does_not_fit(uint32_t from, uint32_t units, double chance) {
        end.waste_units += chance * (capacity_ - from);
        opened[std::min(units, capacity_)] += chance;
    }

    const std::vector<FillItem>& items_;
    uint32_t capacity_, largest_;
    std::vector<std::pair<uint32_t, double>> fitting_; ///< units and weight of each item
    std::vector<double> at_;
};

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
    for (FillItem& item : items) { item.weight /= sum; }
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
    std::vector<double> opens;
    BlockEnd out;
    for (int pass = 0; pass < 3; ++pass) {
        Filling filling(items, capacity, largest);
        filling.begin(begin, opens);
        filling.go_on();
        out = filling.end;
        opens = std::move(filling.opened);
    }
    return out;
}

} // namespace perdure
