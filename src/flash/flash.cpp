#include "flash/flash.hpp"

#include <algorithm>
#include <bit>

#include <fmt/format.h>

namespace perdure {

Flash::Flash(const FlashGeometry& geometry, const FlashCosts& costs, const Cuts& cuts)
    : geometry_(geometry), costs_(costs), cuts_(cuts), unit_bytes_(geometry.unit_bytes),
      units_per_block_(geometry.units_per_ring_block()),
      erase_us_(costs.erase_ms * 1000.0 * geometry.erase_blocks_per_ring_block),
      data_(geometry.area_bytes(), geometry.blank), programmed_(size_t{units_per_block_} * geometry.ring_blocks),
      wear_(geometry.ring_blocks), failing_(geometry.ring_blocks) {
    if (std::has_single_bit(unit_bytes_)) {
        shift_ = static_cast<uint8_t>(std::countr_zero(unit_bytes_));
    } else {
        reciprocal_ = ~uint64_t{0} / unit_bytes_ + 1;
    }
}

FlashResult Flash::refuse(std::string why) const {
    refusal_ = std::move(why);
    counters_.refused++;
    return FlashResult::refused;
}

std::string Flash::place(uint32_t unit) const {
    return fmt::format("0x{:X} (unit {} of block {})", uint64_t{unit} * unit_bytes_, unit % units_per_block_,
                       unit / units_per_block_);
}

bool Flash::reads_blank(uint32_t unit) const {
    const auto weak = weak_.find(unit);
    if (weak != weak_.end() && weak->second.fault) { return false; }
    const uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    return std::all_of(now, now + unit_bytes_, [&](uint8_t byte) { return byte == geometry_.blank; });
}

bool Flash::all_programmed(const uint8_t* from) const {
    return std::all_of(from, from + unit_bytes_, [&](uint8_t byte) { return byte == uint8_t(~geometry_.blank); });
}

std::string Flash::why_not_programmable(uint32_t unit, const uint8_t* from) const {
    const bool weak = weak_.contains(unit);
    if (weak ? reads_blank(unit) : programmed_[unit] == 0) { return ""; }
    if (geometry_.rule != ProgramRule::bits_one_way) {
        // A weak unit cannot be told from a programmed one by the part, so the part's own rule holds for what may be
        // done to it; that all bits may always be programmed there is what the store's pads rest on, and they do not
        // mind the result.
        if (all_programmed(from) && (weak || geometry_.rule == ProgramRule::once_or_full)) { return ""; }
        return fmt::format("program at {}: it is programmed already, and may be only once between erases", place(unit));
    }
    const uint8_t* now = data_.data() + size_t{unit} * unit_bytes_;
    for (uint32_t i = 0; i < unit_bytes_; i++) {
        const auto back_to_blank = uint8_t((now[i] ^ from[i]) & (from[i] ^ uint8_t(~geometry_.blank)));
        if (back_to_blank != 0) {
            return fmt::format("program at {}: byte {} would move bits back towards blank", place(unit), i);
        }
    }
    return "";
}

FlashResult Flash::program_slow(uint32_t address, const uint8_t* from, uint32_t bytes) {
    if (recording_ != nullptr) {
        recording_->operations.push_back({FlashRecording::Kind::program, address, bytes});
        recording_->programmed.insert(recording_->programmed.end(), from, from + bytes);
    }
    if (dead_) { return FlashResult::power_cut; }
    if (uint64_t{address} + bytes > data_.size()) {
        return refuse(
            fmt::format("program of {} bytes at 0x{:X}: the area ends at 0x{:X}", bytes, address, data_.size()));
    }
    const uint32_t unit = unit_at(address);
    if (unit == no_unit || bytes != unit_bytes_) {
        return refuse(fmt::format("program of {} bytes at 0x{:X}: the program unit is {} bytes, at multiples of that",
                                  bytes, address, unit_bytes_));
    }
    std::string why = why_not_programmable(unit, from);
    if (!why.empty()) { return refuse(std::move(why)); }
    if (armed_ && cut_in_-- == 0) {
        cut_program(unit, from);
        return FlashResult::power_cut;
    }
    counters_.programs++;
    if (failing_[unit / units_per_block_] != 0) { return FlashResult::failed; }
    return program_over(unit, from);
}

FlashResult Flash::erase(uint32_t block) {
    if (recording_ != nullptr) { recording_->operations.push_back({FlashRecording::Kind::erase, block, 0}); }
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
    const auto first = std::ptrdiff_t{block} * units_per_block_;
    std::fill_n(data_.begin() + first * unit_bytes_, size_t{units_per_block_} * unit_bytes_, geometry_.blank);
    std::fill_n(programmed_.begin() + first, units_per_block_, uint8_t{0});
    if (!weak_.empty()) {
        std::erase_if(weak_, [&](const auto& item) { return item.first / units_per_block_ == block; });
        faults_ = std::any_of(weak_.begin(), weak_.end(), [](const auto& item) { return item.second.fault; });
        update_special();
    }
    return FlashResult::ok;
}

FlashResult Flash::read_slow(uint32_t address, uint8_t* to, uint32_t bytes) const {
    if (recording_ != nullptr) { recording_->operations.push_back({FlashRecording::Kind::read, address, bytes}); }
    if (dead_) { return FlashResult::power_cut; }
    if (uint64_t{address} + bytes > data_.size()) {
        return refuse(fmt::format("read of {} bytes at 0x{:X}: the area ends at 0x{:X}", bytes, address, data_.size()));
    }
    for (uint64_t unit = address / unit_bytes_; unit * unit_bytes_ < uint64_t{address} + bytes; unit++) {
        const auto weak = weak_.find(static_cast<uint32_t>(unit));
        if (weak != weak_.end() && weak->second.fault) { return FlashResult::fault; }
    }
    std::memcpy(to, data_.data() + address, bytes);
    return FlashResult::ok;
}

void Flash::load(const std::vector<uint8_t>& image) {
    data_ = image;
    data_.resize(geometry_.area_bytes(), geometry_.blank);
    weak_.clear();
    faults_ = false;
    for (uint32_t unit = 0; unit < programmed_.size(); unit++) { programmed_[unit] = reads_blank(unit) ? 0 : 1; }
    update_special();
}

} // namespace perdure
