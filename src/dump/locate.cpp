#include "dump/locate.hpp"

#include <algorithm>
#include <map>
#include <tuple>

namespace perdure {
namespace {

constexpr size_t stamp_bytes = 16;

uint32_t number_at(std::span<const uint8_t> bytes, size_t at, size_t count) {
    uint32_t value = 0;
    for (size_t i = count; i-- > 0;) { value = value << 8 | bytes[at + i]; }
    return value;
}

/// What fills the last unit of a stamp, if it is one of the two blank values.
uint8_t blank_of(std::span<const uint8_t> bytes, size_t stamp, const AreaShape& shape) {
    const size_t end = (stamp_bytes + shape.unit_bytes - 1) / shape.unit_bytes * shape.unit_bytes;
    if (end == stamp_bytes || stamp + end > bytes.size()) { return shape.blank; }
    const std::span<const uint8_t> filler = bytes.subspan(stamp + stamp_bytes, end - stamp_bytes);
    for (const uint8_t value : {uint8_t{0xFF}, uint8_t{0x00}}) {
        if (std::ranges::all_of(filler, [&](uint8_t byte) { return byte == value; })) { return value; }
    }
    return shape.blank;
}

} // namespace

std::vector<FoundArea> find_areas(std::span<const uint8_t> bytes, uint8_t blank) {
    using Key = std::tuple<int64_t, uint32_t, uint32_t, uint32_t, uint32_t>;
    std::map<Key, FoundArea> found;
    const CheckFunction check = format_check(16);
    for (size_t at = 0; at + stamp_bytes <= bytes.size(); at++) {
        if (bytes[at] < 0x11 || bytes[at] > 0x14) { continue; }
        const std::span<const uint8_t> stamp = bytes.subspan(at, stamp_bytes);
        AreaShape shape{number_at(stamp, 3, 2), number_at(stamp, 5, 2), number_at(stamp, 1, 2), (bytes[at] & 0xFU) * 8,
                        blank};
        const uint32_t number = number_at(stamp, 7, 4);
        const uint64_t block_bytes = uint64_t{shape.block_units} * shape.unit_bytes;
        if (number == 0 || shape.blocks < 2 || shape.blocks > 32'767 || block_bytes < stamp_bytes ||
            block_bytes * shape.blocks > uint64_t{1} << 32U ||
            number_at(stamp, 14, 2) != check(0xFFFF0000U, stamp.data(), 14) >> 16) {
            continue;
        }
        const int64_t begin =
            static_cast<int64_t>(at) - static_cast<int64_t>((number - 1) % shape.blocks * block_bytes);
        FoundArea& area = found[{begin, shape.blocks, shape.block_units, shape.unit_bytes, shape.check_bits}];
        shape.blank = blank_of(bytes, at, shape);
        area.begin = begin;
        area.shape = shape;
        area.stamps.push_back(at);
    }
    std::vector<FoundArea> out;
    out.reserve(found.size());
    for (auto& [key, area] : found) { out.push_back(std::move(area)); }
    std::ranges::stable_sort(out,
                             [](const FoundArea& a, const FoundArea& b) { return a.stamps.size() > b.stamps.size(); });
    return out;
}

} // namespace perdure
