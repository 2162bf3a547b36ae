#include "tests/closure/closure_state.hpp"

#include <algorithm>

#define XXH_INLINE_ALL
#include <xxhash.h>

namespace perdure::tiny {

struct StateKeys::Hash {
    XXH3_state_t state;
    Hash() { XXH3_128bits_reset(&state); }
    template <class T> void add(const T& value) { XXH3_128bits_update(&state, &value, sizeof value); }
    void add_bytes(const uint8_t* from, size_t bytes) { XXH3_128bits_update(&state, from, bytes); }
};

std::array<uint8_t, 2> payload_of(uint32_t record, uint8_t value) {
    return {static_cast<uint8_t>(value * 37 + 5), static_cast<uint8_t>(record * 64 + value * 11 + 1)};
}

const Decoded& StateKeys::decoded_of(const std::vector<uint8_t>& image) {
    decoder_.decode({area_, image, {}, check_}, decoded_);
    return decoded_;
}

StateKeys::Key StateKeys::key_of(const ClosureState& state, const std::vector<uint8_t>& image,
                                 const StoreMemory& memory, uint8_t format) {
    Hash hash;
    decoded_of(image);
    // In a ring's first turn how many blocks were used makes a difference.
    counted_from_head_ = format == 0 && decoded_.contents == Contents::ring && decoded_.sequence >= 2 * area_.blocks;
    choose_units();
    add_flash(hash, state, image);
    if (!counted_from_head_) {
        hash.add_bytes(state.ram.data(), state.ram.size());
    } else if (!state.ram.empty()) {
        add_store(hash, memory);
    }
    for (const uint8_t acked : state.acked) {
        hash.add(counted_from_head_ ? static_cast<uint8_t>(acked == not_stored) : acked);
    }
    hash.add(std::array<uint8_t, 5>{state.flight, state.cuts_left, format, static_cast<uint8_t>(state.ram.empty()),
                                    static_cast<uint8_t>(counted_from_head_)});
    const XXH128_hash_t key = XXH3_128bits_digest(&hash.state);
    return {key.low64, key.high64};
}

void StateKeys::keep(uint32_t block, uint32_t unit, uint32_t units, bool kept) {
    const auto from = keep_.begin() + size_t{block} * area_.block_units + unit;
    std::fill(from, from + units, static_cast<uint8_t>(kept));
}

/// Stamps, marks, each record's newest entry, and from the ring's newest entry to its block's end.
void StateKeys::choose_units() {
    keep_.assign(size_t{area_.blocks} * area_.block_units, 0);
    for (uint32_t block = 0; block < area_.blocks; block++) { keep(block, 0, stamp_units(), true); }
    std::array<const DumpEntry*, values_max> newest{};
    for (const DumpEntry& entry : decoded_.entries) {
        if (entry.mark || entry.pending) { keep(entry.block, entry.unit, entry.units, true); }
        if (entry.id && *entry.id <= records_ && !entry.voided) { newest[*entry.id - 1] = &entry; }
    }
    for (const DumpEntry* entry : newest) {
        if (entry != nullptr) { keep(entry->block, entry->unit, entry->units, true); }
    }
    if (!decoded_.entries.empty()) {
        const DumpEntry& last = decoded_.entries.back();
        keep(last.block, last.unit, area_.block_units - last.unit, true);
    }
}

void StateKeys::add_flash(Hash& hash, const ClosureState& state, const std::vector<uint8_t>& image) {
    uint32_t largest = 0; // a start puts as many pads
    for (const DumpEntry& entry : decoded_.entries) { largest = std::max(largest, entry.units); }
    hash.add(largest);
    if (counted_from_head_) { add_entries(hash, state); }
    for (uint32_t i = 0; i < area_.blocks; i++) {
        const uint32_t block = counted_from_head_ ? (decoded_.head + i) % area_.blocks : i;
        if (counted_from_head_) {
            const DumpStamp& stamp = decoded_.stamps[block];
            hash.add(stamp.counts);
            if (stamp.counts) {
                hash.add(stamp.number - decoded_.sequence);
                keep(block, 0, stamp_units(), false);
            }
        }
        uint32_t filled = 0;
        for (uint32_t unit = 0; unit < area_.block_units; unit++) {
            const size_t at = size_t{block} * area_.block_units + unit;
            const uint8_t* bytes = image.data() + at * area_.unit_bytes;
            const bool blank =
                std::all_of(bytes, bytes + area_.unit_bytes, [&](uint8_t byte) { return byte == area_.blank; });
            if (!blank) { filled = unit + 1; }
            if (keep_[at] == 0 || blank) { continue; }
            hash.add(i * area_.block_units + unit);
            if (!counted_from_head_) { hash.add_bytes(bytes, area_.unit_bytes); }
        }
        hash.add(filled);
    }
}

/// Those of kept units, as what they say; their units are done with.
void StateKeys::add_entries(Hash& hash, const ClosureState& state) {
    for (const DumpEntry& entry : decoded_.entries) {
        if (keep_[size_t{entry.block} * area_.block_units + entry.unit] == 0) { continue; }
        const bool of_record = entry.id && *entry.id >= 1 && *entry.id <= records_;
        hash.add(std::array<uint32_t, 11>{
            from_head(entry.block) * area_.block_units + entry.unit, entry.units, entry.restart, entry.pending,
            entry.is_short, entry.mark ? *entry.mark + 1 : 0, entry.id ? *entry.id + 1 : 0, entry.from_unit, entry.back,
            entry.voided, of_record ? relative(state, *entry.id - 1, entry.payload) : 0});
        keep(entry.block, entry.unit, entry.units, false);
    }
}

/// The store's RAM between two calls, without its unit buffer and what it needs within a call.
void StateKeys::add_store(Hash& hash, const StoreMemory& memory) const {
    const perdure_store& store = memory.store;
    hash.add(std::array<uint32_t, 10>{store.state, store.spare, store.unit, store.blanks, store.reserve, store.live_max,
                                      store.faults, from_head(store.head),
                                      store.pending < area_.blocks ? from_head(store.pending) : area_.blocks,
                                      store.sequence - decoded_.sequence});
    for (uint32_t i = 0; i <= records_; i++) { // one more: the list of blocks set aside
        const uint32_t place = memory.config.newest[i];
        hash.add(place == 0 ? 0U : (from_head(place >> 16) << 16 | (place & 0xFFFF)) + 1);
    }
    for (uint32_t i = 0; i < area_.blocks; i++) {
        hash.add(memory.config.block_flags[(decoded_.head + i) % area_.blocks]);
    }
}

/// How many values behind the acknowledged one; of a record without one, and of other bytes, numbers of their own.
uint32_t StateKeys::relative(const ClosureState& state, uint32_t record, std::span<const uint8_t> payload) const {
    for (uint8_t value = 0; value < value_cycle; value++) {
        const auto bytes = payload_of(record, value);
        if (!std::equal(payload.begin(), payload.end(), bytes.begin(), bytes.end())) { continue; }
        const uint8_t acked = state.acked[record];
        return acked == not_stored ? uint32_t{value_cycle} + value
                                   : (uint32_t{value} + value_cycle - acked) % value_cycle;
    }
    return 2 * value_cycle;
}

} // namespace perdure::tiny
