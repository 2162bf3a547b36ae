#include "budget/latency.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace perdure {

namespace {

/// A lazy open reads once and leaves the rest of the start to the first put.
void leave_to_first_put(Latency& out, double reading_ms) {
    const double work_ms = out.open_ms - reading_ms;
    for (double* put_ms : {&out.put_serviced_ms, &out.put_alone_ms}) { *put_ms += work_ms; }
    for (uint32_t* units : {&out.put_serviced_units, &out.put_alone_units}) { *units += out.open_units; }
    for (uint32_t* erases : {&out.put_serviced_erases, &out.put_alone_erases}) { *erases += out.open_erases; }
    out.put_read_ms = out.open_read_ms - reading_ms;
    out.open_ms = out.open_read_ms = reading_ms;
    out.open_units = out.open_erases = 0;
}

} // namespace

Latency latency_of(const AreaLayout& layout, const OperationTimes& times, const RingWear& wear, bool lazy_start) {
    constexpr double readings_at_start = 2; // a broken job that starts have filled up is read, undone and read again
    const FlashGeometry& geometry = layout.geometry;
    const uint32_t joined = geometry.erase_blocks_per_ring_block;
    // Every unit programmed is read back.
    const double unit_ms = (times.program_us + geometry.unit_bytes * times.read_us_per_byte) / 1e3;
    uint32_t full_max = layout.mark_units;
    for (const RecordLayout& record : layout.records) { full_max = std::max(full_max, record.full_units); }
    // Live data over several blocks: the tails that are wholly live, and one that gives room.
    const uint32_t room =
        layout.capacity_units > layout.reserve_units ? layout.capacity_units - layout.reserve_units : 1;
    const uint32_t tails = layout.live_units <= room ? 1 : (layout.live_units + room - 1) / room + 1;

    Latency out;
    out.service_can_help = geometry.ring_blocks >= layout.spare_blocks + 2;
    const uint32_t empty_units = layout.live_units + tails * (layout.mark_units + layout.stamp_units);
    out.put_alone_units = full_max + empty_units;
    out.put_alone_erases = tails * joined;
    out.put_alone_ms = out.put_alone_units * unit_ms + out.put_alone_erases * times.erase_ms;
    out.put_serviced_units = out.service_can_help ? full_max : out.put_alone_units;
    out.put_serviced_erases = out.service_can_help ? 0 : out.put_alone_erases;
    out.put_serviced_ms = out.service_can_help ? full_max * unit_ms : out.put_alone_ms;
    out.put_later_units = out.put_serviced_units;
    out.put_later_ms = out.put_serviced_ms;
    out.service_step_ms =
        std::max(full_max * unit_ms, (layout.mark_units + layout.stamp_units) * unit_ms + joined * times.erase_ms);
    const double steps = double(layout.records.size()) + 2;
    out.service_every_s = std::isfinite(wear.block_s) ? wear.block_s * (1 - wear.empties_at) / steps
                                                      : std::numeric_limits<double>::infinity();

    out.open_units =
        layout.start_pad_units + layout.restart_max_units + empty_units + layout.stamp_units + layout.mark_units;
    out.open_erases = (tails + 1) * joined;
    const double reading_ms =
        2 * double(geometry.area_bytes()) * times.read_us_per_byte / 1e3; // entries are read twice
    out.open_read_ms = readings_at_start * reading_ms;
    out.open_ms = out.open_read_ms + out.open_units * unit_ms + out.open_erases * times.erase_ms;
    if (lazy_start) { leave_to_first_put(out, reading_ms); }
    return out;
}

} // namespace perdure
