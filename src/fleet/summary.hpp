// One dump's findings as plain rows, and what a fleet's add up to.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "inspect/inspection.hpp"

namespace perdure {

struct FieldRow {
    std::string record, field, value;
    bool stored = false, unsure = false;
};

struct AreaRow {
    std::string area;
    std::string contents; ///< "ring", "nothing", "foreign"
    int64_t begin = 0;
    uint64_t bytes = 0, bytes_missing = 0;
    uint32_t sequence = 0, restarts = 0;
    bool holds = false;
    Wear wear;
    std::string notes;
    std::vector<FieldRow> fields;
    std::vector<Damage> damage;
};

/// One file of the folder.
struct UnitRow {
    size_t number = 0;        ///< its place among the files, from 1
    std::string file, serial; ///< the serial is the file's name without its ending
    std::string error;        ///< why nothing could be read; else empty
    uint64_t file_bytes = 0;
    size_t line_errors = 0;
    std::optional<double> age_years;
    std::vector<AreaRow> areas;
    [[nodiscard]] bool holds() const;
};

/// The rows of one dump.
UnitRow row_of(const DumpFile& dump, const Inspection& inspection);

/// What all units add up to. Grows by a few bytes a unit.
struct FleetSummary {
    size_t units = 0, in_order = 0, unreadable = 0;
    size_t reach_life = 0, miss_life = 0; ///< where an age is known
    uint64_t file_bytes = 0;
    uint64_t restarts = 0;      ///< in all rings
    size_t units_with_cuts = 0; ///< with traces of a power cut
    std::vector<uint32_t> most; ///< erases of the most worn block of each area that could be read
    std::map<Cause, std::pair<size_t, size_t>> damage; ///< units, places; harmless ones too
    std::vector<std::string> missing_life;             ///< serials, up to shown_max
    static constexpr size_t shown_max = 20;

    void add(const UnitRow& row);
};

/// The value below which a share (0 to 1) of `sorted` lies: the nearest rank (the smallest value with at least that
/// share at or below it). `sorted` is not empty.
uint32_t quantile(const std::vector<uint32_t>& sorted, double share);

} // namespace perdure
