#include "budget/count_walk.hpp"

#include <algorithm>
#include <queue>
#include <random>

namespace perdure {

namespace {

constexpr uint64_t nowhere = UINT64_MAX;

struct Due {
    double at_s = 0;
    size_t record = 0; ///< the number of records stands for a start
    bool even = false;
    bool operator>(const Due& other) const { return at_s > other.at_s; }
};

class Ring {
public:
    Ring(const AreaLayout& layout, bool service)
        : layout_(layout), service_(service), place_(layout.records.size(), nowhere) {
        blanks_ = layout.geometry.ring_blocks;
        seen.saves_of.assign(layout.records.size(), 0);
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
                ++seen.saves;
                ++seen.saves_of[record];
                seen.full_saves += is_short ? 0 : 1;
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

    void start() {
        const uint32_t units = newest_ == nowhere ? layout_.restart_max_units : layout_.records[newest_].restart_units;
        if (room_ < layout_.start_pad_units + std::max(units, layout_.nearly_full_units)) { next_head(); }
        room_ -= layout_.start_pad_units + units;
        if (newest_ != nowhere) { place_[newest_] = head_; }
    }

    WalkCount seen;

private:
    [[nodiscard]] uint64_t tail() const { return head_ + 1 + blanks_ - layout_.geometry.ring_blocks; }

    void advance() {
        seen.waste_units += room_;
        head_ = seen.blocks_opened++;
        --blanks_;
        room_ = layout_.capacity_units;
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
            ++seen.copies;
        }
        if (room_ < layout_.mark_units) {
            if (!may_advance) { return false; }
            advance();
        }
        room_ -= layout_.mark_units;
        ++blanks_;
        ++seen.blocks_emptied;
        return true;
    }

    const AreaLayout& layout_;
    bool service_;
    std::vector<uint64_t> place_; ///< the block, counted from the first ever opened, of each record's newest entry
    uint64_t newest_ = nowhere;
    uint64_t head_ = 0;
    uint32_t blanks_ = 0;
    uint32_t room_ = 0;
};

} // namespace

Traffic as_drawn(const Traffic& traffic, const std::vector<uint64_t>& saves_of, double life_s) {
    Traffic out = traffic;
    for (size_t i = 0; i < out.records.size(); ++i) {
        RecordTraffic& record = out.records[i];
        if (record.random_per_s <= 0) { continue; }
        const double even_per_s = record.period_s > 0 ? 1 / record.period_s : 0;
        record.random_per_s = std::max(0.0, double(saves_of[i]) / life_s - even_per_s);
    }
    return out;
}

WalkCount walk_counts(const AreaLayout& layout, const Traffic& traffic, double life_s, uint64_t draw) {
    std::mt19937_64 engine(draw);
    std::uniform_real_distribution<double> phase(0, 1);
    std::exponential_distribution<double> gap(1);
    std::priority_queue<Due, std::vector<Due>, std::greater<>> due;
    const size_t starts = layout.records.size();
    for (size_t i = 0; i < starts; ++i) {
        const RecordTraffic& record = traffic.records[i];
        if (record.period_s > 0) { due.push({phase(engine) * record.period_s, i, true}); }
        if (record.random_per_s > 0) { due.push({gap(engine) / record.random_per_s, i, false}); }
    }
    if (traffic.starts_per_s > 0) { due.push({phase(engine) / traffic.starts_per_s, starts, true}); }

    Ring ring(layout, traffic.service_in_time);
    for (size_t i = 0; i < starts; ++i) { ring.put(i); } // the factory's values
    while (!due.empty() && due.top().at_s < life_s) {
        Due next = due.top();
        due.pop();
        if (next.record == starts) {
            ring.start();
            next.at_s += 1 / traffic.starts_per_s;
        } else {
            ring.put(next.record);
            const RecordTraffic& record = traffic.records[next.record];
            next.at_s += next.even ? record.period_s : gap(engine) / record.random_per_s;
        }
        due.push(next);
    }
    ring.seen.life_s = life_s;
    return ring.seen;
}

} // namespace perdure
