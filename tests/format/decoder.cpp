#include "tests/format/decoder.hpp"

#include <algorithm>
#include <functional>
#include <utility>

namespace perdure::format_examples {

namespace {

/// Section 2, bit by bit.
uint32_t check_code(uint32_t bits, const Bytes& bytes) {
    const uint64_t polynomial = bits == 8 ? 0x31 : bits == 16 ? 0x1021 : bits == 24 ? 0x864CFB : 0x04C11DB7;
    const uint64_t mask = (uint64_t{1} << bits) - 1;
    uint64_t state = bits == 24 ? 0xB704CE : mask;
    for (const uint8_t byte : bytes) {
        state ^= uint64_t{byte} << (bits - 8);
        for (int i = 0; i < 8; i++) {
            const bool top = (state >> (bits - 1) & 1) != 0;
            state = ((state << 1) & mask) ^ (top ? polynomial : 0);
        }
    }
    return static_cast<uint32_t>(state);
}

/// Reads forward through bytes; past the end it gives zeros and says so.
struct Cursor {
    const Bytes& bytes;
    size_t at;
    size_t end;
    bool over = false;

    Bytes take(size_t count) {
        if (count > end - at) {
            over = true;
            return Bytes(count, 0);
        }
        at += count;
        return Bytes(bytes.begin() + static_cast<std::ptrdiff_t>(at - count),
                     bytes.begin() + static_cast<std::ptrdiff_t>(at));
    }
    uint64_t number(size_t count) {
        const Bytes raw = take(count);
        uint64_t value = 0;
        for (size_t i = count; i-- > 0;) { value = value << 8 | raw[i]; }
        return value;
    }
};

using Age = std::pair<int64_t, uint64_t>; ///< block in order of reading, unit

struct Entry {
    uint32_t block = 0;
    uint32_t units = 0;
    Age age;
    Age from; ///< restart entries
    bool restart = false;
    bool pending = false;
    std::optional<uint32_t> mark;
    std::optional<uint32_t> id;
    bool is_short = false;
    Bytes fields;  ///< descriptors
    Bytes payload; ///< or the packed bits of a short entry
};

using FieldsOf = std::function<std::optional<Bytes>(uint32_t id)>;

struct Ring {
    const AreaShape& shape;
    const Bytes& flash;
    uint32_t head = 0;
    uint32_t sequence = 0;
    std::optional<uint32_t> pending;
    bool format_begun = false;
    std::vector<Entry> entries;
    int doubted = 0;

    [[nodiscard]] size_t address(uint32_t block, uint32_t unit) const {
        return (size_t{block} * shape.block_units + unit) * shape.unit_bytes;
    }
    [[nodiscard]] uint32_t first_unit() const { return (16 + shape.unit_bytes - 1) / shape.unit_bytes; }
    [[nodiscard]] uint32_t steps_before_head(uint32_t block) const {
        return (head + shape.blocks - block) % shape.blocks;
    }
    [[nodiscard]] int64_t block_age(uint32_t block) const {
        return int64_t{shape.blocks} - 1 - steps_before_head(block);
    }
};

/// Section 3: the number in a stamp that counts.
std::optional<uint32_t> stamp_number(const Ring& ring, uint32_t block) {
    const AreaShape& shape = ring.shape;
    Cursor cursor{ring.flash, ring.address(block, 0), ring.flash.size()};
    const Bytes covered = Cursor(cursor).take(14);
    const bool as_expected = cursor.number(1) == 0x10 + shape.check_bits / 8 && cursor.number(2) == shape.unit_bytes &&
                             cursor.number(2) == shape.blocks && cursor.number(2) == shape.block_units;
    const auto number = static_cast<uint32_t>(cursor.number(4));
    cursor.take(3);
    return as_expected && cursor.number(2) == check_code(16, covered) ? std::optional(number) : std::nullopt;
}

/// Section 4: what follows the first byte of a full or short entry.
bool take_record(Cursor& cursor, Entry& entry, const FieldsOf& fields_of) {
    const auto first = static_cast<uint32_t>(cursor.number(1));
    entry.id = (first & 0x3F) != 0 ? first & 0x3F : static_cast<uint32_t>(cursor.number(2));
    if (first >> 6 == 1) {
        entry.is_short = true;
        const auto fields = fields_of(*entry.id);
        if (!fields) { return false; }
        entry.fields = *fields;
        size_t bits = 0;
        for (const uint8_t field : entry.fields) { bits += field & 0x3F; }
        entry.payload = cursor.take((bits + 7) / 8);
        return true;
    }
    uint64_t length = cursor.number(1);
    if (length >= 0x80) { length = (length & 0x7F) << 8 | cursor.number(1); }
    for (uint64_t sizes = 0; first >> 6 == 3 && sizes < length; sizes += uint64_t{1} << (entry.fields.back() >> 6)) {
        if (entry.fields.size() == 32) { return false; }
        entry.fields.push_back(static_cast<uint8_t>(cursor.number(1)));
    }
    entry.payload = cursor.take(length);
    return true;
}

/// The valid entry at a unit, if there is one. `number` is the block's sequence number.
std::optional<Entry> entry_at(const Ring& ring, uint32_t block, uint32_t unit, uint32_t number,
                              const FieldsOf& fields_of) {
    const AreaShape& shape = ring.shape;
    const size_t begin = ring.address(block, unit);
    Cursor cursor{ring.flash, begin, ring.address(block, shape.block_units)};
    const uint8_t first = ring.flash[begin];
    if (first == shape.blank || first == 0 || (first > 3 && first < 0x40)) { return std::nullopt; }
    Entry entry;
    entry.block = block;
    entry.age = {ring.block_age(block), unit};
    if (first == 3) {
        cursor.take(1);
        entry.mark = static_cast<uint32_t>(cursor.number(2));
    } else if (first <= 2) {
        cursor.take(1);
        const uint64_t from_unit = cursor.number(2);
        const uint64_t back = cursor.number(2);
        entry.restart = true;
        entry.pending = (back & 0x8000) != 0;
        entry.from = {entry.age.first - static_cast<int64_t>(back & 0x7FFF), from_unit};
        if (first == 1 && (cursor.over || ring.flash[cursor.at] < 0x80)) { return std::nullopt; }
    }
    if ((first == 1 || first >= 0x40) && !take_record(cursor, entry, fields_of)) { return std::nullopt; }
    Bytes covered;
    for (unsigned i = 0; i < 4; i++) { covered.push_back(static_cast<uint8_t>(number >> (8 * i))); }
    covered.insert(covered.end(), ring.flash.begin() + static_cast<std::ptrdiff_t>(begin),
                   ring.flash.begin() + static_cast<std::ptrdiff_t>(cursor.at));
    const uint64_t stored = cursor.number(shape.check_bits / 8);
    if (cursor.over || stored != check_code(shape.check_bits, covered)) { return std::nullopt; }
    entry.units = static_cast<uint32_t>((cursor.at - begin + shape.unit_bytes - 1) / shape.unit_bytes);
    return entry;
}

/// Section 7, "The head".
Contents find_head(Ring& ring) {
    const AreaShape& shape = ring.shape;
    std::vector<std::optional<uint32_t>> numbers;
    for (uint32_t block = 0; block < shape.blocks; block++) { numbers.push_back(stamp_number(ring, block)); }
    const auto newest = std::max_element(numbers.begin(), numbers.end());
    if (std::find(numbers.begin(), numbers.end(), 0u) != numbers.end()) { return Contents::nothing; }
    if (!*newest) {
        const bool blank =
            std::all_of(ring.flash.begin(), ring.flash.end(), [&](uint8_t b) { return b == shape.blank; });
        return blank ? Contents::nothing : Contents::foreign;
    }
    const uint32_t best = **newest;
    for (uint32_t i = 0; i < shape.blocks && i < best; i++) {
        const auto block = static_cast<uint32_t>(newest - numbers.begin() + shape.blocks - i) % shape.blocks;
        if (numbers[block] != best - i) { continue; }
        ring.head = block;
        ring.sequence = best - i;
        for (uint32_t unit = ring.first_unit(); unit < shape.block_units; unit++) {
            if (entry_at(ring, block, unit, best - i, [](uint32_t) { return std::nullopt; })) { return Contents::ring; }
        }
    }
    return Contents::nothing;
}

/// Sections 6 and 7: what an accepted entry does to the pending block; all but marks are kept for settling.
void accept(Ring& ring, const Entry& entry) {
    if (entry.mark && *entry.mark == 0xFFFF) {
        ring.entries.push_back(entry); // counts only if it stays the newest
        return;
    }
    if (entry.mark) {
        ring.pending.reset();
        if (*entry.mark != 0 && *entry.mark < ring.shape.blocks) {
            ring.pending = (entry.block + ring.shape.blocks - *entry.mark) % ring.shape.blocks;
        }
        return;
    }
    if (!entry.pending || ring.pending == entry.block) { ring.pending.reset(); }
    ring.entries.push_back(entry);
}

/// Section 7, "A block".
void walk(Ring& ring, uint32_t block, uint32_t number) {
    const FieldsOf fields_of = [&](uint32_t id) -> std::optional<Bytes> {
        const auto full = std::find_if(ring.entries.rbegin(), ring.entries.rend(),
                                       [&](const Entry& entry) { return entry.id == id && !entry.is_short; });
        return full != ring.entries.rend() && full->block == block ? std::optional(full->fields) : std::nullopt;
    };
    bool doubt = false;
    for (uint32_t unit = ring.first_unit(); unit < ring.shape.block_units;) {
        const auto entry = entry_at(ring, block, unit, number, fields_of);
        unit += entry ? entry->units : 1;
        if (!entry) {
            doubt = true;
        } else if (!doubt || entry->restart) {
            doubt = false;
            accept(ring, *entry);
        } else {
            const auto second =
                unit < ring.shape.block_units ? entry_at(ring, block, unit, number, fields_of) : std::nullopt;
            if (second && !second->restart) {
                doubt = false;
                accept(ring, *entry);
            } else {
                ring.doubted++;
            }
        }
    }
}

/// Section 4, "Short entry of a total".
void carry_up(Bytes& payload, const Entry& entry) {
    size_t bit = 0;
    size_t at = 0;
    for (const uint8_t field : entry.fields) {
        const size_t bytes = size_t{1} << (field >> 6);
        const uint64_t mask = (uint64_t{1} << (field & 0x3F)) - 1;
        uint64_t value = 0;
        uint64_t bits = 0;
        for (size_t i = 0; i < bytes; i++) { value |= uint64_t{payload[at + i]} << (8 * i); }
        for (size_t i = 0; i < (field & 0x3Fu); i++, bit++) {
            bits |= uint64_t{entry.payload[bit / 8] >> (bit % 8) & 1u} << i;
        }
        value += (bits - value) & mask;
        for (size_t i = 0; i < bytes; i++) { payload[at++] = static_cast<uint8_t>(value >> (8 * i)); }
    }
}

/// Section 7, "Settling" and "Pending block".
void settle(Ring& ring, Decoded& decoded) {
    Age limit{INT64_MAX, 0};
    std::vector<const Entry*> standing;
    for (auto entry = ring.entries.rbegin(); entry != ring.entries.rend(); ++entry) {
        if (entry->age >= limit) {
            decoded.voided++;
            continue;
        }
        if (entry->restart) { limit = std::min(limit, entry->from); }
        ring.format_begun = ring.format_begun || (entry->mark && entry == ring.entries.rbegin());
        standing.push_back(&*entry);
    }
    std::map<uint32_t, uint32_t> block_of;
    for (auto entry = standing.rbegin(); entry != standing.rend(); ++entry) {
        if (!(*entry)->id) { continue; }
        const auto known = decoded.records.find(*(*entry)->id);
        if (!(*entry)->is_short) {
            decoded.records[*(*entry)->id] = (*entry)->payload;
            block_of[*(*entry)->id] = (*entry)->block;
        } else if (known != decoded.records.end()) {
            carry_up(known->second, **entry);
        }
    }
    for (const auto& [id, block] : block_of) {
        if (ring.pending == block) { decoded.records.erase(id); }
    }
}

} // namespace

Decoded decode(const AreaShape& shape, const Bytes& flash) {
    Ring ring{shape, flash, 0, 0, std::nullopt, false, {}, 0};
    Decoded decoded;
    decoded.contents = find_head(ring);
    if (decoded.contents != Contents::ring) { return decoded; }
    for (uint32_t i = 1; i <= shape.blocks; i++) {
        const uint32_t block = (ring.head + i) % shape.blocks;
        const uint32_t steps = ring.steps_before_head(block);
        const auto number = stamp_number(ring, block);
        if (steps < ring.sequence && (!number || *number == ring.sequence - steps)) {
            walk(ring, block, ring.sequence - steps);
        }
    }
    decoded.head = ring.head;
    decoded.sequence = ring.sequence;
    decoded.pending = ring.pending;
    decoded.doubted = ring.doubted;
    settle(ring, decoded);
    if (ring.format_begun) {
        Decoded given_up;
        given_up.contents = Contents::nothing;
        return given_up;
    }
    return decoded;
}

} // namespace perdure::format_examples
