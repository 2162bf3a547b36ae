// The budget against figures that others published, or that can be reckoned without it. Each says where it comes from.
#include <cmath>

#include <boost/math/distributions/poisson.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <gtest/gtest.h>

#include "budget/demand.hpp"
#include "budget/findings.hpp"

namespace perdure {
namespace {

/// Two energies of 8 bytes, saved together every 45 s for 15 years of 365 days ('common practice, no source').
Project meter() {
    Project out;
    out.product.name = "meter";
    out.product.life_years = 15;
    out.product.year_days = 365;
    out.product.starts_per_day = 1;
    out.part.runs = {BlockRun{64, 1536, 0}}; // 512 words of 24 bits
    out.part.program_bytes = 6;
    out.part.program_rule = "once-noecc";
    out.part.erased_value = "0xFF";
    out.part.endurance_cycles = 10'000;
    out.areas = {Area{}};
    out.requirements.spend_limit = 1;
    Record record;
    record.name = "energies";
    record.id = 1;
    record.kind = RecordKind::total;
    for (const char* name : {"in", "out"}) {
        Field field;
        field.name = name;
        field.type = FieldType::u64;
        field.bytes = 8;
        field.movement_max = 1023;
        record.fields.push_back(field);
    }
    record.saves = {SavePolicy{SaveWhen::periodic, 45, 0, {}, 1, {}}};
    out.records = {record};
    return out;
}

// Standard tables, from memory to 4 digits: P(X <= mean).
TEST(OutsidePoisson, CumulativeTable) {
    const std::pair<double, double> table[] = {{1, .7358},  {2, .6767},  {5, .6160},
                                               {10, .5830}, {20, .5591}, {100, .5266}};
    for (const auto& [mean, chance] : table) {
        // The quantile must step at exactly that chance.
        EXPECT_LE(poisson_count(mean, chance - 1e-4), mean);
        EXPECT_EQ(poisson_count(mean, chance + 1e-4), mean + 1);
    }
}

// Standard tables, from memory to 4 digits, and recomputed from the cumulative sums.
TEST(OutsidePoisson, QuantileTable) {
    const double confidence[] = {.5, .9, .95, .99, .999, .999999};
    const std::pair<double, std::vector<double>> table[] = {{1, {1, 2, 3, 4, 5, 9}},
                                                            {2, {2, 4, 5, 6, 8, 12}},
                                                            {5, {5, 8, 9, 11, 13, 19}},
                                                            {10, {10, 14, 15, 18, 21, 28}},
                                                            {20, {20, 26, 28, 31, 35, 45}},
                                                            {100, {100, 113, 117, 124, 132, 151}},
                                                            {1000, {1000, 1041, 1052, 1074, 1099, 1154}}};
    for (const auto& [mean, counts] : table) {
        for (size_t i = 0; i < counts.size(); ++i) {
            EXPECT_EQ(poisson_count(mean, confidence[i]), counts[i]) << mean << ' ' << confidence[i];
        }
    }
}

// Boost.Math's incomplete gamma function: P(X <= n) = Q(n + 1, mean). Reached without its quantile.
TEST(OutsidePoisson, IncompleteGamma) {
    for (const double mean : {0.5, 3.3, 60.0, 5'000.0, 2e6}) {
        for (const double confidence : {.5, .9, .99, .9999}) {
            const double count = poisson_count(mean, confidence);
            EXPECT_GE(boost::math::gamma_q(count + 1, mean), confidence) << mean;
            if (count > 0) { EXPECT_LT(boost::math::gamma_q(count, mean), confidence) << mean; }
        }
    }
}

TEST(OutsideTrade, SavesOfTheMeter) {
    // 'Common practice, no source'.
    const Demand demand = demand_of(meter());
    EXPECT_DOUBLE_EQ(demand.records[0].sizing_saves, 10'512'000);
    EXPECT_DOUBLE_EQ(demand.records[0].nominal_saves, 10'512'000);
}

TEST(OutsideTrade, FixedSlotsInBlocksOf512Words) {
    // 'Common practice, no source': a block of 512 words, one of status, eight live slots of 2 bytes carried into each
    // block: 503 left. Counted as one slot a save, 10,000 erases: 2.09 blocks.
    const double saves = demand_of(meter()).records[0].sizing_saves;
    const double slots = 512 - 1 - 8;
    EXPECT_NEAR(saves / slots / 10'000, 2.09, 0.005);
    // Our own arithmetic: two energies of 8 bytes are eight slots of 2 bytes, and each save takes all of them.
    const double slots_a_save = 2.0 * 8 / 2;
    EXPECT_EQ(std::ceil(saves * slots_a_save / slots / 10'000), 17);
}

// The figure to reach: our own aim, stated before it was computed.
TEST(OutsideTrade, MeterHoldsInFiveBlocks) {
    const auto budget = make_budget(meter());
    ASSERT_TRUE(budget) << budget.error().text;
    const AreaBudget& area = budget->areas.at(0);
    ASSERT_TRUE(area.fewest_blocks);
    EXPECT_LE(*area.fewest_blocks, 5U);
    EXPECT_TRUE(budget->holds());
    EXPECT_LE(area.erases.per_block_max, 10'000);
    // No fewer would do, by arithmetic alone: 253 units a block, a save takes one at least.
    EXPECT_GT(10'512'000.0 / 253 / 4, 10'000.0);
    EXPECT_EQ(area.layout.records[0].short_bits, (std::vector<uint8_t>{12, 12}));
}

} // namespace
} // namespace perdure
