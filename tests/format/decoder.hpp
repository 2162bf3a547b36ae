// A second reader of the store's flash, written from store/format.md alone and sharing nothing with store.c: if a
// sentence of the document is wrong, or missing, the two disagree. Slow and simple on purpose.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

namespace perdure::format_examples {

using Bytes = std::vector<uint8_t>;

/// What has to be known beside the bytes (format.md, section 1).
struct AreaShape {
    uint32_t unit_bytes;
    uint32_t blocks;
    uint32_t block_units;
    uint32_t check_bits;
    uint8_t blank;
};

enum class Contents { nothing, foreign, ring };

struct Decoded {
    Contents contents = Contents::nothing;
    uint32_t head = 0;
    uint32_t sequence = 0;
    std::optional<uint32_t> pending;   ///< block whose erase may be unfinished
    std::map<uint32_t, Bytes> records; ///< payload by id
    int voided = 0;                    ///< entries that a restart entry voided
    int doubted = 0;                   ///< entries behind a gap that were not believed
};

Decoded decode(const AreaShape& shape, const Bytes& flash);

} // namespace perdure::format_examples
