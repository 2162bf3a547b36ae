// Every byte of an area under one label, and what they add up to.
#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "dump/decode.hpp"
#include "dump/listing.hpp"

namespace perdure {

enum class ByteKind : uint8_t {
    stamp,
    current,      ///< of an entry that makes up its record's value, or that a start repeated
    superseded,   ///< of an entry that a later one replaced
    voided,       ///< of an entry that a start shut off
    not_believed, ///< of an entry behind a gap, or in a block whose erase may have begun
    mark,
    fill,    ///< behind an entry or a stamp, up to the unit's end; under no check
    pad,     ///< of a start
    free,    ///< blank
    bad,     ///< no entry, in a block that is read
    unread,  ///< in a block whose entries do not count
    missing, ///< not in the dump
};
constexpr size_t byte_kind_count = 12;

/// "current", "free" ...
std::string_view name_of(ByteKind kind);

struct ByteRange {
    uint64_t offset = 0; ///< in the area
    uint64_t bytes = 0;
    ByteKind kind = ByteKind::free;
    std::string text; ///< of an entry or stamp: what it says
};

/// Ranges that follow each other without a gap and cover the whole area. `units` is label_units of the same.
std::vector<ByteRange> label_bytes(const AreaView& view, const Decoded& decoded, const std::vector<UnitLabel>& units);

/// Bytes of each kind.
std::array<uint64_t, byte_kind_count> byte_totals(const std::vector<ByteRange>& ranges);

/// One line a block, each of at most `columns` characters that stand for equal stretches of it; a character shows the
/// most telling thing in its stretch. map_legend() explains them.
std::vector<std::string> area_map(const AreaView& view, const std::vector<ByteRange>& ranges, size_t columns = 64);
std::string_view map_legend();

} // namespace perdure
