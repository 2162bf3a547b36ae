#include "flash/state_hash.hpp"

#define XXH_INLINE_ALL
#include <xxhash.h>

namespace perdure {

StateHash hash_of(const void* from, size_t bytes, uint64_t seed) {
    const XXH128_hash_t hash = XXH3_128bits_withSeed(from, bytes, seed);
    return {hash.low64, hash.high64};
}

} // namespace perdure
