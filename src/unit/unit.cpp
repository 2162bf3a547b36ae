#include "unit/unit.hpp"

#include <array>
#include <cstring>

namespace perdure {
namespace {

using Table = std::array<uint32_t, 256>;

constexpr Table make_table(uint32_t polynomial) {
    Table table{};
    for (uint32_t byte = 0; byte < 256; byte++) {
        uint32_t state = byte << 24;
        for (int bit = 0; bit < 8; bit++) { state = (state << 1) ^ ((state >> 31) != 0 ? polynomial : 0); }
        table[byte] = state;
    }
    return table;
}

// The generator polynomials of store/format.md, left-aligned.
constexpr std::array<Table, 4> tables{make_table(0x31000000U), make_table(0x10210000U), make_table(0x864CFB00U),
                                      make_table(0x04C11DB7U)};

template <size_t Width> uint32_t table_hook(void*, uint32_t state, const void* from, uint32_t bytes) {
    const Table& table = tables[Width];
    const auto* p = static_cast<const uint8_t*>(from);
    for (; bytes != 0; bytes--) { state = (state << 8) ^ table[(state >> 24) ^ *p++]; }
    return state;
}

bool port_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    return static_cast<Flash*>(context)->read(address, static_cast<uint8_t*>(to), bytes) == FlashResult::ok;
}

bool port_program(void* context, uint32_t address, const void* unit) {
    auto* flash = static_cast<Flash*>(context);
    return flash->program(address, static_cast<const uint8_t*>(unit), flash->geometry().unit_bytes) == FlashResult::ok;
}

bool port_erase(void* context, uint32_t block) {
    return static_cast<Flash*>(context)->erase(block) == FlashResult::ok;
}

} // namespace

uint32_t check_by_table(uint32_t check_bits, uint32_t state, const uint8_t* from, uint32_t bytes) {
    const Table& table = tables[check_bits / 8 - 1];
    for (; bytes != 0; bytes--) { state = (state << 8) ^ table[(state >> 24) ^ *from++]; }
    return state;
}

uint32_t (*check_hook(uint32_t check_bits))(void*, uint32_t, const void*, uint32_t) {
    constexpr std::array hooks{table_hook<0>, table_hook<1>, table_hook<2>, table_hook<3>};
    return hooks[check_bits / 8 - 1];
}

Unit::Unit(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs)
    : flash_(layout.geometry, costs), port_{port_read, port_program, port_erase, check_hook(layout.check_bytes * 8),
                                            &flash_},
      memory_(layout, records, &port_) {}

} // namespace perdure
