// Where in a dump an area stands.
#pragma once

#include <string>
#include <vector>

#include "inspect/dump_place.hpp"

namespace perdure {

struct AreaFound {
    int64_t begin = 0; ///< in the dump's addresses
    AreaShape shape;   ///< the project's, or that of the stamps
    std::vector<std::string> notes;
    /// Where the whole area stands in the dump, it has been read in the search.
    std::vector<uint8_t> bytes;
    Decoded decoded; ///< of `bytes`; points into them
};

/// The area of that number: at its place in the dump, if a ring of its shape is there; else where stamps say that one
/// is that no other area has, of this shape or another; else at its place after all. Takes what was read out of
/// `placed`.
AreaFound find_area(size_t number, const Expected& all, const DumpFile& dump, PlacedDump& placed);

/// The bytes of [begin, begin + to.size()) that the dump holds; `begin` may be below 0. As copy_known.
uint64_t copy_area(const Memory& memory, int64_t begin, std::span<uint8_t> to, std::span<uint8_t> known);

} // namespace perdure
