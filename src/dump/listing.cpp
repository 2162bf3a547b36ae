// The layout of a listing: columns, runs, and what is left out.
#include "dump/listing.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure {
namespace {

constexpr size_t columns = 80;
constexpr size_t row_bytes = 8;
constexpr size_t near_units = 3; ///< shown before and behind a unit that has changed

/// Text in lines of at most `width` characters, broken between words where they allow it. At least one line.
std::vector<std::string> wrapped(std::string_view text, size_t width) {
    std::vector<std::string> lines;
    while (text.size() > width) {
        size_t at = text.rfind(' ', width);
        if (at == std::string_view::npos || at == 0) { at = text.find(' ', 1); }
        if (at == std::string_view::npos) { break; }
        lines.emplace_back(text.substr(0, at));
        text.remove_prefix(at + 1);
    }
    lines.emplace_back(text);
    return lines;
}

std::string counted(size_t count, std::string_view one, std::string_view many) {
    return fmt::format("{} {}", count, count == 1 ? one : many);
}

/// A name in a column, then its text, wrapped.
std::string named_lines(std::string_view name, std::string_view text) {
    constexpr size_t indent = 2;
    constexpr size_t name_columns = 24;
    std::string out;
    for (const std::string& line : wrapped(text, columns - indent - name_columns)) {
        out += fmt::format("{:{}}{:<{}}{}\n", "", indent, out.empty() ? name : "", name_columns - 1, " " + line);
    }
    return out;
}

std::string summary(const Decoded& decoded, const RecordLabels& labels) {
    if (decoded.contents == Contents::nothing) { return "nothing stored: blank, or a format that did not end\n"; }
    if (decoded.contents == Contents::foreign) { return "something else than a ring of this shape\n"; }
    std::string head = fmt::format("head: block {}, number {}; {} behind it; ", decoded.head, decoded.sequence,
                                   counted(decoded.blanks, "blank block", "blank blocks"));
    head += decoded.pending ? fmt::format("the erase of block {} may be unfinished", *decoded.pending)
                            : "no erase is pending";
    std::string out = fmt::format("{}\n", fmt::join(wrapped(head, columns), "\n  "));
    out += fmt::format("{}, {} void; {} not believed behind a gap\n",
                       counted(decoded.entries.size(), "entry", "entries"), decoded.voided, decoded.doubted.size());
    std::map<uint32_t, const std::vector<uint8_t>*> values;
    for (const auto& [id, label] : labels) { values[id] = nullptr; }
    for (const DumpRecord& record : decoded.records) {
        if (record.present) { values[record.id] = &record.payload; }
    }
    for (const auto& [id, value] : values) {
        out += named_lines(record_name(id, labels), value ? payload_text(id, *value, labels) : "nothing stored");
    }
    return out;
}

/// What a block is, for its headline.
std::string block_text(const Decoded& decoded, uint32_t block) {
    if (decoded.contents != Contents::ring) { return ""; }
    const DumpStamp& stamp = decoded.stamps[block];
    const auto blocks = static_cast<uint32_t>(decoded.stamps.size());
    const uint32_t steps = (decoded.head + blocks - block) % blocks;
    std::string text = block == decoded.head      ? ": the head"
                       : stamp.is_read            ? fmt::format(": read, under number {}", decoded.sequence - steps)
                       : decoded.set_aside(block) ? ""
                       : stamp.counts && stamp.number == decoded.sequence + blocks - steps
                           ? fmt::format(": waits erased for number {}", stamp.number)
                           : ": not read";
    if (decoded.set_aside(block)) { text += text.empty() ? ": set aside" : ", set aside"; }
    if (!stamp.counts) { text += ", its stamp is lost"; }
    return decoded.pending == block ? text + ", its erase may be unfinished" : text;
}

/// Writes the units of an area, line by line.
struct Lister {
    const AreaView& view;
    std::span<const uint8_t> before; ///< empty, or an image of the same size
    std::vector<UnitLabel> labels;
    size_t place_columns = 0;
    size_t address_digits = 0;
    std::string out;

    [[nodiscard]] std::span<const uint8_t> bytes_of(std::span<const uint8_t> image, size_t unit) const {
        return image.subspan(unit * view.shape.unit_bytes, view.shape.unit_bytes);
    }
    [[nodiscard]] bool changed(size_t unit) const {
        return !before.empty() && !std::ranges::equal(bytes_of(before, unit), bytes_of(view.bytes, unit));
    }
    /// Is the unit, or one a few units from it in the same block, changed?
    [[nodiscard]] bool shown(size_t unit) const {
        const size_t block_begin = unit - unit % view.shape.block_units;
        const size_t begin = std::max(block_begin + near_units, unit) - near_units;
        const size_t end = std::min(block_begin + view.shape.block_units, unit + near_units + 1);
        for (size_t i = begin; i < end; i++) {
            if (changed(i)) { return true; }
        }
        return before.empty();
    }
    [[nodiscard]] std::string place(size_t unit) const {
        return fmt::format("{}:{}", unit / view.shape.block_units, unit % view.shape.block_units);
    }
    /// Rows of hex bytes; rows of blank bytes only, at the end, are left out.
    [[nodiscard]] std::vector<std::string> rows(std::span<const uint8_t> bytes) const {
        std::vector<std::string> lines;
        size_t end = bytes.size();
        while (end > 0 && bytes[end - 1] == view.shape.blank) { end--; }
        for (size_t at = 0; at < std::max(end, size_t{1}); at += row_bytes) {
            std::string line;
            for (size_t i = at; i < std::min(at + row_bytes, bytes.size()); i++) {
                line += fmt::format("{}{:02X}", i == at ? "" : " ", bytes[i]);
            }
            lines.push_back(std::move(line));
        }
        return lines;
    }

    void line(char mark, std::string_view place_text, std::string_view address, std::string_view hex,
              std::string_view text) {
        const size_t hex_columns = std::min<size_t>(view.shape.unit_bytes, row_bytes) * 3 - 1;
        std::string whole = fmt::format("{} {:<{}}  {:<{}}  {:<{}}  {}", mark, place_text, place_columns, address,
                                        address_digits + 2, hex, hex_columns, text);
        whole.erase(whole.find_last_not_of(' ') + 1);
        out += whole + "\n";
    }
    void unit_lines(char mark, size_t unit, std::string_view state, std::string_view text,
                    const std::vector<std::string>& hex) {
        const size_t hex_columns = std::min<size_t>(view.shape.unit_bytes, row_bytes) * 3 - 1;
        constexpr size_t state_columns = 12;
        const size_t used = 2 + place_columns + 2 + address_digits + 2 + 2 + hex_columns + 2 + state_columns;
        const std::vector<std::string> texts = wrapped(text, columns - used);
        for (size_t i = 0; i < std::max(hex.size(), texts.size()); i++) {
            const std::string address =
                i == 0 ? fmt::format("0x{:0{}X}", unit * view.shape.unit_bytes, address_digits) : "";
            line(i == 0 ? mark : ' ', i == 0 ? place(unit) : "", address, i < hex.size() ? hex[i] : "",
                 fmt::format("{:<{}}{}", i == 0 ? state : "", state_columns, i < texts.size() ? texts[i] : ""));
        }
    }
    /// The units from `unit` on that one line can stand for.
    [[nodiscard]] size_t run(size_t unit, size_t end) const {
        const UnitKind kind = labels[unit].kind;
        size_t next = unit + 1;
        if (!shown(unit)) {
            while (next < end && !shown(next)) { next++; }
        } else if ((kind == UnitKind::blank || kind == UnitKind::pad) && !changed(unit)) {
            while (next < end && labels[next].kind == kind && !changed(next) && shown(next)) { next++; }
        } else if (kind == UnitKind::blank || kind == UnitKind::pad) {
            while (next < end && labels[next].kind == kind && changed(next) &&
                   std::ranges::equal(bytes_of(before, unit), bytes_of(before, next))) {
                next++;
            }
        }
        return next - unit;
    }
    void block(uint32_t number) {
        const size_t end = size_t{number + 1} * view.shape.block_units;
        for (size_t unit = size_t{number} * view.shape.block_units; unit < end;) {
            const UnitLabel& label = labels[unit];
            const size_t units = run(unit, end);
            if (!shown(unit)) {
                line(' ', "..", "", "", fmt::format("{} as before", counted(units, "unit", "units")));
            } else {
                const std::string text =
                    units > 1 ? fmt::format("{} units, to {}", units, place(unit + units - 1)) : label.text;
                unit_lines(changed(unit) ? '*' : ' ', unit, label.kind == UnitKind::more ? "|" : label.state, text,
                           label.kind == UnitKind::blank ? std::vector<std::string>{}
                                                         : rows(bytes_of(view.bytes, unit)));
                const auto is_blank = [&](uint8_t byte) { return byte == view.shape.blank; };
                if (changed(unit) && !std::ranges::all_of(bytes_of(before, unit), is_blank)) {
                    for (const std::string& hex : rows(bytes_of(before, unit))) { line(' ', "was", "", hex, ""); }
                }
            }
            unit += units;
        }
    }
};

} // namespace

std::string listing(const AreaView& view, const RecordLabels& labels, std::span<const uint8_t> before) {
    const AreaShape& shape = view.shape;
    const Decoded decoded = decode(view);
    if (before.size() != view.bytes.size()) { before = {}; }
    Lister lister{view, before, label_units(view, decoded, labels), 0, 0, summary(decoded, labels)};
    lister.place_columns = std::max<size_t>(lister.place(lister.labels.size() - 1).size(), 3);
    lister.address_digits = fmt::format("{:X}", view.bytes.size() - 1).size();
    for (uint32_t block = 0; block < shape.blocks; block++) {
        bool any = before.empty();
        for (size_t i = 0; i < shape.block_units; i++) {
            any = any || lister.changed(size_t{block} * shape.block_units + i);
        }
        lister.out += fmt::format("\nblock {}{}{}\n", block, block_text(decoded, block), any ? "" : "; as before");
        if (any) { lister.block(block); }
    }
    return lister.out;
}

} // namespace perdure
