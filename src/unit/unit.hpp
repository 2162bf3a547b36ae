// One virtual product: the very store that ships in firmware, bound to a simulated flash.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "flash/flash.hpp"
#include "project/layout.hpp"
#include "store.h"

namespace perdure {

/// A store with its flash and all its memory. Records are numbered as in the layout (ascending ids). Not copyable: the
/// store's configuration points into it.
class Unit {
public:
    /// `records` are those of the layout, in its order; `check_bits` 8, 16, 24 or 32. The flash starts blank; call
    /// format().
    Unit(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs);
    Unit(const Unit&) = delete;
    Unit& operator=(const Unit&) = delete;

    perdure_status format() { return perdure_format(&store_, &config_); }
    perdure_status open(bool read_only = false) { return perdure_open(&store_, &config_, read_only); }
    /// `payload` and `to` are payload_bytes(record) long.
    perdure_status put(uint16_t record, const uint8_t* payload) { return perdure_put(&store_, record, payload); }
    perdure_status get(uint16_t record, uint8_t* to) const { return perdure_get(&store_, record, to); }
    bool service() { return perdure_service(&store_); }

    [[nodiscard]] uint16_t payload_bytes(uint16_t record) const { return records_[record].bytes; }
    [[nodiscard]] uint16_t record_count() const { return config_.record_count; }
    [[nodiscard]] Flash& flash() { return flash_; }
    [[nodiscard]] const Flash& flash() const { return flash_; }
    [[nodiscard]] const perdure_store& store() const { return store_; }
    [[nodiscard]] const perdure_config& config() const { return config_; }

private:
    Flash flash_;
    std::vector<std::vector<uint8_t>> fields_;
    std::vector<std::vector<uint8_t>> defaults_;
    std::vector<perdure_record> records_;
    std::vector<uint32_t> newest_;
    std::vector<uint8_t> totals_, block_flags_, unit_buffer_;
    perdure_port port_{};
    perdure_config config_{};
    perdure_store store_{};
};

/// The check code hook of the simulated product: the store's own codes by table, 8 bits a step.
/// `state` is left-aligned as in port.h; `check_bits` 8, 16, 24 or 32.
uint32_t check_by_table(uint32_t check_bits, uint32_t state, const uint8_t* from, uint32_t bytes);

/// A field's default as its little-endian bytes in flash (two's complement, IEEE 754); zeros without one.
std::vector<uint8_t> default_bytes(const Field& field);

} // namespace perdure
