#include "cli/image_report.hpp"

#include <map>
#include <ostream>

#include <fmt/format.h>

#include "cli/files.hpp"
#include "cli/text.hpp"

namespace perdure {
namespace {

std::span<const uint8_t> bytes_of_text(std::string_view text) {
    return {reinterpret_cast<const uint8_t*>(text.data()), text.size()};
}

std::string range_of(const ImageArea& area) {
    const uint64_t begin = address_of(area);
    return fmt::format("0x{:08X} to 0x{:08X}", begin, begin + area.layout.geometry.area_bytes() - 1);
}

/// What whoever programs the parts has to do.
/// `begin`: the address of the first image's first byte.
std::vector<std::string> steps(const ImagePlan& plan, const ImageOptions& options, uint64_t begin) {
    std::vector<std::string> out;
    out.emplace_back(
        "Erase the part, program the file, and read back what it holds: the programmer's own verify does that.");
    if (options.format == HexFormat::binary) {
        out.emplace_back(
            "A binary holds the blank units too. Program none of them: on flash with ECC a unit that was "
            "programmed blank can take nothing else. Let the programmer skip blank units, or use hex or srec, "
            "which leave them out.");
    }
    for (const ImageArea& area : plan.areas) {
        out.push_back(fmt::format(
            "Read {} of area {}, blank bytes too, and compare its {} with the area's above or in the manifest; do "
            "so before the product first starts, for a start adds entries.",
            range_of(area), area.name, name_of(options.checksum)));
    }
    out.emplace_back(
        options.format == HexFormat::binary
            ? fmt::format("perdure inspect FILE with what was read back names every value; --base says the "
                          "address of a binary's first byte, such as --base 0x{:08X} here.",
                          begin)
            : "perdure inspect FILE with what was read back names every value.");
    out.emplace_back("When firmware is programmed again later, erase none of the ranges to keep: no chip erase.");
    return out;
}

} // namespace

std::string_view ending_of(HexFormat format) {
    return format == HexFormat::intel_hex ? ".hex" : format == HexFormat::s_records ? ".srec" : ".bin";
}

tl::expected<MadeImage, std::string> make_image(const ImagePlan& plan, const UnitData& data,
                                                const ImageOptions& options, const Memory* firmware) {
    MadeImage made;
    made.serial = data.serial;
    std::vector<AreaImage> areas;
    for (const ImageArea& area : plan.areas) {
        auto image = make_area_image(area, data, options.only_given);
        if (!image) { return tl::unexpected(image.error()); }
        made.area_checksums.push_back(checksum_of(options.checksum, image->bytes));
        made.records_stored += image->records_stored;
        for (const Record* record : image->left_out) { made.left_out.push_back(record->name); }
        made.defaulted.insert(made.defaulted.end(), image->defaulted.begin(), image->defaulted.end());
        areas.push_back(std::move(*image));
    }
    Memory memory = memory_of(plan, areas);
    if (firmware != nullptr) {
        const std::string overlap = add_firmware(memory, plan, *firmware);
        if (!overlap.empty()) { return tl::unexpected(overlap); }
    }
    made.begin = memory.segments.front().address;
    made.bytes = memory.byte_count();
    if (options.format == HexFormat::intel_hex) {
        made.contents = write_intel_hex(memory);
    } else if (options.format == HexFormat::s_records) {
        if (memory.header.empty()) { memory.header = data.serial; }
        made.contents = write_s_records(memory);
    } else {
        const uint8_t blank = plan.areas.front().layout.geometry.blank;
        std::vector<uint8_t> bytes = write_binary(memory, blank);
        if (bytes.empty()) {
            return tl::unexpected(std::string("a binary of it would have more than 256 MiB of gaps; use hex or srec"));
        }
        // To the last area's end, so that its length says what it covers.
        for (const ImageArea& area : plan.areas) {
            const uint64_t end = address_of(area) + area.layout.geometry.area_bytes();
            if (end > made.begin + bytes.size()) { bytes.resize(end - made.begin, blank); }
        }
        made.contents.assign(bytes.begin(), bytes.end());
    }
    made.checksum = checksum_of(options.checksum, bytes_of_text(made.contents));
    return made;
}

nlohmann::json manifest_of(const ImagePlan& plan, const ImageOptions& options, const std::vector<MadeImage>& made) {
    using nlohmann::json;
    json out{{"project", plan.project->product.name},
             {"part", plan.project->part.id},
             {"made_by", std::string("perdure ") + PERDURE_VERSION},
             {"format", name_of(options.format)},
             {"checksum", name_of(options.checksum)},
             {"areas", json::array()},
             {"keep", json::array()},
             {"verify", steps(plan, options, made.front().begin)},
             {"units", json::array()}};
    for (const ImageArea& area : plan.areas) {
        const FlashGeometry& geometry = area.layout.geometry;
        out["areas"].push_back({{"name", area.name},
                                {"begin", address_of(area)},
                                {"addresses_known", area.place.address.has_value()},
                                {"bytes", geometry.area_bytes()},
                                {"ring_blocks", geometry.ring_blocks},
                                {"erase_block_bytes", geometry.erase_block_bytes}});
        out["keep"].push_back({{"begin", address_of(area)},
                               {"bytes", geometry.area_bytes()},
                               {"why", fmt::format("area {}: the unit's own data", area.name)}});
    }
    for (const MadeImage& image : made) {
        json unit{{"file", image.file},
                  {"checksum", image.checksum},
                  {"begin", image.begin},
                  {"bytes_programmed", image.bytes},
                  {"records_stored", image.records_stored},
                  {"records_left_out", image.left_out},
                  {"fields_defaulted", image.defaulted},
                  {"areas", json::array()}};
        if (options.format == HexFormat::binary) { unit["base"] = image.begin; }
        if (!image.serial.empty()) { unit["serial"] = image.serial; }
        for (size_t i = 0; i < plan.areas.size(); i++) {
            unit["areas"].push_back({{"name", plan.areas[i].name}, {"checksum", image.area_checksums[i]}});
        }
        out["units"].push_back(std::move(unit));
    }
    return out;
}

/// Of records that a firmware must take no default for: which have no data, and which are given in part.
void print_refused(const std::vector<MadeImage>& made, std::ostream& out) {
    std::map<std::string, size_t> left_out, defaulted; // units, by the record's or the field's name
    for (const MadeImage& image : made) {
        for (const std::string& name : image.left_out) { left_out[name]++; }
        for (const std::string& name : image.defaulted) { defaulted[name]++; }
    }
    const auto units = [&](size_t count) {
        return made.size() == 1 ? "" : fmt::format(" of {} of the {} units", count, made.size());
    };
    const auto say = [&](const std::string& words) { out << "  " << wrapped(words, 4, 2) << '\n'; };
    for (const auto& [name, count] : left_out) {
        say(fmt::format("LEFT OUT: record {}{}: it has if_lost = \"refuse\", and no data were given; the emitted load "
                        "refuses it until the product stores it (its data: a {}.FIELD in the table or --set)",
                        name, units(count), name));
    }
    for (const auto& [name, count] : defaulted) {
        say(fmt::format("DEFAULT STORED: {}{} was not given, and other fields of its record were, which has if_lost = "
                        "\"refuse\"",
                        name, units(count)));
    }
}

void print_images(const ImagePlan& plan, const ImageOptions& options, const std::vector<MadeImage>& made,
                  const std::string& where, std::ostream& out) {
    const MadeImage& first = made.front();
    out << fmt::format("{}: {} factory image{} ({}) in {}\n", plan.project->product.name, with_groups(made.size()),
                       made.size() == 1 ? "" : "s", name_of(options.format), where);
    out << fmt::format("  {} bytes to program{}, from 0x{:08X} on; {} records stored\n", with_groups(first.bytes),
                       made.size() == 1 ? "" : " each", first.begin, first.records_stored);
    print_refused(made, out);
    if (!plan.areas.front().place.address) {
        out << "  addresses count from the start of flash: the project does not say where that\n  is (flash_start in "
               "[part], "
               "or --flash-start)\n";
    }
    if (made.size() == 1) {
        out << fmt::format("  {} of the file\n    {}\n", name_of(options.checksum), first.checksum);
        for (size_t i = 0; i < plan.areas.size(); i++) {
            out << fmt::format("  {} of area {}, blank bytes too\n    {}\n", name_of(options.checksum),
                               plan.areas[i].name, first.area_checksums[i]);
        }
    } else {
        out << fmt::format("  {} of each file and area: manifest.json\n", name_of(options.checksum));
    }
    out << "\nranges to keep: no later programming may erase them\n";
    for (const ImageArea& area : plan.areas) {
        const FlashGeometry& geometry = area.layout.geometry;
        const std::string range = fmt::format("  {}  ", range_of(area));
        out << range
            << wrapped(fmt::format("area {}, {} erase blocks of {} bytes", area.name,
                                   geometry.area_bytes() / geometry.erase_block_bytes,
                                   with_groups(geometry.erase_block_bytes)),
                       range.size(), range.size())
            << '\n';
    }
    out << "\nhow to verify\n";
    size_t number = 0;
    for (const std::string& step : steps(plan, options, first.begin)) {
        const std::string head = fmt::format("  {}. ", ++number);
        out << head << wrapped(step, head.size(), head.size()) << '\n';
    }
}

} // namespace perdure
