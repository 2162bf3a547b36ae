// How long calls take at worst: counted units and erases, at the part's own times.
#pragma once

#include <cstdint>
#include <vector>

#include "budget/wear.hpp"
#include "project/layout.hpp"

namespace perdure {

/// What one operation takes. Program and erase are the data sheet's; reading is the processor's and its check code's.
struct OperationTimes {
    double program_us = 0; ///< one unit
    double erase_ms = 0;   ///< one erase block
    double read_us_per_byte = 0;
};

struct Finding;
struct AreaBudget;

/// Worst cases of one area. `put_*`: the longest stall of a put; where starts are lazy that is the first one after a
/// start, which does the start's work before its own.
struct Latency {
    bool service_can_help = false;    ///< three ring blocks or more
    double put_serviced_ms = 0;       ///< with service called in time
    double put_alone_ms = 0;          ///< the put that has to empty the tail itself
    double put_later_ms = 0;          ///< with service called in time, and not the first after a lazy start
    double service_step_ms = 0;       ///< the longest single call of service
    double service_every_s = 0;       ///< one call each so often keeps ahead of the mean traffic
    double open_ms = 0;               ///< start-up after a cut in the middle of emptying a block; lazy: reading alone
    double open_read_ms = 0;          ///< the part of it that is reading
    double put_read_ms = 0;           ///< of the first put after a lazy start: reading the area once more
    uint32_t put_serviced_units = 0;  ///< program units behind the figures
    uint32_t put_serviced_erases = 0; ///< erase blocks
    uint32_t put_alone_units = 0;
    uint32_t put_alone_erases = 0;
    uint32_t put_later_units = 0;
    uint32_t open_units = 0;
    uint32_t open_erases = 0;
};

/// `wear`: of the area, for the time in which a block fills. `lazy_start`: a start programs nothing; the first put does
/// its work.
Latency latency_of(const AreaLayout& layout, const OperationTimes& times, const RingWear& wear, bool lazy_start);

/// Findings of it: the longest put, with service in time and without, and the start; what is missing for them where the
/// part's times are not known.
std::vector<Finding> latency_findings(const Project& project, const AreaBudget& area);

/// Of several areas, which a start opens one after the other: what all of them take. Nothing for one area, or where the
/// part's times are not known.
std::vector<Finding> start_findings(const Project& project, const std::vector<AreaBudget>& areas);

} // namespace perdure
