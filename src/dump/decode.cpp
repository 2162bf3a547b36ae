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
        for (uint32_t unit = first_unit_; unit < shape.block_units; unit++) {
            DumpEntry entry;
            if (entry_at(unit, entry)) { return Contents::ring; }
        }
    }
    return Contents::nothing;
}

/// Sections 6 and 7: what an accepted entry, the last in the list, does to the pending block.
void Decoder::accept() {
    const DumpEntry& entry = to_->entries.back();
    if (entry.is_short) {
        to_->pending.reset();
        return;
    }
    if (entry.mark && *entry.mark != format_mark) {
        to_->pending.reset();
        if (*entry.mark != 0 && *entry.mark < view_.shape.blocks) {
            to_->pending = (entry.block + view_.shape.blocks - *entry.mark) % view_.shape.blocks;
        }
    } else if (!entry.mark && (!entry.pending || to_->pending == entry.block)) {
        to_->pending.reset();
    }
    if (entry.mark) { return; }
    const auto place = static_cast<uint32_t>(to_->entries.size() - 1);
    if (entry.restart) { restarts_.push_back(place); }
    if (entry.id) { standing_.push_back(place); }
    const int64_t from = entry.restart ? entry.from : entry.age;
    FullEntry full{entry.id.value_or(0), entry.fields, entry.log, entry.payload.size(), entry.age, from};
    if (!entry.log) {
        size_t bits = 0;
        for (const uint8_t field : entry.fields) { bits += field & 0x3FU; }
        full.short_bytes = (bits + 7) / 8;
    }
    fulls_.push_back(full);
}

/// Does another entry than a restart entry stand at the unit?
bool Decoder::goes_on_at(uint32_t unit) {
    DumpEntry second;
    return unit < view_.shape.block_units && entry_at(unit, second) && !second.restart;
}

/// Section 7, "A block".
void Decoder::walk() {
    const uint32_t end = view_.shape.block_units;
    const uint8_t* first = view_.bytes.data() + address(block_, 0);
    const size_t stride = view_.shape.unit_bytes;
    bool doubt = false;
    for (uint32_t unit = first_unit_; unit < end;) {
        if (first[unit * stride] == view_.shape.blank) { // no entry begins so
            doubt = true;
            unit++;
            continue;
        }
        DumpEntry& entry = to_->entries.emplace_back();
        const bool valid = is_short_one(first[unit * stride]) ? short_at(unit, entry) : entry_at(unit, entry);
        unit += valid ? entry.units : 1;
        if (valid && (!doubt || entry.restart || goes_on_at(unit))) {
            doubt = false;
            accept();
            continue;
        }
        if (valid) { to_->doubted.push_back(entry); }
        to_->entries.pop_back();
        doubt = true;
    }
}

DumpRecord& Decoder::record(uint32_t id) {
    std::vector<DumpRecord>& records = to_->records;
    const size_t place = record_place_[id];
    if (place < records.size() && records[place].id == id) { return records[place]; }
    record_place_[id] = static_cast<uint16_t>(records.size());
    records.push_back({id, 0, 0, 0, false, {}, {}});
    return records.back();
}

namespace {

/// The bytes from `first` on, eight at most, the lowest first.
uint64_t packed(std::span<const uint8_t> bytes, size_t first) {
    uint64_t value = 0;
    for (size_t i = std::min(bytes.size(), first + 8); i-- > first;) { value = value << 8 | bytes[i]; }
    return value;
}

/// The `width` bits (63 at most) that begin at bit `begin`, the lowest first.
uint64_t bits_at(std::span<const uint8_t> bytes, size_t begin, size_t width) {
    const size_t shift = begin % 8;
    uint64_t value = packed(bytes, begin / 8) >> shift;
    if (shift + width > 64) { value |= packed(bytes, begin / 8 + 8) << (64 - shift); }
    return value & ((uint64_t{1} << width) - 1);
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
        uint64_t value = packed(std::span(payload).first(at + bytes), at);
        value += (bits_at(entry.payload, bit, width) - value) & ((uint64_t{1} << width) - 1);
        for (size_t i = 0; i < bytes; i++) { payload[at++] = static_cast<uint8_t>(value >> (8 * i)); }
        bit += width;
    }
}

/// Section 7, "Settling": which entries later ones void. From the newest restart entry that stands to the oldest: it
/// voids what stands between its 'from' and itself, and a restart entry among that voids nothing.
void Decoder::void_entries() {
    std::vector<DumpEntry>& entries = to_->entries;
    int64_t limit = INT64_MAX;
    size_t looked = entries.size(); // those from here on are decided
    for (auto place = restarts_.rbegin(); place != restarts_.rend(); ++place) {
        if (entries[*place].age >= limit) { continue; }
        limit = std::min(limit, entries[*place].from);
        for (looked = std::min<size_t>(looked, *place); looked > 0 && entries[looked - 1].age >= limit; looked--) {
            DumpEntry& entry = entries[looked - 1];
            if (entry.mark) { continue; } // marks are not voided
            entry.voided = true;
            to_->voided++;
        }
    }
}

/// Section 7, "Settling" and "Pending block". A record's value is its newest full entry that stands, carried up by the
/// short ones behind it.
void Decoder::settle() {
    std::vector<DumpEntry>& entries = to_->entries;
    for (auto entry = entries.rbegin(); entry != entries.rend() && entry->mark; ++entry) {
        if (*entry->mark != format_mark) { continue; }
        to_->contents = Contents::nothing; // a format was begun, and nothing came after
        return;
    }
    void_entries();
    for (const uint32_t place : standing_) {
        const DumpEntry& entry = entries[place];
        if (entry.voided) { continue; }
        DumpRecord& of = record(*entry.id);
        of.present = true;
        of.full = of.newest = place;
    }
    size_t first_short = entries.size();
    for (DumpRecord& of : to_->records) {
        if (!of.present) { continue; }
        const DumpEntry& entry = entries[of.full];
        of.payload.assign(entry.payload.begin(), entry.payload.end());
        of.block = entry.block;
        of.log_next.reset();
        if (entry.log) { of.log_next = entry.log->number + entry.log->count; }
        if (entry.log || !entry.fields.empty()) { first_short = std::min<size_t>(first_short, of.full); }
    }
    for (size_t i = first_short; i < entries.size(); i++) {
        const DumpEntry& entry = entries[i];
        if (!entry.is_short || entry.voided) { continue; }
        DumpRecord& of = record(*entry.id);
        if (!of.present || i < of.full) { continue; }
        of.newest = static_cast<uint32_t>(i);
        if (entry.log) {
            of.log_next = entry.log->number + entry.log->count;
            of.payload.assign(entry.payload.begin(), entry.payload.end());
        } else {
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
    decoded.head = decoded.sequence = decoded.blanks = decoded.voided = decoded.restarts = 0;
    decoded.pending.reset();
    decoded.stamps.clear();
    decoded.entries.clear();
    decoded.doubted.clear();
    restarts_.clear();
    standing_.clear();
    for (size_t i = 0; i < decoded.records.size(); i++) {
        decoded.records[i].present = false;
        record_place_[decoded.records[i].id] = static_cast<uint16_t>(i);
    }
    constexpr size_t entries_expected_max = 1U << 14U; // room that is not used costs nothing
    decoded.entries.reserve(std::min(size_t{shape.blocks} * shape.block_units, entries_expected_max));
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
    decoded.restarts = static_cast<uint32_t>(restarts_.size());
    if (decoded.contents == Contents::ring) { count_blanks(); }
}

Decoded decode(const AreaView& view) {
    Decoded decoded;
    Decoder().decode(view, decoded);
    return decoded;
}

} // namespace perdure
