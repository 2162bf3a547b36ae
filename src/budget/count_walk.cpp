#include "budget/count_walk.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

namespace perdure {

namespace {

constexpr uint64_t nowhere = UINT64_MAX;

class Ring {
public:
    Ring(const AreaLayout& layout, bool service)
        : layout_(layout), service_(service), place_(layout.records.size(), nowhere),
          longest_restart_(layout.geometry.ring_blocks, 0) {
        blanks_ = layout.geometry.ring_blocks;
        seen.records.resize(layout.records.size());
        advance();
    }

    void put(size_t record) {
        const RecordLayout& size = layout_.records[record];
        for (;;) {
            const bool is_short = size.short_units > 0 && place_[record] == head_;
            const uint32_t units = is_short ? size.short_units : size.full_units;
            if (room_ >= units) {
                room_ -= units;
                place_[record] = head_;
                newest_ = record;
                erased_last_ = false;
                ++(is_short ? seen.records[record].short_saves : seen.records[record].full_saves);
                break;
            }
            next_head();
        }
        // Called in time: all that is due, after each save.
        while (service_ && blanks_ <= layout_.spare_blocks && room_ <= layout_.geometry.units_per_ring_block() / 2 &&
               tail() != head_) {
            if (!clean(false)) { break; }
        }
    }

    /// The save at power failure: a restart entry behind a unit that may have been under way. It copies and erases
    /// nothing; where it has taken a blank block, the start makes up for that.
    void put_now(size_t record) {
        const uint32_t units = layout_.records[record].restart_units;
        owes_block_ = room_ < units + passed_over_units;
        if (owes_block_) { advance(); }
        const uint32_t taken = units + (owes_block_ ? 0 : passed_over_units);
        room_ -= taken;
        seen.start_units += taken;
        ++seen.records[record].now_saves;
        place_[record] = head_;
        newest_ = record;
        erased_last_ = false;
    }

    void start() {
        const uint32_t units = newest_ == nowhere ? layout_.restart_max_units : layout_.records[newest_].restart_units;
        const uint32_t longer = longest_seen() - layout_.nearly_full_units;
        const uint32_t pads = layout_.start_pad_units + longer;
        const uint32_t longest = layout_.nearly_full_units + longer;
        bool next = room_ < pads + std::max(units, longest);
        if (next) { advance(); }
        next = next || owes_block_;
        owes_block_ = false;
        room_ -= pads + units;
        ++seen.starts;
        seen.start_units += pads + units;
        if (newest_ != nowhere) { ++seen.records[newest_].started; }
        longest_restart_[head_ % longest_restart_.size()] =
            std::max(longest_restart_[head_ % longest_restart_.size()], units);
        if (newest_ != nowhere) { place_[newest_] = head_; }
        const bool again = erased_last_;
        if (again) {
            mark();
            ++seen.erased_again;
        }
        while (next && blanks_ < layout_.spare_blocks) { clean(true); }
        if (again) {
            mark();
            erased_last_ = false;
        }
    }

    /// Whether the block erased last would be erased again by a start now.
    [[nodiscard]] bool erased_last() const { return erased_last_; }

    WalkCount seen;

private:
    [[nodiscard]] uint64_t tail() const { return head_ + 1 + blanks_ - layout_.geometry.ring_blocks; }

    /// A start takes the longest entry it finds in the ring for the longest there may be, restart entries included.
    [[nodiscard]] uint32_t longest_seen() const {
        return std::max(layout_.nearly_full_units, *std::max_element(longest_restart_.begin(), longest_restart_.end()));
    }

    void advance() {
        seen.waste_units += room_;
        head_ = seen.blocks_opened++;
        --blanks_;
        room_ = layout_.capacity_units;
    }

    void mark() {
        if (room_ < layout_.mark_units) { next_head(); }
        room_ -= layout_.mark_units;
        seen.mark_units += layout_.mark_units;
    }

    void next_head() {
        advance();
        while (blanks_ < layout_.spare_blocks) { clean(true); }
    }

    /// Copies what lives in the tail and erases it. Without leave to open blocks it stops where the head is full.
    bool clean(bool may_advance) {
        const uint64_t from = tail();
        for (size_t i = 0; i < place_.size(); ++i) {
            if (place_[i] != from) { continue; }
            if (room_ < layout_.records[i].full_units) {
                if (!may_advance) { return false; }
                advance();
            }
            room_ -= layout_.records[i].full_units;
            place_[i] = head_;
            newest_ = i;
            ++seen.records[i].copies;
        }
        if (room_ < layout_.mark_units) {
            if (!may_advance) { return false; }
            advance();
        }
        room_ -= layout_.mark_units;
        seen.mark_units += layout_.mark_units;
        longest_restart_[from % longest_restart_.size()] = 0;
        erased_last_ = true;
        ++blanks_;
        ++seen.blocks_emptied;
        return true;
    }

    const AreaLayout& layout_;
    bool service_;
    std::vector<uint64_t> place_; ///< the block, counted from the first ever opened, of each record's newest entry
    std::vector<uint32_t> longest_restart_; ///< units, in each block
    bool owes_block_ = false;               ///< a save at power failure has taken a blank block
    bool erased_last_ = false;              ///< nothing was put since a block was erased: a start erases it again
    uint64_t newest_ = nowhere;             ///< record of the last entry: saved, copied or put again by a start
    uint64_t head_ = 0;
    uint32_t blanks_ = 0;
    uint32_t room_ = 0;
};

/// What happens next, in time. All random saves are one stream, and each of them is a record's in proportion to its
/// rate.
class Events {
public:
    Events(const Traffic& traffic, uint64_t draw) : traffic_(traffic), engine_(draw) {
        for (const RecordTraffic& record : traffic.records) {
            even_s_.push_back(record.period_s > 0 ? record.period_s : never);
            random_per_s_ += record.random_per_s;
            random_until_.push_back(random_per_s_);
        }
        evens_.resize(traffic.records.size(), 0);
        draw_random(0);
        draw_start();
    }

    struct Event {
        double at_s = never;
        size_t record = 0; ///< the number of records stands for a start
    };

    Event next() {
        const auto even = std::min_element(even_s_.begin(), even_s_.end());
        Event out;
        out.at_s = std::min({start_s_, random_s_, even == even_s_.end() ? never : *even});
        if (out.at_s == never) { return out; }
        if (out.at_s == start_s_) {
            out.record = traffic_.records.size();
            ++starts_;
            draw_start();
        } else if (out.at_s == random_s_) {
            const double at = share() * random_per_s_;
            const auto found = std::upper_bound(random_until_.begin(), random_until_.end(), at);
            out.record = std::min(static_cast<size_t>(found - random_until_.begin()), random_until_.size() - 1);
            draw_random(out.at_s);
        } else {
            out.record = static_cast<size_t>(even - even_s_.begin());
            // Multiplied, not summed: what falls on one moment goes on doing so, in the order of the records.
            *even = double(++evens_[out.record] + 1) * traffic_.records[out.record].period_s;
        }
        return out;
    }

    /// Chance that after `now_s` a start comes before any save. The next start falls anywhere in what is left of its
    /// turn; the next even saves are known.
    [[nodiscard]] double start_first(double now_s) const {
        if (traffic_.starts_per_s <= 0) { return 0; }
        const double turn_s = 1 / traffic_.starts_per_s;
        const double from_s = std::max(now_s, double(starts_) * turn_s), to_s = double(starts_ + 1) * turn_s;
        if (to_s <= from_s) { return 0; }
        double until_s = to_s;
        for (const double even_s : even_s_) { until_s = std::min(until_s, even_s); }
        const double open_s = std::max(0.0, until_s - from_s);
        const double reached_s = random_per_s_ > 0 ? std::exp(-random_per_s_ * (from_s - now_s)) *
                                                         -std::expm1(-random_per_s_ * open_s) / random_per_s_
                                                   : open_s;
        return reached_s / (to_s - from_s);
    }

    /// From 0 to 1, exclusive.
    double share() { return double(engine_() >> 11U) * 0x1p-53; }

private:
    static constexpr double never = std::numeric_limits<double>::infinity();

    void draw_random(double now_s) {
        random_s_ = random_per_s_ > 0 ? now_s - std::log1p(-share()) / random_per_s_ : never;
    }
    void draw_start() {
        start_s_ = traffic_.starts_per_s > 0 ? (double(starts_) + share()) / traffic_.starts_per_s : never;
    }

    const Traffic& traffic_;
    std::mt19937_64 engine_;
    std::vector<double> even_s_;       ///< next even save, by record
    std::vector<uint64_t> evens_;      ///< those so far
    std::vector<double> random_until_; ///< rates of random saves, summed up to each record
    double random_per_s_ = 0, random_s_ = never, start_s_ = never;
    uint64_t starts_ = 0;
};

} // namespace

Traffic as_drawn(const Traffic& traffic, const std::vector<uint64_t>& saves_of, double life_s) {
    Traffic out = traffic;
    for (size_t i = 0; i < out.records.size(); ++i) {
        RecordTraffic& record = out.records[i];
        if (record.random_per_s <= 0) {
            const double even_per_s = record.period_s > 0 ? 1 / record.period_s : 0;
            if (record.at_start > 0 && traffic.starts_per_s > 0) {
                record.at_start = std::max(0.0, double(saves_of[i]) / life_s - even_per_s) / traffic.starts_per_s;
            }
            continue;
        }
        const double others_per_s = traffic.saves_per_s(i) - record.random_per_s;
        record.random_per_s = std::max(0.0, double(saves_of[i]) / life_s - others_per_s);
    }
    return out;
}

Traffic as_drawn(const Traffic& traffic, const WalkCount& count) {
    std::vector<uint64_t> saves_of;
    for (const WalkRecord& record : count.records) { saves_of.push_back(record.saves()); }
    return as_drawn(traffic, saves_of, count.life_s);
}

WalkCount walk_counts(const AreaLayout& layout, const Traffic& traffic, double life_s, uint64_t draw) {
    const size_t records = layout.records.size();
    Events events(traffic, draw);
    Ring ring(layout, traffic.service_in_time);
    for (size_t i = 0; i < records; ++i) { ring.put(i); } // the factory's values
    for (Events::Event next = events.next(); next.at_s < life_s; next = events.next()) {
        const uint64_t emptied = ring.seen.blocks_emptied;
        if (next.record < records) {
            ring.put(next.record);
        } else {
            if (layout.power_fail_record) { ring.put_now(*layout.power_fail_record); }
            ring.start();
            for (size_t i = 0; i < records; ++i) {
                const double saves = traffic.records[i].at_start - (layout.power_fail_record == i ? 1 : 0);
                const double whole = std::floor(saves);
                if (saves <= 0) { continue; }
                for (double k = whole + (events.share() < saves - whole ? 1 : 0); k > 0; --k) { ring.put(i); }
            }
        }
        if (ring.seen.blocks_emptied > emptied && ring.erased_last()) {
            ring.seen.erased_again_chances += events.start_first(next.at_s);
        }
    }
    ring.seen.life_s = life_s;
    return ring.seen;
}

RingWear counted_wear(const AreaLayout& layout, const Traffic& traffic, const RingWear& formula) {
    // What chance leaves shrinks with the blocks: to 0.05 % at 1,000, but where starts are most of what is written.
    const bool much = formula.start_units > much_start_share * layout.capacity_units;
    const double blocks_walked = much ? 8000 : 1000;
    constexpr double entries_walked = 2e6, turns_min = 10;
    constexpr uint64_t any_draw = 1; // the same project always gives the same budget
    double entries = traffic.starts_per_s * formula.block_s;
    for (size_t i = 0; i < traffic.records.size(); ++i) { entries += traffic.saves_per_s(i) * formula.block_s; }
    const double blocks = std::max(turns_min * layout.geometry.ring_blocks,
                                   std::min(blocks_walked, entries_walked / std::max(1.0, entries)));
    const WalkCount count = walk_counts(layout, traffic, formula.block_s * blocks, any_draw);
    if (count.blocks_emptied == 0) { return formula; }
    const double as_asked_s = ring_wear_by_formula(layout, traffic, Precision::coarse).block_s;
    const double as_drawn_s = ring_wear_by_formula(layout, as_drawn(traffic, count), Precision::coarse).block_s;
    RingWear out = formula;
    // As erases_over counts: the first blocks are opened without emptying any.
    const double filled = double(count.blocks_emptied) + formula.data_blocks + formula.empties_at - 0.5;
    out.block_s = count.life_s / filled * as_asked_s / as_drawn_s;
    const double opened = double(count.blocks_opened);
    // Where each start follows a save at power failure, something was put since a block was erased.
    out.erased_again = layout.power_fail_record ? 0 : count.erased_again_chances / double(count.blocks_emptied);
    out.start_units = double(count.start_units) / opened;
    out.mark_units = double(count.mark_units) / opened;
    out.copied_units = 0;
    out.saved_units = 0;
    for (size_t i = 0; i < out.records.size(); ++i) {
        const RecordLayout& size = layout.records[i];
        const WalkRecord& seen = count.records[i];
        RecordWear& record = out.records[i];
        record = {double(seen.full_saves) / opened, double(seen.short_saves) / opened, double(seen.copies) / opened};
        const double saved = record.full_saves * size.full_units + record.short_saves * size.short_units;
        record.units = saved + record.copies * size.full_units;
        record.share = record.units / layout.capacity_units;
        out.saved_units += saved;
        out.copied_units += record.copies * size.full_units;
        out.newest[i] = count.starts > 0 ? double(seen.started) / double(count.starts) : 0;
    }
    out.waste_units = layout.capacity_units - out.start_units - out.mark_units - out.copied_units - out.saved_units;
    return out;
}

} // namespace perdure
