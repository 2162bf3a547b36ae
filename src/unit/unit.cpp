#include "unit/unit.hpp"

#include <array>
#include <bit>
#include <cstring>

namespace perdure {
namespace {

using Table = std::array<uint32_t, 256>;

constexpr Table make_table(uint32_t polynomial) {
    Table table{};
    for (uint32_t byte = 0; byte < 256; byte++) {
        uint32_t state = byte << 24;
        for (int bit = 0; bit < 8; bit++) { state = (state << 1) ^ ((state >> 31) != 0 ? polynomial : 0); }
        table[byte] = state;
    }
    return table;
}

// The generator polynomials of store/format.md, left-aligned.
constexpr std::array<Table, 4> tables{make_table(0x31000000U), make_table(0x10210000U), make_table(0x864CFB00U),
                                      make_table(0x04C11DB7U)};

template <size_t Width> uint32_t check_hook(void*, uint32_t state, const void* from, uint32_t bytes) {
    const Table& table = tables[Width];
    const auto* p = static_cast<const uint8_t*>(from);
    for (; bytes != 0; bytes--) { state = (state << 8) ^ table[(state >> 24) ^ *p++]; }
    return state;
}

bool port_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    return static_cast<Flash*>(context)->read(address, static_cast<uint8_t*>(to), bytes) == FlashResult::ok;
}

bool port_program(void* context, uint32_t address, const void* unit) {
    auto* flash = static_cast<Flash*>(context);
    return flash->program(address, static_cast<const uint8_t*>(unit), flash->geometry().unit_bytes) == FlashResult::ok;
}

bool port_erase(void* context, uint32_t block) {
    return static_cast<Flash*>(context)->erase(block) == FlashResult::ok;
}

} // namespace

uint32_t check_by_table(uint32_t check_bits, uint32_t state, const uint8_t* from, uint32_t bytes) {
    const Table& table = tables[check_bits / 8 - 1];
    for (; bytes != 0; bytes--) { state = (state << 8) ^ table[(state >> 24) ^ *from++]; }
    return state;
}

std::vector<uint8_t> default_bytes(const Field& field) {
    std::vector<uint8_t> out(field.bytes, 0);
    if (!field.default_value || field.type == FieldType::bytes) { return out; }
    uint64_t bits = 0;
    switch (field.type) {
    case FieldType::f32:
        bits = std::bit_cast<uint32_t>(static_cast<float>(*field.default_value));
        break;
    case FieldType::f64:
        bits = std::bit_cast<uint64_t>(*field.default_value);
        break;
    default:
        bits = *field.default_value < 0 ? static_cast<uint64_t>(static_cast<int64_t>(*field.default_value))
                                        : static_cast<uint64_t>(*field.default_value);
    }
    for (uint8_t& byte : out) {
        byte = static_cast<uint8_t>(bits);
        bits >>= 8;
    }
    return out;
}

Unit::Unit(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs)
    : flash_(layout.geometry, costs), fields_(records.size()), defaults_(records.size()), records_(records.size()),
      newest_(records.size() + 1), block_flags_(layout.geometry.ring_blocks), unit_buffer_(layout.geometry.unit_bytes) {
    uint32_t totals = 0;
    for (size_t i = 0; i < records.size(); i++) {
        const Record& from = *records[i];
        perdure_record& to = records_[i];
        for (const Field& field : from.fields) {
            const std::vector<uint8_t> bytes = default_bytes(field);
            defaults_[i].insert(defaults_[i].end(), bytes.begin(), bytes.end());
        }
        to.id = from.id;
        to.bytes = static_cast<uint16_t>(from.payload_bytes());
        to.defaults = defaults_[i].data();
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
    constexpr std::array hooks{check_hook<0>, check_hook<1>, check_hook<2>, check_hook<3>};
    port_ = {port_read, port_program, port_erase, hooks[layout.check_bytes - 1], &flash_};
    config_.port = &port_;
    config_.records = records_.data();
    config_.newest = newest_.data();
    config_.totals = totals_.data();
    config_.block_flags = block_flags_.data();
    config_.unit_buffer = unit_buffer_.data();
    config_.record_count = static_cast<uint16_t>(records_.size());
    config_.blocks = static_cast<uint16_t>(layout.geometry.ring_blocks);
    config_.block_units = static_cast<uint16_t>(layout.geometry.units_per_ring_block());
    config_.unit_bytes = static_cast<uint16_t>(layout.geometry.unit_bytes);
    config_.check_bits = static_cast<uint8_t>(layout.check_bytes * 8);
    config_.blank = layout.geometry.blank;
}

} // namespace perdure
