#include "life/happenings.hpp"

#include <limits>

namespace perdure {

Happenings::Happenings(const LifeDemand& demand, Random& random) : random_(random) {
    for (size_t i = 0; i < demand.records.size(); i++) {
        const auto record = static_cast<uint16_t>(i);
        const LifeRecord& from = demand.records[i];
        if (from.period_s > 0) { streams_.push_back({from.period_s, from.period_s, 1, record, Kind::periodic}); }
        if (from.random_per_s > 0) {
            const double mean_s = 1 / from.random_per_s;
            streams_.push_back({random_.exponential(mean_s), mean_s, 0, record, Kind::random});
        }
    }
    if (demand.starts_per_s > 0) {
        const double period_s = 1 / demand.starts_per_s;
        streams_.push_back({period_s * random_.share(), period_s, 0, 0, Kind::start});
    }
    if (streams_.empty()) { streams_.push_back({std::numeric_limits<double>::infinity(), 0, 0, 0, Kind::start}); }
}

Happening Happenings::next() {
    Stream* best = streams_.data();
    for (Stream* stream = best + 1; stream != streams_.data() + streams_.size(); stream++) {
        if (stream->next_s < best->next_s) { best = stream; }
    }
    const Happening out{best->next_s, best->record, best->kind == Kind::start};
    if (best->kind == Kind::random) {
        best->next_s += random_.exponential(best->period_s);
    } else {
        best->count++; // multiplied, not summed, so that the last save of a life is not lost to rounding
        // Starts in step with the saves would meet the same places of the blocks again and again.
        const double late = best->kind == Kind::start ? random_.share() : 0;
        best->next_s = (double(best->count) + late) * best->period_s;
    }
    return out;
}

} // namespace perdure
