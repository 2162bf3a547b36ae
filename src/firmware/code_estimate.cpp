#include "firmware/code_estimate.hpp"

#include <algorithm>
#include <cmath>

#include "project/default_bytes.hpp"

namespace perdure {
namespace {

// Bytes, measured (code_estimate.hpp).
constexpr double area_bytes = 245;       // configuration, port functions, its places in the calls for all
constexpr double record_bytes = 125;     // a row of the table, load and save
constexpr double log_bytes = 360;        // append and walks, beside a record's
constexpr double short_log_bytes = 240;  // the same of a log kept as one value
constexpr double batch_bytes = 100;      // samples that wait
constexpr double since_bytes = 124;      // the search by time stamp
constexpr double short_since_bytes = 56; // the same of a log kept as one value
constexpr double save_now_bytes = 60;    // the save when the supply fails
constexpr double save_now_factor = 1.5;  // its fields are packed twice and unpacked once
constexpr double rest_bytes = 20;

/// Packing and unpacking of one field.
double field_code(const Field& field) {
    switch (field.type) {
    case FieldType::u8:
        return 8;
    case FieldType::i8:
        return 10;
    case FieldType::u16:
        return 14;
    case FieldType::i16:
        return 18;
    case FieldType::u32:
    case FieldType::i32:
    case FieldType::f32:
        return 28;
    case FieldType::bytes:
        return 24;
    default:
        return 64; // 8 bytes
    }
}

bool has_defaults(const Record& record) {
    return !record.log && std::any_of(record.fields.begin(), record.fields.end(), [](const Field& field) {
        const std::vector<uint8_t> bytes = default_bytes(field);
        return std::any_of(bytes.begin(), bytes.end(), [](uint8_t byte) { return byte != 0; });
    });
}

double record_code(const Record& record, bool saved_now) {
    double out = record_bytes + (saved_now ? save_now_bytes : 0);
    for (const Field& field : record.fields) { out += field_code(field) * (saved_now ? save_now_factor : 1); }
    if (has_defaults(record)) { out += record.payload_bytes(); }
    if (!record.log) { return out; }
    const bool own_entries = record.has_log_entries();
    out += own_entries ? log_bytes : short_log_bytes;
    if (own_entries && record.log->batch > 1) { out += batch_bytes; }
    if (record.log->time_stamp) { out += own_entries ? since_bytes : short_since_bytes; }
    return out;
}

} // namespace

uint32_t data_code_bytes(const FirmwarePlan& plan) {
    double out = rest_bytes;
    for (const PlannedArea& area : plan.areas) {
        out += area_bytes;
        for (size_t i = 0; i < area.records.size(); ++i) { out += record_code(*area.records[i], area.urgent == i); }
    }
    return static_cast<uint32_t>(std::lround(out));
}

} // namespace perdure
