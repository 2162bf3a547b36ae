// A log as the product fills it: samples whose bytes follow from their number, so that any of them can be checked.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "project/project.hpp"
#include "unit/unit.hpp"

namespace perdure {

class LiveLog {
public:
    /// `record` has log entries.
    explicit LiveLog(const Record& record);

    /// Appends one whole batch to log `place` of the unit.
    perdure_status append(Unit& unit, uint16_t place);

    /// What is wrong with the newest batch and the next sample's number; empty where nothing is. Reads the newest
    /// batch.
    [[nodiscard]] std::string wrong_newest(const Unit& unit, uint16_t place) const;

    /// Reads the whole log: how many samples are there, from the oldest to the newest without a gap. `wrong` gets what
    /// is wrong, if anything.
    [[nodiscard]] uint64_t kept(const Unit& unit, uint16_t place, std::string& wrong) const;

    [[nodiscard]] uint32_t batch_bytes() const { return batch_ * bytes_; }

private:
    [[nodiscard]] static uint8_t byte_of(uint32_t number, uint32_t at);

    uint32_t batch_ = 1, bytes_ = 1;
    uint32_t next_ = 0; ///< number of the next sample
    std::vector<uint8_t> samples_;

    friend struct LogReading;
};

} // namespace perdure
