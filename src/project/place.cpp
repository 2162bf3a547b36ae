#include "project/place.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure {
namespace {

struct Taken {
    uint64_t from = 0, end = 0; ///< offsets
};

} // namespace

tl::expected<std::vector<AreaPlace>, Refusal> place_areas(const Project& project, const std::vector<uint64_t>& bytes,
                                                          std::optional<uint64_t> flash_start) {
    const std::optional<uint64_t> base = project.flash_start_address ? project.flash_start_address : flash_start;
    const std::optional<BlockRun> run = best_run(project.part);
    if (!run) { return tl::unexpected(Refusal{"the part has no run of two equal erase blocks", 2, 0, "blocks"}); }
    std::vector<AreaPlace> places(project.areas.size());
    std::vector<Taken> taken;
    for (size_t i = 0; i < places.size(); i++) {
        if (!project.areas[i].start_address) { continue; }
        places[i].offset =
            *project.areas[i].start_address - base.value_or(0); // a start without a base is an error of the file
        taken.push_back({places[i].offset, places[i].offset + bytes[i]});
    }
    for (size_t i = 0; i < places.size(); i++) {
        if (project.areas[i].start_address) { continue; }
        uint64_t end = run->offset_bytes + run->bytes();
        // Down past everything that is in the way.
        for (bool moved = true; moved && end >= run->offset_bytes + bytes[i];) {
            moved = false;
            for (const Taken& other : taken) {
                if (other.from < end && other.end > end - bytes[i]) {
                    end = std::min(end, other.from);
                    moved = true;
                    break;
                }
            }
        }
        if (end < run->offset_bytes + bytes[i]) {
            return tl::unexpected(
                Refusal{fmt::format("area {} of {} bytes has no room beside the others in {} bytes of equal blocks",
                                    project.areas[i].name, bytes[i], run->bytes()),
                        double(bytes[i]), double(run->bytes()), "bytes"});
        }
        places[i].offset = end - bytes[i];
        taken.push_back({places[i].offset, end});
    }
    for (AreaPlace& place : places) {
        if (base) { place.address = *base + place.offset; }
    }
    return places;
}

} // namespace perdure
