// What is not as the store leaves it, and what most likely did it. A power cut leaves traces that the next start shuts
// off; what no cut explains is told apart by where it stands and how it differs. Every answer says what it rests on: it
// is a reading of the traces, no proof.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "dump/decode.hpp"
#include "dump/listing.hpp"

namespace perdure {

enum class Cause : uint8_t {
    cut,         ///< the power went while this was programmed or erased
    worn,        ///< the block refused an erase or a program
    rot,         ///< bits that changed by themselves, behind a program that was verified
    overwritten, ///< bytes that the store does not write, or not here
    erased,      ///< erased by something else than the store
    shape,       ///< the ring of another geometry or check width
    missing,     ///< not in the dump
    unclear,     ///< none of the others explains it
};
constexpr size_t cause_count = 8;

/// "power cut", "worn block", "bit rot" ...
std::string_view name_of(Cause cause);

/// Units in a row.
struct Damage {
    Cause cause = Cause::unclear;
    uint32_t block = 0, unit = 0, units = 0;
    int64_t age = 0;            ///< as of the entries: what is older cannot have been hidden by this
    bool harmless = false;      ///< what a cut may leave: no value that was acknowledged is lost
    bool hides = false;         ///< an acknowledged entry may have stood here
    std::optional<uint32_t> id; ///< record whose entry it was, where that can be told
    std::string what;           ///< "2 units between two entries"
    std::string why;            ///< what the answer rests on
};

/// Damage in the order of blocks and units. `decoded` and `units` (mark_units) are the view's; in view.faulting stands
/// what the dump does not hold. `tries_max` limits how many single bits are turned round in search of one that makes an
/// entry whole.
std::vector<Damage> find_damage(const AreaView& view, const Decoded& decoded, const std::vector<UnitMark>& units,
                                const RecordLabels& labels, size_t tries_max = 20'000);

/// A single bit that makes what stands at a place whole again.
struct Repair {
    size_t byte = 0; ///< in the area
    unsigned bit = 0;
    bool lost_charge = false; ///< it reads as in an erased unit, though it had been programmed
    uint32_t units = 0;       ///< of the entry
    uint32_t whole_units = 0; ///< of it and of the entries behind it that can be read then
    std::optional<uint32_t> id;
    std::string text; ///< what the entry says then
};
/// Looks for one at a unit of which `units` belong together. `tries` counts down.
std::optional<Repair> find_repair(const AreaView& view, uint32_t block, uint32_t unit, uint32_t units,
                                  const RecordLabels& labels, size_t& tries);

} // namespace perdure
