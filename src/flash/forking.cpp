#include "flash/forking.hpp"

#include <algorithm>
#include <bit>
#include <cstring>

#define XXH_INLINE_ALL
#include <fmt/format.h>
#include <xxhash.h>

namespace perdure {
namespace {

constexpr uint32_t block_bit = 0x80000000U;
constexpr uint64_t ways_max = uint64_t{1} << 32;

constexpr uint16_t bit(Reading reading) {
    return static_cast<uint16_t>(1U << static_cast<unsigned>(reading));
}
constexpr uint16_t bit(TornErase reading) {
    return static_cast<uint16_t>(1U << static_cast<unsigned>(reading));
}

/// Number of the `which`th set bit.
unsigned nth(unsigned set, unsigned which) {
    for (; which != 0; which--) { set &= set - 1; }
    return static_cast<unsigned>(std::countr_zero(set));
}

StateHash hash_of(const void* from, size_t bytes, uint64_t seed) {
    const XXH128_hash_t hash = XXH3_128bits_withSeed(from, bytes, seed);
    return {hash.low64, hash.high64};
}

constexpr std::array<std::string_view, reading_kinds> reading_names{
    "blank",     "complete", "as before",       "first half", "last half",
    "even bits", "odd bits", "all but one bit", "both",       "fault"};
constexpr std::array<std::string_view, torn_erase_kinds> torn_erase_names{
    "as before", "blank", "all programmed", "rubbish", "front blank", "back blank", "only the stamp", "fault"};

} // namespace

std::string_view name_of(Reading reading) {
    return reading_names[static_cast<unsigned>(reading)];
}

std::string_view name_of(TornErase reading) {
    return torn_erase_names[static_cast<unsigned>(reading)];
}

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

bool ForkingFlash::read_slow(uint32_t address, uint8_t* to, uint32_t bytes) const {
    std::memcpy(to, now_.data() + address, bytes);
    if (bytes == 0) { return true; }
    const uint32_t last = (address + bytes - 1) / unit_bytes_;
    for (uint32_t unit = address / unit_bytes_; unit <= last; unit++) {
        if (fault_[unit] != 0) { return false; }
        if (device_.blank_faults && reads_blank(unit)) { return false; }
        const Unit& u = unit_[unit];
        if (device_.undecided && u.state == State::weak) {
            const unsigned options = static_cast<unsigned>(std::popcount(unsigned{u.readings}));
            const bool whole = make(
                unit, static_cast<Reading>(nth(u.readings, (u.reading + (toggle_++ & 1)) % options)), scratch_.data());
            if (!whole) { return false; }
            const uint32_t from = std::max(address, unit * unit_bytes_);
            const uint32_t end = std::min(address + bytes, (unit + 1) * unit_bytes_);
            std::memcpy(to + (from - address), scratch_.data() + (from - unit * unit_bytes_), end - from);
        }
    }
    return true;
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
    if (u.state == State::trusted) {
        hash = hash_of(now(unit), unit_bytes_, uint64_t{unit} << 8 | 1);
    } else if (u.state == State::weak) {
        const uint64_t flags = uint64_t{u.readings} << 8 | (u.fresh ? 4U : 0U) | (u.after_tear ? 8U : 0U) | 2;
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

/// Readings that a torn program can leave beside those that always may come; `over`: other bytes were tried before.
uint16_t ForkingFlash::torn_readings(bool over) const {
    uint16_t set = over ? bit(Reading::both) : uint16_t{0};
    if (!device_.torn_bits) { return 0; }
    if (geometry_.ecc) { return static_cast<uint16_t>(bit(Reading::fault) | bit(Reading::even_bits)); }
    if (!device_.all_torn_bits) { return over ? set : bit(Reading::even_bits); }
    set |= static_cast<uint16_t>(bit(Reading::even_bits) | bit(Reading::odd_bits) | bit(Reading::all_but_one));
    if (unit_bytes_ > 1) { set |= static_cast<uint16_t>(bit(Reading::first_half) | bit(Reading::last_half)); }
    return set;
}

/// Puts the bytes of a weak unit's reading to `to`; false: a fault.
bool ForkingFlash::make(uint32_t unit, Reading reading, uint8_t* to) const {
    const uint8_t* wanted = pair_.data() + size_t{unit} * 2 * unit_bytes_;
    const uint8_t* old = wanted + unit_bytes_;
    const uint8_t blank = geometry_.blank;
    bool one_left = false;
    for (uint32_t i = 0; i < unit_bytes_; i++) {
        // In terms of charge: a set bit is one moved away from blank.
        const auto charge = static_cast<uint8_t>(blank ^ wanted[i]);
        const auto charge_old = static_cast<uint8_t>(blank ^ old[i]);
        uint8_t shown = 0;
        switch (reading) {
        case Reading::blank:
        case Reading::fault:
            break;
        case Reading::complete:
            shown = charge;
            break;
        case Reading::before:
            shown = charge_old;
            break;
        case Reading::first_half:
            shown = i < (unit_bytes_ + 1) / 2 ? charge : 0;
            break;
        case Reading::last_half:
            shown = i < (unit_bytes_ + 1) / 2 ? 0 : charge;
            break;
        case Reading::even_bits:
            shown = charge & 0x55;
            break;
        case Reading::odd_bits:
            shown = charge & 0xAA;
            break;
        case Reading::both:
            shown = charge | charge_old;
            break;
        case Reading::all_but_one:
            shown = charge;
            if (!one_left && charge != 0) {
                shown = static_cast<uint8_t>(charge & (charge - 1));
                one_left = true;
            }
            break;
        }
        to[i] = static_cast<uint8_t>(blank ^ shown);
    }
    return reading != Reading::fault;
}

/// Leaves one of those readings that give the same bytes.
void ForkingFlash::drop_equal_readings(uint32_t unit) {
    Unit& u = unit_[unit];
    std::array<bool, reading_kinds> whole{};
    unsigned count = 0;
    for (unsigned kind = 0; kind < reading_kinds; kind++) {
        if ((u.readings >> kind & 1U) == 0) { continue; }
        uint8_t* seen = scratch_.data() + size_t{count} * unit_bytes_;
        whole[count] = make(unit, static_cast<Reading>(kind), seen);
        for (unsigned i = 0; i < count; i++) {
            if (whole[i] == whole[count] &&
                std::memcmp(scratch_.data() + size_t{i} * unit_bytes_, seen, unit_bytes_) == 0) {
                u.readings &= static_cast<uint16_t>(~(1U << kind));
                count--;
                break;
            }
        }
        count++;
    }
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
    u.programs++;
    if (device_.programs_a_unit_max != 0 && u.programs > device_.programs_a_unit_max) {
        return break_rule("more programs of a unit than the part allows", unit);
    }
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
    if (u.state == State::weak && u.fresh && !torn && std::memcmp(aim(unit), from, unit_bytes_) == 0) { return; }
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

// --- starts ---------------------------------------------------------------------------------------------------------

uint16_t ForkingFlash::torn_erase_readings() const {
    auto set = static_cast<uint16_t>(bit(TornErase::blank) | bit(TornErase::only_stamp));
    if (!device_.all_torn_bits) {
        return static_cast<uint16_t>(bit(TornErase::blank) | bit(TornErase::as_before) | bit(TornErase::rubbish) |
                                     bit(TornErase::only_stamp));
    }
    if (device_.torn_bits) { set |= bit(TornErase::rubbish); }
    if (device_.erase_programs_first) { set |= bit(TornErase::all_programmed); }
    if (geometry_.ecc) { set |= bit(TornErase::fault); }
    if (device_.torn_erase_old) {
        set |=
            static_cast<uint16_t>(bit(TornErase::as_before) | bit(TornErase::front_blank) | bit(TornErase::back_blank));
    }
    return set;
}

/// What a unit reads as whose block's erase was cut; `to` holds what it would read without that. False: a fault.
bool ForkingFlash::make_torn(uint32_t unit, TornErase reading, uint8_t* to) const {
    const uint32_t at = unit % units_per_block_;
    const uint32_t stamp_units = (16 + unit_bytes_ - 1) / unit_bytes_;
    bool blank = false;
    switch (reading) {
    case TornErase::as_before:
        break;
    case TornErase::blank:
        blank = true;
        break;
    case TornErase::all_programmed:
        std::memset(to, static_cast<uint8_t>(~geometry_.blank), unit_bytes_);
        break;
    case TornErase::rubbish:
        for (uint32_t i = 0; i < unit_bytes_; i++) {
            to[i] = static_cast<uint8_t>(geometry_.blank ^
                                         ((geometry_.blank ^ to[i]) & ((unit + i) % 2 == 0 ? 0x55 : 0xEA)));
        }
        break;
    case TornErase::front_blank:
        blank = at < units_per_block_ / 2;
        break;
    case TornErase::back_blank:
        blank = at >= units_per_block_ / 2;
        break;
    case TornErase::only_stamp:
        blank = at >= stamp_units;
        break;
    case TornErase::fault:
        return unit_[unit].state == State::untouched;
    }
    if (blank) { std::memset(to, geometry_.blank, unit_bytes_); }
    return true;
}

uint64_t ForkingFlash::ways_to_read() {
    uint64_t ways = 1;
    for (uint32_t block = 0; torn_blocks_ != 0 && block < geometry_.ring_blocks; block++) {
        if (block_[block].torn) { ways *= static_cast<unsigned>(std::popcount(unsigned{torn_erase_readings()})); }
    }
    for (uint32_t unit = 0, left = weak_units_; left != 0 && ways < ways_max; unit++) {
        if (unit_[unit].state == State::weak) {
            ways *= static_cast<unsigned>(std::popcount(unsigned{unit_[unit].readings}));
            left--;
        }
    }
    return std::min(ways, ways_max);
}

void ForkingFlash::power_up(uint64_t which) {
    reading_hash_ = {};
    reading_code_ = 0;
    reads_torn_ = false;
    const uint16_t torn_set = torn_erase_readings();
    const auto torn_options = static_cast<unsigned>(std::popcount(unsigned{torn_set}));
    for (uint32_t block = 0; torn_blocks_ != 0 && block < geometry_.ring_blocks; block++) {
        if (!block_[block].torn) { continue; }
        keep_block(block);
        block_[block].reading = static_cast<uint8_t>(nth(torn_set, static_cast<unsigned>(which % torn_options)));
        which /= torn_options;
        const auto reading = static_cast<TornErase>(block_[block].reading);
        reads_torn_ = reads_torn_ || reading == TornErase::rubbish || reading == TornErase::all_programmed;
        reading_code_ = reading_code_ * torn_erase_kinds + block_[block].reading;
        const uint64_t value = uint64_t{block} << 32 | block_[block].reading;
        reading_hash_ ^= hash_of(&value, sizeof value, 5);
    }
    for (uint32_t unit = 0, left = weak_units_; left != 0; unit++) {
        Unit& u = unit_[unit];
        if (u.state != State::weak) { continue; }
        left--;
        keep(unit);
        const auto options = static_cast<unsigned>(std::popcount(unsigned{u.readings}));
        u.reading = static_cast<uint8_t>(nth(u.readings, static_cast<unsigned>(which % options)));
        which /= options;
        const auto reading = static_cast<Reading>(u.reading);
        reads_torn_ = reads_torn_ || (reading != Reading::blank && reading != Reading::complete &&
                                      reading != Reading::before && reading != Reading::fault);
        reading_code_ = reading_code_ * reading_kinds + u.reading;
        set_fault(unit, !make(unit, static_cast<Reading>(u.reading), now(unit)));
        const uint64_t value = uint64_t{unit} << 32 | u.reading;
        reading_hash_ ^= hash_of(&value, sizeof value, 7);
    }
    for (uint32_t block = 0; torn_blocks_ != 0 && block < geometry_.ring_blocks; block++) {
        if (!block_[block].torn) { continue; }
        const auto reading = static_cast<TornErase>(block_[block].reading);
        for (uint32_t unit = block * units_per_block_; unit < (block + 1) * units_per_block_; unit++) {
            if (unit_[unit].after_tear) { continue; }
            if (unit_[unit].state != State::weak) {
                keep(unit);
                set_fault(unit, false);
                if (unit_[unit].state == State::trusted) {
                    std::memcpy(now(unit), aim(unit), unit_bytes_);
                } else {
                    std::memset(now(unit), geometry_.blank, unit_bytes_);
                }
            }
            set_fault(unit, !make_torn(unit, reading, now(unit)) || fault_[unit] != 0);
        }
    }
    if (!device_.weak) { settle(); }
}

/// What the weak units read as now they read as from now on.
void ForkingFlash::settle() {
    for (uint32_t unit = 0; unit < units_; unit++) {
        Unit& u = unit_[unit];
        const bool torn = block_[unit / units_per_block_].torn && !u.after_tear;
        if (u.state != State::weak && !torn) { continue; }
        keep(unit);
        const bool blank = reads_blank(unit);
        set_state(unit, blank ? State::untouched : State::trusted);
        u.fresh = u.after_tear = false;
        rehash(unit);
    }
    for (uint32_t block = 0; torn_blocks_ != 0 && block < geometry_.ring_blocks; block++) {
        if (!block_[block].torn) { continue; }
        keep_block(block);
        block_[block] = Block{};
        torn_blocks_--;
        rehash_block(block);
    }
    reading_hash_ = {};
}

unsigned ForkingFlash::last_hit_reading() const {
    return (last_hit_ & block_bit) != 0 ? reading_kinds + block_[last_hit_ & ~block_bit].reading
                                        : unit_[last_hit_].reading;
}

std::string ForkingFlash::readings() const {
    std::string out;
    for (uint32_t block = 0; block < geometry_.ring_blocks; block++) {
        if (block_[block].torn) {
            out += fmt::format("{}block {} {}", out.empty() ? "" : ", ", block,
                               name_of(static_cast<TornErase>(block_[block].reading)));
        }
    }
    for (uint32_t unit = 0; unit < units_; unit++) {
        if (unit_[unit].state == State::weak) {
            out += fmt::format("{}{}:{} {}", out.empty() ? "" : ", ", unit / units_per_block_, unit % units_per_block_,
                               name_of(static_cast<Reading>(unit_[unit].reading)));
        }
    }
    return out;
}

} // namespace perdure
