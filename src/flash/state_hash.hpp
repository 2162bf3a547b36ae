// A hash that stands for a state of a search, made of the hashes of its parts.
#pragma once

#include <cstddef>
#include <cstdint>

namespace perdure {

struct StateHash {
    uint64_t low = 0, high = 0;
    bool operator==(const StateHash&) const = default;
    StateHash& operator^=(const StateHash& other) {
        low ^= other.low;
        high ^= other.high;
        return *this;
    }
};

/// Of some bytes; another one for each seed.
StateHash hash_of(const void* from, size_t bytes, uint64_t seed);

} // namespace perdure
