// An area of flash as a labelled listing for people: what each unit holds, in the words of store/format.md.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dump/decode.hpp"

namespace perdure {

/// What is known about a record beside its bytes.
struct RecordLabel {
    struct Field {
        std::string name;
        uint32_t bytes = 0;
        bool is_signed = false;
        bool is_float = false; ///< IEEE 754, 4 or 8 bytes
    };
    std::string name;
    std::vector<Field> fields;       ///< empty: the payload is shown as bytes
    uint32_t samples_in_payload = 0; ///< a log kept as one value: how many samples that has room for; 0: not one
};
/// What a log kept as one value holds: the next sample's number in four bytes, then `places` for samples, number n at
/// place n modulo `places`.
struct ShortLog {
    uint32_t next = 0;
    uint32_t count = 0; ///< samples that are still there
    uint32_t places = 0;
    std::span<const uint8_t> samples;
    [[nodiscard]] std::span<const uint8_t> sample(uint32_t number) const {
        const size_t bytes = samples.size() / places;
        return samples.subspan(number % places * bytes, bytes);
    }
};
/// Nothing where `payload` is of another size.
std::optional<ShortLog> short_log_in(std::span<const uint8_t> payload, uint64_t places, uint64_t sample_bytes);

using RecordLabels = std::map<uint32_t, RecordLabel>; ///< by id

enum class UnitKind : uint8_t {
    blank,
    pad,     ///< every byte the complement of blank
    stamp,   ///< its first unit; right by its own code, of whichever shape
    entry,   ///< a valid one's first unit, marks and doubted ones included
    more,    ///< goes on with what the unit before began
    bad,     ///< no valid entry begins here
    unread,  ///< not blank, in a block whose entries do not count
    faulting ///< a read of it faults
};

/// What stands at an entry's first unit.
enum class UnitState : uint8_t { none, stands, superseded, voided, doubted, not_counted, mark };

/// One unit by its bytes and the entries, without a word of what they say.
struct UnitMark {
    UnitKind kind = UnitKind::blank;
    UnitState state = UnitState::none; ///< of an entry's first unit
};

/// One mark a unit, for the whole area, into `out`. `decoded` is the view's.
void mark_units(const AreaView& view, const Decoded& decoded, std::vector<UnitMark>& out);

/// What one unit is.
struct UnitLabel {
    UnitKind kind = UnitKind::blank;
    std::string_view
        state;        ///< one word: of an entry "stands", "superseded", "void", "doubted", "not counted" or "mark"
    std::string text; ///< what it says; may be empty
};

/// One label a unit, for the whole area. `decoded` is the view's.
std::vector<UnitLabel> label_units(const AreaView& view, const Decoded& decoded, const RecordLabels& labels);

/// "'water'" with a label, else "record 7".
std::string record_name(uint32_t id, const RecordLabels& labels);

/// The payload as fields ("litres = 4200, pulses = 17"), or as bytes.
std::string payload_text(uint32_t id, std::span<const uint8_t> payload, const RecordLabels& labels);

/// What an area holds: head, number, the block whose erase may be unfinished, each record's value; then every unit,
/// runs of blank ones and of pads in one line. No line is longer than 100 characters, unless a name is.
/// With `before` (an image of the same size; else it is not looked at) units that differ from it are marked with '*'
/// and shown with what they held; of the others only those near them are shown, and of blocks without any a line each.
std::string listing(const AreaView& view, const RecordLabels& labels, std::span<const uint8_t> before = {});

} // namespace perdure
