// One configuration of the store, drawn by chance: part, ring, records, check code. Owns everything the configuration
// points to.
#pragma once

#include "random.hpp"
#include "worst_flash.hpp"

#include "store.h"

#include <cstdint>
#include <string>
#include <vector>

namespace perdure::adversary {

/// What a run draws its configuration from, and what it does beside puts, service, cuts and starts.
enum class Family {
    basic,       ///< up to 4 records on 2 to 6 small blocks, check codes of 24 and 32 bits
    short_turns, ///< the same on 2 to 4 blocks as small as can be, cuts close together: every start meets a block's end
    wide,        ///< up to 40 records, ids beyond 62 and 255, up to 12 blocks, units up to 64 bytes
    narrow_8,    ///< check codes of 8 bits; torn units are blank, complete, as before or a fault, never rubbish
    narrow_16,   ///< the same with 16 bits
    format,      ///< formats at times, cut too
    failing,     ///< programs, erases or both of one block begin to fail
    many,        ///< 300 records
    ring,        ///< 2,000 blocks
    restarts,    ///< units that hold an entry whole; starts are mostly cut in the last unit of their restart entry
};

constexpr Family families[] = {Family::basic,  Family::short_turns, Family::wide, Family::narrow_8, Family::narrow_16,
                               Family::format, Family::failing,     Family::many, Family::ring,     Family::restarts};

/// The family's word on the command line.
const char* family_name(Family family);

struct DrawnRecord {
    uint16_t id = 0;
    uint16_t bytes = 0;
    uint16_t total_offset = 0;
    std::vector<uint8_t> fields;   ///< PERDURE_FIELD each; empty: a value
    std::vector<uint8_t> defaults; ///< always `bytes` long; zeros unless `has_defaults`
    bool has_defaults = false;
};

struct DrawnCase {
    Family family = Family::basic;
    uint32_t unit_bytes = 1;
    uint32_t block_units = 12;
    uint32_t blocks = 2;
    uint8_t blank = 0xFF;
    uint8_t check_bits = 32;
    bool ecc = false;
    bool fast_check = true; ///< the port carries check codes; else the store's own code does
    std::vector<DrawnRecord> records;
};

/// Draws a case; the smallest blocks that the store accepts, and a few units more.
DrawnCase draw_case(Family family, Random& random);

/// One line that says what was drawn.
std::string describe(const DrawnCase& drawn);

/// The configuration and its RAM. Not movable: the configuration points into it.
struct CaseMemory {
    explicit CaseMemory(const DrawnCase& drawn, WorstFlash* flash, unsigned check_code);
    CaseMemory(const CaseMemory&) = delete;
    CaseMemory& operator=(const CaseMemory&) = delete;

    WorstFlash* flash;
    const uint32_t* table;
    perdure_port port{};
    perdure_config config{};
    std::vector<perdure_record> records;
    std::vector<uint32_t> newest;
    std::vector<uint16_t> unknown_ids;
    std::vector<uint8_t> totals;
    std::vector<uint8_t> block_flags;
    std::vector<uint8_t> unit_buffer;
};

} // namespace perdure::adversary
