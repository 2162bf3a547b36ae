// What weak units and torn blocks read as: at each start in one of several ways.
#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

#include <fmt/format.h>

#include "flash/forking.hpp"

namespace perdure {
namespace {

constexpr uint64_t ways_max = uint64_t{1} << 32;

/// Number of the `which`th set bit.
unsigned nth(unsigned set, unsigned which) {
    for (; which != 0; which--) { set &= set - 1; }
    return static_cast<unsigned>(std::countr_zero(set));
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
