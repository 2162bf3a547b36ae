#include "life/live_log.hpp"

#include <fmt/format.h>

namespace perdure {

/// What a reading has seen so far.
struct LogReading {
    const LiveLog* log = nullptr;
    uint32_t first = 0, expected = 0;
    uint64_t count = 0;
    std::string wrong;

    static bool visit(void* context, uint32_t number, const void* sample) {
        auto& self = *static_cast<LogReading*>(context);
        if (self.count++ == 0) { self.first = self.expected = number; }
        if (number != self.expected++) {
            self.wrong = fmt::format("sample {} follows sample {}", number, self.expected - 2);
            return false;
        }
        const auto* bytes = static_cast<const uint8_t*>(sample);
        for (uint32_t i = 0; i < self.log->bytes_; i++) {
            if (bytes[i] == LiveLog::byte_of(number, i)) { continue; }
            self.wrong = fmt::format("sample {} did not read back as appended", number);
            return false;
        }
        return true;
    }
};

LiveLog::LiveLog(const Record& record) : batch_(record.log->batch), bytes_(record.fields_bytes()) {
    samples_.resize(size_t{batch_} * bytes_);
}

uint8_t LiveLog::byte_of(uint32_t number, uint32_t at) {
    return static_cast<uint8_t>(((number + 1) * 2654435761U + at * 40503U) >> 11U); // any bytes that differ
}

perdure_status LiveLog::append(Unit& unit, uint16_t place) {
    for (uint32_t i = 0; i < batch_; i++) {
        for (uint32_t at = 0; at < bytes_; at++) { samples_[size_t{i} * bytes_ + at] = byte_of(next_ + i, at); }
    }
    const perdure_status status = unit.append(place, samples_.data(), static_cast<uint8_t>(batch_));
    if (status == PERDURE_OK) { next_ += batch_; }
    return status;
}

std::string LiveLog::wrong_newest(const Unit& unit, uint16_t place) const {
    if (unit.log_next(place) != next_) {
        return fmt::format("the next sample is {}, the store says {}", next_, unit.log_next(place));
    }
    if (next_ == 0) { return {}; }
    LogReading reading{this, 0, 0, 0, {}};
    std::vector<uint8_t> sample(bytes_);
    unit.read_log(place, next_ - batch_, LogReading::visit, &reading, sample.data());
    if (reading.wrong.empty() && (reading.count != batch_ || reading.first != next_ - batch_)) {
        return fmt::format("of the {} newest samples {} were read", batch_, reading.count);
    }
    return reading.wrong;
}

uint64_t LiveLog::kept(const Unit& unit, uint16_t place, std::string& wrong) const {
    LogReading reading{this, 0, 0, 0, {}};
    std::vector<uint8_t> sample(bytes_);
    unit.read_log(place, 0, LogReading::visit, &reading, sample.data());
    wrong = reading.wrong;
    if (wrong.empty() && reading.count > 0 && reading.expected != next_) { wrong = "the newest samples are not there"; }
    return reading.count;
}

} // namespace perdure
