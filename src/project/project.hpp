// The project file as plain structs: what the product must keep, on which part, for how long.
// Nothing here computes; src/project/read.hpp fills it in and src/budget works on it.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "catalog/catalog.hpp"
#include "flash/geometry.hpp"
#include "project/conditions.hpp"

namespace perdure {

enum class RecordKind { value, total, log };

enum class FieldType { u8, u16, u32, u64, i8, i16, i32, i64, f32, f64, bytes };

struct Field {
    std::string name;
    FieldType type = FieldType::u32;
    uint32_t bytes = 4; ///< size in flash
    std::optional<double> default_value;
    uint64_t movement_max = 0; ///< totals: the most it grows between two saves; 0 = not a total
    Place place;
    std::optional<double> rate_per_day = std::nullopt;    ///< how far it moves a day, on average, up and down added
    std::optional<double> loss_amount_max = std::nullopt; ///< the most of it that a sudden cut may take
    Place rate_place = {}, loss_place = {};
    std::string unit = {}; ///< for people: what it counts or measures; empty when not said
};

enum class SaveWhen {
    periodic,
    events,
    at_start,
    moved,        ///< a field has moved by so much since the last save
    settled,      ///< so long after the last of several changes
    at_power_fail ///< when the supply fails, while the hold-up lasts
};

/// One reason why a record is saved. A record may have several; their saves add up.
struct SavePolicy {
    SaveWhen when = SaveWhen::periodic;
    double every_s = 0;               ///< periodic: seconds between saves
    double events_per_day = 0;        ///< events: mean number a day
    std::optional<double> confidence; ///< events: size for this quantile of the Poisson total over life, e.g. 0.95
    double changed_share = 1.0;       ///< share of those occasions on which the value changed and is saved, 0..1
    Place place;
    double moved_by = 0; ///< moved: by how much
    size_t field = 0;    ///< moved: place of the field in the record
    double settle_s = 0; ///< settled: so long after the last change; events_per_day counts the changes
    std::optional<double> latest_s = std::nullopt; ///< settled: at the latest so long after the first change
};

constexpr uint32_t log_batch_max = 255;             // an entry counts its samples in one byte
constexpr uint32_t log_entry_bytes_max = 32767 - 5; // of samples

/// What a record of kind log keeps besides its samples' fields.
struct LogShape {
    uint64_t depth_samples = 0; ///< kept at least
    double depth_s = 0;         ///< the same as time, where it was given so; else 0
    uint32_t batch = 1;         ///< samples put as one entry, 1..log_batch_max
    bool batch_found = false;   ///< the largest that the loss window allows
    bool short_log = false;     ///< one value in its area that holds all samples, put whole with each new one
    std::optional<size_t> time_stamp = std::nullopt; ///< place of the field in which samples ascend
    Place depth_place, batch_place;
};

/// What the emitted load does when nothing good is stored: nothing was ever, or what is cannot be read.
enum class IfLost {
    tell,      ///< not said: the default with PERDURE_DEFAULT; PERDURE_FAULT with nothing
    defaults,  ///< the default in both cases
    last_good, ///< what cannot be read is looked for once more in older entries
    refuse     ///< PERDURE_FAULT in both cases: the product must not go on without it
};

struct Record {
    std::string name;
    uint16_t id = 0; ///< 1..65534, for ever
    RecordKind kind = RecordKind::value;
    std::vector<Field> fields;
    std::vector<SavePolicy> saves;
    double heavy_user_factor = 1.0;        ///< multiplies all saves of this record
    uint32_t lost_entries_max = 2;         ///< totals: short entries in a row that may be lost without losing the carry
    std::string area;                      ///< name of the area that holds it
    std::optional<double> loss_time_max_s; ///< the most time of it that a sudden cut may take
    std::optional<LogShape> log;           ///< kind log
    Place place, loss_place;
    bool retired = false;                 ///< no longer saved; kept so that its data can be read and converted
    std::vector<std::string> from = {};   ///< names of retired records whose data a conversion makes this one's of
    IfLost if_lost = IfLost::tell;        ///< values and totals
    std::optional<double> erase_within_s; ///< its old copies are to be gone from flash so long after a save
    Place from_place = {}, erase_place = {};

    /// All fields: of a log, one sample.
    [[nodiscard]] uint32_t fields_bytes() const {
        uint32_t sum = 0;
        for (const Field& f : fields) { sum += f.bytes; }
        return sum;
    }
    /// A log with entries of its own, not one kept as a value.
    [[nodiscard]] bool has_log_entries() const { return log && !log->short_log; }
    /// What one put takes: the fields; of a log a sample; of a short log the next sample's number and all samples.
    [[nodiscard]] uint32_t payload_bytes() const {
        constexpr uint64_t number_bytes = 4, most = 0xFFFFFFFF;
        if (!log || !log->short_log) { return fields_bytes(); }
        return static_cast<uint32_t>(std::min(most, number_bytes + log->depth_samples * fields_bytes()));
    }
    [[nodiscard]] bool saved_at_power_fail() const {
        return std::any_of(saves.begin(), saves.end(),
                           [](const SavePolicy& save) { return save.when == SaveWhen::at_power_fail; });
    }
};

/// The most samples of a log that one entry takes.
inline uint32_t longest_batch(const Record& record) {
    return std::clamp(log_entry_bytes_max / std::max(1U, record.fields_bytes()), 1U, log_batch_max);
}

struct Area {
    std::string name = "store";
    std::optional<uint64_t> start_address; ///< absent: at the top of the run of equal blocks
    std::optional<uint64_t> size_bytes;    ///< absent: the smallest that holds is found
    uint32_t check_bits = 16;              ///< 8, 16, 24 or 32
    Place place, check_bits_place;
};

/// A piece of flash that no area may meet: a bootloader, a protected sector. Addresses, not offsets.
struct ProtectedRange {
    std::string name;
    uint64_t start_address = 0;
    uint64_t size_bytes = 0;
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
    std::optional<double> loss_time_max_s;  ///< the most time of any record that a sudden cut may take
    double alarm_spent = 0.8;               ///< share of the allowed erases at which the product alarms
    double alarm_day = 2;                   ///< units programmed in a day / budgeted above which the product alarms
    Place place;
    Place put_stall_place, start_up_place, flash_share_place, spend_limit_place, margin_place, loss_time_place;
};

/// What keeps the product running while it saves after the supply has failed, and how often the supply fails.
struct Supply {
    double load_ma = 0; ///< constant current drawn while saving; 0: load_mw is given
    double load_mw = 0; ///< constant power drawn while saving
    double trips_at_v = 0;
    double charged_to_v = 0; ///< what the capacitor is charged to in normal use
    double cpu_min_v = 0;
    double dropout_v = 0; ///< of a regulator between capacitor and microcontroller
    double detection_s = 0;
    std::optional<double> capacitance_uf;             ///< nominal; absent: it is looked for
    double tolerance = 0.2, cold = 0.2, ageing = 0.2; ///< shares of the capacitance that may be missing
    double aged_program = 1.5;                        ///< programming near the end of life / at its maximum
    double dips_per_day = 0;                          ///< trips beside the ordinary starts
    double storms_per_day = 0;
    double dips_a_storm = 0;
    std::optional<double> storm_gap_s; ///< shortest time between two trips in a storm
    Place place, load_place, trips_place, cpu_place, dropout_place, detection_place, capacitance_place, tolerance_place,
        cold_place, ageing_place, aged_place, dips_place, storms_place, gap_place;

    [[nodiscard]] double trips_per_day() const { return dips_per_day + storms_per_day * dips_a_storm; }
};

struct Product {
    std::string name;
    double life_years = 10;
    double year_days = 365.25; ///< length of the year, in days of 86,400 s
    double starts_per_day = 1;
    uint64_t fleet_units = 1;
    bool lazy_start = false; ///< a start programs nothing before the first put
    Place place, life_place, starts_place, lazy_place, fleet_place;

    [[nodiscard]] double life_days() const { return life_years * year_days; }
    [[nodiscard]] double life_s() const { return life_days() * 86400.0; }
};

struct Project {
    std::string path; ///< as given on the command line, for messages
    Product product;
    Device part; ///< from the catalogue, with what the file overrides, or wholly from the file
    Place part_place;
    std::optional<uint64_t> flash_start_address;  ///< where the part's flash begins; given when an area names its start
    std::vector<ProtectedRange> protected_ranges; ///< given with flash_start
    std::vector<Area> areas;
    std::vector<Record> records; ///< sorted by id
    Requirements requirements;
    Conditions conditions;
    std::optional<Supply> supply;

    /// Ordinary starts, and one after each dip of the supply.
    [[nodiscard]] double starts_per_day() const {
        return product.starts_per_day + (supply ? supply->trips_per_day() : 0);
    }
};

} // namespace perdure
