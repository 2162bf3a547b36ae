#include "flash/flash.hpp"

#include <algorithm>
#include <bit>

#include <fmt/format.h>

namespace perdure {

Flash::Flash(const FlashGeometry& geometry, const FlashCosts& costs, const Cuts& cuts)
    : geometry_(geometry), costs_(costs), cuts_(cuts), unit_bytes_(geometry.unit_bytes),
      units_per_block_(geometry.units_per_ring_block()), erase_us_(costs.erase_ms * 1000.0 * geometry.erase_blocks_per_ring_block),
      data_(geometry.area_bytes(), geometry.blank), programmed_(size_t{units_per_block_} * geometry.ring_blocks),
      wear_(geometry.ring_blocks), failing_(geometry.ring_blocks), weak_block_(geometry.ring_blocks) {
    if (std::has_single_bit(unit_bytes_)) {
        shift_ = static_cast<uint8_t>(std::countr_zero(unit_bytes_));
    } else {
        reciprocal_ = ~uint64_t{0} / unit_bytes_ + 1;
    }
}

FlashResult Flash::refuse(std::string why) {
    refusal_ = std::move(why);
    counters_.refused++;
    return FlashResult::refused;
}

bool Flash::reads_blank(uint32_t unit) const {
    const auto weak = weak_.find(unit);
    if (weak != weak_.end() && weak->second.fault) { return false; }
    const auto begin = data_.begin() + std::ptrdiff_t{unit} * unit_bytes_;
    return std::all_of(begin, begin + unit_bytes_, [&](uint8_t byte) { return byte == geometry_.blank; });
}

FlashResult Flash::program_slow(uint32_t address, const uint8_t* from, uint32_t bytes) {
    if (dead_) { return FlashResult::power_cut; }
    if (uint64_t{address} + bytes > data_.size()) {
        return refuse(fmt::format("program of {} bytes at 0x{:X}: the area ends at 0x{:X}", bytes, address, data_.size()));
    }
    const uint32_t unit = unit_at(address);
    if (unit == no_unit || bytes != unit_bytes_) {
        return refuse(fmt::format("program of {} bytes at 0x{:X}: the program unit is {} bytes, at multiples of that", bytes,
                                  address, unit_bytes_));
    }
    const bool all_programmed = std::all_of(from, from + bytes, [&](uint8_t byte) { return byte == uint8_t(~geometry_.blank); });
    if (programmed_[unit] != 0 && !weak_.contains(unit)) {
        const uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
        if (geometry_.rule == ProgramRule::once || (geometry_.rule == ProgramRule::once_or_full && !all_programmed)) {
            return refuse(fmt::format("program at 0x{:X}: unit {} of block {} is programmed already, and may be only once between erases",
                                      address, unit % units_per_block_, unit / units_per_block_));
        }
        for (uint32_t i = 0; i < bytes; i++) {
            if (((now[i] ^ from[i]) & (from[i] ^ uint8_t(~geometry_.blank))) != 0) {
                return refuse(fmt::format("program at 0x{:X}: byte {} would move bits back towards blank", address, i));
            }
        }
    } else if (weak_.contains(unit) && !reads_blank(unit) && !all_programmed) {
        return refuse(fmt::format("program at 0x{:X}: unit {} of block {} does not read blank", address, unit % units_per_block_,
                                  unit / units_per_block_));
    }
    if (armed_ && cut_in_-- == 0) {
        cut_program(unit, from);
        return FlashResult::power_cut;
    }
    counters_.programs++;
    if (failing_[unit / units_per_block_] != 0) { return FlashResult::failed; }
    return program_over(unit, from);
}

FlashResult Flash::program_over(uint32_t unit, const uint8_t* from) {
    uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    std::copy_n(from, unit_bytes_, now);
    programmed_[unit] = 1;
    const auto weak = weak_.find(unit);
    const bool weak_block = weak_block_[unit / units_per_block_] != 0;
    if (weak == weak_.end() && !weak_block) { return FlashResult::ok; }
    const bool same = weak != weak_.end() && weak->second.kind == Weak::program && !weak_block &&
                      std::equal(from, from + unit_bytes_, weak->second.bytes.begin());
    if (same) {
        weak_.erase(weak);
        update_special();
    } else {
        weak_[unit] = {Weak::over, false, {from, from + unit_bytes_}};
    }
    return FlashResult::ok;
}

void Flash::cut_program(uint32_t unit, const uint8_t* from) {
    dead_ = true;
    armed_ = false;
    const auto weak = weak_.find(unit);
    const bool same = weak != weak_.end() && weak->second.kind == Weak::program &&
                      std::equal(from, from + unit_bytes_, weak->second.bytes.begin());
    if (same) { return; }
    const bool fresh = weak == weak_.end() && programmed_[unit] == 0 && weak_block_[unit / units_per_block_] == 0;
    programmed_[unit] = 1;
    // Over something that was there before, anything between the two may remain.
    weak_[unit] = {fresh ? Weak::program : Weak::erase, false, {from, from + unit_bytes_}};
}

FlashResult Flash::erase(uint32_t block) {
    if (dead_) { return FlashResult::power_cut; }
    if (block >= geometry_.ring_blocks) {
        return refuse(fmt::format("erase of block {}: the area has {}", block, geometry_.ring_blocks));
    }
    if (armed_ && cut_in_-- == 0) {
        cut_erase(block);
        return FlashResult::power_cut;
    }
    counters_.erases++;
    wear_[block]++;
    if (failing_[block] != 0) { return FlashResult::failed; }
    const size_t first = size_t{block} * units_per_block_;
    std::fill_n(data_.begin() + static_cast<std::ptrdiff_t>(first * unit_bytes_), size_t{units_per_block_} * unit_bytes_, geometry_.blank);
    std::fill_n(programmed_.begin() + static_cast<std::ptrdiff_t>(first), units_per_block_, uint8_t{0});
    if (!weak_.empty() || any_weak_block_) {
        std::erase_if(weak_, [&](const auto& item) { return item.first / units_per_block_ == block; });
        weak_block_[block] = 0;
        any_weak_block_ = std::any_of(weak_block_.begin(), weak_block_.end(), [](uint8_t weak) { return weak != 0; });
        update_special();
    }
    return FlashResult::ok;
}

void Flash::cut_erase(uint32_t block) {
    dead_ = true;
    armed_ = false;
    weak_block_[block] = 1;
    any_weak_block_ = true;
    for (uint32_t unit = block * units_per_block_; unit < (block + 1) * units_per_block_; unit++) {
        auto [weak, is_new] = weak_.try_emplace(unit);
        if (is_new) {
            const auto begin = data_.begin() + std::ptrdiff_t{unit} * unit_bytes_;
            weak->second.bytes.assign(begin, begin + unit_bytes_);
        }
        weak->second.kind = Weak::erase;
        programmed_[unit] = 1;
    }
}

void Flash::garbage(uint32_t unit, WeakUnit& weak, std::mt19937_64& random) {
    uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    weak.fault = geometry_.ecc && random() % 3 != 0;
    for (uint32_t i = 0; i < unit_bytes_; i++) {
        now[i] = uint8_t(geometry_.blank ^ ((geometry_.blank ^ weak.bytes[i]) & uint8_t(random())));
    }
}

void Flash::show(uint32_t unit, WeakUnit& weak, unsigned block_mode, std::mt19937_64& random) {
    uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    unsigned reading = static_cast<unsigned>(random() % 3); // 0: blank, 1: complete, 2: anything between
    if (weak.kind == Weak::over && reading == 0) { reading = 1; }
    if (weak.kind == Weak::erase && block_mode < 3) { reading = block_mode; }
    if (!cuts_.garbage && reading == 2) { reading = 1; }
    if (weak.kind == Weak::erase && !cuts_.weak_erase) { reading = cuts_.garbage ? 2 : 0; }
    weak.fault = false;
    if (reading == 0) {
        std::fill_n(now, unit_bytes_, geometry_.blank);
    } else if (reading == 1) {
        std::copy(weak.bytes.begin(), weak.bytes.end(), now);
    } else {
        garbage(unit, weak, random);
    }
    faults_ = faults_ || weak.fault;
}

void Flash::power_up(std::mt19937_64& random) {
    dead_ = false;
    armed_ = false;
    faults_ = false;
    std::vector<uint32_t> units;
    units.reserve(weak_.size());
    for (const auto& item : weak_) { units.push_back(item.first); }
    std::sort(units.begin(), units.end()); // so that a seed replays
    uint32_t block = no_unit;
    unsigned mode = 0; // how a half-erased block reads as a whole: old, blank, rubbish, or each unit on its own
    for (const uint32_t unit : units) {
        if (unit / units_per_block_ != block) {
            block = unit / units_per_block_;
            mode = static_cast<unsigned>(random() % 4);
        }
        show(unit, weak_[unit], mode, random);
    }
    if (!cuts_.weak_program) {
        // Without weak units what a program left is final: it reads so for good.
        std::erase_if(weak_, [&](const auto& item) { return item.second.kind == Weak::program && !item.second.fault; });
    }
    update_special();
}

FlashResult Flash::read_slow(uint32_t address, uint8_t* to, uint32_t bytes) const {
    if (uint64_t{address} + bytes > data_.size()) { return FlashResult::refused; }
    for (uint32_t unit = address / unit_bytes_; unit * unit_bytes_ < address + bytes; unit++) {
        const auto weak = weak_.find(unit);
        if (weak != weak_.end() && weak->second.fault) { return FlashResult::fault; }
    }
    std::memcpy(to, data_.data() + address, bytes);
    return FlashResult::ok;
}

void Flash::load(const std::vector<uint8_t>& image) {
    data_ = image;
    weak_.clear();
    std::fill(weak_block_.begin(), weak_block_.end(), uint8_t{0});
    any_weak_block_ = false;
    for (uint32_t unit = 0; unit < programmed_.size(); unit++) { programmed_[unit] = reads_blank(unit) ? 0 : 1; }
    update_special();
}

} // namespace perdure
