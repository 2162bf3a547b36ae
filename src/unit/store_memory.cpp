#include <bit>
#include <cstring>

#include "unit/unit.hpp"

namespace perdure {
namespace {

template <class T> uint8_t* put_out(uint8_t* to, const T* from, size_t count) {
    if (count != 0) { std::memcpy(to, from, count * sizeof(T)); }
    return to + count * sizeof(T);
}

template <class T> const uint8_t* take_in(const uint8_t* from, T* to, size_t count) {
    if (count != 0) { std::memcpy(to, from, count * sizeof(T)); }
    return from + count * sizeof(T);
}

} // namespace

StoreMemory::StoreMemory(const AreaLayout& layout, const std::vector<const Record*>& records, const perdure_port* port)
    : fields_(records.size()), defaults_(records.size()), records_(records.size()), newest_(records.size() + 1),
      block_flags_(layout.geometry.ring_blocks), unit_buffer_(layout.geometry.unit_bytes) {
    uint32_t totals = 0;
    for (size_t i = 0; i < records.size(); i++) {
        const Record& from = *records[i];
        perdure_record& to = records_[i];
        defaults_[i] = default_payload(from);
        to.id = from.id;
        to.bytes = static_cast<uint16_t>(from.payload_bytes());
        to.defaults = defaults_[i].data();
        if (from.saved_at_power_fail()) { config.urgent = static_cast<uint16_t>(i + 1); }
        if (from.has_log_entries()) {
            constexpr uint32_t log_state_bytes = 6; // where a log stands, among the totals' values
            to.batch = static_cast<uint8_t>(from.log->batch);
            to.total_offset = static_cast<uint16_t>(totals);
            totals += log_state_bytes;
        }
        if (from.kind != RecordKind::total) { continue; }
        const std::vector<uint8_t>& widths = layout.records[i].short_bits;
        for (size_t f = 0; f < from.fields.size(); f++) {
            const auto size_log2 = static_cast<unsigned>(std::countr_zero(from.fields[f].bytes));
            fields_[i].push_back(static_cast<uint8_t>((size_log2 << 6) | (f < widths.size() ? widths[f] : 0U)));
        }
        to.fields = fields_[i].data();
        to.field_count = static_cast<uint8_t>(fields_[i].size());
        to.total_offset = static_cast<uint16_t>(totals);
        totals += to.bytes;
    }
    totals_.resize(totals + 1);
    config.port = port;
    config.records = records_.data();
    config.newest = newest_.data();
    config.totals = totals_.data();
    config.block_flags = block_flags_.data();
    config.unit_buffer = unit_buffer_.data();
    config.record_count = static_cast<uint16_t>(records_.size());
    config.blocks = static_cast<uint16_t>(layout.geometry.ring_blocks);
    config.block_units = static_cast<uint16_t>(layout.geometry.units_per_ring_block());
    config.unit_bytes = static_cast<uint16_t>(layout.geometry.unit_bytes);
    config.check_bits = static_cast<uint8_t>(layout.check_bytes * 8);
    config.blank = layout.geometry.blank;
}

void StoreMemory::save(std::vector<uint8_t>& to) const {
    to.resize(sizeof store + newest_.size() * sizeof newest_[0] + totals_.size() + block_flags_.size());
    uint8_t* at = put_out(to.data(), &store, 1);
    at = put_out(at, newest_.data(), newest_.size());
    at = put_out(at, totals_.data(), totals_.size());
    put_out(at, block_flags_.data(), block_flags_.size());
}

void StoreMemory::restore(const std::vector<uint8_t>& from) {
    const uint8_t* at = take_in(from.data(), &store, 1);
    at = take_in(at, newest_.data(), newest_.size());
    at = take_in(at, totals_.data(), totals_.size());
    take_in(at, block_flags_.data(), block_flags_.size());
}

} // namespace perdure
