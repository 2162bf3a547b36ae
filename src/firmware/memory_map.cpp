#include "firmware/memory_map.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "project/units.hpp"

namespace perdure {
namespace {

bool meet(uint64_t begin, uint64_t bytes, uint64_t other, uint64_t other_bytes) {
    return begin < other + other_bytes && other < begin + bytes;
}

std::string range(uint64_t begin, uint64_t bytes) {
    return fmt::format("0x{:08X} to 0x{:08X}", begin, begin + bytes - 1);
}

/// ", there `name` of 40 bytes at 0x...": the first symbol that reaches into the area; empty when none is known.
std::string symbol_in_the_way(const MappedArea& area, const LoadedPiece& piece, const ElfImage& image) {
    for (const LoadedSymbol& symbol : image.symbols) {
        if (symbol.piece != piece.name ||
            !meet(area.begin, area.bytes, symbol.begin, std::max<uint64_t>(symbol.bytes, 1))) {
            continue;
        }
        return fmt::format(", there {} ({} bytes at 0x{:08X})", symbol.name, symbol.bytes, symbol.begin);
    }
    return "";
}

void against_image(MappedArea& area, const ElfImage& image) {
    for (const LoadedPiece& piece : image.pieces) {
        if (!meet(area.begin, area.bytes, piece.begin, piece.bytes)) { continue; }
        area.problems.push_back(fmt::format("section {} is loaded into it ({}){}", piece.name,
                                            range(piece.begin, piece.bytes), symbol_in_the_way(area, piece, image)));
    }
    for (const LoadedSymbol& symbol : image.absolute) {
        if (symbol.name != "data_" + area.name + "_start" || symbol.begin == area.begin) { continue; }
        area.problems.push_back(
            fmt::format("the linker has {} at 0x{:08X}: emit and link again", symbol.name, symbol.begin));
    }
}

void against_part(MappedArea& area, const Project& project, uint64_t offset, uint32_t erase_block_bytes) {
    const Device& part = project.part;
    if (offset % erase_block_bytes != 0) {
        area.problems.push_back(
            fmt::format("it does not begin with an erase block of {}", show_bytes(erase_block_bytes)));
    }
    uint64_t flash_bytes = part.flash_bytes.value_or(0);
    for (const BlockRun& run : part.runs) { flash_bytes = std::max(flash_bytes, run.offset_bytes + run.bytes()); }
    if (offset + area.bytes > flash_bytes) {
        area.problems.push_back(fmt::format("it reaches beyond the {} of flash", show_bytes(flash_bytes)));
    }
    for (const ProtectedRange& range_of : project.protected_ranges) {
        if (!meet(area.begin, area.bytes, range_of.start_address, range_of.size_bytes)) { continue; }
        area.problems.push_back(
            fmt::format("it meets \"{}\" ({})", range_of.name, range(range_of.start_address, range_of.size_bytes)));
    }
}

} // namespace

std::vector<MappedArea> map_areas(const Project& project, const FirmwarePlan& plan, const ElfImage& image) {
    std::vector<MappedArea> out;
    for (const PlannedArea& planned : plan.areas) {
        MappedArea area{
            planned.name, project.flash_start_address.value_or(0) + planned.offset_bytes, planned.bytes(), {}};
        against_part(area, project, planned.offset_bytes, planned.layout.geometry.erase_block_bytes);
        against_image(area, image);
        out.push_back(std::move(area));
    }
    return out;
}

} // namespace perdure
