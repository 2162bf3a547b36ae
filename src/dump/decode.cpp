// From entries to the contents of a ring: sections 6 to 8 of format.md.
#include "dump/decode.hpp"

#include <algorithm>

namespace perdure {
namespace {

constexpr uint32_t format_mark = 0xFFFF;
constexpr uint32_t set_aside_id = 0xFFFF;

} // namespace

const std::vector<uint8_t>* Decoded::find(uint32_t id) const {
    for (const DumpRecord& record : records) {
        if (record.id == id && record.present) { return &record.payload; }
    }
    return nullptr;
}

/// Section 8.
bool Decoded::set_aside(uint32_t block) const {
    const std::vector<uint8_t>* list = find(set_aside_id);
    for (size_t i = 0; list != nullptr && i + 1 < list->size(); i += 2) {
        if (((*list)[i] | (*list)[i + 1] << 8) == static_cast<int64_t>(block)) { return true; }
    }
    return false;
}

/// Section 7, "Logs". An entry that was put again, as its program had failed, may stand twice.
std::vector<const DumpEntry*> Decoded::log_entries(uint32_t id) const {
    std::vector<const DumpEntry*> found;
    bool has_full = false;
    uint32_t next = 0;
    for (const DumpEntry& entry : entries) {
        if (entry.voided || entry.id != id || !entry.log) { continue; }
        has_full = has_full || !entry.is_short;
        if (!has_full || pending == entry.block || entry.log->count == 0) { continue; }
        if (!found.empty() && entry.log->number < next) { continue; }
        next = entry.log->number + entry.log->count;
        found.push_back(&entry);
    }
    return found;
}

/// Section 7, "The head".
Contents Decoder::find_head() {
    const AreaShape& shape = view_.shape;
    uint32_t best = 0;
    uint32_t best_block = 0;
    for (uint32_t block = 0; block < shape.blocks; block++) { to_->stamps.push_back(stamp_of(block)); }
    for (uint32_t block = 0; block < shape.blocks; block++) {
        const DumpStamp& stamp = to_->stamps[block];
        if (stamp.counts && stamp.number == 0) { return Contents::nothing; }
        if (stamp.number > best) {
            best = stamp.number;
            best_block = block;
        }
    }
    if (best == 0) {
        const bool foreign =
            std::any_of(view_.bytes.begin(), view_.bytes.end(), [&](uint8_t byte) { return byte != shape.blank; }) ||
            faults(0, view_.bytes.size());
        return foreign ? Contents::foreign : Contents::nothing;
    }
    for (uint32_t i = 0; i < shape.blocks && i < best; i++) {
        const uint32_t block = (best_block + shape.blocks - i) % shape.blocks;
        if (!to_->stamps[block].counts || to_->stamps[block].number != best - i) { continue; }
        to_->head = block;
        to_->sequence = best - i;
        begin_block(block, to_->sequence);
        DumpEntry entry;
        for (uint32_t unit = first_unit_; unit < shape.block_units; unit++) {
            if (entry_at(unit, entry)) { return Contents::ring; }
        }
    }
    return Contents::nothing;
}

/// Sections 6 and 7: what an accepted entry does to the pending block.
void Decoder::accept(const DumpEntry& entry) {
    if (entry.mark && *entry.mark != format_mark) {
        to_->pending.reset();
        if (*entry.mark != 0 && *entry.mark < view_.shape.blocks) {
            to_->pending = (entry.block + view_.shape.blocks - *entry.mark) % view_.shape.blocks;
        }
    } else if (!entry.mark && (!entry.pending || to_->pending == entry.block)) {
        to_->pending.reset();
    }
    to_->entries.push_back(entry);
    if (entry.mark || entry.is_short) { return; }
    const int64_t from = entry.restart ? entry.from : entry.age;
    fulls_.push_back({entry.id.value_or(0), entry.fields, entry.log, entry.payload.size(), entry.age, from});
}

/// Section 7, "A block".
void Decoder::walk() {
    const uint32_t end = view_.shape.block_units;
    bool doubt = false;
    DumpEntry entry;
    DumpEntry second;
    for (uint32_t unit = first_unit_; unit < end;) {
        const bool valid = entry_at(unit, entry);
        unit += valid ? entry.units : 1;
        if (!valid) {
            doubt = true;
        } else if (!doubt || entry.restart || (unit < end && entry_at(unit, second) && !second.restart)) {
            doubt = false;
            accept(entry);
        } else {
            to_->doubted.push_back(entry);
        }
    }
}

DumpRecord& Decoder::record(uint32_t id) {
    std::vector<DumpRecord>& records = to_->records;
    const size_t place = record_place_[id];
    if (place < records.size() && records[place].id == id) { return records[place]; }
    record_place_[id] = static_cast<uint16_t>(records.size());
    records.push_back({id, 0, false, {}, {}});
    return records.back();
}

namespace {

/// The `width` bits that begin at bit `begin`, the lowest first.
uint64_t bits_at(std::span<const uint8_t> bytes, size_t begin, size_t width) {
    uint64_t value = 0;
    for (size_t got = 0; got < width;) {
        const size_t bit = begin + got;
        const size_t count = std::min(8 - bit % 8, width - got);
        value |= uint64_t{bytes[bit / 8] >> (bit % 8) & ((1U << count) - 1)} << got;
        got += count;
    }
    return value;
}

} // namespace

/// Section 4, "Short entry of a total".
void carry_up(std::vector<uint8_t>& payload, const DumpEntry& entry) {
    size_t bit = 0;
    size_t at = 0;
    for (const uint8_t field : entry.fields) {
        const size_t bytes = size_t{1} << (field >> 6);
        const size_t width = field & 0x3FU;
        if (at + bytes > payload.size()) { return; }
        uint64_t value = 0;
        for (size_t i = 0; i < bytes; i++) { value |= uint64_t{payload[at + i]} << (8 * i); }
        value += (bits_at(entry.payload, bit, width) - value) & ((uint64_t{1} << width) - 1);
        for (size_t i = 0; i < bytes; i++) { payload[at++] = static_cast<uint8_t>(value >> (8 * i)); }
        bit += width;
    }
}

/// Section 7, "Settling" and "Pending block".
void Decoder::settle() {
    int64_t limit = INT64_MAX;
    std::vector<DumpEntry>& entries = to_->entries;
    bool newest = true;
    for (auto entry = entries.rbegin(); entry != entries.rend(); ++entry) {
        if (entry->mark) { // marks are not voided
            if (*entry->mark != format_mark || !newest) { continue; }
            to_->contents = Contents::nothing; // a format was begun, and nothing came after
            return;
        }
        newest = false;
        if (entry->age >= limit) {
            entry->voided = true;
            to_->voided++;
        } else if (entry->restart) {
            limit = std::min(limit, entry->from);
        }
    }
    for (size_t i = 0; i < entries.size(); i++) {
        DumpEntry& entry = entries[i];
        if (!entry.id || entry.voided) { continue; }
        DumpRecord& of = record(*entry.id);
        if (entry.log && (of.present || !entry.is_short)) {
            of.log_next = entry.log->number + entry.log->count;
            of.payload.assign(entry.payload.begin(), entry.payload.end());
            if (entry.is_short) { continue; }
            of.present = true;
            of.block = entry.block;
        } else if (!entry.is_short) {
            of.log_next.reset();
            of.payload.assign(entry.payload.begin(), entry.payload.end());
            of.present = true;
            of.block = entry.block;
        } else if (of.present) {
            carry_up(of.payload, entry);
        }
    }
    for (DumpRecord& of : to_->records) {
        if (of.present && to_->pending == of.block) { of.present = false; }
    }
}

/// Section 7, "Blank blocks".
void Decoder::count_blanks() {
    const AreaShape& shape = view_.shape;
    for (uint32_t steps = 1; steps < shape.blocks; steps++) {
        const uint32_t block = (to_->head + steps) % shape.blocks;
        if (to_->set_aside(block)) { continue; }
        const DumpStamp& stamp = to_->stamps[block];
        if (!stamp.counts || stamp.number != to_->sequence + steps || to_->pending == block) { return; }
        to_->blanks++;
    }
}

void Decoder::decode(const AreaView& view, Decoded& decoded) {
    const AreaShape& shape = view.shape;
    view_ = view;
    stamp_check_ = view.check != nullptr && shape.check_bits == 16 ? view.check : format_check(16);
    if (view_.check == nullptr) { view_.check = format_check(shape.check_bits); }
    first_unit_ = (16 + shape.unit_bytes - 1) / shape.unit_bytes;
    to_ = &decoded;
    decoded.head = decoded.sequence = decoded.blanks = decoded.voided = 0;
    decoded.pending.reset();
    decoded.stamps.clear();
    decoded.entries.clear();
    decoded.doubted.clear();
    for (size_t i = 0; i < decoded.records.size(); i++) {
        decoded.records[i].present = false;
        record_place_[decoded.records[i].id] = static_cast<uint16_t>(i);
    }
    decoded.contents = find_head();
    if (decoded.contents != Contents::ring) { return; }
    for (uint32_t i = 1; i <= shape.blocks; i++) {
        const uint32_t block = (decoded.head + i) % shape.blocks;
        const uint32_t steps = (decoded.head + shape.blocks - block) % shape.blocks;
        DumpStamp& stamp = decoded.stamps[block];
        if (steps < decoded.sequence && (!stamp.counts || stamp.number == decoded.sequence - steps)) {
            stamp.is_read = true;
            begin_block(block, decoded.sequence - steps);
            walk();
        }
    }
    settle();
    if (decoded.contents == Contents::ring) { count_blanks(); }
}

Decoded decode(const AreaView& view) {
    Decoded decoded;
    Decoder().decode(view, decoded);
    return decoded;
}

} // namespace perdure
