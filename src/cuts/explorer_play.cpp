// What the product does in a search: its puts, its starts, how far it has been used before, and one action after
// another.
#include <fmt/format.h>

#include "cuts/explorer.hpp"

namespace perdure {

/// Puts the value that follows the newest one, or appends to the log.
perdure_status Explorer::put_at(Level& l, uint16_t record, Step step) {
    perdure_store* store = &l.memory.store;
    if (record == log_) {
        const uint8_t count = step == Step::large ? l.memory.config.records[record].batch : uint8_t{1};
        const uint8_t value = log_model_.begin_append(perdure_log_next(store, record), count);
        l.value.assign(std::max<size_t>(model_.all_bytes(), size_t{count} * l.memory.config.records[record].bytes),
                       value);
        return perdure_append(store, record, l.value.data(), count);
    }
    model_.begin_put(record, l.value.data());
    return perdure_put(store, record, l.value.data());
}

void Explorer::put(Level& l, const Action& action) {
    const Step step = action.kind == Action::Kind::put_large ? Step::large : Step::small;
    if (action.record != log_) { model_.next_value(action.record, step, model_.newest(action.record), l.value.data()); }
    const perdure_status status = put_at(l, action.record, step);
    save_at_ = no_save; // it comes in the put, if at all
    if (stopped_) { return; }
    if (saved_) {
        if (status == PERDURE_OK) { fail("a put that a save has interrupted, and voided, gives OK"); }
        return;
    }
    if (status != PERDURE_OK) { return fail(fmt::format("a put gives {}", status_name(status))); }
    if (action.record == log_) { return log_model_.acknowledge(); }
    model_.acknowledge();
    cuts_ = -1;
    const perdure_status got = perdure_get(&l.memory.store, action.record, l.value.data());
    if (got != PERDURE_OK) { return fail(fmt::format("a get after the put gives {}", status_name(got))); }
    const std::string wrong = model_.judge(action.record, l.value.data(), true);
    if (!wrong.empty()) {
        fail(fmt::format("record '{}', read back at once, {}", search_.records[action.record]->name, wrong));
    }
}

/// Runs one action with cuts in it, if `cuts` is not below 0.
void Explorer::run(Level& l, const Action& action, int cuts) {
    operation_ = 0;
    asked_for_ = 0;
    read_ = 0;
    cuts_ = cuts;
    switch (action.kind) {
    case Action::Kind::put_small:
    case Action::Kind::put_large:
        call_ = CutCall::put;
        say(fmt::format("put of record '{}'", search_.records[action.record]->name));
        put(l, action);
        break;
    case Action::Kind::service:
        call_ = CutCall::service;
        say("service");
        (void)perdure_service(&l.memory.store);
        save_at_ = no_save;
        break;
    case Action::Kind::restart:
    case Action::Kind::restart_lazy:
        call_ = CutCall::start;
        const bool lazy = action.kind == Action::Kind::restart_lazy;
        say(lazy ? "a lazy start without a cut before it" : "a start without a cut before it");
        const perdure_status status =
            perdure_open(&l.memory.store, &l.memory.config, lazy ? PERDURE_LAZY : PERDURE_WRITE);
        if (!stopped_ && status != PERDURE_OK) { fail(fmt::format("open gives {}", status_name(status))); }
        break;
    }
    cuts_ = -1;
    if (!stopped_ && !saved_) { note_log(l); }
    if (!stopped_ && !flash_.breach().empty()) { fail("a rule of the flash is broken: " + flash_.breach()); }
}

/// Puts until the head has no more than `room_left` units left, and its number is at least `sequence`.
void Explorer::use(uint32_t room_left, uint64_t sequence) {
    Level& l = level(0);
    const uint32_t units = search_.layout.geometry.units_per_ring_block();
    for (uint32_t i = 0; !stopped_; i++) {
        if (l.memory.store.sequence >= sequence && units - l.memory.store.unit <= room_left) { break; }
        if (i > 1'000'000) { return fail("the start state cannot be reached"); }
        run(l, {Action::Kind::put_small, static_cast<uint16_t>(i % model_.records())}, -1);
        while (!stopped_ && perdure_service(&l.memory.store)) {}
    }
}

void Explorer::prepare() {
    Level& l = level(0);
    const FlashGeometry& geometry = search_.layout.geometry;
    CutDevice device = search_.device;
    if (search_.begin == Begin::bad_block) {
        device.failing_block = 1;
        device.failing_erase = true;
        flash_.set_device(device);
    }
    const perdure_status status = perdure_format(&l.memory.store, &l.memory.config);
    if (status != PERDURE_OK) { return fail(fmt::format("format gives {}", status_name(status))); }
    const uint32_t one_left = search_.layout.nearly_full_units + search_.layout.restart_max_units;
    if (search_.begin == Begin::nearly_full) {
        use(one_left, 0);
    } else if (search_.begin != Begin::fresh) {
        use(geometry.units_per_ring_block() * 2 / 3, geometry.ring_blocks + geometry.ring_blocks / 2 + 1);
    }
    if (search_.begin == Begin::failing) {
        device.failing_block = l.memory.store.head;
        device.failing_erase = device.failing_program = true;
        flash_.set_device(device);
    }
    flash_.forget_marks();
}

void Explorer::sequence(const std::vector<Action>& actions, unsigned left) {
    Level& l = level(0);
    std::vector<uint8_t> ram;
    l.memory.save(ram);
    const Model model = model_;
    const LogModel log = log_model_;
    const double begun = share_;
    const double each = share_of_ / static_cast<double>(actions.size());
    for (size_t i = 0; i < actions.size() && !stopped_; i++) {
        if (!enter(Turn::action, i)) { continue; }
        share_of_ = each;
        const ForkingFlash::Mark mark = flash_.mark();
        level_ = 0;
        counts_.actions++;
        run(l, actions[i], static_cast<int>(search_.depth));
        if (!stopped_ && meet({}, static_cast<int>(left), 4)) {
            if (enter(Turn::after, 0)) {
                level_ = 1;
                starts(static_cast<int>(search_.depth), Follow::all);
                level_ = 0;
                leave();
            }
            if (!stopped_ && left > 1) { sequence(actions, left - 1); }
        }
        flash_.undo(mark);
        l.memory.restore(ram);
        model_ = model;
        log_model_ = log;
        if (search_.saves && !stopped_) { saves_in(actions[i], ram, model, log); }
        leave();
        if (stopped_) { return; }
        share_ = begun + each * static_cast<double>(i + 1);
        if (search_.progress) { search_.progress(share_); }
    }
}

SearchResult Explorer::sequences(const std::vector<Action>& actions, unsigned length) {
    actions_ = &actions;
    length_ = length;
    if (!stopped_) { sequence(actions, length); }
    if (complete_) { share_ = 1; }
    return result();
}

/// Does `action` open or erase a block? Tried, and taken back.
bool Explorer::moves_on(Level& l, const Action& action) {
    std::vector<uint8_t> ram;
    const ForkingFlash::Mark mark = flash_.mark();
    const Model model = model_;
    const LogModel log = log_model_;
    const uint64_t erases = flash_.erases();
    const uint32_t head = l.memory.store.head;
    const size_t said = story_.size();
    l.memory.save(ram);
    level_ = 0;
    run(l, action, -1);
    if (!stopped_) { story_.resize(said); }
    const bool moved = flash_.erases() != erases || l.memory.store.head != head;
    flash_.undo(mark);
    l.memory.restore(ram);
    model_ = model;
    log_model_ = log;
    return moved;
}

SearchResult Explorer::workload(const std::vector<Action>& actions, unsigned every) {
    actions_ = &actions;
    length_ = every;
    is_workload_ = true;
    Level& l = level(0);
    std::vector<uint8_t> ram;
    for (size_t i = 0; i < actions.size() && !stopped_; i++) {
        flash_.forget_marks();
        met_.clear();
        bool here = enter(Turn::action, i);
        int cuts = here ? static_cast<int>(search_.depth) : -1;
        const bool nested = i % every == 0;
        const bool cut = i % search_.cut_one_in == 0;
        if (here && !(nested && cut) && !moves_on(l, actions[i])) {
            if (!nested) { cuts = std::min(cuts, 0); }
            if (!cut) {
                cuts = -1;
                leave();
                here = false;
            }
        }
        level_ = 0;
        counts_.actions += here ? 1 : 0;
        if (here && search_.saves) {
            l.memory.save(ram);
            saves_in(actions[i], ram, Model(model_), LogModel(log_model_));
        }
        run(l, actions[i], cuts);
        if (here) {
            if (!stopped_ && enter(Turn::after, 0)) {
                level_ = 1;
                starts(0, Follow::all);
                level_ = 0;
                leave();
            }
            leave();
        }
        if (!stopped_ && i + 1 < actions.size() && time_is_up(1)) {
            stopped_ = true;
            complete_ = false;
        }
        share_ = static_cast<double>(i + 1) / static_cast<double>(actions.size());
        if (search_.progress) { search_.progress(share_); }
    }
    return result();
}

} // namespace perdure
