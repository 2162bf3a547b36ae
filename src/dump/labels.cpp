// What each unit of an area is.
#include <algorithm>
#include <bit>

#include <fmt/format.h>

#include "dump/listing.hpp"

namespace perdure {
namespace {

constexpr size_t shown_bytes = 16; ///< of a payload without fields

uint64_t number_at(std::span<const uint8_t> bytes, size_t at, size_t count) {
    uint64_t value = 0;
    for (size_t i = count; i-- > 0;) { value = value << 8 | bytes[at + i]; }
    return value;
}

std::string hex(std::span<const uint8_t> bytes) {
    std::string out;
    for (const uint8_t byte : bytes.first(std::min(bytes.size(), shown_bytes))) {
        out += fmt::format("{}{:02X}", out.empty() ? "" : " ", byte);
    }
    return bytes.size() > shown_bytes ? fmt::format("{} .. ({} bytes)", out, bytes.size()) : out;
}

std::string field_text(const RecordLabel::Field& field, std::span<const uint8_t> bytes) {
    if (bytes.size() > 8) { return hex(bytes); }
    const uint64_t value = number_at(bytes, 0, bytes.size());
    if (field.is_float && bytes.size() == 4) {
        return fmt::format("{}", std::bit_cast<float>(static_cast<uint32_t>(value)));
    }
    if (field.is_float && bytes.size() == 8) { return fmt::format("{}", std::bit_cast<double>(value)); }
    if (!field.is_signed || bytes.empty()) { return fmt::format("{}", value); }
    const auto shift = static_cast<unsigned>(64 - 8 * bytes.size());
    return fmt::format("{}", static_cast<int64_t>(value << shift) >> shift);
}

/// `block:unit` of the unit from which a restart entry voids.
std::string voids_from(const DumpEntry& entry, const AreaShape& shape) {
    if (entry.from < 0) { return "all before it"; }
    const uint32_t block = (entry.block + shape.blocks - entry.back % shape.blocks) % shape.blocks;
    return fmt::format("from {}:{} on", block, entry.from_unit);
}

std::string mark_text(const DumpEntry& entry, const AreaShape& shape) {
    if (*entry.mark == 0) { return "done"; }
    if (*entry.mark == 0xFFFF) { return "a format has begun"; }
    if (*entry.mark >= shape.blocks) { return fmt::format("{} blocks back, which is no block", *entry.mark); }
    return fmt::format("block {} has been emptied, its erase may begin",
                       (entry.block + shape.blocks - *entry.mark) % shape.blocks);
}

/// `samples 12 to 14: t = 3; t = 4; t = 5`, or that the entry has none.
std::string samples_text(const DumpEntry& entry, const RecordLabels& labels) {
    const DumpLog& log = *entry.log;
    if (log.count == 0) { return fmt::format("no samples, {} comes next", log.number); }
    std::string out = log.count == 1 ? fmt::format("sample {}:", log.number)
                                     : fmt::format("samples {} to {}:", log.number, log.number + log.count - 1);
    const size_t bytes = entry.payload.size() / log.count;
    for (size_t i = 0; i < log.count; i++) {
        out += fmt::format("{}{}", i == 0 ? " " : "; ",
                           payload_text(*entry.id, entry.payload.subspan(i * bytes, bytes), labels));
    }
    return out;
}

/// `value`: what the record reads as once a short entry has been taken; empty if it does not count.
std::string entry_text(const DumpEntry& entry, const AreaShape& shape, const RecordLabels& labels,
                       std::span<const uint8_t> value) {
    if (entry.mark) { return mark_text(entry, shape); }
    std::string text;
    if (entry.restart) {
        text = fmt::format("{}restart, voids {}{}", entry.id ? "" : "lone ", voids_from(entry, shape),
                           entry.pending ? ", an erase is pending" : "");
        if (!entry.id) { return text; }
        text += "; ";
    }
    text += record_name(*entry.id, labels);
    if (entry.log) { return text + (entry.is_short ? ", short: " : ": ") + samples_text(entry, labels); }
    if (!entry.is_short) { return text + ": " + payload_text(*entry.id, entry.payload, labels); }
    if (value.empty()) { return text + ", short: low-order bits " + hex(entry.payload); }
    return text + ", short: " + payload_text(*entry.id, value, labels);
}

/// The stamp of a block, if its own check code is right; empty if it is not.
std::string stamp_text(const AreaView& view, uint32_t block) {
    const AreaShape& shape = view.shape;
    const size_t block_bytes = size_t{shape.block_units} * shape.unit_bytes;
    if (block_bytes < 16) { return {}; }
    const size_t first = size_t{block} * shape.block_units;
    for (size_t unit = first; !view.faulting.empty() && (unit - first) * shape.unit_bytes < 16; unit++) {
        if (view.faulting[unit] != 0) { return {}; }
    }
    const CheckFunction check = view.check != nullptr && shape.check_bits == 16 ? view.check : format_check(16);
    const std::span<const uint8_t> bytes = view.bytes.subspan(block * block_bytes, 16);
    if (number_at(bytes, 14, 2) != check(0xFFFF0000U, bytes.data(), 14) >> 16) { return {}; }
    std::string text = fmt::format("number {}, {} erase{}", number_at(bytes, 7, 4), number_at(bytes, 11, 3),
                                   number_at(bytes, 11, 3) == 1 ? "" : "s");
    if (bytes[0] != 0x10 + shape.check_bits / 8 || number_at(bytes, 1, 2) != shape.unit_bytes ||
        number_at(bytes, 3, 2) != shape.blocks || number_at(bytes, 5, 2) != shape.block_units) {
        text += fmt::format("; another shape: first byte 0x{:02X}, {} blocks of {} units of {} bytes", bytes[0],
                            number_at(bytes, 3, 2), number_at(bytes, 5, 2), number_at(bytes, 1, 2));
    }
    return text;
}

/// Blank, pad, or what has no other name, by the bytes alone.
UnitLabel raw_label(const AreaView& view, const Decoded& decoded, size_t unit) {
    const AreaShape& shape = view.shape;
    const std::span<const uint8_t> bytes = view.bytes.subspan(unit * shape.unit_bytes, shape.unit_bytes);
    const auto all = [&](uint8_t byte) {
        return std::all_of(bytes.begin(), bytes.end(), [&](uint8_t b) { return b == byte; });
    };
    if (!view.faulting.empty() && view.faulting[unit] != 0) { return {UnitKind::faulting, "fault", "cannot be read"}; }
    if (all(shape.blank)) { return {UnitKind::blank, "blank", ""}; }
    if (all(static_cast<uint8_t>(~shape.blank))) { return {UnitKind::pad, "pad", ""}; }
    const size_t block = unit / shape.block_units;
    const bool is_read = decoded.contents == Contents::ring && decoded.stamps[block].is_read;
    return is_read ? UnitLabel{UnitKind::bad, "bad", "no valid entry begins here"}
                   : UnitLabel{UnitKind::unread, "unread", ""};
}

/// The states of decoded.entries, in their order, and with `texts` what short ones make of their record.
struct Settled {
    std::vector<const char*> states;
    std::vector<std::vector<uint8_t>> values;
};

Settled settle_states(const Decoded& decoded, bool texts) {
    Settled out;
    std::map<uint32_t, std::vector<uint8_t>> values;
    std::map<uint32_t, size_t> newest;
    out.values.resize(decoded.entries.size());
    out.states.reserve(decoded.entries.size());
    for (size_t i = 0; i < decoded.entries.size(); i++) {
        const DumpEntry& entry = decoded.entries[i];
        out.states.push_back(entry.mark ? "mark" : entry.voided ? "void" : "stands");
        if (!entry.id || entry.voided) { continue; }
        if (entry.log) {
            if (entry.is_short && !newest.contains(*entry.id)) { continue; }
            newest[*entry.id] = i; // each stands: nothing of a log supersedes what was before
            continue;
        }
        if (!entry.is_short) {
            values[*entry.id].assign(entry.payload.begin(), entry.payload.end());
        } else if (const auto found = values.find(*entry.id); found != values.end()) {
            if (texts) {
                carry_up(found->second, entry);
                out.values[i] = found->second;
            }
        } else {
            continue; // nothing to carry up: it says nothing
        }
        const auto [last, first] = newest.try_emplace(*entry.id, i);
        if (!first) { out.states[last->second] = "superseded"; }
        last->second = i;
    }
    // A format was begun, or the newest full entry lies in a block whose erase may have begun.
    for (const auto& [id, i] : newest) {
        if (decoded.contents != Contents::ring || decoded.find(id) == nullptr) { out.states[i] = "not counted"; }
    }
    return out;
}

} // namespace

std::string record_name(uint32_t id, const RecordLabels& labels) {
    if (id == 0xFFFF) { return "blocks set aside"; }
    const auto found = labels.find(id);
    return found == labels.end() ? fmt::format("record {}", id) : fmt::format("'{}'", found->second.name);
}

std::string payload_text(uint32_t id, std::span<const uint8_t> payload, const RecordLabels& labels) {
    std::string out;
    size_t at = 0;
    if (id == 0xFFFF) {
        for (; at + 2 <= payload.size(); at += 2) {
            out += fmt::format("{}{}", at == 0 ? "" : ", ", number_at(payload, at, 2));
        }
        return out.empty() ? "none" : out;
    }
    const auto found = labels.find(id);
    if (found == labels.end() || found->second.fields.empty()) { return payload.empty() ? "nothing" : hex(payload); }
    for (const RecordLabel::Field& field : found->second.fields) {
        const bool stored = field.bytes <= payload.size() - at;
        out += fmt::format("{}{}{}", out.empty() ? "" : ", ", field.name,
                           stored ? " = " + field_text(field, payload.subspan(at, field.bytes)) : " not stored");
        at = stored ? at + field.bytes : payload.size();
    }
    return at < payload.size() ? out + ", and more: " + hex(payload.subspan(at)) : out;
}

std::vector<UnitLabel> label_units(const AreaView& view, const Decoded& decoded, const RecordLabels& labels,
                                   bool texts) {
    const AreaShape& shape = view.shape;
    std::vector<UnitLabel> out(size_t{shape.blocks} * shape.block_units);
    std::vector<uint8_t> named(out.size()); // by unit: it is part of a stamp or an entry
    const auto put = [&](uint32_t block, uint32_t unit, size_t units, UnitLabel label) {
        const size_t at = size_t{block} * shape.block_units + unit;
        out[at] = std::move(label);
        named[at] = 1;
        for (size_t i = 1; i < units; i++) {
            out[at + i] = {UnitKind::more, "", ""};
            named[at + i] = 1;
        }
    };
    for (uint32_t block = 0; block < shape.blocks; block++) {
        std::string text = stamp_text(view, block);
        const size_t units = (16 + shape.unit_bytes - 1) / shape.unit_bytes;
        if (!text.empty()) { put(block, 0, units, {UnitKind::stamp, "stamp", std::move(text)}); }
    }
    const Settled settled = settle_states(decoded, texts);
    for (size_t i = 0; i < decoded.entries.size(); i++) {
        const DumpEntry& entry = decoded.entries[i];
        put(entry.block, entry.unit, entry.units,
            {UnitKind::entry, settled.states[i],
             texts ? entry_text(entry, shape, labels, settled.values[i]) : std::string()});
    }
    for (const DumpEntry& entry : decoded.doubted) {
        put(entry.block, entry.unit, entry.units,
            {UnitKind::entry, "doubted", texts ? entry_text(entry, shape, labels, {}) : std::string()});
    }
    for (size_t unit = 0; unit < out.size(); unit++) {
        if (named[unit] == 0) { out[unit] = raw_label(view, decoded, unit); }
    }
    return out;
}

} // namespace perdure
