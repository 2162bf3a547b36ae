// An upgrade tried on the store itself: flash that the one version's firmware has filled, opened by the other's, each
// with its own release of the store, the power cut at every program and erase on the way, and back again.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "upgrade/release.h"
#include "upgrade/schema.hpp"

namespace perdure {

struct TrialOptions {
    uint64_t seed = 1;            ///< the contents follow from it
    uint32_t ways_max = 24;       ///< ways in which the weak units of one cut are read, at most
    uint32_t nested_ways_max = 2; ///< of them, in a migration, those whose start is cut as well, at every operation
    uint64_t after_max = 400;     ///< cuts behind the migration, at most
};

/// One flash that was filled, and what became of it.
struct ImageTrial {
    std::string name;              ///< "fresh", "wrapped", "worn"
    std::string text;              ///< how it was made
    uint64_t records_read = 0;     ///< and found as they have to be
    uint64_t operations = 0;       ///< programs and erases of the migration; every one is cut
    uint64_t operations_after = 0; ///< and until the next block has been opened, and what that cleans
    uint64_t after_step = 1;       ///< every so manieth of those is cut
    uint32_t cut_blocks = 0;       ///< of a long ring: the cuts fall on one of so many of its blocks; 0: on all
    uint64_t cut_points = 0;
    uint64_t ways = 0;        ///< in which the hit units were read after those cuts
    uint64_t starts = 0;      ///< after cuts, by either firmware
    uint64_t nested_cuts = 0; ///< cuts in the start that follows
    uint64_t saves = 0;       ///< records saved because the supply failed, in operations of the new firmware
    uint64_t by_chance = 0;   ///< torn entries that passed their check code by chance, not with other contents
    bool back = false;        ///< opened by the version before again, and then by this one once more
    std::string failure;      ///< empty: everything held
};

struct AreaTrial {
    std::string name;
    bool carried = false;                 ///< the flash of the one is the flash of the other, and images were tried
    std::optional<release_status> opened; ///< else: what open gave on the other version's flash
    bool untouched = false;               ///< and whether that left every byte as it was
    bool is_new = false;                  ///< the version before has no such area
    std::vector<ImageTrial> images;
    [[nodiscard]] bool holds() const;
};

struct Trial {
    std::vector<AreaTrial> areas;
    std::vector<std::string> not_tried; ///< what the two versions have, or would meet, and this leaves out
    [[nodiscard]] bool holds() const;
    [[nodiscard]] uint64_t starts() const;
};

/// Tries every area. A record that is misread by its schema is held to its bytes all the same: see SchemaChange for
/// what they mean.
Trial try_upgrade(const ProductVersion& from, const ProductVersion& to, const SchemaChange& change,
                  const TrialOptions& options);

} // namespace perdure
