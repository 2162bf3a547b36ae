// What a cut leaves behind, and what it reads as at each later start (the fault model stands in flash.hpp).
#include <algorithm>
#include <bit>

#include "flash/flash.hpp"

namespace perdure {

void Flash::lose_supply() {
    dead_ = true;
    armed_ = false;
    update_special();
}

FlashResult Flash::program_over(uint32_t unit, const uint8_t* from) {
    uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    const bool was_blank = reads_blank(unit);
    std::copy_n(from, unit_bytes_, now);
    programmed_[unit] = 1;
    const auto found = weak_.find(unit);
    if (found == weak_.end()) { return FlashResult::ok; }
    WeakUnit& weak = found->second;
    if (weak.only_program && std::equal(from, from + unit_bytes_, weak.aim.begin())) {
        weak_.erase(found);
    } else {
        // Charge of the cut operation may be left beside the new one. Where an erase was cut, or blank bytes were
        // programmed, the new charge may not hold at all.
        weak.before = was_blank ? std::vector<uint8_t>{} : weak.aim;
        weak.aim.assign(from, from + unit_bytes_);
        weak.readings = uint8_t(reads_aim | reads_mixed | (weak.torn_erase ? reads_blank_ : 0));
        weak.only_program = weak.settled = weak.fault = false;
    }
    faults_ = std::any_of(weak_.begin(), weak_.end(), [](const auto& item) { return item.second.fault; });
    update_special();
    return FlashResult::ok;
}

void Flash::cut_program(uint32_t unit, const uint8_t* from) {
    auto [found, is_new] = weak_.try_emplace(unit);
    WeakUnit& weak = found->second;
    const bool fresh = is_new && programmed_[unit] == 0;
    const bool again = weak.only_program && std::equal(from, from + unit_bytes_, weak.aim.begin());
    if (!again) {
        const uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
        weak.before.assign(now, now + unit_bytes_);
        weak.aim.assign(from, from + unit_bytes_);
        weak.readings = uint8_t(weak.readings | reads_aim | reads_mixed | (fresh ? reads_blank_ : reads_before));
        weak.only_program = fresh;
        weak.settled = false;
    }
    programmed_[unit] = 1;
    lose_supply();
}

void Flash::cut_erase(uint32_t block) {
    for (uint32_t unit = block * units_per_block_; unit < (block + 1) * units_per_block_; unit++) {
        WeakUnit& weak = weak_[unit];
        const uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
        weak.before.assign(now, now + unit_bytes_);
        if (weak.aim.empty()) { weak.aim = weak.before; }
        weak.readings =
            uint8_t(reads_blank_ | reads_full | reads_mixed | (cuts_.weak_erase ? reads_before | reads_aim : 0));
        weak.only_program = weak.settled = false;
        weak.torn_erase = true;
        programmed_[unit] = 1;
    }
    lose_supply();
}

void Flash::show_mixed(uint32_t unit, WeakUnit& weak, std::mt19937_64& random) {
    uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    weak.fault = geometry_.ecc && random() % 3 != 0;
    bool as_before = !weak.before.empty();
    for (uint32_t i = 0; i < unit_bytes_; i++) {
        // In terms of charge: a set bit is one moved away from blank.
        auto charged = uint8_t(geometry_.blank ^ weak.aim[i]);
        if (!weak.before.empty()) { charged = uint8_t(charged | (geometry_.blank ^ weak.before[i])); }
        if (weak.torn_erase) { charged = 0xFF; }
        now[i] = uint8_t(geometry_.blank ^ (charged & uint8_t(random())));
        as_before = as_before && now[i] == weak.before[i];
    }
    // What was programmed over does not come back whole; small units would otherwise meet it by chance.
    if (as_before && (weak.readings & reads_before) == 0) { std::copy(weak.aim.begin(), weak.aim.end(), now); }
}

void Flash::show(uint32_t unit, WeakUnit& weak, unsigned outcome, std::mt19937_64& random) {
    uint8_t possible = weak.readings;
    if (!cuts_.garbage && (possible & ~(reads_mixed | reads_full)) != 0) {
        possible &= uint8_t(~(reads_mixed | reads_full));
    }
    // A half-erased block reads one way as a whole, or (outcome outside the set) each unit its own.
    uint8_t reading = weak.torn_erase && (possible & outcome) != 0 ? uint8_t(outcome) : uint8_t{0};
    if (reading == 0) {
        auto skip = static_cast<unsigned>(random() % static_cast<unsigned>(std::popcount(possible)));
        for (; skip != 0; skip--) { possible &= uint8_t(possible - 1); }
        reading = uint8_t(possible & -possible);
    }
    uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    weak.fault = false;
    switch (reading) {
    case reads_blank_:
        std::fill_n(now, unit_bytes_, geometry_.blank);
        break;
    case reads_aim:
        std::copy(weak.aim.begin(), weak.aim.end(), now);
        break;
    case reads_before:
        std::copy(weak.before.begin(), weak.before.end(), now);
        break;
    case reads_full:
        std::fill_n(now, unit_bytes_, uint8_t(~geometry_.blank));
        break;
    default:
        show_mixed(unit, weak, random);
    }
}

void Flash::settle() {
    for (auto& [unit, weak] : weak_) { weak.settled = weak.settled || !weak.torn_erase; }
    std::erase_if(weak_, [&](const auto& item) {
        if (!item.second.settled || item.second.fault) { return false; }
        programmed_[item.first] = reads_blank(item.first) ? 0 : 1;
        return true;
    });
}

void Flash::power_up(std::mt19937_64& random) {
    dead_ = false;
    armed_ = false;
    std::vector<uint32_t> units;
    units.reserve(weak_.size());
    for (const auto& item : weak_) { units.push_back(item.first); }
    std::sort(units.begin(), units.end()); // so that the same random numbers replay the same start
    uint32_t block = no_unit;
    unsigned outcome = 0;
    for (const uint32_t unit : units) {
        if (unit / units_per_block_ != block) {
            block = unit / units_per_block_;
            // Six outcomes at equal chances: one for each reading, and each unit its own.
            const auto drawn = static_cast<unsigned>(random() % 6);
            outcome = drawn == 5 ? 0 : 1U << drawn;
        }
        WeakUnit& weak = weak_[unit];
        if (!weak.settled) { show(unit, weak, outcome, random); }
    }
    if (!cuts_.weak_program) { settle(); }
    faults_ = std::any_of(weak_.begin(), weak_.end(), [](const auto& item) { return item.second.fault; });
    update_special();
}

} // namespace perdure
