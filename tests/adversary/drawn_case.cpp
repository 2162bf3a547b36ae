#include "drawn_case.hpp"

#include "check_code.hpp"

#include <algorithm>
#include <cstring>

#include <fmt/format.h>

namespace perdure::adversary {
namespace {

bool read_port(void* context, uint32_t address, void* to, uint32_t bytes) {
    return static_cast<CaseMemory*>(context)->flash->read(address, static_cast<uint8_t*>(to), bytes);
}

bool program_port(void* context, uint32_t address, const void* unit) {
    return static_cast<CaseMemory*>(context)->flash->program(address, static_cast<const uint8_t*>(unit));
}

bool erase_port(void* context, uint32_t block) {
    return static_cast<CaseMemory*>(context)->flash->erase(block);
}

uint32_t check_port(void* context, uint32_t state, const void* from, uint32_t bytes) {
    return check_over(static_cast<CaseMemory*>(context)->table, state, static_cast<const uint8_t*>(from), bytes);
}

/// A part that reads blank everywhere: enough to ask the store whether a configuration fits.
bool read_blank(void* context, uint32_t, void* to, uint32_t bytes) {
    std::memset(to, *static_cast<const uint8_t*>(context), bytes);
    return true;
}

uint8_t draw_field(Random& random) {
    const uint32_t size_log2 = random.one_in(4) ? random.below(4) : random.between(2, 3);
    if (random.one_in(12)) {
        return PERDURE_FIELD(size_log2, 0u); // never a short entry
    }
    const uint32_t bits_max = std::min(8u << size_log2, 56u);
    return PERDURE_FIELD(size_log2,
                         std::min(bits_max, random.one_in(6) ? random.between(4, 40) : random.between(8, 15)));
}

DrawnRecord draw_record(uint16_t id, uint32_t bytes_max, uint16_t& totals_bytes, Random& random) {
    DrawnRecord record;
    record.id = id;
    if (random.one_in(2)) {
        const uint32_t fields = random.between(1, random.one_in(4) ? 4 : 2);
        for (uint32_t i = 0; i < fields; i++) {
            record.fields.push_back(draw_field(random));
            record.bytes = static_cast<uint16_t>(record.bytes + (1u << (record.fields.back() >> 6)));
        }
        record.total_offset = totals_bytes;
        totals_bytes = static_cast<uint16_t>(totals_bytes + record.bytes);
    } else {
        record.bytes = static_cast<uint16_t>(random.one_in(10) ? random.between(1, bytes_max) : random.between(4, 15));
    }
    record.defaults.assign(record.bytes, 0);
    record.has_defaults = random.one_in(4);
    if (record.has_defaults && record.fields.empty()) {
        for (uint8_t& byte : record.defaults) { byte = static_cast<uint8_t>(random.next()); }
    } else if (record.has_defaults) {
        record.defaults[0] = static_cast<uint8_t>(random.below(100));
    }
    return record;
}

void draw_records(DrawnCase& drawn, Random& random) {
    const bool wide = drawn.family == Family::wide;
    uint32_t count = random.between(1, 4);
    uint32_t id_step = 40;
    uint32_t bytes_max = 30;
    if (wide) {
        count = random.one_in(3) ? random.between(5, 40) : random.between(1, 8);
        id_step = random.one_in(3) ? 1500 : random.one_in(2) ? 120 : 20;
        bytes_max = random.one_in(4) ? 200 : 40;
    } else if (drawn.family == Family::many) {
        count = 300;
        id_step = 200;
    }
    uint32_t id = random.between(1, 5);
    uint16_t totals_bytes = 0;
    for (uint32_t i = 0; i < count; i++) {
        drawn.records.push_back(draw_record(static_cast<uint16_t>(id), bytes_max, totals_bytes, random));
        id += random.between(1, id_step);
    }
}

bool fits(const DrawnCase& drawn, uint32_t blocks) {
    CaseMemory memory(drawn, nullptr, 0);
    memory.config.blocks = static_cast<uint16_t>(blocks);
    perdure_port port{};
    uint8_t blank = drawn.blank;
    port.read = read_blank;
    port.context = &blank;
    memory.config.port = &port;
    perdure_store store;
    return perdure_open(&store, &memory.config, true) != PERDURE_CONFIG;
}

} // namespace

const char* family_name(Family family) {
    constexpr const char* names[] = {"basic",  "short_turns", "wide", "narrow_8", "narrow_16",
                                     "format", "failing",     "many", "ring",     "restarts"};
    return names[static_cast<int>(family)];
}

CaseMemory::CaseMemory(const DrawnCase& drawn, WorstFlash* part, unsigned check_code)
    : flash(part), table(check_table(drawn.check_bits, check_code)) {
    uint32_t totals_bytes = 0;
    for (const DrawnRecord& from : drawn.records) {
        perdure_record record{};
        record.id = from.id;
        record.bytes = from.bytes;
        record.defaults = from.has_defaults ? from.defaults.data() : nullptr;
        record.fields = from.fields.empty() ? nullptr : from.fields.data();
        record.field_count = static_cast<uint8_t>(from.fields.size());
        record.total_offset = from.total_offset;
        totals_bytes += from.fields.empty() ? 0u : from.bytes;
        records.push_back(record);
    }
    constexpr uint16_t unknown_max = 2;
    newest.resize(records.size() + unknown_max + 1);
    unknown_ids.resize(unknown_max);
    totals.resize(totals_bytes + 1);
    block_flags.resize(drawn.blocks);
    unit_buffer.resize(drawn.unit_bytes);
    // Other check codes than the store's own, and fast ones, come in through the port.
    port = {read_port, program_port, erase_port, drawn.fast_check || check_code != 0 ? check_port : nullptr, this};
    config.port = &port;
    config.records = records.data();
    config.newest = newest.data();
    config.unknown_ids = unknown_ids.data();
    config.totals = totals.data();
    config.block_flags = block_flags.data();
    config.unit_buffer = unit_buffer.data();
    config.record_count = static_cast<uint16_t>(records.size());
    config.unknown_max = unknown_max;
    config.blocks = static_cast<uint16_t>(drawn.blocks);
    config.block_units = static_cast<uint16_t>(drawn.block_units);
    config.unit_bytes = static_cast<uint16_t>(drawn.unit_bytes);
    config.check_bits = drawn.check_bits;
    config.blank = drawn.blank;
}

DrawnCase draw_case(Family family, Random& random) {
    constexpr uint32_t units[] = {1, 2, 3, 4, 6, 8, 16, 32, 64};
    DrawnCase drawn;
    drawn.family = family;
    drawn.unit_bytes = units[random.below(family == Family::wide ? 9 : 8)];
    drawn.blocks = random.between(2, 6);
    drawn.blank = random.one_in(2) ? 0x00 : 0xFF;
    drawn.ecc = random.one_in(2);
    drawn.check_bits = random.one_in(2) ? 24 : 32;
    drawn.fast_check = !random.one_in(16);
    switch (family) {
    case Family::short_turns:
        drawn.blocks = random.between(2, 4);
        break;
    case Family::wide:
        drawn.blocks = random.one_in(2) ? random.between(2, 12) : random.between(2, 5);
        break;
    case Family::narrow_8:
        drawn.check_bits = 8;
        break;
    case Family::narrow_16:
        drawn.check_bits = 16;
        break;
    case Family::failing:
        drawn.blocks = random.between(6, 9);
        break;
    case Family::many:
        drawn.unit_bytes = units[random.between(4, 7)];
        break;
    case Family::ring:
        drawn.blocks = 2000;
        break;
    case Family::restarts:
        drawn.unit_bytes = units[random.between(6, 7)];
        break;
    case Family::basic:
    case Family::format:
        break;
    }
    draw_records(drawn, random);
    // With a block that will be set aside, the data must fit the others.
    const uint32_t blocks = drawn.blocks - (family == Family::failing ? 1u : 0u);
    while (!fits(drawn, blocks)) { drawn.block_units += 1 + drawn.block_units / 64; }
    drawn.block_units += random.below(family == Family::short_turns ? 4 : 20);
    return drawn;
}

std::string describe(const DrawnCase& drawn) {
    std::string text = fmt::format(
        "unit {} bytes, block {} units, {} blocks, blank {:02x}, {}check {} bits, {} records:", drawn.unit_bytes,
        drawn.block_units, drawn.blocks, drawn.blank, drawn.ecc ? "ECC, " : "", drawn.check_bits, drawn.records.size());
    for (size_t i = 0; i < drawn.records.size() && i < 8; i++) {
        text += fmt::format(" {}/{}{}", drawn.records[i].id, drawn.records[i].bytes,
                            drawn.records[i].fields.empty() ? "" : "t");
    }
    return text;
}

} // namespace perdure::adversary
