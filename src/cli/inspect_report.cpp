#include "cli/inspect_report.hpp"

#include <algorithm>
#include <map>
#include <ostream>

#include <fmt/format.h>

#include "cli/files.hpp"
#include "cli/text.hpp"

namespace perdure {
namespace {

constexpr size_t name_columns = 18;

/// A name in its column, then words that go on under each other.
void line(std::ostream& out, std::string_view name, std::string_view words) {
    const std::string head = fmt::format("  {:<{}}", name, name_columns);
    out << head << wrapped(words, name_columns + 2, head.size()) << '\n';
}

std::string field_text(const Field& field, const std::string& value) {
    return fmt::format("{} = {}{}{}", field.name, value, field.unit.empty() ? "" : " ", field.unit);
}

/// A log: how many samples, of which numbers, and whether some are missing between them.
std::string log_text(const InspectedRecord& record) {
    if (record.samples.empty()) { return fmt::format("no samples; the next one is number {}", *record.log_next); }
    size_t gaps = 0;
    for (size_t i = 1; i < record.samples.size(); i++) {
        gaps += record.samples[i].number != record.samples[i - 1].number + 1 ? 1 : 0;
    }
    return fmt::format(
        "{} samples, numbers {} to {}, {} gaps between them; the next one is {} (--logs DIR writes them)",
        with_groups(record.samples.size()), record.samples.front().number, record.samples.back().number, gaps,
        *record.log_next);
}

void print_record(const InspectedRecord& record, const InspectedArea& area, std::ostream& out) {
    std::string name = record.record != nullptr ? record.record->name : record_name(record.id, {});
    const auto say = [&](std::string_view words) {
        line(out, name, words);
        name.clear();
    };
    const bool refused = record.load_refuses();
    if (refused) {
        say(fmt::format("{}: the emitted load refuses it (if_lost = \"refuse\"), no default stands in for it",
                        record.may_be_old.empty() ? "nothing stored" : "not in what could be read"));
    } else if (!record.stored && !record.may_be_old.empty()) {
        say("not in what could be read; the firmware's default:");
    } else if (!record.stored) {
        say(record.record != nullptr && record.record->log ? "nothing stored"
                                                           : "nothing stored; the firmware's own defaults are in use:");
    } else if (record.record == nullptr && !record.log_next) {
        say(payload_text(record.id, record.payload, {}));
    }
    const bool is_log = record.log_next || (record.record != nullptr && record.record->log);
    if (record.log_next) { say(log_text(record)); }
    if (is_log && !record.log_next && record.stored) {
        say("a log kept as one value: " + payload_text(record.id, record.payload, {}));
    }
    for (size_t i = 0; !is_log && !refused && record.record != nullptr && i < record.record->fields.size(); i++) {
        const Field& field = record.record->fields[i];
        if (i < record.values.size()) {
            say(field_text(field, show_value(record.values[i])));
        } else {
            say(field_text(field, show_value(default_of(field))) + (record.stored ? " (not stored: the default)" : ""));
        }
    }
    if (!record.differs.empty()) { say(record.differs); }
    if (!record.may_be_old.empty()) { say("NOT SURE: damage at " + record.may_be_old); }
    if (record.newest) {
        say(fmt::format("newest entry at {}:{} (byte 0x{:X} of the area), {} in the ring", record.newest->block,
                        record.newest->unit, record.newest->offset, record.history.size()));
    } else if (record.stored && !area.decoded.entries.empty()) {
        say(fmt::format("{} entries in the ring", record.history.size()));
    }
}

void print_history(const InspectedArea& area, uint64_t most, std::ostream& out) {
    if (most == 0) { return; }
    out << "\nhistory, the newest last (block:unit, state; --history N shows more)\n";
    for (const InspectedRecord& record : area.records) {
        const size_t from = record.history.size() - std::min<size_t>(record.history.size(), most);
        if (from != 0) {
            line(out, "",
                 fmt::format("{} older {} of {} left out", from, from == 1 ? "entry" : "entries",
                             record_name(record.id, area.expected->labels)));
        }
        for (size_t i = from; i < record.history.size(); i++) {
            const HistoryEntry& entry = record.history[i];
            line(out, fmt::format("{}:{}", entry.block, entry.unit), fmt::format("{}: {}", entry.state, entry.text));
        }
    }
}

std::string years_text(double years) {
    return years < 1000 ? fmt::format("{:.3g}", years) : with_groups(static_cast<uint64_t>(std::min(years, 1e15)));
}

void print_wear(const InspectedArea& area, const Product& product, std::ostream& out) {
    const Wear& wear = area.wear;
    out << "\nwear\n";
    if (wear.known == 0) {
        line(out, "", "no block's stamp can be read, so its erases are not known");
        return;
    }
    constexpr size_t shown_max = 16;
    for (size_t block = 0; block < std::min(wear.erases.size(), shown_max); block++) {
        line(out, fmt::format("block {}", block),
             wear.erases[block] ? fmt::format("{:>9} erases", with_groups(*wear.erases[block])) : "not known");
    }
    if (wear.erases.size() > shown_max) {
        line(out, "",
             fmt::format("and {} blocks more; {} to {} erases over all, {:.1f} on average",
                         wear.erases.size() - shown_max, wear.least, wear.most, wear.mean));
    }
    const auto to = [](double left) {
        return left < 0 ? fmt::format("{} beyond", with_groups(static_cast<uint64_t>(-left)))
                        : with_groups(static_cast<uint64_t>(left));
    };
    line(out, "left",
         fmt::format("{} of the {} erases that the part is good for; {} of the {} that the project allows",
                     to(wear.left_rated), with_groups(static_cast<uint64_t>(area.expected->endurance)),
                     to(wear.left_allowed), with_groups(static_cast<uint64_t>(area.expected->erases_allowed))));
    if (wear.years_left_seen) {
        line(out, "",
             fmt::format("{} years at the rate seen: it {} its life of {:.4g} years", years_text(*wear.years_left_seen),
                         *wear.reaches_life ? "reaches" : "DOES NOT REACH", product.life_years));
    } else if (!wear.reaches_life) {
        line(out, "", "the rate is not known without --age, such as --age 3.5 for years in use");
    }
    if (wear.years_left_budgeted) {
        line(out, "", fmt::format("{} years at the rate of the budget", years_text(*wear.years_left_budgeted)));
    }
}

void print_damage(const InspectedArea& area, std::ostream& out) {
    out << "\ndamage\n";
    if (area.damage.empty()) { line(out, "none", ""); }
    constexpr size_t shown_max = 12; // of each cause; --json has them all
    std::map<Cause, size_t> seen;
    for (const Damage& damage : area.damage) {
        if (++seen[damage.cause] > shown_max) { continue; }
        line(out, name_of(damage.cause),
             fmt::format("{} at {}:{}{}: {}", damage.what, damage.block, damage.unit,
                         damage.harmless ? ", harmless" : "", damage.why));
    }
    for (const auto& [cause, count] : seen) {
        if (count > shown_max) {
            line(out, name_of(cause), fmt::format("{} places more (--json lists them)", count - shown_max));
        }
    }
}

void print_bytes(const InspectedArea& area, std::ostream& out) {
    out << "\nmap\n";
    const std::vector<std::string> lines = area_map(area.view(), area.ranges);
    constexpr size_t shown_max = 64;
    for (size_t block = 0; block < std::min(lines.size(), shown_max); block++) {
        out << fmt::format("  {:>5}  {}\n", block, lines[block]);
    }
    if (lines.size() > shown_max) {
        out << fmt::format("  and {} blocks more (--json has them)\n", lines.size() - shown_max);
    }
    out << "  " << wrapped(map_legend(), 2, 2) << "\n\nbytes\n";
    const std::array<uint64_t, byte_kind_count> totals = byte_totals(area.ranges);
    uint64_t sum = 0;
    for (size_t i = 0; i < totals.size(); i++) {
        sum += totals[i];
        if (totals[i] == 0) { continue; }
        out << fmt::format("  {:<{}}{:>12}\n", name_of(static_cast<ByteKind>(i)), name_columns, with_groups(totals[i]));
    }
    out << fmt::format("  {:<{}}{:>12}\n", "all", name_columns, with_groups(sum));
}

std::string state_of(const Decoded& decoded) {
    if (decoded.contents == Contents::nothing) { return "nothing stored: blank, or a format that did not end"; }
    if (decoded.contents == Contents::foreign) { return "no ring of this shape"; }
    return fmt::format("head is block {}, number {}; {} blank block{} behind it; {}", decoded.head, decoded.sequence,
                       decoded.blanks, decoded.blanks == 1 ? "" : "s",
                       decoded.pending ? fmt::format("the erase of block {} may be unfinished", *decoded.pending)
                                       : "no erase is pending");
}

void print_area(const InspectedArea& area, const DumpFile& dump, const Product& product, const InspectShown& shown,
                std::ostream& out) {
    const std::string at =
        dump.addressed ? fmt::format("{}0x{:08X}", area.begin < 0 ? "-" : "", area.begin < 0 ? -area.begin : area.begin)
        : area.begin < 0 ? fmt::format("{} bytes before the dump", -area.begin)
                         : fmt::format("byte 0x{:X} of the dump", area.begin);
    out << '\n'
        << wrapped(fmt::format("area {} at {}: {} blocks of {} units of {} B, check code of {} bits",
                               area.expected->name, at, area.shape.blocks, area.shape.block_units,
                               area.shape.unit_bytes, area.shape.check_bits),
                   2, 0)
        << '\n';
    out << "  " << wrapped(state_of(area.decoded), 2, 2) << '\n';
    for (const std::string& note : area.notes) { out << "  " << wrapped("note: " + note, 2, 2) << '\n'; }
    out << "\nrecords\n";
    for (const InspectedRecord& record : area.records) { print_record(record, area, out); }
    print_history(area, shown.history_max, out);
    print_wear(area, product, out);
    print_damage(area, out);
    print_bytes(area, out);
    if (shown.listing) { out << "\nlisting\n" << listing(area.view(), area.expected->labels); }
}

/// Where in flash the dump begins, and what that rests on.
std::string first_byte_text(const Expected& expected, const DumpFile& dump, const DumpPlace& place) {
    const auto first = static_cast<int64_t>(dump.read.memory.segments.front().address);
    const AreaPlace& area = expected.areas.front().place;
    const auto address = [&](int64_t origin) {
        const int64_t offset = first - origin;
        const int64_t shown = area.address ? static_cast<int64_t>(*area.address - area.offset) + offset : offset;
        return fmt::format("{}0x{:08X}", shown < 0 ? "-" : "", shown < 0 ? -shown : shown);
    };
    std::string out = fmt::format("its first byte is {}{}, {}: {}", address(place.origin),
                                  area.address ? "" : " from the start of flash", place.first_byte, place.why);
    if (place.shifted()) {
        out += fmt::format(", where {} {}", dump.format == HexFormat::binary ? "--base says" : "its addresses say",
                           address(*place.told));
    }
    if (place.misplaced) { out += "; a firmware looks for its areas where the project says, and finds none there"; }
    return out;
}

} // namespace

void print_inspection(const Expected& expected, const DumpFile& dump, const Inspection& inspection,
                      const InspectShown& shown, std::ostream& out) {
    const bool holds = inspection.holds() && dump.read.error_count == 0;
    out << fmt::format("{}: {}\n", expected.project->product.name, holds ? "in order" : "NOT IN ORDER, see below");
    out << fmt::format("  dump {} ({})\n", dump.name, name_of(dump.format));
    out << fmt::format("  {} bytes, {} of them outside the project's area{}\n", with_groups(inspection.dump_bytes),
                       with_groups(inspection.outside_bytes), inspection.areas.size() == 1 ? "" : "s");
    const DumpPlace& place = inspection.place;
    if (!place.as_expected || dump.format == HexFormat::binary) {
        out << "  " << wrapped(first_byte_text(expected, dump, place), 2, 2) << '\n';
    }
    if (dump.read.error_count != 0) {
        out << fmt::format("  {} line{} of the file cannot be read (said above); what they held is missing\n",
                           dump.read.error_count, dump.read.error_count == 1 ? "" : "s");
    }
    for (const InspectedArea& area : inspection.areas) {
        print_area(area, dump, expected.project->product, shown, out);
    }
}

} // namespace perdure
