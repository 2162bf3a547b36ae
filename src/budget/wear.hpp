// How fast a ring turns, and what its units are spent on: expected values in closed form, no flash bytes.
//
// The ring is a circular log that copies what is still live, so its state is one unknown: the time T in which the head
// fills. At that T the units of a block are all accounted for: saves, copies, starts, the mark, and the end that the
// next entry does not fit. The chance that a record must be copied follows from the time since its newest save (FIFO
// cleaning; for uniform Poisson traffic this is the published x = exp(-a(1-x)) and write amplification 1/(1-x)).
#pragma once

#include <cstdint>
#include <vector>

#include "budget/demand.hpp"
#include "project/layout.hpp"

namespace perdure {

/// Saves of one record: at an even period (0 = none), at random (Poisson) besides, and right after each start.
struct RecordTraffic {
    double period_s = 0;
    double random_per_s = 0;
    double at_start = 0; ///< saves after a start, on average: so many whole ones, and one more with the chance left
    /// Saves at any other time.
    [[nodiscard]] double between_per_s() const { return (period_s > 0 ? 1 / period_s : 0) + random_per_s; }
    bool operator==(const RecordTraffic&) const = default;
};

/// What an area has to take, in the order of its layout's records. Starts come one in each 1 / starts_per_s, at a
/// random time in it.
struct Traffic {
    double starts_per_s = 0;
    std::vector<RecordTraffic> records;
    bool service_in_time = true; ///< blocks are emptied ahead; otherwise, and with two blocks always, inside put
    /// All saves of a record.
    [[nodiscard]] double saves_per_s(size_t record) const {
        return records[record].between_per_s() + starts_per_s * records[record].at_start;
    }
    bool operator==(const Traffic&) const = default;
};

enum class Figures { nominal, sizing };

/// The traffic of the records `area` holds. Saves every so long are even, those on a change or by events are random;
/// periodic saves are taken `periodic_factor` times as often.
Traffic traffic_of(const Project& project, const Area& area, const Demand& demand, Figures figures,
                   double periodic_factor = 1.0);

/// Units that may be under way when a save at power failure begins: it passes over them.
constexpr uint32_t passed_over_units = 1;

/// Share of the starts that a save follows before the next start: what a lazy start costs, it costs then.
double starts_that_store(const Traffic& traffic);

/// Expected units and entries of one record in each block.
struct RecordWear {
    double full_saves = 0;
    double short_saves = 0;
    double copies = 0;
    double units = 0; ///< of all of these
    double share = 0; ///< of all units but the stamp
};

/// Expected content of each block in steady state. Units are program units.
struct RingWear {
    double block_s = 0; ///< time in which a block fills; infinite when nothing is ever written
    double start_units = 0;
    double mark_units = 0;
    double erased_again = 0; ///< chance that a start erases a block once more: nothing was put since it was erased
    double waste_units = 0;  ///< blank at the block's end: the next entry did not fit
    double copied_units = 0;
    double saved_units = 0;
    double empties_at = 0;         ///< how far the head is filled (share of block_s) when the tail is emptied
    double data_blocks = 0;        ///< blocks between an entry and its copy
    double longest_seen_units = 0; ///< the longest entry that a start finds, restart entries included
    std::vector<double> newest;    ///< by record: chance that a start puts it again
    std::vector<RecordWear> records;
    /// Units programmed for each unit that a save took.
    [[nodiscard]] double amplification() const {
        return saved_units > 0 ? (saved_units + copied_units + start_units + mark_units) / saved_units : 0;
    }
};

/// How closely wear is found: `coarse` takes the renewal limit for the end of a block, `reckoned` follows the filling
/// unit by unit, `fine` also counts entries where starts take much.
enum class Precision { coarse, reckoned, fine };

/// Steady state of the ring under `traffic` (its records match the layout's), by the formulas alone. Where starts take
/// a few per cent of the units these are off by up to as many: starts and block ends fall into step, and what a start
/// finds newest hangs on what was copied.
RingWear ring_wear_by_formula(const AreaLayout& layout, const Traffic& traffic, Precision precision = Precision::fine);

/// The share of a block's units from which on starts are counted, not reckoned; and from which on the formulas are far
/// off.
constexpr double counted_start_share = 0.05, much_start_share = 0.4;

/// By how much of the wear the formulas may be off up to the first, up to the second and beyond, with something to
/// spare: tests/reckoned_slow_test.cpp, over the catalogue's parts.
constexpr double reckoned_off_little = 0.005, reckoned_off = 0.02, reckoned_off_much = 0.15;

/// By what share the wear that the formulas give may be off.
double reckoned_may_be_off(const AreaLayout& layout, const RingWear& reckoned);

/// How a block ends.
struct BlockEnd {
    double waste_units = 0;     ///< blank, expected
    double opened_by_start = 0; ///< chance that the next block was opened by a start
};

/// Exposed for its tests: `items` come at random in proportion to their weights into a block of `capacity_units`; an
/// item opens the next block when fewer than its `need` are left, and so does each of the entries `then` that follow it
/// at once. `first` are entries that each block holds with the given chance before them.
struct FillItem {
    uint32_t units = 0;
    uint32_t need = 0;
    double weight = 0;
    std::vector<uint32_t> then; ///< units
    bool start = false;
};
struct FillFirst {
    uint32_t units = 0;
    double chance = 0;
};
BlockEnd end_of_block(uint32_t capacity_units, std::vector<FillItem> items, std::vector<FillFirst> first,
                      Precision precision);

} // namespace perdure
