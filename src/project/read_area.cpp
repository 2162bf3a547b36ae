#include <algorithm>
#include <limits>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr std::string_view find_it = "find it";

struct PlacedArea {
    Area area;
    Span start_span, size_span;
};

/// The run that holds this offset from the start of flash.
const BlockRun* run_at(const Device& part, uint64_t offset) {
    for (const BlockRun& run : part.runs) {
        if (offset >= run.offset_bytes && offset - run.offset_bytes < run.bytes()) { return &run; }
    }
    return nullptr;
}

void check_size(const Section& section, const BlockRun& run, uint64_t offset, const PlacedArea& placed) {
    const uint64_t size = *placed.area.size_bytes;
    const uint64_t room = run.bytes() - (offset - run.offset_bytes);
    if (size % run.erase_bytes != 0) {
        section.source.complain(placed.size_span,
                                fmt::format("{} is {}, not a whole number of erase blocks of {}", section.title,
                                            show_bytes(size), show_bytes(run.erase_bytes)),
                                fmt::format("\"{}\" or \"{}\"", show_bytes(size - size % run.erase_bytes),
                                            show_bytes(size - size % run.erase_bytes + run.erase_bytes)));
    } else if (size > room) {
        section.source.complain(placed.size_span,
                                fmt::format("{} is {}, but only {} of equal blocks are there", section.title,
                                            show_bytes(size), show_bytes(room)),
                                fmt::format("at most \"{}\"", show_bytes(room)));
    } else if (size < 2ULL * run.erase_bytes) {
        section.source.complain(
            placed.size_span, fmt::format("{} has one erase block", section.title),
            fmt::format("two at least, so that one is whole while the other is emptied: \"{}\" or more",
                        show_bytes(2ULL * run.erase_bytes)));
    }
}

/// Holds the area against the part's blocks.
void check_place(const Section& section, const Project& project, const PlacedArea& placed) {
    const Device& part = project.part;
    if (part.runs.empty()) { return; } // said already in [part]
    if (!placed.area.start_address) {
        const std::optional<BlockRun> run = best_run(part);
        if (run && placed.area.size_bytes) { check_size(section, *run, run->offset_bytes, placed); }
        return;
    }
    if (!project.flash_start_address) {
        section.source.complain(
            placed.start_span,
            fmt::format("{} says where it starts, but [part] does not say where flash starts", section.title),
            "a line such as flash_start = \"0x08000000\" in [part], from the data sheet");
        return;
    }
    const uint64_t base = *project.flash_start_address;
    const uint64_t start = *placed.area.start_address;
    const BlockRun* run = start < base ? nullptr : run_at(part, start - base);
    if (run == nullptr) {
        const BlockRun& last = part.runs.back();
        section.source.complain(
            placed.start_span, fmt::format("0x{:08X} is outside flash", start),
            fmt::format("an address from 0x{:08X} to 0x{:08X}", base, base + last.offset_bytes + last.bytes() - 1));
        return;
    }
    const uint64_t into = (start - base - run->offset_bytes) % run->erase_bytes;
    if (into != 0) {
        section.source.complain(
            placed.start_span,
            fmt::format("0x{:08X} is not the start of an erase block of {}", start, show_bytes(run->erase_bytes)),
            fmt::format("\"0x{:08X}\" or \"0x{:08X}\"", start - into, start - into + run->erase_bytes));
        return;
    }
    if (placed.area.size_bytes) { check_size(section, *run, start - base, placed); }
}

PlacedArea read_area(const Section& section, std::string_view name) {
    PlacedArea placed;
    Area& area = placed.area;
    area.name = name;
    area.place = section.span.place;
    check_keys(section, {"start", "size", "check_bits"});
    check_c_name(section.source, section.span, "area", name);
    area.start_address = get_address(section, "start");
    placed.start_span = span_of_value(section, "start");
    placed.size_span = span_of_value(section, "size");
    const toml::node* size = section.table.get("size");
    const bool found_by_us = size != nullptr && size->is_string() && size->as_string()->get() == find_it;
    if (!found_by_us) { area.size_bytes = get_size(section, "size", 1, 1ULL << 32U); }
    if (const auto bits = get_whole(section, "check_bits", 8, 32)) {
        if (*bits % 8 != 0) {
            section.source.complain(span_of_value(section, "check_bits"), fmt::format("\"check_bits\" is {}", *bits),
                                    "8, 16, 24 or 32");
        } else {
            area.check_bits = static_cast<uint32_t>(*bits);
            area.check_bits_place = place_if_said(section, "check_bits");
        }
    }
    return placed;
}

void check_overlaps(Source& source, const std::vector<PlacedArea>& areas) {
    for (size_t i = 0; i < areas.size(); ++i) {
        for (size_t j = i + 1; j < areas.size(); ++j) {
            const Area& first = areas[i].area;
            const Area& second = areas[j].area;
            if (!first.start_address || !second.start_address) { continue; }
            const uint64_t a = *first.start_address;
            const uint64_t b = *second.start_address;
            const bool apart = a < b ? b - a >= first.size_bytes.value_or(1) : a - b >= second.size_bytes.value_or(1);
            if (apart) { continue; }
            Diagnostic& said = source.complain(areas[j].start_span,
                                               fmt::format("[area.{}] overlaps [area.{}]", second.name, first.name),
                                               "areas apart from each other");
            source.see_also(said, areas[i].start_span, fmt::format("[area.{}] starts here", first.name));
        }
    }
}

} // namespace

void read_areas(Source& source, const toml::table& file, Project& project) {
    const Section root{source, file, "the file", {}};
    std::vector<PlacedArea> areas;
    if (const toml::table* table = get_table(root, "area")) {
        const Section all{source, *table, "[area]", span_of_key(root, "area")};
        for (const auto& [key, node] : *table) {
            if (!node.is_table()) {
                source.complain(span_of(key), fmt::format("[area] holds \"{}\", which is no area", key.str()),
                                "a section [area.NAME], such as [area.store]");
                continue;
            }
            const Section section{source, *node.as_table(), fmt::format("[area.{}]", key.str()), span_of(key)};
            areas.push_back(read_area(section, key.str()));
            check_place(section, project, areas.back());
        }
    }
    std::sort(areas.begin(), areas.end(), [](const PlacedArea& a, const PlacedArea& b) {
        return a.area.place.line != b.area.place.line ? a.area.place.line < b.area.place.line
                                                      : a.area.place.column < b.area.place.column;
    });
    check_overlaps(source, areas);
    for (PlacedArea& placed : areas) { project.areas.push_back(std::move(placed.area)); }
    if (project.areas.empty()) { project.areas.emplace_back(); }
}

} // namespace perdure
