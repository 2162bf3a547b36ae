// The inverse questions: how few blocks hold, how long the area lasts, how much faster it could be saved to.
#pragma once

#include <optional>

#include "budget/findings.hpp"

namespace perdure {

/// Formatting erases every block, and the first one twice.
constexpr double format_erases = 2;

/// As fewest_blocks of findings.hpp; `coarse` leaves out the last, exact look, and `reckoned` counts nothing in it.
std::optional<uint32_t> fewest_blocks(const Project& project, const Area& area, const Demand& demand,
                                      Precision precision);

/// Where no number of ring blocks holds: the ring to show, and what it is. 0 blocks: none can be laid out.
struct NearestRing {
    uint32_t blocks = 0;
    RingFound found = RingFound::given;
};

/// The ring that shows what is in the way: the fewest blocks, from three on if three keep to flash_share and start_up,
/// that hold but for the stall of put and keep to those two; else the most that these leave room for.
NearestRing nearest_ring(const Project& project, const Area& area, const Demand& demand, Precision precision);

/// A stamp counts a block's erases in 24 bits, and the blocks opened in 32 (store/format.md): beyond them the store's
/// own figures begin again at 0, and it does not know its ring any more.
constexpr double erases_counted_max = 16'777'215;
constexpr double blocks_counted_max = 4'294'967'295;

/// Erases of each block that may be spent: endurance x spend limit, and no more than the store can count.
double erases_spendable(const Project& project);

/// Erases of each block over life, formatting included.
double erases_needed(const AreaLayout& layout, const Traffic& traffic, double life_s, Precision precision);

/// Years until the allowed erases are spent at the same rates; absent when it never wears out.
std::optional<double> longest_life_years(const Project& project, const Erases& erases);

/// The factor by which all periodic saves could come more often. Absent when there are none, or when even none at all
/// would not hold.
std::optional<double> fastest_periodic(const Project& project, const Area& area, const Demand& demand,
                                       const AreaLayout& layout, Precision precision);

} // namespace perdure
