// The project file as plain structs: what the product must keep, on which part, for how long.
// Nothing here computes; src/project/read.hpp fills it in and src/budget works on it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "catalog/catalog.hpp"
#include "flash/geometry.hpp"
#include "project/conditions.hpp"

namespace perdure {

enum class RecordKind { value, total };

enum class FieldType { u8, u16, u32, u64, i8, i16, i32, i64, f32, f64, bytes };

struct Field {
    std::string name;
    FieldType type = FieldType::u32;
    uint32_t bytes = 4; ///< size in flash
    std::optional<double> default_value;
    uint64_t movement_max = 0; ///< totals: the most it grows between two saves; 0 = not a total
    Place place;
};

enum class SaveWhen { periodic, events, at_start };

/// One reason why a record is saved. A record may have several; their saves add up.
struct SavePolicy {
    SaveWhen when = SaveWhen::periodic;
    double every_s = 0;               ///< periodic: seconds between saves
    double events_per_day = 0;        ///< events: mean number a day
    std::optional<double> confidence; ///< events: size for this quantile of the Poisson total over life, e.g. 0.95
    double changed_share = 1.0;       ///< share of those occasions on which the value changed and is saved, 0..1
    Place place;
};

struct Record {
    std::string name;
    uint16_t id = 0; ///< 1..65534, for ever
    RecordKind kind = RecordKind::value;
    std::vector<Field> fields;
    std::vector<SavePolicy> saves;
    double heavy_user_factor = 1.0; ///< multiplies all saves of this record
    uint32_t lost_entries_max = 2;  ///< totals: short entries in a row that may be lost without losing the carry
    std::string area;               ///< name of the area that holds it
    Place place;

    [[nodiscard]] uint32_t payload_bytes() const {
        uint32_t sum = 0;
        for (const Field& f : fields) { sum += f.bytes; }
        return sum;
    }
};

struct Area {
    std::string name = "store";
    std::optional<uint64_t> start_address; ///< absent: at the top of the run of equal blocks
    std::optional<uint64_t> size_bytes;    ///< absent: the smallest that holds is found
    uint32_t check_bits = 16;              ///< 8, 16, 24 or 32
    Place place;
};

/// What must hold; absent means not asked. Each becomes a finding of the budget.
struct Requirements {
    double margin_min = 1.0; ///< had / needed
    double spend_limit =
        0.5; ///< share of the guaranteed erases that may be spent (common practice, no source: one half)
    std::optional<double> put_stall_max_ms; ///< longest stall of put with service called in time
    std::optional<double> start_up_max_ms;  ///< longest open after a cut
    std::optional<double> flash_share_max;  ///< share of the part's flash that all areas may take, 0..1
    Place place;
    Place put_stall_place, start_up_place, flash_share_place, spend_limit_place, margin_place;
};

struct Product {
    std::string name;
    double life_years = 10;
    double year_days = 365.25; ///< length of the year, in days of 86,400 s
    double starts_per_day = 1;
    uint64_t fleet_units = 1;
    Place place, life_place, starts_place;

    [[nodiscard]] double life_days() const { return life_years * year_days; }
    [[nodiscard]] double life_s() const { return life_days() * 86400.0; }
};

struct Project {
    std::string path; ///< as given on the command line, for messages
    Product product;
    Device part; ///< from the catalogue, with what the file overrides, or wholly from the file
    Place part_place;
    std::optional<uint64_t> flash_start_address; ///< where the part's flash begins; given when an area names its start
    std::vector<Area> areas;
    std::vector<Record> records; ///< sorted by id
    Requirements requirements;
    Conditions conditions;
};

} // namespace perdure
