// What each unit of an area is.
#include <algorithm>
#include <array>
#include <bit>
#include <cstring>

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

/// Is there a stamp at the block's beginning, right by its own check code, of whichever shape?
bool has_stamp(const AreaView& view, uint32_t block) {
    const AreaShape& shape = view.shape;
    const size_t block_bytes = size_t{shape.block_units} * shape.unit_bytes;
    if (block_bytes < 16) { return false; }
    const size_t first = size_t{block} * shape.block_units;
    for (size_t unit = first; !view.faulting.empty() && (unit - first) * shape.unit_bytes < 16; unit++) {
        if (view.faulting[unit] != 0) { return false; }
    }
    const CheckFunction check = view.check != nullptr && shape.check_bits == 16 ? view.check : format_check(16);
    const std::span<const uint8_t> bytes = view.bytes.subspan(block * block_bytes, 16);
    return number_at(bytes, 14, 2) == check(0xFFFF0000U, bytes.data(), 14) >> 16;
}

std::string stamp_text(const AreaView& view, uint32_t block) {
    const AreaShape& shape = view.shape;
    const std::span<const uint8_t> bytes = view.bytes.subspan(size_t{block} * shape.block_units * shape.unit_bytes, 16);
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
UnitKind raw_kind(const AreaView& view, const Decoded& decoded, size_t unit) {
    const AreaShape& shape = view.shape;
    if (!view.faulting.empty() && view.faulting[unit] != 0) { return UnitKind::faulting; }
    const std::span<const uint8_t> bytes = view.bytes.subspan(unit * shape.unit_bytes, shape.unit_bytes);
    const auto all = [&](uint8_t byte) {
        return bytes[0] == byte && std::memcmp(bytes.data(), bytes.data() + 1, bytes.size() - 1) == 0;
    };
    if (all(shape.blank)) { return UnitKind::blank; }
    if (all(static_cast<uint8_t>(~shape.blank))) { return UnitKind::pad; }
    const bool is_read = decoded.contents == Contents::ring && decoded.stamps[unit / shape.block_units].is_read;
    return is_read ? UnitKind::bad : UnitKind::unread;
}

/// The newest entry of each record that says something, as far as has been looked.
class NewestEntries {
public:
    static constexpr size_t none = SIZE_MAX;

    size_t& of(uint32_t id) {
        if (id != last_id_) {
            last_ = &places_.try_emplace(id, none).first->second;
            last_id_ = id;
        }
        return *last_;
    }
    [[nodiscard]] const std::map<uint32_t, size_t>& all() const { return places_; }

private:
    std::map<uint32_t, size_t> places_; ///< among the entries, by id
    uint32_t last_id_ = 0;              // none has it
    size_t* last_ = nullptr;
};

/// Tells of each entry's place what stands there; some are told twice, and the last counts.
template <typename Tell> void tell_states(const Decoded& decoded, Tell tell) {
    NewestEntries newest;
    for (size_t i = 0; i < decoded.entries.size(); i++) {
        const DumpEntry& entry = decoded.entries[i];
        if (!entry.id || entry.voided) {
            tell(i, entry.mark ? UnitState::mark : entry.voided ? UnitState::voided : UnitState::stands);
            continue;
        }
        size_t& before = newest.of(*entry.id);
        const bool alone = before == NewestEntries::none && entry.is_short; // nothing to carry up: it says nothing
        tell(i, alone || entry.log ? UnitState::stands : UnitState::superseded);
        if (alone) { continue; }
        // A log supersedes nothing.
        if (entry.log && before != NewestEntries::none) { tell(before, UnitState::stands); }
        before = i;
    }
    // A format was begun, or the newest full entry lies in a block whose erase may have begun.
    for (const auto& [id, place] : newest.all()) {
        if (place == NewestEntries::none) { continue; }
        const bool counts = decoded.contents == Contents::ring && decoded.find(id) != nullptr;
        tell(place, counts ? UnitState::stands : UnitState::not_counted);
    }
}

/// What short entries make of their record, by entry; empty for others.
std::vector<std::vector<uint8_t>> short_values(const Decoded& decoded) {
    std::vector<std::vector<uint8_t>> out(decoded.entries.size());
    std::map<uint32_t, std::vector<uint8_t>> values;
    for (size_t i = 0; i < decoded.entries.size(); i++) {
        const DumpEntry& entry = decoded.entries[i];
        if (!entry.id || entry.voided || entry.log) { continue; }
        if (!entry.is_short) {
            values[*entry.id].assign(entry.payload.begin(), entry.payload.end());
        } else if (const auto found = values.find(*entry.id); found != values.end()) {
            carry_up(found->second, entry);
            out[i] = found->second;
        }
    }
    return out;
}

std::string_view word_of(const UnitMark& mark) {
    constexpr std::array<std::string_view, 8> kinds{"blank", "pad", "stamp", "", "", "bad", "unread", "fault"};
    constexpr std::array<std::string_view, 7> states{"",        "stands",      "superseded", "void",
                                                     "doubted", "not counted", "mark"};
    return mark.kind == UnitKind::entry ? states[static_cast<size_t>(mark.state)]
                                        : kinds[static_cast<size_t>(mark.kind)];
}

} // namespace

std::string record_name(uint32_t id, const RecordLabels& labels) {
    if (id == 0xFFFF) { return "blocks set aside"; }
    const auto found = labels.find(id);
    return found == labels.end() ? fmt::format("record {}", id) : fmt::format("'{}'", found->second.name);
}

namespace {

std::string fields_text(const std::vector<RecordLabel::Field>& fields, std::span<const uint8_t> payload) {
    std::string out;
    size_t at = 0;
    for (const RecordLabel::Field& field : fields) {
        const bool stored = field.bytes <= payload.size() - at;
        out += fmt::format("{}{}{}", out.empty() ? "" : ", ", field.name,
                           stored ? " = " + field_text(field, payload.subspan(at, field.bytes)) : " not stored");
        at = stored ? at + field.bytes : payload.size();
    }
    return at < payload.size() ? out + ", and more: " + hex(payload.subspan(at)) : out;
}

} // namespace

std::optional<ShortLog> short_log_in(std::span<const uint8_t> payload, uint64_t places, uint64_t sample_bytes) {
    constexpr size_t number_bytes = 4;
    if (places == 0 || payload.size() != number_bytes + places * sample_bytes) { return std::nullopt; }
    const auto next = static_cast<uint32_t>(number_at(payload, 0, number_bytes));
    return ShortLog{next, static_cast<uint32_t>(std::min<uint64_t>(next, places)), static_cast<uint32_t>(places),
                    payload.subspan(number_bytes)};
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
    const RecordLabel& label = found->second;
    if (label.samples_in_payload == 0) { return fields_text(label.fields, payload); }
    uint64_t sample_bytes = 0;
    for (const RecordLabel::Field& field : label.fields) { sample_bytes += field.bytes; }
    const auto log = short_log_in(payload, label.samples_in_payload, sample_bytes);
    if (!log) { return "a log of another size: " + hex(payload); }
    if (log->count == 0) { return "a log without samples yet"; }
    return fmt::format("a log of {} samples, the newest is number {}: {}", log->count, log->next - 1,
                       fields_text(label.fields, log->sample(log->next - 1)));
}

void mark_units(const AreaView& view, const Decoded& decoded, std::vector<UnitMark>& out) {
    const AreaShape& shape = view.shape;
    constexpr UnitKind unnamed{0xFF};
    out.assign(size_t{shape.blocks} * shape.block_units, UnitMark{unnamed, UnitState::none});
    const auto put = [&](size_t at, size_t units, UnitMark mark) {
        out[at] = mark;
        for (size_t i = 1; i < units; i++) { out[at + i] = {UnitKind::more, UnitState::none}; }
    };
    const size_t stamp_units = (16 + shape.unit_bytes - 1) / shape.unit_bytes;
    for (uint32_t block = 0; block < shape.blocks; block++) {
        const size_t at = size_t{block} * shape.block_units;
        if (has_stamp(view, block)) { put(at, stamp_units, {UnitKind::stamp, UnitState::none}); }
    }
    const auto put_entry = [&](const DumpEntry& entry, UnitState state) {
        put(size_t{entry.block} * shape.block_units + entry.unit, entry.units, {UnitKind::entry, state});
    };
    tell_states(decoded, [&](size_t i, UnitState state) { put_entry(decoded.entries[i], state); });
    for (const DumpEntry& entry : decoded.doubted) { put_entry(entry, UnitState::doubted); }
    for (size_t unit = 0; unit < out.size(); unit++) {
        if (out[unit].kind == unnamed) { out[unit].kind = raw_kind(view, decoded, unit); }
    }
}

std::vector<UnitLabel> label_units(const AreaView& view, const Decoded& decoded, const RecordLabels& labels) {
    const AreaShape& shape = view.shape;
    std::vector<UnitMark> marks;
    mark_units(view, decoded, marks);
    std::vector<UnitLabel> out(marks.size());
    for (size_t unit = 0; unit < out.size(); unit++) {
        const UnitKind kind = marks[unit].kind;
        out[unit] = {kind, word_of(marks[unit]), ""};
        if (kind == UnitKind::bad) { out[unit].text = "no valid entry begins here"; }
        if (kind == UnitKind::faulting) { out[unit].text = "cannot be read"; }
        if (kind == UnitKind::stamp) {
            out[unit].text = stamp_text(view, static_cast<uint32_t>(unit / shape.block_units));
        }
    }
    const auto tell = [&](const DumpEntry& entry, std::span<const uint8_t> value) {
        out[size_t{entry.block} * shape.block_units + entry.unit].text = entry_text(entry, shape, labels, value);
    };
    const std::vector<std::vector<uint8_t>> values = short_values(decoded);
    for (size_t i = 0; i < decoded.entries.size(); i++) { tell(decoded.entries[i], values[i]); }
    for (const DumpEntry& entry : decoded.doubted) { tell(entry, {}); }
    return out;
}

} // namespace perdure
