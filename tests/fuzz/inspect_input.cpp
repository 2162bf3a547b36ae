#include "tests/fuzz/inspect_input.hpp"

#include <algorithm>
#include <memory>

#include <fmt/format.h>

#include "inspect/inspection.hpp"
#include "project/read.hpp"

namespace perdure::fuzz {
namespace {

/// Blocks of 512 or 256 bytes, units of 8 or 4, blank 0xFF or 0x00.
struct Known {
    Project project;
    Expected expected;
};

std::unique_ptr<Known> make_known(bool other) {
    const std::string text = fmt::format(
        "[product]\nname = \"door counter\"\nlife = \"10 y\"\n[part]\nname = \"own\"\nerase_block = \"{0} "
        "B\"\nblocks = 16\nprogram_unit = \"{1} B\"\nblank = {2}\nendurance = 10000\nerase_max = \"40 "
        "ms\"\nprogram_max = \"100 us\"\nflash_start = \"0x08000000\"\n[area.store]\nsize = \"{3} B\"\n"
        "[record.people]\nid = 1\nkind = \"total\"\nfields = [ {{ name = \"entered\", type = \"u32\", movement "
        "= 120 }} ]\nsaves = [ {{ every = \"1 h\" }} ]\n[record.settings]\nid = 2\nkind = \"value\"\nfields = "
        "[ {{ name = \"delay_s\", type = \"u16\" }}, {{ name = \"label\", type = \"bytes:10\" }} ]\nsaves = [ "
        "{{ events = \"1/week\" }} ]\n",
        other ? 256 : 512, other ? 4 : 8, other ? "0x00" : "0xFF", other ? 768 : 2048);
    auto known = std::make_unique<Known>();
    known->project = read_project(text, "fuzz.toml", catalog()).value();
    known->expected = make_expected(known->project, std::nullopt).value();
    return known;
}

std::string wrong_file(const DumpFile& dump, std::string_view text) {
    const auto lines = static_cast<uint32_t>(1 + std::ranges::count(text, '\n'));
    for (const HexError& error : dump.read.errors) {
        if (error.message.empty() || error.expected.empty()) { return "an error without words"; }
        if (error.line > lines || error.other_line > lines) { return "an error beyond the last line"; }
        if (error.column == 0 && error.line != 0) { return "an error without a column"; }
    }
    const auto& segments = dump.read.memory.segments;
    for (size_t i = 0; i < segments.size(); i++) {
        if (segments[i].bytes.empty() || (i > 0 && segments[i].address <= segments[i - 1].end())) {
            return "segments that are empty, touch or are out of order";
        }
    }
    if (dump.format == HexFormat::binary) { return {}; }
    for (const HexRead& again :
         {read_intel_hex(write_intel_hex(dump.read.memory)), read_s_records(write_s_records(dump.read.memory))}) {
        if (again.error_count != 0) { return "what was written has errors: " + again.errors[0].message; }
        if (!std::ranges::equal(again.memory.segments, segments, [](const Segment& a, const Segment& b) {
                return a.address == b.address && a.bytes == b.bytes;
            })) {
            return "what was written does not read as it was";
        }
    }
    return {};
}

std::string wrong_area(const InspectedArea& area) {
    uint64_t at = 0;
    for (const ByteRange& range : area.ranges) {
        if (range.offset != at || range.bytes == 0) { return "ranges that leave a gap or overlap"; }
        at += range.bytes;
    }
    if (at != area.bytes.size()) { return "ranges that do not add up to the area"; }
    for (const Damage& damage : area.damage) {
        const uint64_t from = uint64_t{damage.block} * area.shape.block_units + damage.unit;
        if (damage.units == 0 || from + damage.units > area.marks.size()) { return "damage beyond the area"; }
        if (damage.what.empty() || damage.why.empty()) { return "damage without words"; }
    }
    const std::vector<std::string> map = area_map(area.view(), area.ranges);
    if (map.size() != area.shape.blocks) { return "a map of another size"; }
    return {};
}

} // namespace

std::string try_inspect(std::span<const uint8_t> input, Answers* seen) {
    static const std::array<std::unique_ptr<Known>, 2> known{make_known(false), make_known(true)};
    const uint8_t how = input.empty() ? 0 : input.front();
    const std::string contents(input.begin() + (input.empty() ? 0 : 1), input.end());
    constexpr std::array<std::optional<HexFormat>, 4> formats{std::nullopt, HexFormat::intel_hex, HexFormat::s_records,
                                                              HexFormat::binary};
    const Expected& expected = known[(how >> 4U) & 1U]->expected;
    const uint64_t base = *expected.areas[0].place.address;
    const DumpFile dump =
        read_dump("dump", contents, formats[how & 3U], (how & 4U) != 0 ? std::optional(base) : std::nullopt);
    std::string wrong = wrong_file(dump, contents);
    InspectOptions options;
    options.gaps_are_blank = (how & 8U) != 0;
    options.tries_max = 500; // so that many inputs are tried
    const Inspection inspection = inspect(expected, dump, options);
    for (const InspectedArea& area : inspection.areas) {
        // A ring of another shape may be as large as its stamps say.
        if (wrong.empty()) { wrong = wrong_area(area); }
        if (seen == nullptr) { continue; }
        seen->insert(area.decoded.contents == Contents::ring      ? "ring"
                     : area.decoded.contents == Contents::foreign ? "foreign"
                                                                  : "nothing");
        for (const Damage& damage : area.damage) { seen->insert(std::string(name_of(damage.cause))); }
    }
    if (seen != nullptr && dump.read.error_count != 0) { seen->insert("errors"); }
    return wrong;
}

} // namespace perdure::fuzz
