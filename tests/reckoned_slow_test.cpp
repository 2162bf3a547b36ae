// How far wear by the formulas alone is from wear counted entry by entry, over every part of the catalogue: what
// src/budget/wear.hpp says of it, and so what `perdure choose` says of the candidates it does not count.
#include <cmath>

#include <gtest/gtest.h>

#include "budget/count_walk.hpp"
#include "budget/search.hpp"
#include "catalog/catalog.hpp"
#include "project/read.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

/// Mean of three walks over the formula's time for a block, less one; absent where a part does not carry the area, or
/// starts take too little to matter. `share`: of the block's units, that starts take.
std::optional<double> off(const Project& project, const Area& area, double& share) {
    constexpr double share_min = 0.005, entries_max = 5000, entries_walked = 4e5, blocks_max = 2000, turns_min = 10;
    constexpr uint64_t draws = 3;
    const Demand demand = demand_of(project);
    const Traffic traffic = traffic_of(project, area, demand, Figures::sizing);
    const auto blocks = fewest_blocks(project, area, demand, Precision::coarse);
    const auto layout = lay_out(project, area, blocks.value_or(0));
    if (!blocks || !layout || layout->power_fail_record) { return std::nullopt; }
    const RingWear formula = ring_wear_by_formula(*layout, traffic);
    if (!std::isfinite(formula.block_s)) { return std::nullopt; }
    share = formula.start_units / layout->capacity_units;
    double entries = traffic.starts_per_s * formula.block_s;
    for (size_t i = 0; i < traffic.records.size(); ++i) { entries += traffic.saves_per_s(i) * formula.block_s; }
    if (share < share_min || entries > entries_max) { return std::nullopt; }
    const double walked = std::max(turns_min * *blocks, std::min(blocks_max, entries_walked / entries));
    double sum = 0;
    for (uint64_t draw = 1; draw <= draws; ++draw) {
        const WalkCount count = walk_counts(*layout, traffic, formula.block_s * walked, draw);
        const double asked_s = ring_wear_by_formula(*layout, traffic, Precision::coarse).block_s;
        const double drawn_s = ring_wear_by_formula(*layout, as_drawn(traffic, count), Precision::coarse).block_s;
        const double filled = double(count.blocks_emptied) + formula.data_blocks + formula.empties_at - 0.5;
        sum += count.life_s / filled * asked_s / drawn_s / formula.block_s - 1;
    }
    return sum / double(draws);
}

TEST(Reckoned, IsOffByNoMoreThanItSays) {
    double little = 0, middle = 0, much = 0; // worst, by the share that starts take
    int seen = 0;
    for (const char* example : {"orchard-valve", "cellar-pump", "gate-counter", "cold-store-logger"}) {
        const std::string path = source_path("examples/") + example + "/" + example + ".toml";
        const auto read = load_project(path, catalog());
        ASSERT_TRUE(read) << path;
        for (const Device& part : catalog().devices) {
            if (!usable(part).ok || !part.endurance_cycles) { continue; }
            for (const double starts : {2.0, 8.0, 30.0, 100.0}) {
                Project project = *read;
                project.part = part;
                project.product.starts_per_day = starts;
                for (Area& area : project.areas) {
                    area.size_bytes.reset();
                    area.start_address.reset();
                }
                for (const Area& area : project.areas) {
                    double share = 0;
                    const auto by = off(project, area, share);
                    if (!by) { continue; }
                    ++seen;
                    double& worst = share <= counted_start_share ? little : share <= much_start_share ? middle : much;
                    worst = std::max(worst, std::abs(*by));
                }
            }
        }
    }
    EXPECT_GT(seen, 500);
    EXPECT_LT(little, reckoned_off_little);
    EXPECT_LT(middle, reckoned_off);
    EXPECT_LT(much, reckoned_off_much);
    // They are no larger than they have to be.
    EXPECT_GT(little, reckoned_off_little / 3);
    EXPECT_GT(middle, reckoned_off / 3);
    EXPECT_GT(much, reckoned_off_much / 3);
}

} // namespace
} // namespace perdure
