// Records and rings for tests, straight from their sizes.
#pragma once

#include <stdexcept>
#include <vector>

#include "project/layout.hpp"

namespace perdure {

/// A record of `fields` fields of `bytes` each; a total if its fields move.
inline Record sample_record(uint16_t id, uint32_t fields, uint32_t bytes, uint64_t movement_max = 0) {
    Record out;
    out.id = id;
    out.kind = movement_max > 0 ? RecordKind::total : RecordKind::value;
    out.fields.resize(fields);
    for (Field& field : out.fields) {
        field.type = bytes == 8 ? FieldType::u64 : FieldType::bytes;
        field.bytes = bytes;
        field.movement_max = movement_max;
    }
    return out;
}

/// A log "history" of one field of 4 bytes, a sample every so many seconds, one an entry.
inline Record sample_log(uint16_t id, uint64_t depth_samples, double every_s) {
    Record out;
    out.name = "history";
    out.id = id;
    out.kind = RecordKind::log;
    out.fields = {Field{}};
    out.log = LogShape{};
    out.log->depth_samples = depth_samples;
    out.saves = {SavePolicy{SaveWhen::periodic, every_s, 0, {}, 1, {}}};
    return out;
}

inline std::vector<const Record*> pointers_to(const std::vector<Record>& records) {
    std::vector<const Record*> out;
    for (const Record& record : records) { out.push_back(&record); }
    return out;
}

/// A ring of one erase block a ring block, check codes of 16 bits. Throws where the layout refuses it.
inline AreaLayout sample_ring(uint32_t unit_bytes, uint32_t block_bytes, uint32_t blocks,
                              const std::vector<Record>& records) {
    FlashGeometry geometry;
    geometry.unit_bytes = unit_bytes;
    geometry.erase_block_bytes = block_bytes;
    geometry.ring_blocks = blocks;
    const auto out = lay_out_ring(geometry, 16, pointers_to(records));
    if (!out) { throw std::runtime_error(out.error().text); }
    return *out;
}

} // namespace perdure
