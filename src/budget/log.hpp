// What a log takes: bytes, blocks, wear; in batches and one by one.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "budget/wear.hpp"
#include "project/layout.hpp"

namespace perdure {

/// Samples that the ring holds at least, right after its oldest block was erased, at the traffic behind `wear`: those
/// of the full blocks left, and of the head as far as it is filled then. `record`: the log's place in the layout.
double kept_samples(const RingWear& wear, size_t record, uint32_t batch);

/// The log that the area of `layout` holds, as its place there; nothing without one.
std::optional<size_t> log_in(const AreaLayout& layout);

/// One way to keep a log.
struct LogCost {
    uint32_t batch = 1;
    uint32_t full_bytes = 0, full_units = 0;   ///< first entry in a block
    uint32_t short_bytes = 0, short_units = 0; ///< the others; 0: no shorter
    double used_bytes = 0;                     ///< entries of the whole depth, in whole units
    double flash_bytes = 0;                    ///< the area; 0: no size that the part has holds it
    double kept = 0;                           ///< samples, at least
    double erases_per_block = 0;               ///< over life
    double loss_s = 0;                         ///< at most, or at the mean rate of events
};

struct AreaBudget;
struct Finding;

struct LogBudget {
    std::string record, area;
    uint32_t sample_bytes = 0;
    double depth_samples = 0;
    double raw_bytes = 0; ///< depth x sample
    bool short_log = false;
    LogCost cost;
    std::optional<LogCost> one_by_one; ///< for comparison; absent where the batch is 1
};

/// The log of a laid-out area, with its entries and, where it is batched, without batches beside it; nothing where the
/// area has none.
std::optional<LogBudget> log_budget(const Project& project, const Area& area, const AreaBudget& laid_out);

/// Whether the area keeps the log's depth.
Finding depth_finding(const Project& project, const LogBudget& log, const AreaBudget& area);

} // namespace perdure
