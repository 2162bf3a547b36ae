// A reader of the store's flash, written from store/format.md alone and sharing nothing with store.c: if a sentence of
// the document is wrong, or missing, the two disagree. It serves as the second witness in the power-cut proof, and
// reads areas that come back from the field.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace perdure {

/// What has to be known beside the bytes (format.md, section 1).
struct AreaShape {
    uint32_t blocks = 0;
    uint32_t block_units = 0;
    uint32_t unit_bytes = 0;
    uint32_t check_bits = 16; ///< 8, 16, 24 or 32
    uint8_t blank = 0xFF;
};

/// Carries a check code's register, left-aligned in 32 bits, over some bytes.
using CheckFunction = uint32_t (*)(uint32_t state, const uint8_t* from, size_t bytes);

/// The codes of format.md, section 2. `check_bits` 8, 16, 24 or 32.
CheckFunction format_check(uint32_t check_bits);

struct AreaView {
    AreaShape shape;
    std::span<const uint8_t> bytes;    ///< blocks * block_units * unit_bytes
    std::span<const uint8_t> faulting; ///< by unit, 1: reading it faults; empty: none does
    CheckFunction check = nullptr; ///< of entries; absent: that of format.md. A stamp takes it too if it has 16 bits
};

enum class Contents : uint8_t {
    nothing, ///< blank, or a format was begun and not finished
    foreign, ///< something else than a ring of this shape
    ring,
};

/// What an entry of a log holds: `payload` is its samples, one after the other.
struct DumpLog {
    uint32_t number = 0; ///< of the first one
    uint32_t count = 0;  ///< how many; 0: the entry only carries on the number
};

/// An entry that stands at some unit and is valid. Spans point into the area's bytes.
struct DumpEntry {
    uint32_t block = 0, unit = 0, units = 0;
    uint32_t bytes = 0; ///< from its first byte to its check code's last
    int64_t age = 0;    ///< in order of reading
    int64_t from = 0;   ///< restart entries: the age from which it voids
    bool restart = false, pending = false, is_short = false;
    std::optional<uint32_t> mark; ///< its number
    std::optional<uint32_t> id;
    std::optional<DumpLog> log;
    uint32_t from_unit = 0, back = 0; ///< restart entries: as they stand in flash
    std::span<const uint8_t> fields;  ///< descriptors of a total; of a short entry those that it is read with
    std::span<const uint8_t> payload; ///< or the packed bits of a short entry
    bool voided = false;              ///< by a later restart entry
};

/// What stands in a block's stamp.
struct DumpStamp {
    bool counts = false;  ///< its code is right and it is of this shape
    bool is_read = false; ///< the block's entries count
    uint32_t number = 0;  ///< sequence number
    uint32_t erases = 0;  ///< of the block, so far
};

struct DumpRecord {
    uint32_t id = 0;
    uint32_t block = 0;  ///< of its newest full entry
    uint32_t full = 0;   ///< place of that entry among the entries
    uint32_t newest = 0; ///< place of the last one, full or short, that makes up the value
    bool present = false;
    std::vector<uint8_t> payload;
    std::optional<uint32_t>
        log_next; ///< logs: the number of the next sample; then `payload` is the newest entry's samples
};

struct Decoded {
    Contents contents = Contents::nothing;
    uint32_t head = 0;
    uint32_t sequence = 0;           ///< of the head
    std::optional<uint32_t> pending; ///< block whose erase may be unfinished
    uint32_t blanks = 0;             ///< blocks that wait erased behind the head
    std::vector<DumpStamp> stamps;   ///< by block
    std::vector<DumpRecord> records; ///< some may not be present
    std::vector<DumpEntry> entries;  ///< all that were accepted, in order of age
    std::vector<DumpEntry> doubted;  ///< valid ones behind a gap that were not believed
    uint32_t voided = 0;             ///< entries that a restart entry voided
    uint32_t restarts = 0;           ///< restart entries among those accepted

    /// The payload of a record; null if nothing is stored.
    [[nodiscard]] const std::vector<uint8_t>* find(uint32_t id) const;
    /// Is the block in the list of those that are used no more?
    [[nodiscard]] bool set_aside(uint32_t block) const;
    /// The entries of a log whose samples count, oldest first. Numbers that do not follow each other are a gap.
    [[nodiscard]] std::vector<const DumpEntry*> log_entries(uint32_t id) const;
};

/// Where something of an id stands in some list. Never cleared: what it says holds if that place has this id.
class PlaceById {
public:
    uint16_t& operator[](uint32_t id) {
        if (id >= places_.size()) { places_.resize(size_t{id} + 1); }
        return places_[id];
    }

private:
    std::vector<uint16_t> places_;
};

/// Reads areas, one after another, in buffers that it keeps.
class Decoder {
public:
    /// The view's bytes must outlive the use of decoded.entries and decoded.doubted. Whatever the bytes are, nothing is
    /// read beyond them. The shape has at least one unit of one byte, and is that of the bytes.
    void decode(const AreaView& view, Decoded& decoded);

private:
    struct Cursor;
    struct FullEntry {
        uint32_t id = 0; ///< 0: a lone restart entry
        std::span<const uint8_t> fields;
        std::optional<DumpLog> log;
        size_t short_bytes = 0; ///< payload of a short entry that is read with it: packed bits, or all its samples
        int64_t age = 0;
        int64_t from = 0; ///< the age from which it voids; of others its own
    };

    void begin_block(uint32_t block, uint32_t number);
    [[nodiscard]] size_t address(uint32_t block, uint32_t unit) const;
    [[nodiscard]] bool faults(size_t begin, size_t end) const;
    [[nodiscard]] DumpStamp stamp_of(uint32_t block) const;
    const FullEntry* full_entry_of(uint32_t id);
    /// May short_at read what begins with this byte?
    [[nodiscard]] bool is_short_one(uint8_t first) const {
        return first >> 6U == 1 && (first & 0x3FU) != 0 && view_.faulting.empty();
    }
    bool short_at(uint32_t unit, DumpEntry& entry);
    bool take_record(Cursor& cursor, DumpEntry& entry);
    bool take_log(Cursor& cursor, DumpEntry& entry, size_t length);
    bool entry_at(uint32_t unit, DumpEntry& entry);
    Contents find_head();
    void accept();
    bool goes_on_at(uint32_t unit);
    void walk();
    void void_entries();
    void settle();
    void count_blanks();
    DumpRecord& record(uint32_t id);

    AreaView view_;
    CheckFunction stamp_check_ = nullptr;
    uint32_t first_unit_ = 0;
    Decoded* to_ = nullptr;
    PlaceById record_place_;
    // Of the block that is being read:
    uint32_t block_ = 0;
    int64_t block_age_ = 0;
    uint32_t block_check_ = 0;     ///< check code's state after the block's number
    std::vector<FullEntry> fulls_; ///< accepted full and restart entries, in order of age
    uint32_t asked_id_ = 0;        ///< of full_entry_of, with as many of fulls_ as there were, and the answer
    size_t asked_fulls_ = 0;
    const FullEntry* answer_ = nullptr;
    // Of the whole ring, places among the accepted entries:
    std::vector<uint32_t> restarts_;
    std::vector<uint32_t> standing_; ///< full entries of records, restart entries with one too
};

/// Takes a short entry: `payload`, the record's value before it, becomes the value that it says (format.md, section 4).
void carry_up(std::vector<uint8_t>& payload, const DumpEntry& entry);

/// Reads one area.
Decoded decode(const AreaView& view);

} // namespace perdure
