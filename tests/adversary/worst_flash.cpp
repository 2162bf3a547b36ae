#include "worst_flash.hpp"

#include <algorithm>
#include <cstdio>
#include <cstring>

namespace perdure::adversary {
namespace {

bool is_weak(UnitState state) {
    return state >= UnitState::weak_program;
}

} // namespace

void WorstFlash::shape(uint32_t bytes_a_unit, uint32_t units_a_block, uint32_t block_count, uint8_t blank_value) {
    unit_bytes = bytes_a_unit;
    block_units = units_a_block;
    blocks = block_count;
    blank = blank_value;
    const size_t units = size_t{block_units} * blocks;
    now.assign(units * unit_bytes, blank);
    other = now;
    older = now;
    state.assign(units, UnitState::untouched);
    faulting.assign(units, 0);
    faulting_count = 0;
    weak_list.clear();
    erase_torn.assign(blocks, 0);
    wear.assign(blocks, 0);
    wear_at_start.assign(blocks, 0);
}

void WorstFlash::set_fault(uint32_t unit, bool fault) {
    faulting_count += (fault ? 1u : 0u) - faulting[unit];
    faulting[unit] = fault ? 1 : 0;
}

void WorstFlash::set_state(uint32_t unit, UnitState to) {
    if (is_weak(to) && !is_weak(state[unit])) {
        weak_list.push_back(unit);
        std::memset(at(older, unit), blank, unit_bytes);
    } else if (!is_weak(to) && is_weak(state[unit])) {
        weak_list.erase(std::find(weak_list.begin(), weak_list.end(), unit));
    }
    state[unit] = to;
}

void WorstFlash::read_as(uint32_t unit, const uint8_t* bytes) {
    std::memcpy(at(now, unit), bytes, unit_bytes);
}

/// Any of the bits that were to change; with ECC mostly a fault. The numbers drawn do not depend on the bytes.
void WorstFlash::tear_bytes(uint32_t unit, const uint8_t* wanted) {
    const bool fault = !random.one_in(3) && ecc;
    uint8_t* to = at(now, unit);
    if (!rubbish) {
        set_fault(unit, ecc);
        read_as(unit, wanted);
        return;
    }
    set_fault(unit, fault);
    for (uint32_t i = 0; i < unit_bytes; i++) {
        const auto kept = static_cast<uint8_t>(random.next());
        to[i] = static_cast<uint8_t>(blank ^ ((blank ^ wanted[i]) & kept));
    }
}

void WorstFlash::restart() {
    cut_in = -1;
    cut_at_erase = -1;
    // A torn erase tends to leave its whole block alike: mode 0 as before, 1 blank, 2 rubbish, 3 each unit for itself,
    // 4 all bits programmed (parts that program before they erase).
    uint32_t mode_block = none;
    uint32_t mode = 0;
    for (const uint32_t unit : weak_list) {
        set_fault(unit, false);
        const uint32_t block = unit / block_units;
        if (block != mode_block) {
            mode_block = block;
            mode = random.below(5);
        }
        const uint32_t pick = random.below(4);
        if (state[unit] == UnitState::weak_over) {
            pick < 3 ? read_as(unit, at(other, unit)) : tear_bytes(unit, at(other, unit));
            continue;
        }
        const bool alike = state[unit] == UnitState::weak && erase_torn[block] != 0;
        switch (alike && mode != 3 ? mode : pick) {
        case 0:
            read_as(unit, at(other, unit));
            break;
        case 1:
            std::memset(at(now, unit), blank, unit_bytes);
            break;
        case 2:
            tear_bytes(unit, at(other, unit));
            break;
        case 4:
            std::memset(at(now, unit), static_cast<uint8_t>(~blank), unit_bytes);
            break;
        default:
            read_as(unit, at(older, unit));
            break;
        }
    }
}

bool WorstFlash::reads_blank(uint32_t unit) const {
    const uint8_t* bytes = now.data() + size_t{unit} * unit_bytes;
    return faulting[unit] == 0 &&
           std::all_of(bytes, bytes + unit_bytes, [this](uint8_t byte) { return byte == blank; });
}

void WorstFlash::break_rule(const char* what, uint32_t unit) {
    breach = std::string(what) + ": block " + std::to_string(unit / block_units) + " unit " +
             std::to_string(unit % block_units);
    std::longjmp(power, 2);
}

bool WorstFlash::read(uint32_t address, uint8_t* to, uint32_t bytes) const {
    if (faulting_count != 0 && bytes != 0) {
        const uint32_t last = (address + bytes - 1) / unit_bytes;
        for (uint32_t unit = address / unit_bytes; unit <= last; unit++) {
            if (faulting[unit] != 0) { return false; }
        }
    }
    std::memcpy(to, now.data() + address, bytes);
    return true;
}

void WorstFlash::program_cut(uint32_t unit, const uint8_t* from, bool blank_now) {
    const bool same = std::memcmp(at(other, unit), from, unit_bytes) == 0;
    if (state[unit] == UnitState::untouched && erase_torn[unit / block_units] == 0) {
        set_state(unit, UnitState::weak_program);
    } else if (!is_weak(state[unit])) { // a pad over a trusted unit
        set_state(unit, blank_now ? UnitState::weak : UnitState::weak_over);
        std::memcpy(at(older, unit), at(now, unit), unit_bytes);
    } else if (!(state[unit] == UnitState::weak_program && same)) {
        // The cut may have come before the program had any effect: what was weak before may still turn up.
        if (random.one_in(2)) { std::memcpy(at(older, unit), at(other, unit), unit_bytes); }
        state[unit] = UnitState::weak;
    }
    std::memcpy(at(other, unit), from, unit_bytes);
}

/// All bits programmed over a unit that is not erased: nothing may rest on what comes of it.
bool WorstFlash::program_over(uint32_t unit, const uint8_t* from) {
    pads_over++;
    if (pad_over == PadOver::refused) { return false; }
    set_state(unit, UnitState::weak_over);
    std::memcpy(at(other, unit), from, unit_bytes);
    set_fault(unit, false);
    pad_over == PadOver::rubbish&& random.one_in(2) ? tear_bytes(unit, from) : read_as(unit, from);
    return true;
}

bool WorstFlash::program(uint32_t address, const uint8_t* from) {
    const uint32_t unit = address / unit_bytes;
    const uint32_t block = unit / block_units;
    const bool blank_now = reads_blank(unit);
    const bool pad =
        std::all_of(from, from + unit_bytes, [this](uint8_t byte) { return byte == static_cast<uint8_t>(~blank); });
    if (trace) {
        std::printf("  program block %u unit %u: %02x.. over state %d%s\n", block, unit % block_units, from[0],
                    static_cast<int>(state[unit]), cut_in == 0 ? ", CUT" : "");
    }
    if (address % unit_bytes != 0 || unit >= state.size()) {
        break_rule("program at an address that is no unit", unit);
    }
    if (never_change) { break_rule("program in a read-only open", unit); }
    if (!pad && (!blank_now || state[unit] == UnitState::trusted)) {
        break_rule("program over a unit that is not erased", unit);
    }
    programs++;
    if (cut_in == 0) {
        program_cut(unit, from, blank_now);
        std::longjmp(power, 1);
    }
    cut_in -= cut_in > 0 ? 1 : 0;
    if (block == failing_block && failing_program) {
        set_state(unit, UnitState::weak_over);
        std::memcpy(at(other, unit), from, unit_bytes);
        tear_bytes(unit, from);
        return false;
    }
    if (!blank_now || state[unit] == UnitState::trusted) { return program_over(unit, from); }
    const bool torn_before = erase_torn[block] != 0;
    const bool repeated = state[unit] == UnitState::weak_program && std::memcmp(at(other, unit), from, unit_bytes) == 0;
    if (!torn_before && (state[unit] == UnitState::untouched || repeated)) {
        set_state(unit, UnitState::trusted);
    } else {
        over_weak += pad ? 0 : 1;
        set_state(unit, UnitState::weak_over);
        std::memcpy(at(other, unit), from, unit_bytes);
    }
    read_as(unit, from);
    return true;
}

void WorstFlash::erase_cut(uint32_t block) {
    erase_torn[block] = 1;
    for (uint32_t unit = block * block_units; unit < (block + 1) * block_units; unit++) {
        if (!is_weak(state[unit])) {
            std::memcpy(at(other, unit), at(now, unit), unit_bytes);
            set_state(unit, UnitState::weak);
        }
        state[unit] = UnitState::weak;
    }
}

bool WorstFlash::erase(uint32_t block) {
    if (trace) { std::printf("  erase block %u%s\n", block, cut_in == 0 || cut_at_erase == 0 ? ", CUT" : ""); }
    if (block >= blocks) { break_rule("erase of a block that is none", 0); }
    if (never_change) { break_rule("erase in a read-only open", block * block_units); }
    if (cut_at_erase >= 0) {
        cut_in = cut_at_erase;
        cut_at_erase = -1;
    }
    erases++;
    if (cut_in == 0) {
        erase_cut(block);
        std::longjmp(power, 1);
    }
    cut_in -= cut_in > 0 ? 1 : 0;
    if (block == failing_block && failing_erase) {
        erase_cut(block);
        return false;
    }
    const uint32_t begin = block * block_units;
    const uint32_t end = begin + block_units;
    if (!weak_list.empty()) {
        std::erase_if(weak_list, [&](uint32_t unit) { return unit >= begin && unit < end; });
    }
    for (uint32_t unit = begin; unit < end && faulting_count != 0; unit++) { set_fault(unit, false); }
    std::fill(state.begin() + begin, state.begin() + end, UnitState::untouched);
    std::memset(at(now, begin), blank, size_t{block_units} * unit_bytes);
    erase_torn[block] = 0;
    wear[block]++;
    wear_at_start[block] += starting ? 1 : 0;
    return true;
}

} // namespace perdure::adversary
