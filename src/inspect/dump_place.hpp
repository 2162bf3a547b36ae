// Which part of flash a dump holds: what it begins with is told by its addresses or by --base, or found by the stamps
// in it, or taken from its length; what was taken, and why, is said. Where nothing tells it, it is asked for.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "inspect/inspection.hpp"

namespace perdure {

/// What stands at an area's place in a dump.
struct AreaLook {
    int64_t begin = 0;          ///< in the dump's addresses; below 0: the dump begins inside it
    uint64_t known = 0;         ///< bytes of it that the dump holds
    std::vector<uint8_t> bytes; ///< the whole area, blank where the dump holds nothing
    Decoded decoded;            ///< points into `bytes`
    /// Is there a ring, and no record in it that the project keeps in another area?
    bool fits = false;
    size_t own_records = 0; ///< stored ones that the project keeps in this area
};

/// A dump, laid over the flash.
struct PlacedDump {
    DumpPlace place;
    std::vector<AreaLook> looks; ///< of each expected area
};

/// Holds the dump against each place that its addresses, its length and the stamps in it allow, and takes the one at
/// which most areas of the project stand.
PlacedDump place_dump(const Expected& expected, const DumpFile& dump);

/// The area, were the first byte of flash at the dump's address `origin`.
AreaLook look_at(const Expected& all, const ExpectedArea& area, const DumpFile& dump, int64_t origin);

/// Blocks, units and check width alike? The blank value is not compared.
bool same_shape(const AreaShape& a, const AreaShape& b);

} // namespace perdure
