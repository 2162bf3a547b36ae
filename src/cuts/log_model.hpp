// What must hold of a log after a cut: its samples by number, what was acknowledged and what was in flight.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "flash/forking.hpp"

namespace perdure {

struct Sample {
    uint32_t number = 0;
    uint8_t value = 0; ///< of all its bytes
    bool operator==(const Sample&) const = default;
};

/// What one reading of the log gave.
struct LogReading {
    std::vector<Sample> samples;
    uint32_t next = 0; ///< number that the next sample gets
    bool operator==(const LogReading&) const = default;
};

class LogModel {
public:
    /// An append of `count` samples has begun, by a store whose next number is `next`: their value. Another than any
    /// other sample's that was ever tried under that number.
    uint8_t begin_append(uint32_t next, uint32_t count);
    /// The append is acknowledged; nothing else was in flight.
    void acknowledge();
    /// What was in flight did not happen.
    void refuse();

    /// The erase of `block` has been tried: the samples in it may be gone, from the oldest on.
    void erased(uint32_t block);
    /// Is `reading` what must be there? `pending`: a block whose erase may be unfinished, or none. Empty if so, else
    /// what is wrong.
    [[nodiscard]] std::string judge(const LogReading& reading, uint32_t pending = UINT32_MAX) const;
    /// Do those in flight read as stored? Empty if none are.
    [[nodiscard]] std::optional<bool> holds_new(const LogReading& reading) const {
        return tried_.empty() ? std::nullopt : std::optional(reading.next != next_);
    }
    /// What was read counts from now on. `blocks`: where each of its samples lies.
    void settle(const LogReading& reading, const std::vector<uint32_t>& blocks);

    [[nodiscard]] StateHash hash() const;
    [[nodiscard]] const std::vector<uint32_t>& erased_blocks() const { return erased_; }
    void set_erased_blocks(std::vector<uint32_t> blocks) { erased_ = std::move(blocks); }

private:
    struct Tried {
        uint32_t number; ///< of the first
        uint32_t count;
        uint8_t value;
    };
    [[nodiscard]] bool follows(const LogReading& reading, uint32_t number) const;

    std::vector<Sample> acked_;
    std::vector<uint32_t> blocks_; ///< of acked_
    uint32_t next_ = 0;
    std::vector<Tried> tried_;     ///< in flight; a later one stands behind an earlier one or in its place
    uint8_t turn_ = 0;             ///< changes with what was in flight and not acknowledged
    std::vector<uint32_t> erased_; ///< in order, each once
};

} // namespace perdure
