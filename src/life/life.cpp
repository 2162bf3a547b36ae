#include "life/life.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>
#include <optional>

#include <fmt/format.h>

#include "life/happenings.hpp"
#include "life/live_log.hpp"
#include "life/random.hpp"
#include "unit/unit.hpp"

namespace perdure {
namespace {

struct LiveField {
    uint32_t offset = 0;
    uint32_t bytes = 0;
    uint64_t movement = 0;
};

/// One record as the product's firmware holds it.
struct LiveRecord {
    std::vector<uint8_t> value;
    std::vector<LiveField> fields;
    std::optional<LiveLog> log;
    bool total = false;
    uint16_t bytes = 0;
};

class Life {
public:
    Life(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs,
         const LifeDemand& demand, const LifeOptions& options)
        : unit_(layout, records, costs), costs_(costs), demand_(demand), options_(options), random_(options.seed),
          happenings_(demand_, random_) {
        erase_us_ = costs.erase_ms * 1000.0 * layout.geometry.erase_blocks_per_ring_block;
        for (const Record* record : records) { add_record(*record); }
        result_.records.resize(records.size());
    }

    LifeResult run() {
        unit_.flash().record(options_.recording);
        if (unit_.format() != PERDURE_OK) {
            result_.failure = "format failed";
            return result_;
        }
        const uint64_t turns_from = unit_.store().sequence;
        uint64_t until_progress = 0;
        double now_s = 0;
        while (result_.failure.empty()) {
            const Happening happening = happenings_.next();
            if (happening.at_s > demand_.life_s) {
                now_s = demand_.life_s;
                break;
            }
            now_s = happening.at_s;
            if (happening.start) {
                save_at_power_fail(now_s);
                start(now_s);
                save_at_start(now_s);
            } else {
                save(happening.record, now_s);
            }
            if (until_progress-- == 0) {
                until_progress = 1U << 16;
                if (options_.progress) { options_.progress(now_s / demand_.life_s); }
            }
            if (options_.turns_max != 0) {
                const uint64_t turns = (unit_.store().sequence - turns_from) / unit_.config().blocks;
                if (warm_s_ == 0 && turns >= std::max<uint64_t>(1, options_.turns_max / 4)) { note_warm(now_s); }
                if (turns >= options_.turns_max) {
                    end_erases_ = erases_mean_now();
                    break;
                }
            }
        }
        if (result_.failure.empty()) { start(now_s); } // at the end, everything must read back from flash alone
        finish(now_s);
        return result_;
    }

private:
    void add_record(const Record& record) {
        LiveRecord live;
        live.total = record.kind == RecordKind::total;
        live.bytes = static_cast<uint16_t>(record.payload_bytes());
        live.value = default_payload(record);
        uint32_t at = 0;
        for (const Field& field : record.fields) {
            live.fields.push_back({at, field.bytes, field.movement_max});
            at += field.bytes;
        }
        if (record.has_log_entries()) { live.log.emplace(record); }
        scratch_.resize(std::max<size_t>(scratch_.size(), live.bytes));
        live_.push_back(std::move(live));
    }

    /// A new value as the product would have it: totals grow by up to their movement, other bytes are any.
    void change(LiveRecord& live) {
        if (!live.total) {
            for (uint8_t& byte : live.value) { byte = static_cast<uint8_t>(random_.next() >> 56); }
            return;
        }
        for (const LiveField& field : live.fields) {
            uint8_t* at = live.value.data() + field.offset;
            if (field.bytes == 4) {
                grow<uint32_t>(at, field.movement);
            } else if (field.bytes == 8) {
                grow<uint64_t>(at, field.movement);
            } else if (field.bytes == 2) {
                grow<uint16_t>(at, field.movement);
            } else {
                grow<uint8_t>(at, field.movement);
            }
        }
    }

    /// Adds up to `movement` to the number at `at`, and stops at its end.
    template <class T> void grow(uint8_t* at, uint64_t movement) {
        T value = 0;
        std::memcpy(&value, at, sizeof value);
        const uint64_t room = std::numeric_limits<T>::max() - value;
        value = static_cast<T>(value + std::min(random_.below(movement + 1), room));
        std::memcpy(at, &value, sizeof value);
    }

    /// Programs and erases so far.
    struct Operations {
        uint64_t programs = 0, erases = 0;
    };
    [[nodiscard]] Operations operations() const {
        return {unit_.flash().counters().programs, unit_.flash().counters().erases};
    }
    void note_longest(double& longest_us, const Operations& before) const {
        const Operations now = operations();
        longest_us = std::max(longest_us, double(now.programs - before.programs) * costs_.program_us +
                                              double(now.erases - before.erases) * erase_us_);
    }

    void save(uint16_t record, double now_s) {
        LiveRecord& live = live_[record];
        change(live);
        const bool owed = service_owed();
        const Operations before = operations();
        const perdure_status status = live.log ? live.log->append(unit_, record) : unit_.put(record, live.value.data());
        note_longest(owed ? put_owed_us_ : put_served_us_, before);
        count_save(record, now_s);
        if (status != PERDURE_OK) [[unlikely]] {
            fail(fmt::format("put of record {} gave status {}", record, int(status)), now_s);
            return;
        }
        compare(record, now_s);
        const uint64_t erases = operations().erases;
        if (options_.service) { serve(); }
        if (live.log && operations().erases != erases) { note_kept(record, now_s); }
    }

    /// Would service do something now? The store's own rule.
    [[nodiscard]] bool service_due() const {
        const perdure_store& store = unit_.store();
        const uint32_t units = unit_.config().block_units;
        return store.blanks <= store.spare && units - store.unit <= units / 2;
    }

    /// Service is called after saves. A start may have made it due again since, or have left it too little room.
    [[nodiscard]] bool service_owed() const { return options_.service && started_ && service_due(); }

    void count_save(uint16_t record, double now_s) {
        const LiveRecord& live = live_[record];
        if (result_.saves == 0) { result_.first_save_s = now_s; }
        result_.saves++;
        result_.records[record].saves++;
        result_.payload_bytes += live.log ? live.log->batch_bytes() : live.bytes;
        start_owed_ = false;
    }

    /// Right after a block was erased a log holds least. Reading all of it takes long, so once in two turns and a
    /// block.
    void note_kept(uint16_t record, double now_s) {
        const uint32_t blocks = unit_.config().blocks;
        LifeRecordResult& seen = result_.records[record];
        if (unit_.store().sequence <= blocks || seen.log_erases++ % (2 * blocks + 1) != 0) { return; }
        std::string wrong;
        const uint64_t kept = live_[record].log->kept(unit_, record, wrong);
        seen.log_watched++;
        seen.log_kept_min = std::min(kept, seen.log_kept_min.value_or(kept));
        note_reading(record, wrong, now_s);
    }

    void note_reading(uint16_t record, const std::string& wrong, double now_s) {
        result_.records[record].checked++;
        if (wrong.empty()) { return; }
        result_.records[record].mismatches++;
        fail(fmt::format("log {}: {}", record, wrong), now_s);
    }

    /// The supply fails: whatever is saved then is put at once, and the store has to be opened again.
    void save_at_power_fail(double now_s) {
        for (size_t i = 0; i < demand_.records.size(); i++) {
            if (!demand_.records[i].at_power_fail) { continue; }
            const auto record = static_cast<uint16_t>(i);
            change(live_[i]);
            const perdure_status status = unit_.put_now(record, live_[i].value.data());
            count_save(record, now_s);
            if (status != PERDURE_OK) {
                fail(fmt::format("put_now of record {} gave status {}", record, int(status)), now_s);
            }
        }
    }

    void serve() {
        for (bool due = true; due;) {
            const Operations before = operations();
            due = unit_.service();
            note_longest(service_longest_us_, before);
        }
        started_ = started_ && service_due();
    }

    void compare(uint16_t record, double now_s) {
        const LiveRecord& live = live_[record];
        if (live.log) {
            note_reading(record, live.log->wrong_newest(unit_, record), now_s);
            return;
        }
        const perdure_status status = unit_.get(record, scratch_.data());
        result_.records[record].checked++;
        if ((status != PERDURE_OK && status != PERDURE_DEFAULT) ||
            std::memcmp(scratch_.data(), live.value.data(), live.bytes) != 0) [[unlikely]] {
            result_.records[record].mismatches++;
            fail(fmt::format("record {} did not read back as saved", record), now_s);
        }
    }

    void start(double now_s) {
        const Operations before = operations();
        if (start_owed_) { result_.lazy_starts++; }
        if (result_.saves == 0 && !demand_.lazy_start) { result_.empty_starts++; }
        start_owed_ = demand_.lazy_start;
        started_ = true;
        const perdure_status status = unit_.open(demand_.lazy_start ? PERDURE_LAZY : PERDURE_WRITE);
        note_longest(open_longest_us_, before);
        result_.starts++;
        if (status != PERDURE_OK) {
            fail(fmt::format("open gave status {}", int(status)), now_s);
            return;
        }
        for (size_t i = 0; i < live_.size(); i++) { compare(static_cast<uint16_t>(i), now_s); }
    }

    void save_at_start(double now_s) {
        for (size_t i = 0; i < demand_.records.size(); i++) {
            const double saves = demand_.records[i].at_start;
            if (saves <= 0) { continue; }
            const double whole = std::floor(saves);
            const double count = whole + (random_.share() < saves - whole ? 1 : 0);
            for (double k = 0; k < count && result_.failure.empty(); k++) { save(static_cast<uint16_t>(i), now_s); }
        }
    }

    void fail(const std::string& what, double now_s) {
        if (!result_.failure.empty()) { return; }
        result_.failure = fmt::format("after {:.2f} days, {} saves: {}", now_s / 86400, result_.saves, what);
        if (!unit_.flash().refusal().empty()) { result_.failure += "; the flash refused: " + unit_.flash().refusal(); }
    }

    [[nodiscard]] double erases_mean_now() const {
        const auto& erases = unit_.flash().erases_per_block();
        double sum = 0;
        for (const uint32_t count : erases) { sum += count; }
        return sum / double(erases.size());
    }

    /// The first turns open blocks without emptying any: the rate to extend by is counted from here.
    void note_warm(double now_s) {
        warm_s_ = now_s;
        warm_erases_ = erases_mean_now();
    }

    /// The rest of the life at the rate of the turns after the first ones. The spread over the blocks stays as run.
    void extend(double now_s) {
        const double run_mean = result_.erases_mean;
        const bool warm = now_s > warm_s_;
        const double from_s = warm ? warm_s_ : 0;
        const double per_s = (end_erases_ - (warm ? warm_erases_ : 1)) / (now_s - from_s);
        result_.extended = true;
        result_.erases_mean = run_mean + per_s * (demand_.life_s - now_s);
        result_.erases_max = std::ceil(result_.erases_mean + result_.erases_max - run_mean);
    }

    void finish(double now_s) {
        const Flash& flash = unit_.flash();
        const FlashCounters& counters = flash.counters();
        result_.simulated_s = now_s;
        if (result_.saves == 0) { result_.first_save_s = now_s; }
        result_.simulated_share = demand_.life_s > 0 ? now_s / demand_.life_s : 1;
        result_.whole_life = now_s >= demand_.life_s;
        result_.programs = counters.programs;
        result_.reads = counters.reads;
        result_.programmed_bytes = counters.programs * flash.geometry().unit_bytes;
        result_.erases_per_block = flash.erases_per_block();
        result_.erases_mean = erases_mean_now();
        result_.erases_max = *std::max_element(result_.erases_per_block.begin(), result_.erases_per_block.end());
        if (!result_.whole_life && result_.failure.empty() && now_s > 0) { extend(now_s); }
        result_.write_amplification =
            result_.payload_bytes == 0 ? 0 : double(result_.programmed_bytes) / double(result_.payload_bytes);
        result_.put_longest_ms = std::max(put_owed_us_, put_served_us_) / 1000;
        result_.put_owed_longest_ms = put_owed_us_ / 1000;
        result_.put_served_longest_ms = put_served_us_ / 1000;
        result_.service_longest_ms = service_longest_us_ / 1000;
        result_.open_longest_ms = open_longest_us_ / 1000;
        result_.busy_s = flash.busy_us() * 1e-6;
        result_.energy_j = flash.energy_mj() * 1e-3;
        if (options_.progress) { options_.progress(1); }
    }

    Unit unit_;
    FlashCosts costs_;
    LifeDemand demand_;
    LifeOptions options_;
    Random random_;
    Happenings happenings_;
    std::vector<LiveRecord> live_;
    std::vector<uint8_t> scratch_;
    LifeResult result_;
    double erase_us_ = 0;
    bool started_ = false;                ///< since service last had all done that was due
    bool start_owed_ = false;             ///< the last start was lazy, and nothing was put since
    double warm_s_ = 0, warm_erases_ = 0; ///< where the first turns were over, and erases a block until then
    double end_erases_ = 0;               ///< and at the end of the last turn, before the last start
    double put_owed_us_ = 0, put_served_us_ = 0, service_longest_us_ = 0, open_longest_us_ = 0;
};

} // namespace

uint64_t LifeResult::mismatches() const {
    uint64_t sum = 0;
    for (const LifeRecordResult& record : records) { sum += record.mismatches; }
    return sum;
}

LifeResult live(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs,
                const LifeDemand& demand, const LifeOptions& options) {
    return Life(layout, records, costs, demand, options).run();
}

} // namespace perdure
