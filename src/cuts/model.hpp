// What must hold after a cut: a small model of the records that knows what was acknowledged and what was in flight.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "flash/forking.hpp"
#include "project/project.hpp"

namespace perdure {

/// How the next value of a record differs from the present one.
enum class Step : uint8_t {
    small, ///< totals grow by little, so that a short entry can carry it; values change in all their bytes
    large, ///< totals grow by more than a short entry carries
};

class Model {
public:
    /// All records as never stored: at their defaults.
    explicit Model(const std::vector<const Record*>& records);

    [[nodiscard]] size_t records() const { return from_.size() - 1; }
    [[nodiscard]] uint32_t bytes_of(size_t record) const { return from_[record + 1] - from_[record]; }
    [[nodiscard]] const uint8_t* acknowledged(size_t record) const { return acked_.data() + from_[record]; }

    /// Puts the value that follows `now` to `to`, which may be the same.
    void next_value(size_t record, Step step, const uint8_t* now, uint8_t* to) const;

    /// A put of `value` has begun, perhaps while another had not returned; the last one is acknowledged, and no other
    /// happens any more.
    void begin_put(size_t record, const uint8_t* value);
    void acknowledge();
    /// The value of `record` in flight, or the acknowledged one.
    [[nodiscard]] const uint8_t* newest(size_t record) const;

    /// Does `value`, read with or without anything stored, agree? Empty if so, else what is wrong.
    [[nodiscard]] std::string judge(size_t record, const uint8_t* value, bool stored) const;
    /// What was read at a completed start counts from now on; `values` of all records, one behind the other.
    void settle(const std::vector<uint8_t>& values, const std::vector<uint8_t>& stored);
    /// Whether `values` hold what was in flight first; nothing when nothing was.
    [[nodiscard]] std::optional<bool> holds_new(const std::vector<uint8_t>& values) const;

    [[nodiscard]] size_t all_bytes() const { return acked_.size(); }
    [[nodiscard]] uint32_t offset_of(size_t record) const { return from_[record]; }
    [[nodiscard]] StateHash hash() const;

private:
    struct FieldShape {
        uint32_t bytes;
        uint64_t small, large; ///< growth
        uint64_t limit;        ///< highest value
    };
    std::vector<uint32_t> from_; ///< where each record's bytes begin; one more for the end
    std::vector<std::vector<FieldShape>> totals_;
    struct Flight {
        size_t record;
        std::vector<uint8_t> value;
    };
    std::vector<uint8_t> acked_, stored_;
    std::vector<Flight> in_flight_;
};

} // namespace perdure
