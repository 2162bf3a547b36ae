// One dump of a returned unit, held against its project: what each record holds, its history, wear, and what happened
// to it. Reads by src/dump alone; the store's own code takes no part.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "budget/findings.hpp"
#include "dump/damage.hpp"
#include "dump/ranges.hpp"
#include "hex/hex.hpp"
#include "project/field_value.hpp"
#include "project/place.hpp"

namespace perdure {

/// One area of the project, as a dump is expected to hold it.
struct ExpectedArea {
    std::string name;
    AreaShape shape;
    AreaPlace place;
    std::vector<const Record*> records; ///< of the project
    RecordLabels labels;
    double endurance = 0;       ///< erases a block is good for, by the part's figures
    double erases_allowed = 0;  ///< of them, what the project allows
    double erases_per_year = 0; ///< as budgeted
    [[nodiscard]] uint64_t bytes() const { return uint64_t{shape.blocks} * shape.block_units * shape.unit_bytes; }
};

/// Names and fields of records, for listings.
RecordLabels labels_of(const std::vector<const Record*>& records);

/// What a project's dumps are held against. Made once for many of them. Points into the project.
struct Expected {
    const Project* project = nullptr;
    std::vector<ExpectedArea> areas;
    bool start_known = false; ///< where flash starts was said: addresses of a dump can be held against the project's
};

/// Refused where the budget is, or an area cannot be laid out or placed. `flash_start` stands in where the project does
/// not say where flash starts.
tl::expected<Expected, Refusal> make_expected(const Project& project, std::optional<uint64_t> flash_start);

/// A file of a dump, read.
struct DumpFile {
    std::string name;
    HexFormat format = HexFormat::binary;
    bool addressed = false; ///< its addresses are the part's; else it begins at 0
    HexRead read;
};

/// `base`: the address of a binary's first byte; without it the file begins at 0 and is not `addressed`.
DumpFile read_dump(std::string name, std::string_view contents, std::optional<HexFormat> format,
                   std::optional<uint64_t> base);

/// Where in flash a dump was taken to begin.
struct DumpPlace {
    int64_t origin = 0;          ///< the dump's address at which flash begins: an area stands at origin + its offset
    std::optional<int64_t> told; ///< the same by the dump's own addresses, or by --base
    std::string first_byte;      ///< "the start of area store", "300 bytes into area store" ...
    std::string why;             ///< what that rests on
    std::string unclear;         ///< not empty: nothing says it, and it has to be asked for; why
    bool as_expected = false;    ///< it has addresses, and is where they say
    bool misplaced = false;      ///< its file has addresses, and the areas stand at others than the project's
    [[nodiscard]] bool shifted() const { return told && *told != origin; }
};

struct InspectOptions {
    std::optional<double> age_years; ///< how long the unit was in use
    bool gaps_are_blank = false;     ///< what the dump does not hold is taken as blank
    bool texts = true;               ///< what each entry and unit says, for a history, a listing or a map to read
    size_t tries_max = 20'000;       ///< single bits turned round in search of bit rot, in each area
};

/// One entry of a record, oldest first.
struct HistoryEntry {
    uint32_t block = 0, unit = 0;
    uint64_t offset = 0;    ///< in the area, bytes
    std::string_view state; ///< as in a listing: "stands", "superseded", "void" ...
    bool is_short = false, restart = false;
    std::string text; ///< what it says; empty without InspectOptions::texts
};

/// One sample of a log.
struct LogSample {
    uint32_t number = 0; ///< counted from 0 for ever; a jump is a gap
    uint32_t block = 0, unit = 0;
    std::vector<uint8_t> bytes;
};

struct InspectedRecord {
    uint32_t id = 0;
    const Record* record = nullptr; ///< null: not in this project
    bool stored = false;
    std::vector<uint8_t> payload;
    std::vector<FieldValue> values; ///< of the record's fields that are stored
    std::optional<HistoryEntry> newest;
    std::vector<HistoryEntry> history; ///< empty without InspectOptions::texts
    uint64_t sample_count = 0;         ///< of a log: samples that are still there
    std::vector<LogSample> samples;    ///< those, oldest first; empty without InspectOptions::texts
    std::optional<uint32_t> log_next;  ///< of a log: the number that the next sample gets
    std::string differs;               ///< from the project: another size, other fields; empty: it does not
    std::string may_be_old;            ///< why the value shown may not be the newest; empty: it is

    /// Nothing of it is stored, and the load that perdure emits takes no default for it.
    [[nodiscard]] bool load_refuses() const {
        return !stored && record != nullptr && record->if_lost == IfLost::refuse;
    }
};

struct Wear {
    std::vector<std::optional<uint32_t>> erases; ///< by block; absent: its stamp is lost
    size_t known = 0;
    uint32_t least = 0, most = 0;
    double mean = 0;
    double left_rated = 0;                     ///< erases left in the most worn block, to the part's figure
    double left_allowed = 0;                   ///< to what the project allows; below 0: beyond it
    std::optional<double> years_left_seen;     ///< to what is allowed, at the rate since the factory; with an age
    std::optional<double> years_left_budgeted; ///< at the budget's rate
    std::optional<bool> reaches_life;          ///< absent: not known without an age
};

/// Move-only in effect: `decoded` points into `bytes`.
struct InspectedArea {
    const ExpectedArea* expected = nullptr;
    AreaShape shape;    ///< that it was read with
    int64_t begin = 0;  ///< in the dump's addresses
    uint64_t known = 0; ///< bytes of it that the dump holds
    std::vector<uint8_t> bytes;
    std::vector<uint8_t> missing; ///< by unit; empty: nothing is
    Decoded decoded;
    std::vector<UnitMark> marks;   ///< by unit
    std::vector<UnitLabel> units;  ///< by unit; empty without InspectOptions::texts
    std::vector<ByteRange> ranges; ///< empty without InspectOptions::texts
    std::vector<Damage> damage;
    std::vector<InspectedRecord> records;
    Wear wear;
    uint32_t restarts = 0;          ///< restart entries that the ring still holds
    std::vector<std::string> notes; ///< where it was found, if not where it was expected; what is missing

    InspectedArea() = default;
    InspectedArea(InspectedArea&&) = default;
    InspectedArea& operator=(InspectedArea&&) = default;
    InspectedArea(const InspectedArea&) = delete;
    InspectedArea& operator=(const InspectedArea&) = delete;

    [[nodiscard]] bool is_missing() const;        ///< some of it
    [[nodiscard]] uint64_t bytes_missing() const; ///< in whole units
    [[nodiscard]] AreaView view() const { return {shape, bytes, missing}; }
    /// Nothing but what power cuts may leave, every value the newest, and the life is reached as far as that can be
    /// told.
    [[nodiscard]] bool holds() const;
};

struct Inspection {
    DumpPlace place;
    std::vector<InspectedArea> areas;
    uint64_t dump_bytes = 0;
    uint64_t outside_bytes = 0; ///< of no area
    /// Is the area where the others say that it is?
    [[nodiscard]] bool in_place(const InspectedArea& area) const;
    /// Every area is in order and in its place.
    [[nodiscard]] bool holds() const;
};

/// A log's samples as comma-separated values: number, the record's fields by name (or `bytes`, in hexadecimal digits,
/// where the project does not know them), block, unit.
std::string samples_csv(const InspectedRecord& record);

/// Whatever the dump holds, there is an answer.
Inspection inspect(const Expected& expected, const DumpFile& dump, const InspectOptions& options);

/// Wear from the stamps of `decoded`.
Wear wear_of(const Decoded& decoded, const ExpectedArea& expected, const Product& product,
             std::optional<double> age_years);

} // namespace perdure
