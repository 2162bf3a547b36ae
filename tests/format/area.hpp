// A plain area of flash in RAM and three records in it, for the examples of store/format.md. No torn states: see
// tests/adversary.
#pragma once

#include <cstdint>
#include <cstring>
#include <string>
#include <vector>

#include "store/store.h"

namespace perdure::format_examples {

/// Shape of an example's area.
struct Shape {
    uint16_t blocks = 2;
    uint16_t block_units = 40;
    uint16_t unit_bytes = 8;
    uint8_t check_bits = 16;
    uint8_t blank = 0xFF;
};

/// The store, its flash and its memory. Not to be copied: the configuration points into it.
struct Area {
    explicit Area(const Shape& shape);
    Area(const Area&) = delete;
    Area& operator=(const Area&) = delete;

    /// The units of `block` from `first` on, as "block:unit  bytes" lines; blank ones are left out.
    [[nodiscard]] std::vector<std::string> units(uint16_t block, uint16_t first = 0, uint16_t end = 0xFFFF) const;

    Shape shape;
    std::vector<uint8_t> flash;
    int erase_that_fails = -1; ///< block whose erase reports a failure
    int operations_left = -1;  ///< programs and erases until the power goes; below 0: it stays
    int reads_left = -1;       ///< reads until one faults; below 0: none does
    bool reads_go_on = true;   ///< only that one faults, not all from it on
    int faulting_unit = -1;    ///< a read of it faults; counted through all blocks
    int programs_left = -1;    ///< programs until one fails and leaves its unit as it was; below 0: none does

    uint8_t fields[2] = {PERDURE_FIELD(2, 12), PERDURE_FIELD(1, 8)}; ///< record 2: 4 bytes, 12 bits; 2 bytes, 8 bits
    perdure_record records[4] = {};
    perdure_port port = {};
    perdure_config config = {};
    perdure_store store = {};
    uint32_t newest[8] = {};
    uint16_t unknown_ids[3] = {};
    uint8_t totals[8] = {};
    uint8_t block_flags[16] = {};
    uint8_t unit_buffer[64] = {};
};

enum : uint16_t { record_1 = 0, record_2 = 1, record_100 = 2, record_300 = 3 };

/// Payload of record 2.
struct Totals {
    uint8_t bytes[6];
};
Totals totals_of(uint32_t first, uint16_t second);

} // namespace perdure::format_examples
