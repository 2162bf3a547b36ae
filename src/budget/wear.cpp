#include "budget/wear.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace perdure {

namespace {

/// Chance that a record is not saved during `s` seconds: random saves and even ones of unknown phase.
double unsaved(const RecordTraffic& traffic, double s) {
    const double even = traffic.period_s > 0 ? std::max(0.0, 1 - s / traffic.period_s) : 1.0;
    return even * std::exp(-traffic.random_per_s * s);
}

/// Copies of a record in each block. Its newest save is copied when none follows for as long as its block waits to be
/// emptied, from `wait_s` (written last in its block) to `wait_s + block_s` (written first), and again every `again_s`.
/// So the copies are the sum over k of unsaved(wait + k again) - unsaved(wait + block + k again).
double copies_a_block(const RecordTraffic& traffic, double block_s, double wait_s, double again_s) {
    const double random = traffic.random_per_s;
    const double period = traffic.period_s;
    if (period <= 0) {
        if (random * again_s < 1e-12) { return block_s / again_s; }
        return std::exp(-random * wait_s) * std::expm1(-random * block_s) / std::expm1(-random * again_s);
    }
    if (period <= wait_s) { return 0; }
    const double times = std::ceil((period - wait_s) / again_s);
    if (random <= 0) {
        const double last_s = std::min(block_s, period - wait_s - (times - 1) * again_s);
        return ((times - 1) * block_s + last_s) / period;
    }
    constexpr double times_max = 32;
    if (times > times_max) { return copies_a_block({0, random + 1 / period}, block_s, wait_s, again_s); }
    double sum = 0;
    for (double k = 0; k < times; ++k) {
        const double from_s = wait_s + k * again_s;
        sum += unsaved(traffic, from_s) - unsaved(traffic, from_s + block_s);
    }
    return sum;
}

/// One trial of the unknown: what a block would hold if it filled in block_s.
class Trial {
public:
    Trial(const AreaLayout& layout, const Traffic& traffic) : layout_(layout), traffic_(traffic) {
        const uint32_t blocks = layout.geometry.ring_blocks;
        ahead_ = traffic.service_in_time && blocks >= layout.spare_blocks + 2;
        data_blocks_ = std::max(1.0, double(blocks) - layout.spare_blocks - (ahead_ ? 1 : 0));
        for (const RecordTraffic& record : traffic.records) { saves_per_s_ += record.per_s(); }
        correct_for_few_entries();
    }

    /// What a start takes on average: the newest record is each one in proportion to its saves.
    [[nodiscard]] double start_units() const {
        double sum = layout_.start_pad_units;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            sum += newest_share(i) * layout_.records[i].restart_units;
        }
        return sum;
    }

    [[nodiscard]] RingWear at(double block_s) const {
        RingWear out;
        out.block_s = block_s;
        out.data_blocks = data_blocks_;
        out.mark_units = layout_.mark_units;
        out.start_units = traffic_.starts_per_s * block_s * start_units();
        // Cleaning ahead begins with the head half full. Copies themselves take room, not time, so half the units is
        // more than half the time; two rounds settle it.
        for (int round = 0; round < (ahead_ ? 3 : 1); ++round) {
            const double first_half = 0.5 * layout_.geometry.units_per_ring_block() - layout_.stamp_units;
            const double for_saves = std::max(1.0, layout_.capacity_units - out.copied_units - out.mark_units);
            out.empties_at = ahead_ ? std::clamp(first_half / for_saves, 0.0, 1.0) : 0.0;
            fill_records(out);
        }
        return out;
    }

    [[nodiscard]] double waste(const RingWear& wear, Precision precision) const {
        std::vector<FillItem> items;
        std::vector<FillFirst> first{{layout_.mark_units, 1.0}};
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            const RecordLayout& size = layout_.records[i];
            const RecordWear& record = wear.records[i];
            const double saves = record.full_saves + record.short_saves;
            if (record.copies > 0) { first.push_back({size.full_units, std::min(1.0, record.copies)}); }
            if (size.short_units > 0 && saves >= 2) {
                items.push_back({size.short_units, size.short_units, saves});
                first.push_back({size.full_units - size.short_units, std::min(1.0, record.full_saves)});
            } else {
                items.push_back({size.full_units, size.full_units, record.full_saves});
                items.push_back({size.short_units, size.short_units, record.short_saves});
            }
            items.push_back({layout_.start_pad_units + size.restart_units,
                             layout_.start_pad_units + std::max(size.restart_units, layout_.nearly_full_units),
                             traffic_.starts_per_s * wear.block_s * newest_share(i)});
        }
        return end_waste_units(layout_.capacity_units, std::move(items), std::move(first), precision);
    }

    /// Units by which a block filled in block_s is overfull, with `waste_units` at its end.
    [[nodiscard]] double excess(double block_s, double waste_units) const {
        const RingWear wear = at(block_s);
        return wear.saved_units + wear.copied_units + wear.start_units + wear.mark_units + waste_units -
               layout_.capacity_units;
    }

    /// Longer than any block can take: every save at its smallest and nothing else. Infinite without traffic.
    [[nodiscard]] double longest_s() const {
        double units_per_s = traffic_.starts_per_s * start_units();
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            units_per_s += traffic_.records[i].per_s() * save_units(i);
        }
        return units_per_s > 0 ? layout_.capacity_units / units_per_s : std::numeric_limits<double>::infinity();
    }

private:
    [[nodiscard]] double newest_share(size_t i) const {
        return saves_per_s_ > 0 ? traffic_.records[i].per_s() / saves_per_s_ : 1.0 / double(layout_.records.size());
    }

    /// Time in the ring is counted in units, not in seconds. While a record is not saved its own units are missing, so
    /// the others take longer to fill the same room; and the time they take varies. Both count where a block holds few
    /// entries: with n alike records the chance to be spared by one save is 1 - 1/n, not exp(-1/n).
    void correct_for_few_entries() {
        seen_ = traffic_.records;
        double units_per_s = traffic_.starts_per_s * start_units(), variance = 0;
        for (size_t i = 0; i < seen_.size(); ++i) {
            const double size = save_units(i);
            units_per_s += seen_[i].per_s() * size;
            variance += seen_[i].random_per_s * size * size;
        }
        if (units_per_s <= 0) { return; }
        const double spread_s = variance / (units_per_s * units_per_s);
        for (size_t i = 0; i < seen_.size(); ++i) {
            const double own = seen_[i].random_per_s * save_units(i) / units_per_s;
            seen_[i].random_per_s *= std::max(0.5, 1 + own - seen_[i].random_per_s * spread_s / 2);
        }
    }

    [[nodiscard]] double save_units(size_t i) const {
        const RecordLayout& size = layout_.records[i];
        return size.short_units > 0 ? size.short_units : size.full_units;
    }

    void fill_records(RingWear& out) const {
        const double block_s = out.block_s;
        const double wait_s = (data_blocks_ - 1 + out.empties_at) * block_s;
        out.records.assign(layout_.records.size(), {});
        out.saved_units = 0;
        out.copied_units = 0;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            const RecordLayout& size = layout_.records[i];
            const RecordTraffic& traffic = traffic_.records[i];
            RecordWear& record = out.records[i];
            record.copies = copies_a_block(seen_[i], block_s, wait_s, data_blocks_ * block_s);
            const double saves = traffic.per_s() * block_s;
            record.full_saves = saves;
            if (size.short_units > 0) {
                // The first save in a block is full, unless a copy in the same block came before it.
                const double after_copy = 1 - unsaved(traffic, (1 - out.empties_at) * block_s);
                record.full_saves = std::max(0.0, 1 - unsaved(traffic, block_s) - record.copies * after_copy);
                record.short_saves = std::max(0.0, saves - record.full_saves);
            }
            const double saved = record.full_saves * size.full_units + record.short_saves * size.short_units;
            out.saved_units += saved;
            out.copied_units += record.copies * size.full_units;
            record.units = saved + record.copies * size.full_units;
            record.share = record.units / layout_.capacity_units;
        }
    }

    const AreaLayout& layout_;
    const Traffic& traffic_;
    std::vector<RecordTraffic> seen_; ///< traffic, as the copies see it
    bool ahead_ = false;
    double data_blocks_ = 1;
    double saves_per_s_ = 0;
};

/// Where excess crosses zero between nothing and longest_s: regula falsi, halving the weight of an end that stays
/// (Illinois).
double solve_block_s(const Trial& trial, double waste_units) {
    double high = trial.longest_s(), low = 0;
    double above = trial.excess(high, waste_units);
    low = high * 1e-12;
    double below = trial.excess(low, waste_units);
    if (above <= 0) { return high; }
    if (below >= 0) { return low; }
    int side = 0;
    for (int round = 0; round < 60 && high - low > 1e-9 * high; ++round) {
        const double mid = (low * above - high * below) / (above - below);
        const double value = trial.excess(mid, waste_units);
        if (std::abs(value) < 1e-7) { return mid; }
        if (value > 0) {
            high = mid;
            above = value;
            if (side == 1) { below /= 2; }
            side = 1;
        } else {
            low = mid;
            below = value;
            if (side == -1) { above /= 2; }
            side = -1;
        }
    }
    return (low + high) / 2;
}

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
            add_policy(traffic, count * factor / demand.life_s,
                       policy.when != SaveWhen::events && policy.changed_share >= 1);
        }
    }
    return out;
}

RingWear ring_wear(const AreaLayout& layout, const Traffic& traffic, Precision precision) {
    const Trial trial(layout, traffic);
    if (!std::isfinite(trial.longest_s())) {
        RingWear out;
        out.block_s = std::numeric_limits<double>::infinity();
        out.records.assign(layout.records.size(), {});
        return out;
    }
    double waste_units = trial.waste(trial.at(trial.longest_s() / 2), Precision::coarse);
    double block_s = solve_block_s(trial, waste_units);
    for (int round = 0; round < (precision == Precision::fine ? 2 : 0); ++round) {
        waste_units = trial.waste(trial.at(block_s), Precision::fine);
        block_s = solve_block_s(trial, waste_units);
    }
    RingWear out = trial.at(block_s);
    out.waste_units = waste_units;
    return out;
}

Erases erases_over(const RingWear& wear, uint32_t ring_blocks, double life_s) {
    Erases out;
    if (!std::isfinite(wear.block_s) || wear.block_s <= 0) { return out; }
    // The first blocks are opened without emptying any; on average half an emptying is under way at the end.
    out.blocks_emptied = std::max(0.0, life_s / wear.block_s - wear.data_blocks - wear.empties_at + 0.5);
    out.per_block_mean = out.blocks_emptied / ring_blocks;
    out.per_block_max = std::ceil(out.per_block_mean);
    return out;
}

} // namespace perdure
