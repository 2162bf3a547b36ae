// A log and a value in an area of flash in RAM that cuts the power before or after an operation, or in the middle of an
// entry. No torn units: those are the cut search's matter.
#pragma once

#include <cstdint>
#include <cstring>
#include <functional>
#include <vector>

#include "store/store.h"

namespace perdure {

struct LogAreaShape {
    uint16_t blocks = 4;
    uint16_t block_units = 64;
    uint16_t unit_bytes = 8;
    uint16_t sample_bytes = 6;
    uint8_t batch = 4;
    uint8_t check_bits = 16;
};

/// Not to be copied: the configuration points into it.
struct LogArea {
    explicit LogArea(const LogAreaShape& wanted) : shape(wanted), flash(bytes(), 0xFF), unit_buffer(wanted.unit_bytes) {
        records[value] = {1, 4, nullptr, nullptr, 0, 0, 0};
        records[log] = {2, shape.sample_bytes, nullptr, nullptr, 0, 0, shape.batch};
        config = {
            &port,    records, newest,       nullptr,           totals,           block_flags,      unit_buffer.data(),
            2,        0,       shape.blocks, shape.block_units, shape.unit_bytes, shape.check_bits, 0xFF,
            1 + value};
    }
    LogArea(const LogArea&) = delete;
    LogArea& operator=(const LogArea&) = delete;

    enum : uint16_t { value = 0, log = 1 };

    [[nodiscard]] size_t bytes() const { return size_t{shape.blocks} * shape.block_units * shape.unit_bytes; }

    /// Sample `number`, made from the number.
    [[nodiscard]] std::vector<uint8_t> sample(uint32_t number) const {
        std::vector<uint8_t> made(shape.sample_bytes);
        for (size_t i = 0; i < made.size(); i++) {
            made[i] = static_cast<uint8_t>(number * 7 + i * 31 + (number >> 8));
        }
        return made;
    }

    /// Appends samples as the log numbers them.
    perdure_status append(uint8_t count) {
        std::vector<uint8_t> samples;
        const uint32_t next = perdure_log_next(&store, log);
        for (uint32_t i = 0; i < count; i++) {
            const std::vector<uint8_t> one = sample(next + i);
            samples.insert(samples.end(), one.begin(), one.end());
        }
        return perdure_append(&store, log, samples.data(), count);
    }

    /// Numbers of the samples from `from` on; one whose bytes are wrong comes as 0xFFFFFFFF.
    [[nodiscard]] std::vector<uint32_t> read(uint32_t from, size_t at_most = SIZE_MAX) const {
        struct Reader {
            const LogArea& area;
            std::vector<uint32_t> numbers;
            size_t at_most;
        } reader{*this, {}, at_most};
        std::vector<uint8_t> room(shape.sample_bytes);
        perdure_read_log(
            &store, log, from,
            [](void* context, uint32_t number, const void* bytes) {
                auto& to = *static_cast<Reader*>(context);
                const bool right = std::memcmp(bytes, to.area.sample(number).data(), to.area.shape.sample_bytes) == 0;
                to.numbers.push_back(right ? number : 0xFFFFFFFF);
                return to.numbers.size() < to.at_most;
            },
            &reader, room.data());
        return reader.numbers;
    }

    perdure_status open(uint8_t mode = PERDURE_WRITE) { return perdure_open(&store, &config, mode); }
    perdure_status format() { return perdure_format(&store, &config); }

    LogAreaShape shape;
    std::vector<uint8_t> flash;
    int64_t operations_left = -1;                 ///< programs and erases until the power goes; below 0: it stays
    std::function<void(bool erase)> in_operation; ///< an interrupt that comes in the next one, once
    uint32_t programs = 0, erases = 0;
    int64_t programs_left = -1;    ///< programs until all fail; below 0: none does
    int64_t reads_left = -1;       ///< reads until one faults; below 0: none does
    std::function<void()> in_read; ///< an interrupt that comes in each read, until it is taken away

    perdure_record records[2] = {};
    perdure_port port = {read_flash, program_flash, erase_flash, nullptr, this};
    perdure_config config = {};
    perdure_store store = {};
    uint32_t newest[3] = {};
    uint8_t totals[6] = {};
    uint8_t block_flags[64] = {};
    std::vector<uint8_t> unit_buffer;

private:
    bool happens(bool erase) {
        if (operations_left > 0) { operations_left--; }
        if (operations_left == 0) { return false; }
        (erase ? erases : programs)++;
        if (in_operation) {
            const std::function<void(bool)> interrupt = std::move(in_operation);
            in_operation = nullptr;
            interrupt(erase);
        }
        return true;
    }
    static bool read_flash(void* context, uint32_t address, void* to, uint32_t bytes) {
        auto& area = *static_cast<LogArea*>(context);
        std::memcpy(to, area.flash.data() + address, bytes);
        if (area.in_read) { area.in_read(); }
        return area.reads_left < 0 || area.reads_left-- != 0;
    }
    static bool program_flash(void* context, uint32_t address, const void* unit) {
        auto& area = *static_cast<LogArea*>(context);
        std::vector<uint8_t> bytes(area.shape.unit_bytes); // latched before an interrupt takes the buffer
        std::memcpy(bytes.data(), unit, bytes.size());
        if (area.programs_left == 0) { return false; }
        if (area.programs_left > 0) { area.programs_left--; }
        if (!area.happens(false)) { return false; }
        for (size_t i = 0; i < bytes.size(); i++) { area.flash[address + i] &= bytes[i]; }
        return true;
    }
    static bool erase_flash(void* context, uint32_t block) {
        auto& area = *static_cast<LogArea*>(context);
        if (!area.happens(true)) { return false; }
        const size_t bytes = size_t{area.shape.block_units} * area.shape.unit_bytes;
        std::memset(area.flash.data() + block * bytes, 0xFF, bytes);
        return true;
    }
};

} // namespace perdure
