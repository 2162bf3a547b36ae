#include "dump/decode.hpp"

#include <algorithm>
#include <array>

#include <boost/crc.hpp>

namespace perdure {
namespace {

template <size_t Bits, uint32_t Polynomial> uint32_t carry(uint32_t state, const uint8_t* from, size_t bytes) {
    using Code = boost::crc_optimal<Bits, Polynomial>;
    Code code(static_cast<typename Code::value_type>(state >> (32 - Bits)));
    code.process_bytes(from, bytes);
    return static_cast<uint32_t>(code.checksum()) << (32 - Bits);
}

uint32_t initial(uint32_t check_bits) {
    constexpr std::array<uint32_t, 4> values{0xFF000000U, 0xFFFF0000U, 0xB704CE00U, 0xFFFFFFFFU};
    return values[check_bits / 8 - 1];
}

constexpr uint32_t format_mark = 0xFFFF;

} // namespace

CheckFunction format_check(uint32_t check_bits) {
    constexpr std::array<CheckFunction, 4> codes{carry<8, 0x31>, carry<16, 0x1021>, carry<24, 0x864CFB>,
                                                 carry<32, 0x04C11DB7>};
    return codes[check_bits / 8 - 1];
}

const std::vector<uint8_t>* Decoded::find(uint32_t id) const {
    for (const DumpRecord& record : records) {
        if (record.id == id && record.present) { return &record.payload; }
    }
    return nullptr;
}

/// Reads forward through bytes; past the end, or at a unit that faults, it gives zeros and says so.
struct Decoder::Cursor {
    const Decoder& decoder;
    size_t at;
    size_t end;
    bool over = false;

    std::span<const uint8_t> take(size_t count) {
        if (over || count > end - at || decoder.faults(at, at + count)) {
            over = true;
            return {};
        }
        at += count;
        return decoder.view_.bytes.subspan(at - count, count);
    }
    uint32_t number(size_t count) {
        const std::span<const uint8_t> raw = take(count);
        uint32_t value = 0;
        for (size_t i = raw.size(); i-- > 0;) { value = value << 8 | raw[i]; }
        return value;
    }
};

size_t Decoder::address(uint32_t block, uint32_t unit) const {
    return (size_t{block} * view_.shape.block_units + unit) * view_.shape.unit_bytes;
}

bool Decoder::faults(size_t begin, size_t end) const {
    if (view_.faulting.empty() || begin == end) { return false; }
    for (size_t unit = begin / view_.shape.unit_bytes; unit <= (end - 1) / view_.shape.unit_bytes; unit++) {
        if (view_.faulting[unit] != 0) { return true; }
    }
    return false;
}

/// Section 3: the number in a stamp that counts.
std::optional<uint32_t> Decoder::stamp_number(uint32_t block) const {
    const AreaShape& shape = view_.shape;
    Cursor cursor{*this, address(block, 0), address(block, shape.block_units)};
    const uint8_t* begin = view_.bytes.data() + cursor.at;
    const bool as_expected = cursor.number(1) == 0x10 + shape.check_bits / 8 && cursor.number(2) == shape.unit_bytes &&
                             cursor.number(2) == shape.blocks && cursor.number(2) == shape.block_units;
    const uint32_t number = cursor.number(4);
    cursor.take(3);
    const uint32_t stored = cursor.number(2);
    if (!as_expected || cursor.over || stored != stamp_check_(initial(16), begin, 14) >> 16) { return std::nullopt; }
    return number;
}

/// The descriptors of the newest full entry of a record so far, if it stands in `block`.
std::span<const uint8_t> Decoder::fields_of(uint32_t id, uint32_t block, bool& known) const {
    known = false;
    for (auto entry = to_->entries.rbegin(); entry != to_->entries.rend() && entry->block == block; ++entry) {
        if (entry->id == id && !entry->is_short) {
            known = true;
            return entry->fields;
        }
    }
    return {};
}

/// Section 4: what follows the first byte of a full or short entry. `bases`: full entries before it are known.
bool Decoder::take_record(Cursor& cursor, DumpEntry& entry, bool bases) const {
    const uint32_t first = cursor.number(1);
    entry.id = (first & 0x3F) != 0 ? first & 0x3F : cursor.number(2);
    if (first >> 6 == 1) {
        entry.is_short = true;
        bool known = false;
        entry.fields = bases ? fields_of(*entry.id, entry.block, known) : std::span<const uint8_t>{};
        if (!known) { return false; }
        size_t bits = 0;
        for (const uint8_t field : entry.fields) { bits += field & 0x3F; }
        entry.payload = cursor.take((bits + 7) / 8);
        return true;
    }
    size_t length = cursor.number(1);
    if (length >= 0x80) { length = (length & 0x7F) << 8 | cursor.number(1); }
    if (first >> 6 == 3) {
        const size_t begin = cursor.at;
        size_t sizes = 0;
        for (size_t count = 0; sizes < length; count++) {
            if (count == 32 || cursor.over) { return false; }
            sizes += size_t{1} << (cursor.number(1) >> 6);
        }
        entry.fields = view_.bytes.subspan(begin, cursor.at - begin);
    }
    entry.payload = cursor.take(length);
    return true;
}

/// Is there a valid entry at a unit? `number` is the block's sequence number.
bool Decoder::entry_at(uint32_t block, uint32_t unit, uint32_t number, bool bases, DumpEntry& entry) const {
    const AreaShape& shape = view_.shape;
    const size_t begin = address(block, unit);
    Cursor cursor{*this, begin, address(block, shape.block_units)};
    const uint8_t first = view_.bytes[begin];
    if (first == shape.blank || first == 0 || (first > 3 && first < 0x40) || faults(begin, begin + 1)) { return false; }
    entry = DumpEntry{};
    entry.block = block;
    entry.unit = unit;
    const uint32_t steps = (to_->head + shape.blocks - block) % shape.blocks;
    const int64_t block_age = int64_t{shape.blocks} - 1 - steps;
    entry.age = block_age << 32 | unit;
    if (first == 3) {
        cursor.take(1);
        entry.mark = cursor.number(2);
    } else if (first <= 2) {
        cursor.take(1);
        entry.from_unit = cursor.number(2);
        entry.back = cursor.number(2);
        entry.restart = true;
        entry.pending = (entry.back & 0x8000) != 0;
        entry.back &= 0x7FFF;
        entry.from = (block_age - int64_t{entry.back}) * (int64_t{1} << 32) + entry.from_unit;
        if (first == 1 && (cursor.over || cursor.at == cursor.end || view_.bytes[cursor.at] < 0x80)) { return false; }
    }
    if ((first == 1 || first >= 0x40) && !take_record(cursor, entry, bases)) { return false; }
    const size_t end = cursor.at;
    const uint32_t stored = cursor.number(shape.check_bits / 8);
    if (cursor.over) { return false; }
    std::array<uint8_t, 4> prefix{};
    for (unsigned i = 0; i < 4; i++) { prefix[i] = static_cast<uint8_t>(number >> (8 * i)); }
    uint32_t state = view_.check(initial(shape.check_bits), prefix.data(), prefix.size());
    state = view_.check(state, view_.bytes.data() + begin, end - begin);
    entry.units = static_cast<uint32_t>((cursor.at - begin + shape.unit_bytes - 1) / shape.unit_bytes);
    return stored == state >> (32 - shape.check_bits);
}

/// Section 7, "The head".
Contents Decoder::find_head() {
    const AreaShape& shape = view_.shape;
    uint32_t best = 0;
    uint32_t best_block = 0;
    bool foreign = false;
    numbers_.assign(shape.blocks, std::nullopt);
    for (uint32_t block = 0; block < shape.blocks; block++) {
        numbers_[block] = stamp_number(block);
        if (numbers_[block] == 0U) { return Contents::nothing; }
        if (numbers_[block] && *numbers_[block] > best) {
            best = *numbers_[block];
            best_block = block;
        }
    }
    if (best == 0) {
        foreign =
            std::any_of(view_.bytes.begin(), view_.bytes.end(), [&](uint8_t byte) { return byte != shape.blank; }) ||
            faults(0, view_.bytes.size());
        return foreign ? Contents::foreign : Contents::nothing;
    }
    for (uint32_t i = 0; i < shape.blocks && i < best; i++) {
        const uint32_t block = (best_block + shape.blocks - i) % shape.blocks;
        if (numbers_[block] != best - i) { continue; }
        to_->head = block;
        to_->sequence = best - i;
        DumpEntry entry;
        for (uint32_t unit = first_unit_; unit < shape.block_units; unit++) {
            if (entry_at(block, unit, best - i, false, entry)) { return Contents::ring; }
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
}

/// Section 7, "A block".
void Decoder::walk(uint32_t block, uint32_t number) {
    const uint32_t end = view_.shape.block_units;
    bool doubt = false;
    DumpEntry entry;
    DumpEntry second;
    for (uint32_t unit = first_unit_; unit < end;) {
        const bool valid = entry_at(block, unit, number, true, entry);
        unit += valid ? entry.units : 1;
        if (!valid) {
            doubt = true;
        } else if (!doubt || entry.restart) {
            doubt = false;
            accept(entry);
        } else if (unit < end && entry_at(block, unit, number, true, second) && !second.restart) {
            doubt = false;
            accept(entry);
        } else {
            to_->doubted++;
        }
    }
}

DumpRecord& Decoder::record(uint32_t id) {
    for (DumpRecord& known : to_->records) {
        if (known.id == id) { return known; }
    }
    to_->records.push_back({id, 0, false, {}});
    return to_->records.back();
}

namespace {

/// Section 4, "Short entry of a total".
void carry_up(std::vector<uint8_t>& payload, const DumpEntry& entry) {
    size_t bit = 0;
    size_t at = 0;
    for (const uint8_t field : entry.fields) {
        const size_t bytes = size_t{1} << (field >> 6);
        const size_t width = field & 0x3FU;
        if (at + bytes > payload.size()) { return; }
        uint64_t value = 0;
        uint64_t bits = 0;
        for (size_t i = 0; i < bytes; i++) { value |= uint64_t{payload[at + i]} << (8 * i); }
        for (size_t i = 0; i < width; i++, bit++) { bits |= uint64_t{entry.payload[bit / 8] >> (bit % 8) & 1U} << i; }
        value += (bits - value) & ((uint64_t{1} << width) - 1);
        for (size_t i = 0; i < bytes; i++) { payload[at++] = static_cast<uint8_t>(value >> (8 * i)); }
    }
}

} // namespace

/// Section 7, "Settling" and "Pending block".
void Decoder::settle() {
    int64_t limit = INT64_MAX;
    std::vector<DumpEntry>& entries = to_->entries;
    bool newest = true;
    for (auto entry = entries.rbegin(); entry != entries.rend(); ++entry) {
        if (entry->mark && *entry->mark != format_mark) { continue; }
        if (entry->age >= limit) {
            entry->voided = true;
            to_->voided++;
        } else {
            if (entry->restart) { limit = std::min(limit, entry->from); }
            if (entry->mark && newest) {
                to_->contents = Contents::nothing; // a format was begun, and nothing came after
                return;
            }
        }
        newest = false;
    }
    for (size_t i = 0; i < entries.size(); i++) {
        DumpEntry& entry = entries[i];
        if (!entry.id || entry.voided) { continue; }
        DumpRecord& of = record(*entry.id);
        if (!entry.is_short) {
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

void Decoder::decode(const AreaView& view, Decoded& decoded) {
    view_ = view;
    stamp_check_ = view.check != nullptr && view.shape.check_bits == 16 ? view.check : format_check(16);
    if (view_.check == nullptr) { view_.check = format_check(view.shape.check_bits); }
    first_unit_ = (16 + view.shape.unit_bytes - 1) / view.shape.unit_bytes;
    to_ = &decoded;
    decoded.head = decoded.sequence = decoded.voided = decoded.doubted = 0;
    decoded.pending.reset();
    decoded.entries.clear();
    for (DumpRecord& of : decoded.records) { of.present = false; }
    decoded.contents = find_head();
    if (decoded.contents != Contents::ring) { return; }
    const AreaShape& shape = view.shape;
    for (uint32_t i = 1; i <= shape.blocks; i++) {
        const uint32_t block = (decoded.head + i) % shape.blocks;
        const uint32_t steps = (decoded.head + shape.blocks - block) % shape.blocks;
        if (steps < decoded.sequence && (!numbers_[block] || *numbers_[block] == decoded.sequence - steps)) {
            walk(block, decoded.sequence - steps);
        }
    }
    settle();
}

Decoded decode(const AreaView& view) {
    Decoded decoded;
    Decoder().decode(view, decoded);
    return decoded;
}

} // namespace perdure
