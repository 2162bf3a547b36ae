// A state of the closure, and what makes two of them one.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

#include "dump/decode.hpp"
#include "unit/unit.hpp"

namespace perdure::tiny {

constexpr uint32_t values_max = 2; ///< records
constexpr uint8_t value_cycle = 3; ///< different values of a record, put one after another
constexpr uint8_t not_stored = 0xFF;

/// Value number `value` of the cycle of `record`.
std::array<uint8_t, 2> payload_of(uint32_t record, uint8_t value);
/// The number of the value that is put behind `value`.
constexpr uint8_t value_after(uint8_t value) {
    return static_cast<uint8_t>(value == not_stored ? 0 : (value + 1) % value_cycle);
}

struct ClosureState {
    std::vector<uint8_t> image, ram; ///< ram is empty while there is no power
    std::array<uint8_t, values_max> acked{not_stored, not_stored};
    uint8_t flight = not_stored; ///< record that was being put
    uint8_t cuts_left = 0;       ///< without power: starts that may still be cut
    uint32_t steps = 0;
};

/// Gives states their keys. Two states with one key are taken to lead to the same, which closure.cpp checks.
///
/// What makes no difference: where in the ring the head is and what its number is (blocks are counted from the head,
/// and numbers from its own); which values of the cycle the records have (they are counted from the acknowledged one);
/// units before the ring's newest entry that belong to no record's newest one, to no mark and to no stamp; the bytes of
/// units that are neither blank nor of an entry; what the store's RAM holds only while a call runs.
class StateKeys {
public:
    using Key = std::pair<uint64_t, uint64_t>;
    StateKeys(const AreaShape& area, CheckFunction check, uint32_t records)
        : area_(area), check_(check), records_(records) {}

    /// `state` with the flash `image` and, where its ram is not empty, the store `memory`. `format`: formats in a row
    /// that were cut; their states are told apart by every byte.
    Key key_of(const ClosureState& state, const std::vector<uint8_t>& image, const StoreMemory& memory, uint8_t format);
    /// What the reader of dumps makes of `image`; it points into the image.
    const Decoded& decoded_of(const std::vector<uint8_t>& image);

private:
    struct Hash;
    void keep(uint32_t block, uint32_t unit, uint32_t units, bool kept);
    void choose_units();
    void add_flash(Hash& hash, const ClosureState& state, const std::vector<uint8_t>& image);
    void add_entries(Hash& hash, const ClosureState& state);
    void add_store(Hash& hash, const StoreMemory& memory) const;
    [[nodiscard]] uint32_t relative(const ClosureState& state, uint32_t record, std::span<const uint8_t> payload) const;
    [[nodiscard]] uint32_t from_head(uint32_t block) const {
        return (block + area_.blocks - decoded_.head) % area_.blocks;
    }
    [[nodiscard]] uint32_t stamp_units() const { return (16 + area_.unit_bytes - 1) / area_.unit_bytes; }

    AreaShape area_;
    CheckFunction check_;
    uint32_t records_;
    Decoder decoder_;
    Decoded decoded_;
    std::vector<uint8_t> keep_; ///< by unit: its contents count
    bool counted_from_head_ = false;
};

} // namespace perdure::tiny
