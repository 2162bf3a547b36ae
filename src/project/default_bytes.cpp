#include "project/default_bytes.hpp"

#include <bit>

namespace perdure {

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

std::vector<uint8_t> default_payload(const Record& record) {
    std::vector<uint8_t> payload;
    if (record.log) {
        payload.resize(record.payload_bytes());
        return payload;
    }
    for (const Field& field : record.fields) {
        const std::vector<uint8_t> bytes = default_bytes(field);
        payload.insert(payload.end(), bytes.begin(), bytes.end());
    }
    return payload;
}

} // namespace perdure
