#include "cuts/explorer.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "cuts/check_codes.hpp"

namespace perdure {
namespace {

constexpr uint32_t no_block = UINT32_MAX;
constexpr size_t met_max = 30'000'000; ///< states; about 1 GB

constexpr uint64_t mixed(uint64_t value) {
    value ^= value >> 31;
    return value * 0x9E3779B97F4A7C15U;
}

/// Trial number `i` of `count` out of `ways`: all of them, or one from each of `count` equal parts.
uint64_t way(uint64_t i, uint64_t count, uint64_t ways) {
    if (count == ways) { return i; }
    const uint64_t part = ways / count;
    return i * part + (mixed(i + 1) >> 20) % part;
}

} // namespace

Explorer::Explorer(const Search& search)
    : search_(search), flash_(search.layout.geometry, search.device), port_{port_read, port_program, port_erase,
                                                                            store_check(search.layout.check_bytes * 8,
                                                                                        search.check_code),
                                                                            this},
      model_(search.records), chain_(search.chain) {
    for (size_t i = 0; i < search.records.size(); i++) {
        if (search.records[i]->has_log_entries()) { log_ = static_cast<uint16_t>(i); }
    }
    prepare();
}

bool Explorer::port_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    auto* self = static_cast<Explorer*>(context);
    const bool read = self->flash_.read(address, static_cast<uint8_t*>(to), bytes);
    if (!self->saving_ && self->read_++ == self->save_at_ && self->save_kind_ == SaveAt::in_a_read) {
        self->save_now();
    }
    return read;
}

bool Explorer::port_program(void* context, uint32_t address, const void* unit) {
    return static_cast<Explorer*>(context)->operation(CutOperation::program, address,
                                                      static_cast<const uint8_t*>(unit));
}

bool Explorer::port_erase(void* context, uint32_t block) {
    return static_cast<Explorer*>(context)->operation(CutOperation::erase, block, nullptr);
}

bool Explorer::operation(CutOperation operation, uint32_t where, const uint8_t* unit) {
    if (stopped_) { return true; }
    if (!saving_) {
        if (saved_) {
            fail("what a save interrupted goes on to program or to erase");
            return true;
        }
        if (asked_for_++ == save_at_ && save_kind_ != SaveAt::in_a_read) {
            return interrupted_operation(operation, where, unit);
        }
    } else if (operation == CutOperation::erase) {
        fail("a save erases");
        return true;
    }
    if (cuts_ >= 0) {
        // The store's unit buffer is this store's own, so what is tried here does not touch it.
        cuts_here(operation, where, unit);
        if (stopped_) { return true; }
    }
    return do_operation(operation, where, unit);
}

bool Explorer::do_operation(CutOperation operation, uint32_t where, const uint8_t* unit) {
    if (operation == CutOperation::program) { return flash_.program(where, unit); }
    log_model_.erased(where);
    return flash_.erase(where);
}

Explorer::Level& Explorer::level(size_t number) {
    while (levels_.size() <= number) {
        levels_.push_back(std::make_unique<Level>(search_, port_));
        Level& l = *levels_.back();
        l.values.resize(model_.all_bytes());
        l.stored.resize(model_.records());
        l.value.resize(model_.all_bytes());
    }
    return *levels_[number];
}

// --- paths ----------------------------------------------------------------------------------------------------------

bool Explorer::enter(Turn turn, uint64_t number) {
    const uint64_t step = number << 3 | static_cast<uint64_t>(turn);
    if (search_.replay) {
        const size_t at = path_.size();
        if (at >= search_.replay->size() || (*search_.replay)[at] != step) { return false; }
        walked_ = std::max(walked_, at + 1);
        if (at == 0) { note_first_action(); }
    }
    path_.push_back(step);
    return true;
}

void Explorer::say(std::string line) {
    if (search_.replay) { story_.push_back(std::move(line)); }
}

void Explorer::fail(std::string what) {
    if (stopped_) { return; }
    stopped_ = true;
    failure_ = SearchFailure{std::move(what), path_, story_, before_, flash_.image(), flash_.faulting()};
}

/// Looks at the clock once in `every` calls, a power of two.
bool Explorer::time_is_up(unsigned every) {
    if (search_.seconds_max <= 0 || (++asked_ & (every - 1)) != 0) { return false; }
    const std::chrono::duration<double> spent = std::chrono::steady_clock::now() - begun_;
    return spent.count() > search_.seconds_max;
}

/// Was the failure just found a chance match of the check code? Then it is counted, and the search goes on.
bool Explorer::was_chance() {
    if (!failure_ || judged_ || search_.check_code != 0 || search_.replay) { return false; }
    unsigned gone = 0;
    unsigned same = 0;
    for (unsigned code = 1; code < check_code_count; code++) {
        Search other = search_;
        other.check_code = code;
        other.replay = failure_->path;
        other.progress = nullptr;
        other.shards = 1;
        Explorer explorer(other);
        const SearchResult result =
            is_workload_ ? explorer.workload(*actions_, length_) : explorer.sequences(*actions_, length_);
        (result.failure ? same : gone)++;
    }
    judged_ = gone <= same;
    if (judged_) { return false; }
    counts_.chance++;
    failure_.reset();
    flash_.forget_breach();
    stopped_ = false;
    return true;
}

/// Notes that the present state, with `hash` for the readings in it, is about to be tried; false: it has been.
bool Explorer::meet(StateHash hash, int depth, unsigned more) {
    hash ^= flash_.state_hash();
    hash ^= model_.hash();
    if (log_) { hash ^= log_model_.hash(); }
    const uint64_t where = mixed(uint64_t{chain_} << 32 | uint64_t{static_cast<uint8_t>(depth + 1)} << 16 | more);
    hash ^= StateHash{where, mixed(where)};
    if (met_.size() >= met_max) { met_.clear(); }
    return met_.insert(Key{hash}).second || search_.replay.has_value();
}

// --- cuts and starts ------------------------------------------------------------------------------------------------

/// The store asks for an operation: the power goes just before it, and inside it.
void Explorer::cuts_here(CutOperation operation, uint32_t where, const uint8_t* unit) {
    const uint64_t number = operation_++;
    const bool first = !first_cut_;
    if (first && search_.shards > 1 && (mixed(drawn() + number) >> 32) % search_.shards != search_.shard) { return; }
    for (const bool inside : {false, true}) {
        if (!enter(inside ? Turn::cut_inside : Turn::cut_before, number)) { continue; }
        counts_.cuts++;
        const auto kept = std::tuple(level_, cuts_, operation_, call_, saving_, saved_);
        const auto kept_save = std::tuple(save_at_, asked_for_, read_);
        const std::vector<uint32_t> erased = log_model_.erased_blocks();
        const ForkingFlash::Mark mark = flash_.mark();
        saving_ = saved_ = false;
        save_at_ = no_save;
        if (first) {
            first_cut_ = {call_, inside ? operation : CutOperation::between};
            if (search_.replay) { before_ = flash_.image(); }
        }
        if (search_.replay) {
            const uint32_t units = search_.layout.geometry.units_per_ring_block();
            const uint32_t at = where / search_.layout.geometry.unit_bytes;
            const std::string what = operation == CutOperation::erase
                                         ? fmt::format("the erase of block {}", where)
                                         : fmt::format("the program of block {} unit {}", at / units, at % units);
            say(fmt::format("power cut {} {}", inside ? "inside" : "just before", what));
        }
        if (inside) {
            if (operation == CutOperation::erase) { log_model_.erased(where); }
            operation == CutOperation::erase ? flash_.cut_erase(where) : flash_.cut_program(where, unit);
        }
        level_++;
        starts(cuts_, Follow::all);
        if (first) { first_cut_.reset(); }
        flash_.undo(mark);
        std::tie(level_, cuts_, operation_, call_, saving_, saved_) = kept;
        std::tie(save_at_, asked_for_, read_) = kept_save;
        log_model_.set_erased_blocks(erased);
        leave();
        if (stopped_) { return; }
    }
}

/// The power returns: every way in which the weak units may read, once for each state not met before.
void Explorer::starts(int depth, Follow follow) {
    const uint64_t ways = flash_.ways_to_read();
    const uint64_t count = std::min(ways, search_.ways_max);
    if (!meet({}, depth, follow == Follow::all ? 1 : 0)) {
        counts_.equal += count;
        return;
    }
    counts_.sampled += count < ways ? 1 : 0;
    for (uint64_t i = 0; i < count; i++) {
        const ForkingFlash::Mark mark = flash_.mark();
        flash_.power_up(way(i, count, ways));
        if (enter(Turn::reading, flash_.reading_code() & (~uint64_t{0} >> 3))) {
            if (ways == 1 || meet(flash_.reading_hash(), depth, follow == Follow::all ? 3 : 2)) {
                const size_t level_before = level_;
                const std::vector<uint32_t> erased = log_model_.erased_blocks();
                if (ways > 1) { say("start; weak units read: " + flash_.readings()); }
                trial(depth, follow);
                if (search_.progress && (++shown_ & 1023) == 0) { search_.progress(share_); }
                level_ = level_before;
                log_model_.set_erased_blocks(erased);
                if (!stopped_ && time_is_up(64)) {
                    stopped_ = true;
                    complete_ = false;
                }
            } else {
                counts_.equal++;
            }
            leave();
        }
        flash_.undo(mark);
        if (stopped_ && !was_chance()) { return; }
    }
}

/// One start, with cuts in it if `depth` is above 0.
void Explorer::trial(int depth, Follow follow) {
    Level& l = level(level_);
    counts_.starts++;
    counts_.trials += follow == Follow::all ? 1 : 0;
    counts_.torn += flash_.reads_torn() ? 1 : 0;
    cuts_ = -1;
    note_start();
    if (follow == Follow::all && !read_only_start(l)) { return; }
    const unsigned hit = flash_.last_hit_reading();
    call_ = CutCall::start;
    operation_ = 0;
    cuts_ = depth - 1;
    const Model before = model_;
    const LogModel log_before = log_model_;
    if (search_.lazy) {
        if (lazy_start(l, depth, follow) && follow == Follow::all) { complete(l); }
        model_ = before;
        log_model_ = log_before;
        return;
    }
    const perdure_status status = perdure_open(&l.memory.store, &l.memory.config, PERDURE_WRITE);
    cuts_ = -1;
    if (stopped_) { return; }
    if (!flash_.breach().empty()) { return fail("the start breaks a rule of the flash: " + flash_.breach()); }
    if (status != PERDURE_OK) { return fail(fmt::format("open gives {}", status_name(status))); }
    if (!read_all(l) || !judge_all(l, no_block)) { return; }
    if (follow == Follow::all && !search_.device.undecided) {
        if (l.values != l.kept) { return fail("a read-only open and the start read different values"); }
        // The start may have dropped the oldest samples.
        const std::vector<Sample>& kept = l.kept_log.samples;
        if (l.log.next != l.kept_log.next || l.log.samples.size() > kept.size() ||
            !std::equal(l.log.samples.rbegin(), l.log.samples.rend(), kept.rbegin())) {
            return fail("a read-only open and the start read different samples");
        }
    }
    note_outcome(l);
    if (first_cut_ && level_ == 1) { count_cell(l, hit); }
    if (follow == Follow::all) { complete(l); }
}

/// A start has completed: what it reads has to stay, and the next put has to work.
void Explorer::complete(Level& l) {
    const Model kept = model_;
    const LogModel kept_log = log_model_;
    model_.settle(l.values, l.stored);
    settle_log(l.log);
    if (enter(Turn::stay, 0)) {
        say("the power goes again right after the start");
        level_++;
        starts(0, Follow::nothing);
        level_--;
        leave();
    }
    if (!stopped_) { puts_after_start(l); }
    model_ = kept;
    log_model_ = kept_log;
}

/// The puts that follow a completed start, and a start behind each, its weak units read in all ways.
void Explorer::puts_after_start(Level& l) {
    path_.push_back(static_cast<uint64_t>(Turn::next));
    const uint16_t record = drawn_record();
    path_.pop_back();
    const bool more = chain_ > 0;
    chain_ -= more ? 1 : 0;
    const ForkingFlash::Mark mark = flash_.mark();
    const unsigned puts = more ? 1 : search_.next_puts;
    for (unsigned i = 0; i < puts && !stopped_; i++) {
        const bool here = enter(Turn::next, i);
        if (!here && !plays_a_later_put(i)) { break; }
        const auto of = static_cast<uint16_t>((record + i) % model_.records());
        run(l, {Action::Kind::put_small, of}, more ? 0 : -1);
        if (!here) { continue; }
        if (!stopped_) {
            level_++;
            starts(0, Follow::nothing);
            level_--;
        }
        leave();
    }
    flash_.undo(mark);
    chain_ += more ? 1 : 0;
}

/// Is the path that is played again that of a put behind number `i` after this start?
bool Explorer::plays_a_later_put(uint64_t i) const {
    if (!search_.replay || path_.size() >= search_.replay->size()) { return false; }
    const uint64_t step = (*search_.replay)[path_.size()];
    return (step & 7) == static_cast<uint64_t>(Turn::next) && step >> 3 > i;
}

/// A number that follows from what the path is: the same under another check code, and in every shard.
uint64_t Explorer::drawn() const {
    uint64_t sum = 0;
    for (const uint64_t step : path_) { sum = mixed(sum + step); }
    return sum;
}

uint16_t Explorer::drawn_record() const {
    return static_cast<uint16_t>((drawn() >> 32) % model_.records());
}

} // namespace perdure
