// One stamp, one entry: sections 2 to 6 of format.md. What they add up to is decode.cpp's.
#include "dump/decode.hpp"

#include <algorithm>
#include <array>
#include <limits>

namespace perdure {
namespace {

uint32_t initial(uint32_t check_bits) {
    constexpr std::array<uint32_t, 4> values{0xFF000000U, 0xFFFF0000U, 0xB704CE00U, 0xFFFFFFFFU};
    return values[check_bits / 8 - 1];
}

} // namespace

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

/// Section 3. A stamp that does not count has no number and no erases.
DumpStamp Decoder::stamp_of(uint32_t block) const {
    const AreaShape& shape = view_.shape;
    Cursor cursor{*this, address(block, 0), address(block, shape.block_units)};
    const uint8_t* begin = view_.bytes.data() + cursor.at;
    const bool as_expected = cursor.number(1) == 0x10 + shape.check_bits / 8 && cursor.number(2) == shape.unit_bytes &&
                             cursor.number(2) == shape.blocks && cursor.number(2) == shape.block_units;
    DumpStamp stamp{true, false, cursor.number(4), cursor.number(3)};
    const uint32_t stored = cursor.number(2);
    if (!as_expected || cursor.over || stored != stamp_check_(initial(16), begin, 14) >> 16) { return {}; }
    return stamp;
}

/// The entries that follow are those of `block`, under this sequence number.
void Decoder::begin_block(uint32_t block, uint32_t number) {
    const AreaShape& shape = view_.shape;
    std::array<uint8_t, 4> prefix{};
    for (unsigned i = 0; i < 4; i++) { prefix[i] = static_cast<uint8_t>(number >> (8 * i)); }
    block_ = block;
    block_age_ = int64_t{shape.blocks} - 1 - (to_->head + shape.blocks - block) % shape.blocks;
    block_check_ = view_.check(initial(shape.check_bits), prefix.data(), prefix.size());
    fulls_.clear();
    asked_id_ = 0;
}

/// The newest full entry of a record in this block so far that no restart entry behind it voids; null: none.
const Decoder::FullEntry* Decoder::full_entry_of(uint32_t id) {
    if (id == asked_id_ && asked_fulls_ == fulls_.size()) { return answer_; }
    asked_id_ = id;
    asked_fulls_ = fulls_.size();
    answer_ = nullptr;
    int64_t limit = std::numeric_limits<int64_t>::max();
    for (size_t i = fulls_.size(); i-- > 0 && answer_ == nullptr;) {
        const FullEntry& full = fulls_[i];
        if (full.age >= limit) { continue; }
        if (full.id == id) { answer_ = &full; }
        if (full.from < full.age) { limit = std::min(limit, full.from); }
    }
    return answer_;
}

/// Section 4: what follows the first byte of a full or short entry.
bool Decoder::take_record(Cursor& cursor, DumpEntry& entry) {
    const uint32_t first = cursor.number(1);
    entry.id = (first & 0x3F) != 0 ? first & 0x3F : cursor.number(2);
    if (*entry.id == 0) { return false; }
    if (first >> 6 == 1) {
        const FullEntry* full = full_entry_of(*entry.id);
        if (full == nullptr) { return false; }
        entry.is_short = true;
        if (full->log) {
            entry.log = full->log;
            entry.log->number += cursor.number(1) * full->log->count;
        }
        entry.fields = full->fields;
        entry.payload = cursor.take(full->short_bytes);
        return true;
    }
    size_t length = cursor.number(1);
    if (length >= 0x80) { length = (length & 0x7F) << 8 | cursor.number(1); }
    if (length == 0) { return false; }
    if (entry.log) { return first >> 6 == 2 && take_log(cursor, entry, length); }
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

/// Section 4, "Full entry of a log": what follows the length.
bool Decoder::take_log(Cursor& cursor, DumpEntry& entry, size_t length) {
    if (length < 5) { return false; }
    entry.log->count = cursor.number(1);
    entry.log->number = cursor.number(4);
    entry.payload = cursor.take(length - 5);
    return true;
}

/// Is there a valid short entry of an id up to 62 at a unit of this block, where no unit faults? Most entries of a ring
/// are such, so they are read without the cursor.
bool Decoder::short_at(uint32_t unit, DumpEntry& entry) {
    const AreaShape& shape = view_.shape;
    const uint8_t* bytes = view_.bytes.data();
    const size_t begin = address(block_, unit);
    const size_t end = address(block_, shape.block_units);
    const uint32_t id = bytes[begin] & 0x3FU;
    const FullEntry* full = full_entry_of(id);
    const size_t head = full != nullptr && full->log ? 2 : 1;
    const size_t check_bytes = shape.check_bits / 8;
    if (full == nullptr || head + full->short_bytes + check_bytes > end - begin) { return false; }
    const size_t code = begin + head + full->short_bytes;
    uint32_t stored = 0;
    for (size_t i = check_bytes; i-- > 0;) { stored = stored << 8 | bytes[code + i]; }
    if (stored != view_.check(block_check_, bytes + begin, code - begin) >> (32 - shape.check_bits)) { return false; }
    entry.block = block_;
    entry.unit = unit;
    entry.bytes = static_cast<uint32_t>(code + check_bytes - begin);
    entry.units = entry.bytes <= shape.unit_bytes ? 1 : (entry.bytes + shape.unit_bytes - 1) / shape.unit_bytes;
    entry.age = block_age_ << 32 | unit;
    entry.is_short = true;
    entry.id = id;
    entry.fields = full->fields;
    entry.payload = view_.bytes.subspan(begin + head, full->short_bytes);
    if (full->log) {
        entry.log = full->log;
        entry.log->number += bytes[begin + 1] * full->log->count;
    }
    return true;
}

/// Is there a valid entry at a unit of this block? `entry` is a fresh one; what is in it when there is none, is
/// nothing.
bool Decoder::entry_at(uint32_t unit, DumpEntry& entry) {
    const AreaShape& shape = view_.shape;
    const size_t begin = address(block_, unit);
    Cursor cursor{*this, begin, address(block_, shape.block_units)};
    const uint8_t first = view_.bytes[begin];
    if (first == shape.blank || first == 0 || (first > 4 && first < 0x40) || faults(begin, begin + 1)) { return false; }
    if (is_short_one(first)) { return short_at(unit, entry); }
    entry.block = block_;
    entry.unit = unit;
    entry.age = block_age_ << 32 | unit;
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
        entry.from = (block_age_ - int64_t{entry.back}) * (int64_t{1} << 32) + entry.from_unit;
    }
    if (first == 1 || first == 4) {
        if (cursor.over || cursor.at == cursor.end) { return false; }
        if (view_.bytes[cursor.at] == 4) {
            cursor.take(1);
            entry.log = DumpLog{};
        }
        if (cursor.over || cursor.at == cursor.end || view_.bytes[cursor.at] < 0x80) { return false; }
    }
    if ((first == 1 || first >= 4) && !take_record(cursor, entry)) { return false; }
    const size_t end = cursor.at;
    const uint32_t stored = cursor.number(shape.check_bits / 8);
    if (cursor.over) { return false; }
    entry.bytes = static_cast<uint32_t>(cursor.at - begin);
    entry.units = (entry.bytes + shape.unit_bytes - 1) / shape.unit_bytes;
    const uint32_t state = view_.check(block_check_, view_.bytes.data() + begin, end - begin);
    return stored == state >> (32 - shape.check_bits);
}

} // namespace perdure
