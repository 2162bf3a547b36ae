// From records to sizes: what each entry takes in flash, and how an area is cut into ring blocks.
// Everything here follows store/format.md; the store computes the same sizes on the target.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "flash/geometry.hpp"
#include "project/project.hpp"

namespace perdure {

/// What one record's entries take. Units are program units; short_units is 0 where short entries would save nothing.
struct RecordLayout {
    uint16_t id = 0;
    uint32_t full_bytes = 0;
    uint32_t full_units = 0;
    uint32_t short_bytes = 0;
    uint32_t short_units = 0;
    uint32_t restart_units = 0;      ///< the restart entry of a start at which this record was the newest
    bool log = false;                ///< entries of a log: never copied
    std::vector<uint8_t> short_bits; ///< width of each field in a short entry; empty without short entries
};

/// One area: its ring and the sizes that the ring's rules are made of.
struct AreaLayout {
    FlashGeometry geometry;
    uint32_t check_bytes = 2;
    uint32_t stamp_units = 0;
    uint32_t mark_units = 0;
    uint32_t capacity_units = 0;   ///< what a ring block holds besides its stamp
    uint32_t spare_blocks = 1;     ///< ring blocks kept blank whenever a put returns
    uint32_t live_blocks = 1;      ///< ring blocks that live data may spread over
    uint32_t live_units = 0;       ///< one full entry of every record
    uint32_t reserve_units = 0;    ///< three starts, two marks and the save at power failure, kept free of copies
    uint32_t power_fail_units = 0; ///< of it: the save at power failure, and a unit it may have to skip
    std::optional<size_t> power_fail_record; ///< the record saved then, as its place in `records`
    uint32_t start_pad_units = 0;            ///< what a start skips before its restart entry
    uint32_t restart_max_units = 0;          ///< the largest restart entry
    uint32_t nearly_full_units = 0;          ///< with fewer left, a start goes on in the next block
    std::vector<RecordLayout> records;       ///< the area's records, in the project's order
};

/// Why something cannot be laid out: a sentence, and the numbers in it.
struct Refusal {
    std::string text;
    double need = 0;
    double have = 0;
    std::string unit;
};

/// Sizes of one record's entries with `unit_bytes` a program unit and `check_bytes` (1..4) of check code.
RecordLayout lay_out_record(const Record& record, uint32_t unit_bytes, uint32_t check_bytes);

/// Sizes of an area whose ring block is geometry.erase_blocks_per_ring_block erase blocks, with geometry.ring_blocks in
/// the ring. Refused, with the numbers, when the live data and the reserves do not fit.
tl::expected<AreaLayout, Refusal> lay_out_ring(const FlashGeometry& geometry, uint32_t check_bits,
                                               const std::vector<const Record*>& records);

/// Lays out `area` as a ring of `ring_blocks` on the project's part, joining as few erase blocks into a ring block as
/// will do: at least 32 units, and live data and reserves within the blocks that live data may spread over (one, or all
/// but three from four on). Refused, with the numbers, when nothing fits.
tl::expected<AreaLayout, Refusal> lay_out(const Project& project, const Area& area, uint32_t ring_blocks);

/// The same for an area of fixed size (area.size_bytes): as many ring blocks as the size holds. Refused without a size.
tl::expected<AreaLayout, Refusal> lay_out_sized(const Project& project, const Area& area);

/// The rule, blank value and sizes of the part's chosen run, one erase block a ring block; refused when a figure is
/// missing.
tl::expected<FlashGeometry, Refusal> part_geometry(const Device& part);

/// The records that `area` holds, in the project's order. With a single area, all of them.
std::vector<const Record*> records_of(const Project& project, const Area& area);

} // namespace perdure
