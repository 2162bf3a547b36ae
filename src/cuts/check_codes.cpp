#include "cuts/check_codes.hpp"

#include <array>
#include <utility>

#include "unit/unit.hpp"

namespace perdure {
namespace {

/// The store's own code over bytes that were first put through a permutation, another one for each number.
template <uint32_t Bits, unsigned Number> uint32_t carry(uint32_t state, const uint8_t* from, size_t bytes) {
    if constexpr (Number == 0) {
        return check_hook(Bits)(nullptr, state, from, static_cast<uint32_t>(bytes));
    } else {
        for (; bytes != 0; bytes--) {
            const auto other = static_cast<uint8_t>(*from++ * (2 * Number + 1) + 0x35 * Number);
            state = check_by_table(Bits, state, &other, 1);
        }
        return state;
    }
}

template <uint32_t Bits, unsigned Number>
uint32_t carry_in_store(void*, uint32_t state, const void* from, uint32_t bytes) {
    return carry<Bits, Number>(state, static_cast<const uint8_t*>(from), bytes);
}

template <uint32_t Bits, size_t... Numbers>
constexpr std::array<StoreCheck, check_code_count> store_codes(std::index_sequence<Numbers...>) {
    return {carry_in_store<Bits, unsigned{Numbers}>...};
}

template <uint32_t Bits, size_t... Numbers>
constexpr std::array<DumpCheck, check_code_count> dump_codes(std::index_sequence<Numbers...>) {
    return {carry<Bits, unsigned{Numbers}>...};
}

constexpr std::make_index_sequence<check_code_count> all;
constexpr std::array store_table{store_codes<8>(all), store_codes<16>(all), store_codes<24>(all), store_codes<32>(all)};
constexpr std::array dump_table{dump_codes<8>(all), dump_codes<16>(all), dump_codes<24>(all), dump_codes<32>(all)};

} // namespace

StoreCheck store_check(uint32_t check_bits, unsigned number) {
    return store_table[check_bits / 8 - 1][number];
}

DumpCheck dump_check(uint32_t check_bits, unsigned number) {
    return dump_table[check_bits / 8 - 1][number];
}

} // namespace perdure
