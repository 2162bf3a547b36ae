#include "cuts/log_model.hpp"

#include <algorithm>

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <fmt/format.h>

namespace perdure {

uint8_t LogModel::begin_append(uint32_t next, uint32_t count) {
    const auto turn = static_cast<uint32_t>(turn_ + tried_.size());
    const auto value = static_cast<uint8_t>(next * 29 + turn * 101 + 1);
    tried_.push_back({next, count, value});
    return value;
}

void LogModel::acknowledge() {
    const Tried done = tried_.back();
    tried_.clear();
    for (uint32_t i = 0; i < done.count; i++) { acked_.push_back({done.number + i, done.value}); }
    blocks_.resize(acked_.size(), UINT32_MAX);
    next_ = done.number + done.count;
}

void LogModel::erased(uint32_t block) {
    const auto at = std::lower_bound(erased_.begin(), erased_.end(), block);
    if (at == erased_.end() || *at != block) { erased_.insert(at, block); }
}

void LogModel::refuse() {
    turn_ = static_cast<uint8_t>(turn_ + tried_.size());
    tried_.clear();
}

/// Are the samples of `reading` from `number` on some that were in flight, and is none missing before its next one? An
/// erase since may have dropped the first of them too.
bool LogModel::follows(const LogReading& reading, uint32_t number) const {
    if (number == reading.next) { return true; }
    const uint32_t first = reading.next - static_cast<uint32_t>(reading.samples.size());
    for (const Tried& one : tried_) {
        if (one.number != number || one.count > reading.next - number) { continue; }
        bool same = true;
        for (uint32_t i = 0; i < one.count; i++) {
            if (number + i < first) {
                same = same && !erased_.empty();
            } else {
                same = same && reading.samples[number + i - first] == Sample{number + i, one.value};
            }
        }
        if (same && follows(reading, number + one.count)) { return true; }
    }
    return false;
}

std::string LogModel::judge(const LogReading& reading, uint32_t pending) const {
    const std::vector<Sample>& samples = reading.samples;
    for (size_t i = 1; i < samples.size(); i++) {
        if (samples[i].number != samples[i - 1].number + 1) {
            return fmt::format("has a gap: {} stands before {}", samples[i - 1].number, samples[i].number);
        }
    }
    if (!samples.empty() && samples.back().number + 1 != reading.next) {
        return fmt::format("ends with {}, and its next number is {}", samples.back().number, reading.next);
    }
    if (reading.next < next_) { return fmt::format("gives {} as its next number, not {}", reading.next, next_); }
    const uint32_t first = samples.empty() ? reading.next : samples[0].number;
    for (size_t i = 0; i < acked_.size(); i++) {
        const uint32_t number = acked_[i].number;
        if (number >= first) {
            if (samples[number - first] != acked_[i]) { return fmt::format("reads another sample {}", number); }
        } else if (blocks_[i] != pending && !std::binary_search(erased_.begin(), erased_.end(), blocks_[i])) {
            return fmt::format("has lost sample {}, which nothing dropped", number);
        }
    }
    if (first < next_ && (acked_.empty() || first < acked_[0].number)) {
        return fmt::format("has sample {}, which had been dropped", first);
    }
    if (!follows(reading, next_)) { return fmt::format("has samples behind {} that are not those in flight", next_); }
    return {};
}

void LogModel::settle(const LogReading& reading, const std::vector<uint32_t>& blocks) {
    refuse();
    acked_ = reading.samples;
    blocks_ = blocks;
    next_ = reading.next;
    erased_.clear();
}

StateHash LogModel::hash() const {
    XXH3_state_t state;
    XXH3_128bits_reset(&state);
    const auto add = [&](const auto& value) { XXH3_128bits_update(&state, &value, sizeof value); };
    for (size_t i = 0; i < acked_.size(); i++) {
        add(acked_[i].number);
        add(acked_[i].value);
        add(blocks_[i]);
    }
    for (const Tried& one : tried_) {
        add(one.number);
        add(one.count);
        add(one.value);
    }
    add(next_);
    add(turn_);
    for (const uint32_t block : erased_) { add(block); }
    const XXH128_hash_t hash = XXH3_128bits_digest(&state);
    return {hash.low64, hash.high64};
}

} // namespace perdure
