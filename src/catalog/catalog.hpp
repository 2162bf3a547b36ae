// The catalogue of real parts: every number with its source, no number guessed.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "flash/geometry.hpp"

namespace perdure {

/// A run of equal erase blocks inside a part's flash, in address order from the start of flash.
struct BlockRun {
    uint32_t count = 0;
    uint32_t erase_bytes = 0;
    uint64_t offset_bytes = 0; ///< from the start of flash
    uint64_t bytes() const { return uint64_t{count} * erase_bytes; }
};

/// Where one figure of a part comes from.
struct Provenance {
    std::string text;         ///< the source as catalogued, "project file line 12", or "from memory"
    bool from_memory = false; ///< no document behind it: check before use, and say so in every output
};

/// One part. An empty optional was not found and is asked of the user, never guessed.
struct Device {
    std::string id, maker, family, example_part, core;
    std::optional<uint64_t> flash_bytes;
    std::vector<BlockRun> runs;            ///< more than one: non-uniform part
    std::optional<uint32_t> program_bytes; ///< program unit
    std::string
        program_rule; ///< as catalogued: no, ecc, ecc-zero, zero-only, once-noecc, limited:N, row, auto-erase, or empty
    std::string erased_value;     ///< as catalogued: 0xFF, 0x00, another value, none, or empty
    std::string read_while_write; ///< stall, dual-bank, data-bank, sector, boot-section, yes, unknown, or empty
    // One value a run where the part is non-uniform, else one value.
    std::vector<double> erase_ms_typ, erase_ms_max;
    std::optional<double> program_us_typ, program_us_max;
    std::optional<double> erase_abort_us;   ///< from asking a running erase to stop until the flash can be programmed
    std::optional<double> endurance_cycles; ///< the maker's guaranteed minimum
    std::string endurance_temp_c;
    std::optional<double> retention_years, retention_temp_c;
    std::optional<double> vdd_min_v, vdd_max_v, program_ma;
    std::optional<uint64_t> data_eeprom_bytes; ///< a memory beside the flash, for values; no store uses it
    std::string note;
    std::map<std::string, Provenance, std::less<>> provenance; ///< by column name of devices.csv

    /// The source of a column's figure; an empty Provenance for a column with no figure.
    [[nodiscard]] Provenance source_of(std::string_view column) const {
        const auto it = provenance.find(column);
        return it == provenance.end() ? Provenance{} : it->second;
    }
};

/// An external memory (EEPROM, FRAM, NOR, MRAM) as an alternative to the part's own flash.
struct ExternalMemory {
    std::string id, kind, maker, part, bus;
    std::optional<uint64_t> size_bytes;
    std::optional<uint32_t> erase_bytes, page_bytes;
    std::optional<double> write_ms_max, erase_ms_max, endurance_cycles;
    std::optional<double> write_ma; ///< supply current while writing
    std::string note;
    std::map<std::string, Provenance, std::less<>> provenance;
};

struct Catalog {
    std::vector<Device> devices;
    std::vector<ExternalMemory> externals;
    [[nodiscard]] const Device* find(std::string_view id) const;
};

/// The catalogue built into the program (catalog/*.csv, embedded at build time). Parsed once.
const Catalog& catalog();

/// Why this part cannot carry a store, in one sentence (no erase, a blank value the store cannot know, a figure the
/// user must give ...), or nothing when it can. `missing` lists the columns that the user has to give.
struct Usable {
    bool ok = false;
    std::string why_not;
    std::vector<std::string> missing;
};
Usable usable(const Device& device);

/// The run of equal blocks a store should use on this part: the one with the smallest blocks that has at least two of
/// them, the topmost such run where several are alike.
std::optional<BlockRun> best_run(const Device& device);

} // namespace perdure
