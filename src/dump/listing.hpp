// An area of flash as a labelled listing for people: what each unit holds, in the words of store/format.md.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "dump/decode.hpp"

namespace perdure {

/// What is known about a record beside its bytes.
struct RecordLabel {
    struct Field {
        std::string name;
        uint32_t bytes = 0;
        bool is_signed = false;
    };
    std::string name;
    std::vector<Field> fields; ///< empty: the payload is shown as bytes
};
using RecordLabels = std::map<uint32_t, RecordLabel>; ///< by id

/// What one unit is.
struct UnitLabel {
    std::string text;
    bool blank = false;
    bool dim = false; ///< goes on with what the unit before began
};

/// One label a unit, for the whole area.
std::vector<UnitLabel> label_units(const AreaView& view, const Decoded& decoded, const RecordLabels& labels);

/// The payload as fields ("litres 4200, pulses 17"), or as bytes.
std::string payload_text(uint32_t id, std::span<const uint8_t> payload, const RecordLabels& labels);

/// What an area holds: head, number, the block whose erase may be unfinished, each record's value; then every unit but
/// for runs of blank ones. With `before` (an image of the same size) units that differ from it are marked and shown
/// with what they held, and the rest of a block that has not changed is left out.
std::string listing(const AreaView& view, const RecordLabels& labels, std::span<const uint8_t> before = {});

} // namespace perdure
