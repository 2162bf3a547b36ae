// One bit back: is what stands at a place an entry of which a single bit has changed?
#include <algorithm>

#include "dump/damage.hpp"

namespace perdure {
namespace {

/// Is there an accepted entry at the place? Its units, its record and what it says.
std::optional<Repair> whole_at(const AreaView& view, const Decoded& decoded, uint32_t block, uint32_t unit,
                               uint32_t units, const RecordLabels& labels) {
    for (size_t i = 0; i < decoded.entries.size(); i++) {
        const DumpEntry& entry = decoded.entries[i];
        if (entry.block != block || entry.unit != unit) { continue; }
        if (entry.units > units) { return std::nullopt; }
        Repair out;
        out.units = out.whole_units = entry.units;
        out.id = entry.id;
        out.text = label_units(view, decoded, labels)[size_t{block} * view.shape.block_units + unit].text;
        // Short entries are read with a full one before them, and stand or fall with it.
        for (size_t next = i + 1; next < decoded.entries.size(); next++) {
            const DumpEntry& behind = decoded.entries[next];
            const bool follows = behind.block == block && behind.unit == unit + out.whole_units;
            if (!follows || out.whole_units + behind.units > units) { break; }
            out.whole_units += behind.units;
        }
        return out;
    }
    return std::nullopt;
}

} // namespace

std::optional<Repair> find_repair(const AreaView& view, uint32_t block, uint32_t unit, uint32_t units,
                                  const RecordLabels& labels, size_t& tries) {
    // An entry of 4 KiB and more is not looked through.
    const size_t begin = (size_t{block} * view.shape.block_units + unit) * view.shape.unit_bytes;
    const size_t bytes = std::min<size_t>(size_t{units} * view.shape.unit_bytes, 4096);
    std::vector<uint8_t> copy(view.bytes.begin(), view.bytes.end());
    AreaView changed = view;
    changed.bytes = copy;
    Decoder decoder;
    Decoded decoded;
    for (size_t at = begin; at < begin + bytes; at++) {
        for (unsigned bit = 0; bit < 8; bit++) {
            if (tries == 0) { return std::nullopt; }
            tries--;
            copy[at] ^= static_cast<uint8_t>(1U << bit);
            decoder.decode(changed, decoded);
            if (auto repair = whole_at(changed, decoded, block, unit, units, labels)) {
                repair->byte = at;
                repair->bit = bit;
                repair->lost_charge = ((view.bytes[at] ^ view.shape.blank) >> bit & 1U) == 0;
                return repair;
            }
            copy[at] ^= static_cast<uint8_t>(1U << bit);
        }
    }
    return std::nullopt;
}

} // namespace perdure
