// One virtual product: the very store that ships in firmware, bound to a simulated flash.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "flash/flash.hpp"
#include "project/default_bytes.hpp"
#include "project/layout.hpp"
#include "store.h"

namespace perdure {

/// A store's configuration with all the memory it points to; the port is the caller's. Not copyable: the configuration
/// points into it. The RAM that a running store changes can be kept and put back (save, restore).
class StoreMemory {
public:
    /// `records` are those of the layout, in its order; its check width is 8, 16, 24 or 32 bits.
    StoreMemory(const AreaLayout& layout, const std::vector<const Record*>& records, const perdure_port* port);
    StoreMemory(const StoreMemory&) = delete;
    StoreMemory& operator=(const StoreMemory&) = delete;

    /// What the store keeps in RAM between calls, as bytes.
    void save(std::vector<uint8_t>& to) const;
    void restore(const std::vector<uint8_t>& from);

    perdure_config config{};
    perdure_store store{};

private:
    std::vector<std::vector<uint8_t>> fields_;
    std::vector<std::vector<uint8_t>> defaults_;
    std::vector<perdure_record> records_;
    std::vector<uint32_t> newest_;
    std::vector<uint8_t> totals_, block_flags_, unit_buffer_;
};

/// A store with its flash and all its memory. Records are numbered as in the layout (ascending ids). Not copyable: the
/// store's configuration points into it.
class Unit {
public:
    /// `records` are those of the layout, in its order; `check_bits` 8, 16, 24 or 32. The flash starts blank; call
    /// format().
    Unit(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs);
    Unit(const Unit&) = delete;
    Unit& operator=(const Unit&) = delete;

    perdure_status format() { return perdure_format(&memory_.store, &memory_.config); }
    perdure_status open(uint8_t mode = PERDURE_WRITE) { return perdure_open(&memory_.store, &memory_.config, mode); }
    /// `payload` and `to` are payload_bytes(record) long.
    perdure_status put(uint16_t record, const uint8_t* payload) { return perdure_put(&memory_.store, record, payload); }
    perdure_status get(uint16_t record, uint8_t* to) const { return perdure_get(&memory_.store, record, to); }
    /// `samples` are `count` times payload_bytes(record) long; the record is a log.
    perdure_status append(uint16_t record, const uint8_t* samples, uint8_t count) {
        return perdure_append(&memory_.store, record, samples, count);
    }
    [[nodiscard]] uint32_t log_next(uint16_t record) const { return perdure_log_next(&memory_.store, record); }
    void read_log(uint16_t record, uint32_t from, perdure_visit* visit, void* context, uint8_t* sample) const {
        perdure_read_log(&memory_.store, record, from, visit, context, sample);
    }
    /// The save at power failure, of the record that has one; the store is closed afterwards.
    perdure_status put_now(uint16_t record, const uint8_t* payload) {
        return perdure_put_now(&memory_.store, record, payload);
    }
    bool service() { return perdure_service(&memory_.store); }

    [[nodiscard]] uint16_t payload_bytes(uint16_t record) const { return memory_.config.records[record].bytes; }
    [[nodiscard]] uint16_t record_count() const { return memory_.config.record_count; }
    [[nodiscard]] Flash& flash() { return flash_; }
    [[nodiscard]] const Flash& flash() const { return flash_; }
    [[nodiscard]] const perdure_store& store() const { return memory_.store; }
    [[nodiscard]] const perdure_config& config() const { return memory_.config; }

private:
    Flash flash_;
    perdure_port port_{};
    StoreMemory memory_;
};

/// The check code hook for `check_bits` (8, 16, 24 or 32): the store's own codes by table. The context is not used.
uint32_t (*check_hook(uint32_t check_bits))(void*, uint32_t, const void*, uint32_t);

/// The check code hook of the simulated product: the store's own codes by table, 8 bits a step.
/// `state` is left-aligned as in port.h; `check_bits` 8, 16, 24 or 32.
uint32_t check_by_table(uint32_t check_bits, uint32_t state, const uint8_t* from, uint32_t bytes);

} // namespace perdure
