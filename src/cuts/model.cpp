#include "cuts/model.hpp"

#include <algorithm>
#include <cstring>

#include "unit/unit.hpp"

namespace perdure {

Model::Model(const std::vector<const Record*>& records)
    : from_{0}, totals_(records.size()), stored_(records.size(), 0) {
    for (size_t i = 0; i < records.size(); i++) {
        const std::vector<uint8_t> payload = default_payload(*records[i]);
        acked_.insert(acked_.end(), payload.begin(), payload.end());
        for (const Field& field : records[i]->fields) {
            if (records[i]->kind == RecordKind::total) {
                const uint64_t limit = field.bytes >= 8 ? UINT64_MAX : (uint64_t{1} << (8 * field.bytes)) - 1;
                totals_[i].push_back({field.bytes, std::max<uint64_t>(1, field.movement_max), limit / 64, limit});
            }
        }
        from_.push_back(static_cast<uint32_t>(acked_.size()));
    }
}

void Model::next_value(size_t record, Step step, const uint8_t* now, uint8_t* to) const {
    if (totals_[record].empty()) {
        auto next = static_cast<uint8_t>(now[0] + 1);
        for (uint32_t i = 0; i < bytes_of(record); i++) {
            to[i] = next;
            next = static_cast<uint8_t>(next * 167 + 41);
        }
        return;
    }
    for (const FieldShape& field : totals_[record]) {
        uint64_t value = 0;
        for (uint32_t i = 0; i < field.bytes; i++) { value |= uint64_t{now[i]} << (8 * i); }
        const uint64_t growth = step == Step::small ? field.small : field.large;
        value = value > field.limit - std::min(growth, field.limit) ? field.limit : value + growth; // full is full
        for (uint32_t i = 0; i < field.bytes; i++) { to[i] = static_cast<uint8_t>(value >> (8 * i)); }
        now += field.bytes;
        to += field.bytes;
    }
}

void Model::begin_put(size_t record, const uint8_t* value) {
    in_flight_.push_back({record, {value, value + bytes_of(record)}});
}

void Model::acknowledge() {
    const Flight& done = in_flight_.back();
    std::copy(done.value.begin(), done.value.end(), acked_.begin() + from_[done.record]);
    stored_[done.record] = 1;
    in_flight_.clear();
}

const uint8_t* Model::newest(size_t record) const {
    const uint8_t* value = acknowledged(record);
    for (const Flight& flight : in_flight_) {
        if (flight.record == record) { value = flight.value.data(); }
    }
    return value;
}

std::string Model::judge(size_t record, const uint8_t* value, bool stored) const {
    for (const Flight& flight : in_flight_) {
        const bool is_new =
            flight.record == record && std::memcmp(value, flight.value.data(), flight.value.size()) == 0;
        if (is_new && stored) { return {}; }
    }
    if (std::memcmp(value, acknowledged(record), bytes_of(record)) != 0) {
        return stored ? "reads neither as acknowledged nor as in flight" : "reads as never stored, at its default";
    }
    if (stored_[record] != 0 && !stored) { return "was stored and reads as never stored"; }
    return {};
}

void Model::settle(const std::vector<uint8_t>& values, const std::vector<uint8_t>& stored) {
    acked_ = values;
    stored_ = stored;
    in_flight_.clear();
}

std::optional<bool> Model::holds_new(const std::vector<uint8_t>& values) const {
    if (in_flight_.empty()) { return std::nullopt; }
    const Flight& first = in_flight_.front();
    return std::memcmp(values.data() + from_[first.record], first.value.data(), first.value.size()) == 0;
}

StateHash Model::hash() const {
    StateHash hash = hash_of(acked_.data(), acked_.size(), 0);
    hash ^= hash_of(stored_.data(), stored_.size(), 1);
    for (size_t i = 0; i < in_flight_.size(); i++) {
        const Flight& flight = in_flight_[i];
        hash ^= hash_of(flight.value.data(), flight.value.size(), 2 + flight.record * 16 + i);
    }
    return hash;
}

} // namespace perdure
