#include "upgrade/fixed_place.hpp"

#include <fmt/format.h>

namespace perdure {
namespace {

/// The lines to write. Without the address at which flash begins, how the start follows from it.
std::string lines_for(const ImageArea& area, bool size, bool start) {
    std::string out;
    if (size) { out = fmt::format("size = \"{} B\"", area.layout.geometry.area_bytes()); }
    if (!start) { return out + fmt::format(" in [area.{}]", area.name); }
    if (!out.empty()) { out += " and "; }
    if (area.place.address) {
        return out + fmt::format("start = \"0x{:08X}\" in [area.{}]", *area.place.address, area.name);
    }
    return out + fmt::format("start = 0x{:X} above the start of flash in [area.{}], with flash_start in [part], the "
                             "address at which the part's flash begins",
                             area.place.offset, area.name);
}

} // namespace

std::vector<Breach> check_places(const ProductVersion& version) {
    std::vector<Breach> out;
    for (const ImageArea& area : version.plan.areas) {
        for (const Area& named : version.project.areas) {
            if (named.name != area.name) { continue; }
            const bool size = !named.size_bytes;
            const bool start = !named.start_address;
            if (!size && !start) { continue; }
            const std::string_view what = size && start ? "size and start" : size ? "size" : "start";
            out.push_back(
                {"a shipped area says where it lies",
                 fmt::format("the {} of area {} {} found, by this catalogue and this budget: a later one may find {} "
                             "elsewhere, and the firmware would look there for data that lie here",
                             what, area.name, size && start ? "are" : "is", size && start ? "them" : "it"),
                 lines_for(area, size, start)});
        }
    }
    return out;
}

} // namespace perdure
