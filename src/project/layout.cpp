#include "project/layout.hpp"

#include <algorithm>
#include <limits>
#include <numeric>

#include <fmt/format.h>

namespace perdure {

namespace {

constexpr uint32_t short_id_max = 62;
constexpr uint32_t short_length_max = 127;
constexpr uint32_t stamp_bytes = 16;  // its own check code is always 16 bits: a reader needs to know nothing to read it
constexpr uint32_t restarts_held = 3; // failed starts that a head must have room for
constexpr uint32_t mark_fixed_bytes = 3;
constexpr uint32_t restart_fixed_bytes = 5;
constexpr uint32_t log_fixed_bytes = 5; // count and number of a full log entry, counted in its length
constexpr uint32_t start_pad_units =
    2; // beside one longest entry: what a cut may have left behind the last visible unit
constexpr uint32_t ring_block_units_min = 32;
constexpr uint32_t ring_block_units_max = 65'534; ///< the unit behind a full block has a number of 16 bits too
constexpr uint32_t short_bits_max = 56;           // the most the store carries in one field

uint32_t units_for(uint64_t bytes, uint32_t unit_bytes) {
    return static_cast<uint32_t>((bytes + unit_bytes - 1) / unit_bytes);
}

/// The fewest erase blocks that make a ring block of ring_block_units_min.
uint32_t joined_min(const FlashGeometry& geometry) {
    return std::max(1U, units_for(uint64_t{ring_block_units_min} * geometry.unit_bytes, geometry.erase_block_bytes));
}

/// The smallest width whose full scale takes `movement` for each of `entries` saves; 64 when 63 bits do not.
uint32_t bits_for(uint64_t movement, uint64_t entries) {
    if (movement > std::numeric_limits<uint64_t>::max() / entries) { return 64; }
    const uint64_t span = movement * entries;
    uint32_t bits = 1;
    while (bits < 64 && (span >> bits) != 0) { ++bits; }
    return bits;
}

/// Widths of a total's fields, before bits left over are shared out; empty when a field has no declared movement.
std::vector<uint32_t> least_bits(const Record& record) {
    std::vector<uint32_t> bits;
    for (const Field& field : record.fields) {
        if (field.movement_max == 0) { return {}; }
        const uint32_t least = bits_for(field.movement_max, uint64_t{record.lost_entries_max} + 1);
        const uint32_t width = std::min(least, field.bytes * 8);
        if (width > short_bits_max) { return {}; }
        bits.push_back(width);
    }
    return bits;
}

/// Shares `room_bits` that the units hold anyway, one bit a field in turn, so that more lost entries can be bridged.
void widen(std::vector<uint32_t>& bits, const Record& record, uint32_t room_bits) {
    uint32_t left = room_bits - std::accumulate(bits.begin(), bits.end(), 0U);
    for (bool widened = true; widened && left > 0;) {
        widened = false;
        for (size_t i = 0; i < bits.size() && left > 0; ++i) {
            if (bits[i] >= std::min(short_bits_max, record.fields[i].bytes * 8)) { continue; }
            ++bits[i];
            --left;
            widened = true;
        }
    }
}

void add_short_entry(RecordLayout& out, const Record& record, uint32_t head_bytes, uint32_t unit_bytes,
                     uint32_t check_bytes) {
    std::vector<uint32_t> bits = least_bits(record);
    if (bits.empty()) { return; }
    const uint32_t least = std::accumulate(bits.begin(), bits.end(), 0U);
    const uint32_t units = units_for(head_bytes + (least + 7) / 8 + check_bytes, unit_bytes);
    if (units >= out.full_units) { return; }
    widen(bits, record, (units * unit_bytes - head_bytes - check_bytes) * 8);
    const uint32_t sum = std::accumulate(bits.begin(), bits.end(), 0U);
    out.short_bytes = head_bytes + (sum + 7) / 8 + check_bytes;
    out.short_units = units;
    for (const uint32_t width : bits) { out.short_bits.push_back(static_cast<uint8_t>(width)); }
}

/// Entries of a log whose batches are whole. A short entry is one byte behind the head, and the samples.
RecordLayout lay_out_log(const Record& record, uint32_t unit_bytes, uint32_t check_bytes) {
    RecordLayout out;
    out.id = record.id;
    out.log = true;
    const uint32_t head = record.id <= short_id_max ? 1 : 3;
    const uint32_t samples = record.log->batch * record.fields_bytes();
    const uint32_t length = log_fixed_bytes + samples <= short_length_max ? 1 : 2;
    out.full_bytes = 1 + head + length + log_fixed_bytes + samples + check_bytes;
    out.full_units = units_for(out.full_bytes, unit_bytes);
    out.restart_units = units_for(uint64_t{restart_fixed_bytes} + out.full_bytes, unit_bytes);
    const uint32_t short_bytes = head + 1 + samples + check_bytes;
    if (units_for(short_bytes, unit_bytes) < out.full_units) {
        out.short_bytes = short_bytes;
        out.short_units = units_for(short_bytes, unit_bytes);
    }
    return out;
}

ProgramRule rule_of(const std::string& catalogued) {
    if (catalogued == "ecc-zero" || catalogued == "zero-only") { return ProgramRule::once_or_full; }
    if (catalogued == "no") { return ProgramRule::bits_one_way; }
    return ProgramRule::once; // the strictest reading suits every other rule, and a rule that is not known
}

} // namespace

RecordLayout lay_out_record(const Record& record, uint32_t unit_bytes, uint32_t check_bytes) {
    if (record.has_log_entries()) { return lay_out_log(record, unit_bytes, check_bytes); }
    RecordLayout out;
    out.id = record.id;
    const uint32_t payload = record.payload_bytes();
    const uint32_t head = record.id <= short_id_max ? 1 : 3;
    const uint32_t length = payload <= short_length_max ? 1 : 2;
    const bool total = record.kind == RecordKind::total;
    const uint32_t descriptors = total ? static_cast<uint32_t>(record.fields.size()) : 0;
    out.full_bytes = head + length + descriptors + payload + check_bytes;
    out.full_units = units_for(out.full_bytes, unit_bytes);
    out.restart_units = units_for(uint64_t{restart_fixed_bytes} + out.full_bytes, unit_bytes);
    if (total) { add_short_entry(out, record, head, unit_bytes, check_bytes); }
    return out;
}

tl::expected<AreaLayout, Refusal> lay_out_ring(const FlashGeometry& geometry, uint32_t check_bits,
                                               const std::vector<const Record*>& records) {
    const uint32_t units = geometry.units_per_ring_block();
    const uint32_t blocks = geometry.ring_blocks;
    if (units > ring_block_units_max) {
        return tl::unexpected(
            Refusal{fmt::format("a ring block would have {} units of {} bytes; the store counts up to {}", units,
                                geometry.unit_bytes, ring_block_units_max),
                    double(units), ring_block_units_max, "units"});
    }
    if (units < ring_block_units_min) {
        return tl::unexpected(Refusal{fmt::format("a ring block needs {} units, {} bytes hold {}", ring_block_units_min,
                                                  geometry.ring_block_bytes(), units),
                                      ring_block_units_min, double(units), "units"});
    }
    if (blocks < 2) {
        return tl::unexpected(
            Refusal{fmt::format("a ring needs 2 blocks, there are {}", blocks), 2, double(blocks), "blocks"});
    }
    AreaLayout out;
    out.geometry = geometry;
    out.check_bytes = check_bits / 8;
    out.stamp_units = units_for(stamp_bytes, geometry.unit_bytes);
    out.mark_units = units_for(mark_fixed_bytes + out.check_bytes, geometry.unit_bytes);
    out.nearly_full_units = out.mark_units;
    uint64_t live = 0;
    for (const Record* record : records) {
        out.records.push_back(lay_out_record(*record, geometry.unit_bytes, out.check_bytes));
        live += out.records.back().full_units;
        out.nearly_full_units = std::max(out.nearly_full_units, out.records.back().full_units);
        out.restart_max_units = std::max(out.restart_max_units, out.records.back().restart_units);
        if (record->saved_at_power_fail()) {
            out.power_fail_record = out.records.size() - 1;
            out.power_fail_units = out.records.back().restart_units + 1;
        }
    }
    const uint32_t longest = out.nearly_full_units + units_for(restart_fixed_bytes, geometry.unit_bytes);
    out.start_pad_units = start_pad_units + longest;
    out.capacity_units = units > out.stamp_units ? units - out.stamp_units : 0;
    out.reserve_units = restarts_held * (out.start_pad_units + longest) + 2 * out.mark_units + out.power_fail_units;
    // With four blocks or more a second blank one takes over where cut starts have used up the first.
    out.spare_blocks = blocks < 4 ? 1 : 2;
    out.live_blocks = blocks < 4 ? 1 : blocks - 3;
    const uint64_t room = out.capacity_units > out.reserve_units ? out.capacity_units - out.reserve_units : 0;
    if (live > out.live_blocks * room || out.reserve_units > out.capacity_units) {
        const uint64_t need = (live + out.live_blocks - 1) / out.live_blocks + out.reserve_units;
        return tl::unexpected(Refusal{
            fmt::format("{} records need {} units a ring block ({} live over {}, and {} starts{}), "
                        "a ring block of {} bytes has {}",
                        records.size(), need, live, out.live_blocks, restarts_held,
                        out.power_fail_units > 0 ? ", two marks and the save at power failure" : " and two marks",
                        geometry.ring_block_bytes(), out.capacity_units),
            double(need), double(out.capacity_units), "units"});
    }
    out.live_units = static_cast<uint32_t>(live);
    return out;
}

std::vector<const Record*> records_of(const Project& project, const Area& area) {
    std::vector<const Record*> out;
    for (const Record& record : project.records) {
        if (project.areas.size() <= 1 || record.area == area.name) { out.push_back(&record); }
    }
    return out;
}

tl::expected<FlashGeometry, Refusal> part_geometry(const Device& part) {
    const std::optional<BlockRun> run = best_run(part);
    if (!run) { return tl::unexpected(Refusal{"the part has no run of two equal erase blocks", 2, 0, "blocks"}); }
    if (!part.program_bytes || *part.program_bytes == 0) {
        return tl::unexpected(Refusal{"the part's program unit (program_bytes) is not known: give it", 0, 0, "bytes"});
    }
    FlashGeometry out;
    out.unit_bytes = *part.program_bytes;
    out.erase_block_bytes = run->erase_bytes;
    out.blank = part.erased_value == "0x00" ? 0x00 : 0xFF;
    out.rule = rule_of(part.program_rule);
    out.ecc = part.program_rule.rfind("ecc", 0) == 0;
    return out;
}

tl::expected<AreaLayout, Refusal> lay_out(const Project& project, const Area& area, uint32_t ring_blocks) {
    auto geometry = part_geometry(project.part);
    if (!geometry) { return tl::unexpected(geometry.error()); }
    const std::vector<const Record*> records = records_of(project, area);
    const uint32_t count = best_run(project.part)->count;
    if (ring_blocks < 2 || ring_blocks > count) {
        return tl::unexpected(
            Refusal{fmt::format("a ring of {} blocks does not fit: it needs 2 or more, the part has {} erase blocks",
                                ring_blocks, count),
                    double(ring_blocks), double(count), "blocks"});
    }
    geometry->ring_blocks = ring_blocks;
    Refusal last{fmt::format("{} ring blocks of {} units need {} erase blocks, the part has {}", ring_blocks,
                             ring_block_units_min, ring_blocks * joined_min(*geometry), count),
                 double(ring_blocks) * joined_min(*geometry), double(count), "blocks"};
    for (uint32_t joined = joined_min(*geometry); joined <= count / ring_blocks; ++joined) {
        geometry->erase_blocks_per_ring_block = joined;
        auto layout = lay_out_ring(*geometry, area.check_bits, records);
        if (layout) { return layout; }
        last = layout.error();
        if (uint64_t{geometry->units_per_ring_block()} > ring_block_units_max) { break; }
    }
    return tl::unexpected(last);
}

tl::expected<AreaLayout, Refusal> lay_out_sized(const Project& project, const Area& area) {
    auto geometry = part_geometry(project.part);
    if (!geometry) { return tl::unexpected(geometry.error()); }
    if (!area.size_bytes) { return tl::unexpected(Refusal{"the area has no size", 0, 0, "bytes"}); }
    const std::vector<const Record*> records = records_of(project, area);
    const BlockRun run = *best_run(project.part);
    const uint64_t blocks = std::min<uint64_t>(*area.size_bytes / run.erase_bytes, run.count);
    Refusal last{fmt::format("an area of {} bytes holds {} erase blocks of {} bytes; a ring needs 2", *area.size_bytes,
                             blocks, run.erase_bytes),
                 2, double(blocks), "blocks"};
    for (uint32_t joined = joined_min(*geometry); joined <= blocks / 2; ++joined) {
        geometry->erase_blocks_per_ring_block = joined;
        geometry->ring_blocks = static_cast<uint32_t>(blocks / joined);
        auto layout = lay_out_ring(*geometry, area.check_bits, records);
        if (layout) { return layout; }
        last = layout.error();
        if (uint64_t{geometry->units_per_ring_block()} > ring_block_units_max) { break; }
    }
    return tl::unexpected(last);
}

} // namespace perdure
