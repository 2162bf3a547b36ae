#include "dump/listing.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure {
namespace {

constexpr uint32_t shown_bytes = 8; ///< of a unit in a line

uint32_t number_at(std::span<const uint8_t> bytes, size_t at, size_t count) {
    uint32_t value = 0;
    for (size_t i = count; i-- > 0;) { value = value << 8 | bytes[at + i]; }
    return value;
}

std::string hex(std::span<const uint8_t> bytes, size_t most) {
    std::string out;
    for (size_t i = 0; i < bytes.size() && i < most; i++) {
        out += fmt::format("{}{:02X}", i == 0 ? "" : " ", bytes[i]);
    }
    return bytes.size() > most ? out + " .." : out;
}

std::string record_name(uint32_t id, const RecordLabels& labels) {
    if (id == 0xFFFF) { return "list of blocks set aside"; }
    const auto found = labels.find(id);
    return found == labels.end() ? fmt::format("record {}", id) : fmt::format("'{}'", found->second.name);
}

std::string entry_text(const DumpEntry& entry, const AreaShape& shape, const RecordLabels& labels) {
    std::string text;
    if (entry.mark) {
        if (*entry.mark == 0) { return "mark: done"; }
        if (*entry.mark == 0xFFFF) { return "mark: a format has begun"; }
        if (*entry.mark >= shape.blocks) { return fmt::format("mark: {} blocks back, which is no block", *entry.mark); }
        return fmt::format("mark: block {} is emptied, its erase may begin",
                           (entry.block + shape.blocks - *entry.mark) % shape.blocks);
    }
    if (entry.restart) {
        text = fmt::format("restart, voids from unit {}, {} blocks back{}", entry.from_unit, entry.back,
                           entry.pending ? ", an erase is pending" : "");
        if (!entry.id) { return text + "; no record"; }
        text += "; ";
    }
    text += fmt::format("{} {}", record_name(*entry.id, labels),
                        entry.is_short ? "short: low-order bits " + hex(entry.payload, shown_bytes)
                                       : payload_text(*entry.id, entry.payload, labels));
    return entry.voided ? "VOID: " + text : text;
}

/// The stamp of a block as text; empty if its check code is wrong.
std::string stamp_text(const AreaView& view, uint32_t block, const std::vector<uint8_t>& faulting) {
    const AreaShape& shape = view.shape;
    const size_t at = size_t{block} * shape.block_units * shape.unit_bytes;
    for (size_t unit = at / shape.unit_bytes; unit * shape.unit_bytes < at + 16; unit++) {
        if (!faulting.empty() && faulting[unit] != 0) { return {}; }
    }
    const CheckFunction check = view.check != nullptr && shape.check_bits == 16 ? view.check : format_check(16);
    const std::span<const uint8_t> bytes = view.bytes.subspan(at, 16);
    if (number_at(bytes, 14, 2) != check(0xFFFF0000U, bytes.data(), 14) >> 16) { return {}; }
    return fmt::format("stamp: number {}, {} erases{}", number_at(bytes, 7, 4), number_at(bytes, 11, 3),
                       number_at(bytes, 1, 2) == shape.unit_bytes && number_at(bytes, 3, 2) == shape.blocks &&
                               number_at(bytes, 5, 2) == shape.block_units
                           ? ""
                           : fmt::format("; FOREIGN: {} blocks of {} units of {} bytes", number_at(bytes, 3, 2),
                                         number_at(bytes, 5, 2), number_at(bytes, 1, 2)));
}

std::string summary(const AreaView& view, const Decoded& decoded, const RecordLabels& labels) {
    if (decoded.contents == Contents::nothing) { return "nothing stored: blank, or a format that did not end\n"; }
    if (decoded.contents == Contents::foreign) { return "something else than a ring of this shape\n"; }
    std::string out =
        fmt::format("head: block {}, number {}; {} entries void, {} not believed behind a gap{}\n", decoded.head,
                    decoded.sequence, decoded.voided, decoded.doubted.size(),
                    decoded.pending ? fmt::format("; the erase of block {} may be unfinished", *decoded.pending) : "");
    for (const DumpRecord& record : decoded.records) {
        if (!record.present) { continue; }
        out += fmt::format("  {:<28}{}\n", record_name(record.id, labels),
                           payload_text(record.id, record.payload, labels));
    }
    (void)view;
    return out;
}

} // namespace

std::string payload_text(uint32_t id, std::span<const uint8_t> payload, const RecordLabels& labels) {
    const auto found = labels.find(id);
    if (found == labels.end() || found->second.fields.empty()) { return hex(payload, 16); }
    std::string out;
    size_t at = 0;
    for (const RecordLabel::Field& field : found->second.fields) {
        if (at + field.bytes > payload.size()) { break; }
        const std::span<const uint8_t> bytes = payload.subspan(at, field.bytes);
        at += field.bytes;
        out += fmt::format("{}{} ", out.empty() ? "" : ", ", field.name);
        if (field.bytes > 8) {
            out += hex(bytes, shown_bytes);
            continue;
        }
        uint64_t value = 0;
        for (size_t i = bytes.size(); i-- > 0;) { value = value << 8 | bytes[i]; }
        if (field.is_signed && field.bytes < 8 && (value >> (8 * field.bytes - 1) & 1) != 0) {
            value |= ~uint64_t{0} << (8 * field.bytes);
        }
        out += field.is_signed ? fmt::format("{}", static_cast<int64_t>(value)) : fmt::format("{}", value);
    }
    if (at < payload.size()) { out += ", and " + hex(payload.subspan(at), shown_bytes); }
    return out;
}

std::vector<UnitLabel> label_units(const AreaView& view, const Decoded& decoded, const RecordLabels& labels) {
    const AreaShape& shape = view.shape;
    std::vector<UnitLabel> out(size_t{shape.blocks} * shape.block_units);
    const std::vector<uint8_t> faulting(view.faulting.begin(), view.faulting.end());
    for (size_t unit = 0; unit < out.size(); unit++) {
        const std::span<const uint8_t> bytes = view.bytes.subspan(unit * shape.unit_bytes, shape.unit_bytes);
        const auto all = [&](uint8_t byte) {
            return std::all_of(bytes.begin(), bytes.end(), [&](uint8_t b) { return b == byte; });
        };
        if (!faulting.empty() && faulting[unit] != 0) {
            out[unit].text = "FAULT: cannot be read";
        } else if (all(shape.blank)) {
            out[unit].blank = true;
        } else {
            out[unit].text = all(static_cast<uint8_t>(~shape.blank)) ? "pad" : "no valid entry";
        }
    }
    const uint32_t stamp_units = (16 + shape.unit_bytes - 1) / shape.unit_bytes;
    const auto put = [&](size_t unit, size_t units, std::string text) {
        for (size_t i = 0; i < units; i++) { out[unit + i] = {i == 0 ? std::move(text) : "", false, i != 0}; }
    };
    for (uint32_t block = 0; block < shape.blocks; block++) {
        std::string text = stamp_text(view, block, faulting);
        if (!text.empty()) { put(size_t{block} * shape.block_units, stamp_units, std::move(text)); }
    }
    for (const DumpEntry& entry : decoded.entries) {
        put(size_t{entry.block} * shape.block_units + entry.unit, entry.units, entry_text(entry, shape, labels));
    }
    return out;
}

std::string listing(const AreaView& view, const RecordLabels& labels, std::span<const uint8_t> before) {
    const AreaShape& shape = view.shape;
    const Decoded decoded = decode(view);
    const std::vector<UnitLabel> units = label_units(view, decoded, labels);
    std::string out = summary(view, decoded, labels);
    const auto bytes_of = [&](std::span<const uint8_t> image, size_t unit) {
        return image.subspan(unit * shape.unit_bytes, shape.unit_bytes);
    };
    const auto changed = [&](size_t unit) {
        return !before.empty() && !std::ranges::equal(bytes_of(before, unit), bytes_of(view.bytes, unit));
    };
    for (uint32_t block = 0; block < shape.blocks; block++) {
        const size_t first = size_t{block} * shape.block_units;
        bool any = before.empty();
        for (size_t unit = first; unit < first + shape.block_units; unit++) { any = any || changed(unit); }
        out += fmt::format("block {}{}\n", block, any ? "" : ": as before");
        for (size_t unit = first; any && unit < first + shape.block_units;) {
            size_t end = unit;
            while (end < first + shape.block_units && units[end].blank && !changed(end)) { end++; }
            if (end > unit) {
                out += fmt::format("   {:>6}  {}\n", unit - first,
                                   end - unit == 1 ? "blank" : fmt::format("blank, and the next {}", end - unit - 1));
                unit = end;
                continue;
            }
            out += fmt::format(" {} {:>6}  {:<{}}  {}\n", changed(unit) ? '*' : ' ', unit - first,
                               hex(bytes_of(view.bytes, unit), shown_bytes),
                               std::min(shape.unit_bytes, shown_bytes) * 3 + 2,
                               units[unit].blank ? "blank" : units[unit].text);
            const std::span<const uint8_t> old = before.empty() ? before : bytes_of(before, unit);
            if (changed(unit) && !std::ranges::all_of(old, [&](uint8_t byte) { return byte == shape.blank; })) {
                out += fmt::format("     was:  {}\n", hex(bytes_of(before, unit), shown_bytes));
            }
            unit++;
        }
    }
    // No line ends in blanks.
    for (size_t at = out.find(" \n"); at != std::string::npos; at = out.find(" \n")) { out.erase(at, 1); }
    return out;
}

} // namespace perdure
