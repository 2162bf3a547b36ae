#include "budget/wear.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "budget/copies.hpp"
#include "budget/newest.hpp"

namespace perdure {

namespace {

/// One trial of the unknown: what a block would hold if it filled in block_s.
class Trial {
public:
    Trial(const AreaLayout& layout, const Traffic& traffic, Precision precision)
        : layout_(layout), traffic_(traffic), newest_(newest_at_starts(traffic, precision)) {
        const uint32_t blocks = layout.geometry.ring_blocks;
        ahead_ = traffic.service_in_time && blocks >= layout.spare_blocks + 2;
        data_blocks_ = std::max(1.0, double(blocks) - layout.spare_blocks - (ahead_ ? 1 : 0));
        for (size_t i = 0; i < traffic.records.size(); ++i) {
            saves_per_s_ += traffic.saves_per_s(i);
            between_per_s_ += traffic.records[i].between_per_s();
            no_save_at_start_ *= 1 - std::min(1.0, traffic.records[i].at_start);
        }
        see();
    }

    [[nodiscard]] RingWear at(double block_s, const BlockEnd& end) const {
        RingWear out;
        out.block_s = block_s;
        out.data_blocks = data_blocks_;
        out.mark_units = layout_.mark_units;
        out.newest = newest_.saved;
        // Cleaning ahead begins with the head half full. Copies themselves take room, not time, so half the units is
        // more than half the time; and a start finds newest what was copied last. A few rounds settle it.
        for (int round = 0; round < 3; ++round) {
            const double first_half = 0.5 * layout_.geometry.units_per_ring_block() - layout_.stamp_units;
            const double for_saves = std::max(1.0, layout_.capacity_units - out.copied_units - out.mark_units);
            out.empties_at = ahead_ ? std::clamp(first_half / for_saves + emptied_late(block_s), 0.0, 1.0) : 0.0;
            fill_records(out, end);
            find_newest(out, end);
            out.erased_again = erased_again(out, end);
            out.mark_units = layout_.mark_units * (1 + 2 * out.erased_again);
        }
        return out;
    }

    [[nodiscard]] BlockEnd end(const RingWear& wear, Precision precision) const {
        std::vector<FillItem> items;
        std::vector<FillFirst> first{{layout_.mark_units, 1.0}, {2 * layout_.mark_units, wear.erased_again}};
        std::vector<uint32_t> after_start;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            const RecordLayout& size = layout_.records[i];
            const RecordWear& record = wear.records[i];
            const double at_start = traffic_.records[i].at_start;
            const double saves = record.full_saves + record.short_saves;
            const double between =
                saves > 0 ? 1 - wear.block_s * traffic_.starts_per_s * std::floor(at_start) / saves : 0;
            const uint32_t each = size.short_units > 0 && saves >= 2 ? size.short_units : size.full_units;
            after_start.insert(after_start.end(), static_cast<size_t>(std::min(at_start, 100.0)), each);
            if (record.copies > 0) { first.push_back({size.full_units, std::min(1.0, record.copies)}); }
            if (size.short_units > 0 && saves >= 2) {
                items.push_back({size.short_units, size.short_units, saves * between, {}});
                first.push_back({size.full_units - size.short_units, std::min(1.0, record.full_saves)});
            } else {
                items.push_back({size.full_units, size.full_units, record.full_saves * between, {}});
                items.push_back({size.short_units, size.short_units, record.short_saves * between, {}});
            }
        }
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            const double starts = traffic_.starts_per_s * wear.block_s * wear.newest[i];
            const double longer = wear.longest_seen_units - layout_.nearly_full_units;
            const double part = longer - std::floor(longer);
            for (const uint32_t more : {0U, 1U}) {
                const uint32_t seen = static_cast<uint32_t>(longer) + more;
                const uint32_t pads = layout_.start_pad_units + seen;
                const uint32_t units = layout_.records[i].restart_units;
                items.push_back({pads + units, pads + std::max(units, layout_.nearly_full_units + seen),
                                 starts * (more == 1 ? part : 1 - part), after_start, true});
            }
        }
        return end_of_block(layout_.capacity_units, std::move(items), std::move(first), precision);
    }

    /// Units by which a block filled in block_s is overfull, with such an end.
    [[nodiscard]] double excess(double block_s, const BlockEnd& end) const {
        const RingWear wear = at(block_s, end);
        return wear.saved_units + wear.copied_units + wear.start_units + wear.mark_units + end.waste_units -
               layout_.capacity_units;
    }

    /// Longer than any block can take: every save at its smallest and nothing else. Infinite without traffic.
    [[nodiscard]] double longest_s() const {
        const double units_per_s = least_units_per_s();
        return units_per_s > 0 ? layout_.capacity_units / units_per_s : std::numeric_limits<double>::infinity();
    }

private:
    [[nodiscard]] double least_units_per_s() const {
        double out = 0;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            out +=
                traffic_.saves_per_s(i) * save_units(i) +
                traffic_.starts_per_s * newest_.saved[i] * (layout_.start_pad_units + layout_.records[i].restart_units);
        }
        return out;
    }

    [[nodiscard]] double save_units(size_t i) const {
        const RecordLayout& size = layout_.records[i];
        return size.short_units > 0 ? size.short_units : size.full_units;
    }

    /// Traffic as the copies see it. Time in the ring is counted in units, not in seconds. While a record is not saved
    /// its own units are missing, so the others take longer to fill the same room; and the time they take varies. Both
    /// count where a block holds few entries: with n alike records the chance to be spared by one save is 1 - 1/n, not
    /// exp(-1/n). And starts put a record again for as long as it stays the newest, until the next save.
    void see() {
        const double starts = traffic_.starts_per_s;
        const double units_per_s = least_units_per_s();
        double variance = 0;
        for (size_t i = 0; i < traffic_.records.size(); ++i) {
            variance += traffic_.records[i].random_per_s * save_units(i) * save_units(i);
        }
        const double spread_s = units_per_s > 0 ? variance / (units_per_s * units_per_s) : 0;
        for (size_t i = 0; i < traffic_.records.size(); ++i) {
            SeenTraffic& seen = seen_.emplace_back(SeenTraffic{traffic_.records[i], starts});
            if (starts > 0 && saves_per_s_ > 0) { seen.later_s = starts / (saves_per_s_ * (saves_per_s_ + starts)); }
            if (units_per_s > 0) {
                const double random = seen.saves.random_per_s;
                seen.saves.random_per_s *=
                    std::max(0.5, 1 + random * save_units(i) / units_per_s - random * spread_s / 2);
            }
        }
    }

    /// By how much of a block's time the emptying waits: service is called after a save, and a start may pass half.
    [[nodiscard]] double emptied_late(double block_s) const {
        if (traffic_.starts_per_s <= 0) { return 0; }
        const double start_units = layout_.start_pad_units + layout_.restart_max_units;
        const double by_start = std::min(1.0, traffic_.starts_per_s * block_s * start_units / layout_.capacity_units);
        return by_start * newest_.starts_before_a_save / (traffic_.starts_per_s * block_s);
    }

    void fill_records(RingWear& out, const BlockEnd& end) const {
        const double block_s = out.block_s;
        const double wait_s = (data_blocks_ - 1 + out.empties_at) * block_s;
        out.records.assign(layout_.records.size(), {});
        out.saved_units = 0;
        out.copied_units = 0;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            const RecordLayout& size = layout_.records[i];
            RecordWear& record = out.records[i];
            record.copies = copies_a_block(seen_[i], block_s, wait_s, data_blocks_ * block_s);
            const double saves = traffic_.saves_per_s(i) * block_s;
            record.full_saves = saves;
            if (size.short_units > 0) {
                // The first save in a block is full, unless a copy in the same block came before it, or a start that
                // opened the block has put the record there.
                const SeenTraffic as_is{traffic_.records[i], traffic_.starts_per_s};
                const double saved = 1 - as_is.unsaved(block_s);
                const double after_copy = 1 - as_is.unsaved((1 - out.empties_at) * block_s);
                record.full_saves =
                    std::max(0.0, saved * (1 - end.opened_by_start * out.newest[i]) - record.copies * after_copy);
                record.short_saves = std::max(0.0, saves - record.full_saves);
            }
            const double saved = record.full_saves * size.full_units + record.short_saves * size.short_units;
            out.saved_units += saved;
            out.copied_units += record.copies * size.full_units;
            record.units = saved + record.copies * size.full_units;
            record.share = record.units / layout_.capacity_units;
        }
    }

    /// What starts find newest, and what they take. Right after a block is emptied the newest is what was copied last.
    void find_newest(RingWear& out, const BlockEnd& end) const {
        const double starts = traffic_.starts_per_s * out.block_s;
        out.start_units = 0;
        if (starts <= 0) { return; }
        double no_later = 1;
        std::vector<double> copied_last(layout_.records.size());
        for (size_t i = layout_.records.size(); i-- > 0;) {
            const double copied = std::min(1.0, out.records[i].copies);
            copied_last[i] = copied * no_later;
            no_later *= 1 - copied;
        }
        const double emptied =
            std::min(1.0, newest_.starts_before_a_save * (ahead_ ? 1 : end.opened_by_start) / starts);
        const double after_copies = (1 - no_later) * emptied;
        double units = 0;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            out.newest[i] = newest_.saved[i] * (1 - after_copies) + copied_last[i] * emptied;
            units += out.newest[i] * layout_.records[i].restart_units;
        }
        out.longest_seen_units = longest_seen(out, starts);
        out.start_units =
            starts * (units + layout_.start_pad_units + out.longest_seen_units - layout_.nearly_full_units);
    }

    /// Chance that a start comes after a block was erased, before anything is put. With service, what passes the middle
    /// of a block decides: behind a start the next save empties the tail, and is it the last before the next start?
    [[nodiscard]] double erased_again(const RingWear& wear, const BlockEnd& end) const {
        const double starts_per_s = traffic_.starts_per_s;
        if (starts_per_s <= 0) { return 0; }
        const double some = 1 - newest_.none_between;
        if (!ahead_) { return end.opened_by_start * newest_.none_between * no_save_at_start_; }
        const double after_start = no_save_at_start_ * (some > 0 ? newest_.one_between / some : 1) +
                                   (1 - no_save_at_start_) * newest_.none_between;
        double between_units = 0;
        for (size_t i = 0; i < layout_.records.size(); ++i) {
            const double all = traffic_.saves_per_s(i);
            const RecordWear& record = wear.records[i];
            const double saved =
                record.full_saves * layout_.records[i].full_units + record.short_saves * layout_.records[i].short_units;
            if (all > 0) { between_units += saved * traffic_.records[i].between_per_s() / all; }
        }
        const double start_units = wear.start_units + wear.saved_units - between_units;
        const double last_of_many = between_per_s_ > 0 ? some * starts_per_s / between_per_s_ : 0;
        return (start_units * after_start + between_units * last_of_many) / (start_units + between_units);
    }

    /// The longest entry that a start finds in the ring, on average: restart entries are longer than what is saved. At
    /// three moments of the block's time.
    [[nodiscard]] double longest_seen(const RingWear& wear, double starts_a_block) const {
        std::vector<size_t> order(layout_.records.size());
        for (size_t i = 0; i < order.size(); ++i) { order[i] = i; }
        std::sort(order.begin(), order.end(), [&](size_t a, size_t b) {
            return layout_.records[a].restart_units > layout_.records[b].restart_units;
        });
        double mean = 0;
        for (const double x : {1.0 / 6, 0.5, 5.0 / 6}) {
            const double starts = starts_a_block * (x + data_blocks_ - (x > wear.empties_at ? 1 : 0));
            double longer_unseen = 1;
            for (const size_t i : order) {
                const uint32_t units = layout_.records[i].restart_units;
                if (units <= layout_.nearly_full_units) { break; }
                const double share = wear.newest[i];
                const double unseen = starts < 1 ? 1 - starts * share : std::pow(1 - std::min(1.0, share), starts);
                mean += longer_unseen * (1 - unseen) * units / 3;
                longer_unseen *= unseen;
            }
            mean += longer_unseen * layout_.nearly_full_units / 3;
        }
        return mean;
    }

    const AreaLayout& layout_;
    const Traffic& traffic_;
    Newest newest_;
    std::vector<SeenTraffic> seen_; ///< traffic, as the copies see it
    bool ahead_ = false;
    double data_blocks_ = 1;
    double saves_per_s_ = 0, between_per_s_ = 0;
    double no_save_at_start_ = 1; ///< chance that a start is followed by no save of its own
};

/// Where excess crosses zero between nothing and longest_s: regula falsi, halving the weight of an end that stays
/// (Illinois).
double solve_block_s(const Trial& trial, const BlockEnd& end) {
    double high = trial.longest_s(), low = 0;
    double above = trial.excess(high, end);
    low = high * 1e-12;
    double below = trial.excess(low, end);
    if (above <= 0) { return high; }
    if (below >= 0) { return low; }
    int side = 0;
    for (int round = 0; round < 60 && high - low > 1e-9 * high; ++round) {
        const double mid = (low * above - high * below) / (above - below);
        const double value = trial.excess(mid, end);
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

} // namespace

RingWear ring_wear_by_formula(const AreaLayout& layout, const Traffic& traffic, Precision precision) {
    const Trial trial(layout, traffic, precision);
    if (!std::isfinite(trial.longest_s())) {
        RingWear out;
        out.block_s = std::numeric_limits<double>::infinity();
        out.records.assign(layout.records.size(), {});
        return out;
    }
    BlockEnd end = trial.end(trial.at(trial.longest_s() / 2, {}), Precision::coarse);
    double block_s = solve_block_s(trial, end);
    for (int round = 0; round < (precision == Precision::coarse ? 0 : 2); ++round) {
        end = trial.end(trial.at(block_s, end), Precision::fine);
        block_s = solve_block_s(trial, end);
    }
    RingWear out = trial.at(block_s, end);
    out.waste_units = end.waste_units;
    return out;
}

double reckoned_may_be_off(const AreaLayout& layout, const RingWear& reckoned) {
    const double starts = reckoned.start_units / layout.capacity_units;
    return starts > much_start_share      ? reckoned_off_much
           : starts > counted_start_share ? reckoned_off
                                          : reckoned_off_little;
}

} // namespace perdure
