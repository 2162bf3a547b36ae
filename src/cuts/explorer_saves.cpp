// Saves when the supply fails, in interrupts at every operation; and lazy starts.
#include <algorithm>

#include <fmt/format.h>

#include "cuts/explorer.hpp"

namespace perdure {

/// The interrupt: the record is saved, the power cut everywhere in that.
void Explorer::save_now() {
    Level& l = level(0);
    const auto record = static_cast<uint16_t>(l.memory.config.urgent - 1);
    const bool ready = l.memory.store.state == PERDURE_OK;
    counts_.saves++;
    say("the supply fails: a record is saved");
    saving_ = true;
    cuts_ = static_cast<int>(search_.depth);
    std::vector<uint8_t> value(model_.bytes_of(record));
    model_.next_value(record, Step::small, model_.newest(record), value.data());
    if (ready) { model_.begin_put(record, value.data()); }
    const perdure_status status = perdure_put_now(&l.memory.store, record, value.data());
    cuts_ = -1;
    saving_ = false;
    saved_ = true;
    if (stopped_) { return; }
    if (!ready) {
        saved_ = false; // a start that is still owed: nothing is saved, and the call goes on
        if (status != PERDURE_READ_ONLY) { fail("a save before the start is done does not give READ_ONLY"); }
        return;
    }
    if (status != PERDURE_OK) { return fail(fmt::format("a save gives {}", status_name(status))); }
    model_.acknowledge();
    log_model_.refuse();
}

/// The interrupt comes in this operation.
bool Explorer::interrupted_operation(CutOperation operation, uint32_t where, const uint8_t* unit) {
    // What the flash was given before the save takes the store's unit buffer.
    std::vector<uint8_t> latched;
    if (unit != nullptr) { latched.assign(unit, unit + search_.layout.geometry.unit_bytes); }
    bool done = false;
    if (save_kind_ == SaveAt::behind) { done = do_operation(operation, where, latched.data()); }
    if (save_kind_ >= SaveAt::torn) {
        if (operation == CutOperation::erase) { log_model_.erased(where); }
        operation == CutOperation::erase ? flash_.cut_erase(where) : flash_.cut_program(where, latched.data());
        const uint64_t ways = flash_.ways_to_read();
        flash_.power_up(save_way_ % ways);
    }
    save_now();
    if (stopped_) { return false; }
    if (!saved_) { // refused: the call goes on
        return done || do_operation(operation, where, latched.data());
    }
    if (save_kind_ == SaveAt::instead) {
        // Begun behind the save, and the power goes in it.
        cuts_ = static_cast<int>(search_.depth);
        cuts_here(operation, where, latched.data());
        cuts_ = -1;
    }
    if (save_kind_ == SaveAt::before) { done = do_operation(operation, where, latched.data()); }
    return done;
}

/// `action` again and again, with the interrupt in each of its operations, before, inside and behind it.
void Explorer::saves_in(const Action& action, const std::vector<uint8_t>& ram, const Model& model,
                        const LogModel& log) {
    Level& l = level(0);
    if (action.kind == Action::Kind::restart || action.kind == Action::Kind::restart_lazy) { return; } // store.h
    if (l.memory.config.urgent == 0) { return fail("no record is saved at power failure"); }
    for (uint64_t kind = 0; kind < save_kinds && !stopped_; kind++) {
        save_kind_ = static_cast<SaveAt>(std::min<uint64_t>(kind, static_cast<uint64_t>(SaveAt::torn)));
        save_way_ = kind - static_cast<uint64_t>(save_kind_);
        if (save_kind_ == SaveAt::in_a_read && !search_.saves_in_reads) { continue; }
        bool more = true;
        for (uint64_t at = 0; more && !stopped_; at++) {
            if (!enter(Turn::save, at * save_kinds + kind)) {
                more = at < 100'000;
                continue;
            }
            const ForkingFlash::Mark mark = flash_.mark();
            const uint64_t before = counts_.saves;
            level_ = 0;
            save_at_ = at;
            run(l, action, -1);
            save_at_ = no_save;
            more = counts_.saves != before;
            if (!stopped_ && saved_) {
                saved_ = false;
                level_ = 1;
                starts(static_cast<int>(search_.depth), Follow::all);
                level_ = 0;
            }
            saved_ = false;
            flash_.undo(mark);
            l.memory.restore(ram);
            model_ = model;
            log_model_ = log;
            leave();
        }
    }
}

/// A start that programs nothing, and the first put after it, which then does the start's work.
bool Explorer::lazy_start(Level& l, int depth, Follow follow) {
    const uint64_t done = flash_.programs() + flash_.erases();
    const perdure_status status = perdure_open(&l.memory.store, &l.memory.config, PERDURE_LAZY);
    cuts_ = -1;
    if (status != PERDURE_OK) {
        fail(fmt::format("a lazy open gives {}", status_name(status)));
        return false;
    }
    if (!read_all(l)) { return false; }
    decoder_.decode(view(), decoded_);
    if (!judge_all(l, decoded_.pending.value_or(UINT32_MAX))) { return false; }
    if (perdure_service(&l.memory.store) || flash_.programs() + flash_.erases() != done) {
        fail("a lazy start programs, erases or has service due before the first put");
        return false;
    }
    note_outcome(l);
    if (follow == Follow::nothing) { return true; }
    if (first_cut_ && level_ == 1) { count_cell(l, flash_.last_hit_reading()); }
    const uint16_t record = drawn_record();
    const uint32_t next = l.log.next;
    const auto size = static_cast<ptrdiff_t>(model_.bytes_of(record));
    l.value.resize(model_.all_bytes());
    if (record != log_) {
        model_.next_value(record, Step::small, l.values.data() + model_.offset_of(record), l.value.data());
    }
    say(fmt::format("a lazy start, and a put of record '{}'", search_.records[record]->name));
    cuts_ = depth - 1;
    const perdure_status put = put_at(l, record, Step::small);
    cuts_ = -1;
    if (stopped_) { return false; }
    if (!flash_.breach().empty()) {
        fail("the first put after a lazy start breaks a rule of the flash: " + flash_.breach());
        return false;
    }
    if (put != PERDURE_OK) {
        fail(fmt::format("the first put after a lazy start gives {}", status_name(put)));
        return false;
    }
    const std::vector<uint8_t> value = l.value;
    if (!read_all(l) || !judge_all(l, UINT32_MAX)) { return false; }
    const bool stands =
        record == log_ ? l.log.next == next + 1
                       : std::equal(value.begin(), value.begin() + size, l.values.begin() + model_.offset_of(record));
    if (!stands) { fail("what the first put after a lazy start has stored does not read so"); }
    return stands;
}

} // namespace perdure
