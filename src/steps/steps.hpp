// A product used by hand: the real store, one call after another on a simulated flash, every flash operation seen, the
// power cut where asked. A script of calls is played from a blank part each time; the last call is shown operation by
// operation.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "budget/findings.hpp"
#include "dump/listing.hpp"

namespace perdure {

/// One call of a script.
struct StepCall {
    enum class Kind : uint8_t {
        put,  ///< the record's next value; of a log one sample; saved at power failure as any other
        fill, ///< `count` puts of that record, each followed by service
        service,
        start, ///< the power comes (again), and the store is opened
    };
    Kind kind = Kind::start;
    size_t record = 0;                 ///< in the area's order
    uint32_t count = 1;                ///< of a fill
    std::optional<uint32_t> cut_after; ///< the power goes in the program or erase that follows so many whole ones
    uint64_t draw = 1;                 ///< of a start: what weak units read then
};

/// What one unit holds.
struct StepUnit {
    char kind = ' '; ///< b blank, p pad, s stamp, c current entry, o superseded, v void, m mark, d doubted, x bad, u in
                     ///< a block whose entries do not count, t torn: what it reads is open, f faults when read
    int record = -1; ///< in the area's order; -1: none
    std::string text; ///< what it says; of an entry's first unit only
    bool operator==(const StepUnit&) const = default;
};

/// The units of an area as the reader of dumps sees it. `records` as in the project's area; `torn`: units whose
/// contents are open, or empty.
std::vector<StepUnit> step_units(const AreaView& view, const std::vector<const Record*>& records,
                                 const std::vector<uint8_t>& torn = {});

/// One flash operation of the last call.
struct StepFrame {
    std::string what;                                   ///< "programs unit 12 of block 0"
    std::vector<std::pair<uint32_t, StepUnit>> changed; ///< against the frame before, by unit
};

struct StepValue {
    std::string record, text; ///< as it reads now; empty: nothing can be read while the power is off
    std::string remark;       ///< after a cut: "as before the put", "as put"
};

struct StepsShown {
    AreaShape shape;
    bool smaller_ring =
        false; ///< than the project's: the smallest that takes the records, so that it can be seen whole
    std::vector<StepUnit> begin;   ///< before the last call
    std::vector<StepFrame> frames; ///< programs and erases of the last call; at most frames_max
    uint64_t left_out = 0;         ///< operations beyond those: the last frame takes them together
    std::vector<StepValue> values;
    std::vector<uint32_t> erases; ///< by block
    bool off = false;             ///< the power is off: the next call has to be a start
    std::string said;             ///< what the last call returned, in words
    double took_ms = 0;           ///< programming and erasing of the last call, at the part's maximum times
    uint64_t reads = 0;           ///< of the last call
};
constexpr size_t frames_max = 200, step_calls_max = 2000, fill_max = 20000, shown_units_max = 2048;

/// Plays `script` on area `area` of the project, on a ring of `blocks`; 0: as the budget lays it out. Refused where the
/// area cannot be laid out, a call names a record that is not there, or one is made while the power is off; the text
/// names the call.
tl::expected<StepsShown, Refusal> play_steps(const Project& project, const std::string& area, uint32_t blocks,
                                             const std::vector<StepCall>& script);

} // namespace perdure
