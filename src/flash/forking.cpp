#include "flash/forking.hpp"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

namespace perdure {

ForkingFlash::ForkingFlash(const FlashGeometry& geometry, const CutDevice& device)
    : geometry_(geometry), device_(device), unit_bytes_(geometry.unit_bytes),
      units_per_block_(geometry.units_per_ring_block()), units_(units_per_block_ * geometry.ring_blocks),
      now_(size_t{units_} * unit_bytes_, geometry.blank), pair_(now_.size() * 2, geometry.blank), fault_(units_, 0),
      unit_(units_), block_(geometry.ring_blocks), unit_hash_(units_), block_hash_(geometry.ring_blocks),
      scratch_(size_t{reading_kinds} * unit_bytes_) {
    update_slow();
}

void ForkingFlash::copy(uint8_t* to, const uint8_t* from, uint32_t bytes) {
    // Most reads are of 1 to 8 bytes; a call of memcpy would take longer than these.
    switch (bytes) {
    case 1:
        *to = *from;
        break;
    case 2:
        std::memcpy(to, from, 2);
        break;
    case 4:
        std::memcpy(to, from, 4);
        break;
    case 8:
        std::memcpy(to, from, 8);
        break;
    default:
        std::memcpy(to, from, bytes);
    }
}

bool ForkingFlash::reads_blank(uint32_t unit) const {
    const uint8_t* bytes = now_.data() + size_t{unit} * unit_bytes_;
    if (fault_[unit] != 0) { return false; }
    for (uint32_t i = 0; i < unit_bytes_; i++) {
        if (bytes[i] != geometry_.blank) { return false; }
    }
    return true;
}

bool ForkingFlash::break_rule(std::string what, uint32_t unit) {
    if (breach_.empty()) {
        breach_ = fmt::format("{}: block {} unit {}", what, unit / units_per_block_, unit % units_per_block_);
    }
    return false;
}

/// Cut or not, it is one of those that the part allows between two erases.
bool ForkingFlash::count_program(uint32_t unit) {
    unit_[unit].programs++;
    return device_.programs_a_unit_max == 0 || unit_[unit].programs <= device_.programs_a_unit_max ||
           break_rule("more programs of a unit than the part allows", unit);
}

// --- winding back ---------------------------------------------------------------------------------------------------

ForkingFlash::Mark ForkingFlash::mark() const {
    return {saved_.size(), hash_, reading_hash_, weak_units_, torn_blocks_, faults_, last_hit_, decaying_};
}

void ForkingFlash::keep(uint32_t unit) {
    saved_.push_back({unit, unit_[unit], {}, fault_[unit], unit_hash_[unit]});
    const size_t at = saved_bytes_.size();
    saved_bytes_.resize(at + size_t{3} * unit_bytes_);
    std::memcpy(saved_bytes_.data() + at, now(unit), unit_bytes_);
    std::memcpy(saved_bytes_.data() + at + unit_bytes_, aim(unit), size_t{2} * unit_bytes_);
}

void ForkingFlash::keep_block(uint32_t block) {
    saved_.push_back({block | block_bit, {}, block_[block], 0, block_hash_[block]});
    saved_bytes_.resize(saved_bytes_.size() + size_t{3} * unit_bytes_);
}

void ForkingFlash::undo(const Mark& mark) {
    while (saved_.size() > mark.entries) {
        const Saved& entry = saved_.back();
        const size_t at = saved_bytes_.size() - size_t{3} * unit_bytes_;
        if ((entry.unit & block_bit) != 0) {
            const uint32_t block = entry.unit & ~block_bit;
            block_[block] = entry.block;
            block_hash_[block] = entry.hash;
        } else {
            unit_[entry.unit] = entry.state;
            fault_[entry.unit] = entry.fault;
            unit_hash_[entry.unit] = entry.hash;
            std::memcpy(now(entry.unit), saved_bytes_.data() + at, unit_bytes_);
            std::memcpy(aim(entry.unit), saved_bytes_.data() + at + unit_bytes_, size_t{2} * unit_bytes_);
        }
        saved_bytes_.resize(at);
        saved_.pop_back();
    }
    hash_ = mark.hash;
    reading_hash_ = mark.reading_hash;
    weak_units_ = mark.weak_units;
    torn_blocks_ = mark.torn_blocks;
    faults_ = mark.faults;
    last_hit_ = mark.last_hit;
    decaying_ = mark.decaying;
    update_slow();
}

// --- states ---------------------------------------------------------------------------------------------------------

void ForkingFlash::rehash(uint32_t unit) {
    const Unit& u = unit_[unit];
    StateHash hash;
    // How often it was programmed makes a difference only to a part that counts.
    const uint64_t programs = device_.programs_a_unit_max != 0 ? u.programs & 7U : 0U;
    if (u.state == State::trusted) {
        hash = hash_of(now(unit), unit_bytes_, uint64_t{unit} << 8 | programs << 4 | 1);
    } else if (u.state == State::weak) {
        const uint64_t flags =
            uint64_t{u.readings} << 8 | programs << 4 | (u.fresh ? 4U : 0U) | (u.after_tear ? 8U : 0U) | 2;
        hash = hash_of(aim(unit), size_t{2} * unit_bytes_, uint64_t{unit} << 32 | flags);
    }
    hash_ ^= unit_hash_[unit];
    hash_ ^= hash;
    unit_hash_[unit] = hash;
}

void ForkingFlash::rehash_block(uint32_t block) {
    const uint32_t value = block;
    const StateHash hash = block_[block].torn ? hash_of(&value, sizeof value, 3) : StateHash{};
    hash_ ^= block_hash_[block];
    hash_ ^= hash;
    block_hash_[block] = hash;
}

void ForkingFlash::set_fault(uint32_t unit, bool fault) {
    faults_ += (fault ? 1U : 0U) - fault_[unit];
    fault_[unit] = fault ? 1 : 0;
    update_slow();
}

void ForkingFlash::set_state(uint32_t unit, State state) {
    weak_units_ += (state == State::weak ? 1U : 0U) - (unit_[unit].state == State::weak ? 1U : 0U);
    unit_[unit].state = state;
}

/// One unit at a time: the one before it has held, if it still reads as it was programmed.
void ForkingFlash::let_decay(uint32_t unit) {
    const uint32_t held = decaying_;
    if (held < units_ && unit_[held].state == State::weak && fault_[held] == 0 &&
        std::memcmp(now(held), aim(held), unit_bytes_) == 0 && std::memcmp(before(held), aim(held), unit_bytes_) == 0) {
        keep(held);
        set_state(held, State::trusted);
        rehash(held);
    }
    for (const uint64_t each : {uint64_t{held}, uint64_t{unit}}) { hash_ ^= hash_of(&each, sizeof each, 9); }
    decaying_ = unit;
    std::memcpy(before(unit), now(unit), unit_bytes_);
    make_weak(unit, now(unit), static_cast<uint16_t>(bit(Reading::complete) | torn_readings(false)));
}

/// `from` has been tried on the unit, which was weak before or becomes so now.
void ForkingFlash::make_weak(uint32_t unit, const uint8_t* from, uint16_t readings) {
    std::memcpy(aim(unit), from, unit_bytes_);
    set_state(unit, State::weak);
    unit_[unit].readings = readings;
    drop_equal_readings(unit);
    rehash(unit);
}

bool ForkingFlash::program(uint32_t address, const uint8_t* from) {
    const uint32_t unit = address / unit_bytes_;
    if (unit * unit_bytes_ != address || unit >= units_) {
        return break_rule("program at an address that is no unit", unit);
    }
    keep(unit);
    programs_++;
    Unit& u = unit_[unit];
    const uint32_t block = unit / units_per_block_;
    const bool blank_now = reads_blank(unit);
    const bool pad =
        std::all_of(from, from + unit_bytes_, [&](uint8_t byte) { return byte == uint8_t(~geometry_.blank); });
    const bool torn = block_[block].torn && !u.after_tear;
    if (!pad && (!blank_now || (u.state == State::trusted && !torn))) {
        return break_rule("program over a unit that is not erased", unit);
    }
    if (!count_program(unit)) { return false; }
    if (block == device_.failing_block && device_.failing_program) {
        std::memcpy(before(unit), now(unit), unit_bytes_);
        make_weak(unit, from,
                  static_cast<uint16_t>(bit(Reading::complete) | bit(Reading::before) | torn_readings(false)));
        u.fresh = false;
        rehash(unit);
        return false;
    }
    if (!blank_now && geometry_.rule == ProgramRule::once) { return false; } // refused by the part
    if (u.state == State::untouched && !torn) {
        std::memcpy(now(unit), from, unit_bytes_);
        set_state(unit, State::trusted);
        rehash(unit);
        if (device_.late_decay) { let_decay(unit); }
        return true;
    }
    if (u.state == State::weak && u.fresh && !torn && std::memcmp(aim(unit), from, unit_bytes_) == 0) {
        std::memcpy(now(unit), from, unit_bytes_);
        set_fault(unit, false);
        set_state(unit, State::trusted);
        rehash(unit);
        if (device_.late_decay) { let_decay(unit); }
        return true;
    }
    // It verifies now, and is weak: charge of what was tried before may be left beside the new one; where an erase was
    // cut, or bytes were programmed that read blank, the new charge may not hold at all.
    const bool over = u.state == State::weak || !blank_now;
    if (u.state != State::weak) {
        std::memcpy(before(unit), now(unit), unit_bytes_);
    } else if (std::memcmp(aim(unit), from, unit_bytes_) != 0) {
        std::memcpy(before(unit), aim(unit), unit_bytes_);
    }
    u.fresh = false;
    u.after_tear = true;
    const uint16_t hold = torn ? bit(Reading::blank) : uint16_t{0};
    make_weak(unit, from, static_cast<uint16_t>(bit(Reading::complete) | hold | torn_readings(over)));
    std::memcpy(now(unit), from, unit_bytes_);
    set_fault(unit, false);
    return true;
}

void ForkingFlash::cut_program(uint32_t address, const uint8_t* from) {
    const uint32_t unit = address / unit_bytes_;
    const uint32_t block = unit / units_per_block_;
    keep(unit);
    last_hit_ = unit;
    Unit& u = unit_[unit];
    const bool torn = block_[block].torn && !u.after_tear;
    (void)count_program(unit);
    if (u.state == State::weak && u.fresh && !torn && std::memcmp(aim(unit), from, unit_bytes_) == 0) {
        rehash(unit);
        return;
    }
    if (u.state == State::untouched && !torn) {
        std::memset(before(unit), geometry_.blank, unit_bytes_);
        u.fresh = true;
        make_weak(unit, from,
                  static_cast<uint16_t>(bit(Reading::blank) | bit(Reading::complete) | torn_readings(false)));
    } else if (u.state == State::weak) {
        // What it might have read as, it still may.
        uint16_t more = static_cast<uint16_t>(u.readings & (bit(Reading::blank) | bit(Reading::fault)));
        if ((u.readings & bit(Reading::complete)) != 0) { more |= bit(Reading::before); }
        if (std::memcmp(aim(unit), from, unit_bytes_) != 0) { std::memcpy(before(unit), aim(unit), unit_bytes_); }
        u.fresh = false;
        make_weak(unit, from, static_cast<uint16_t>(more | bit(Reading::complete) | torn_readings(true)));
    } else { // constant bytes over a unit that is not blank, or any over one whose erase was cut
        std::memcpy(before(unit), now(unit), unit_bytes_);
        u.fresh = false;
        u.after_tear = true;
        const uint16_t hold = torn ? bit(Reading::blank) : uint16_t{0};
        make_weak(unit, from,
                  static_cast<uint16_t>(bit(Reading::complete) | bit(Reading::before) | hold | torn_readings(true)));
    }
    if (device_.collateral && unit % units_per_block_ != 0 && unit_[unit - 1].state == State::trusted) {
        keep(unit - 1);
        std::memset(before(unit - 1), geometry_.blank, unit_bytes_);
        std::memcpy(aim(unit - 1), now(unit - 1), unit_bytes_);
        unit_[unit - 1].fresh = false;
        make_weak(unit - 1, aim(unit - 1), static_cast<uint16_t>(bit(Reading::complete) | torn_readings(false)));
    }
}

bool ForkingFlash::erase(uint32_t block) {
    erases_++;
    if (block == device_.failing_block && device_.failing_erase) {
        cut_erase(block);
        return false;
    }
    for (uint32_t unit = block * units_per_block_; unit < (block + 1) * units_per_block_; unit++) {
        if (unit_[unit].state == State::untouched && !block_[block].torn) { continue; }
        keep(unit);
        set_fault(unit, false);
        set_state(unit, State::untouched);
        unit_[unit] = Unit{};
        std::memset(now(unit), geometry_.blank, unit_bytes_);
        hash_ ^= unit_hash_[unit];
        unit_hash_[unit] = {};
    }
    keep_block(block);
    torn_blocks_ -= block_[block].torn ? 1U : 0U;
    block_[block] = Block{};
    rehash_block(block);
    return true;
}

void ForkingFlash::cut_erase(uint32_t block) {
    keep_block(block);
    last_hit_ = block | block_bit;
    const bool again = block_[block].torn;
    torn_blocks_ += again ? 0U : 1U;
    block_[block].torn = true;
    rehash_block(block);
    for (uint32_t unit = block * units_per_block_; unit < (block + 1) * units_per_block_; unit++) {
        Unit& u = unit_[unit];
        if (u.state == State::trusted && !again) { // so that it can read so again
            keep(unit);
            std::memcpy(aim(unit), now(unit), unit_bytes_);
        } else if (u.after_tear) {
            keep(unit);
            u.after_tear = false;
            rehash(unit);
        }
    }
}

} // namespace perdure
