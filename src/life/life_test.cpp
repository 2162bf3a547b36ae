#include "life/life.hpp"

#include <gtest/gtest.h>

#include "life/agree.hpp"

namespace perdure {
namespace {

struct Case {
    std::vector<Record> all;
    std::vector<const Record*> records;
    AreaLayout layout;
    LifeDemand demand;
};

/// A total saved every minute and a value now and then, three blocks of 2 KiB.
Case node(double life_s) {
    Case out;
    out.all.resize(2);
    Field count;
    count.name = "count";
    count.type = FieldType::u32;
    count.bytes = 4;
    count.movement_max = 50;
    out.all[0].id = 1;
    out.all[0].kind = RecordKind::total;
    out.all[0].fields = {count};
    count.movement_max = 0;
    out.all[1].id = 2;
    out.all[1].fields = {count, count};
    out.records = {&out.all[0], &out.all[1]};
    FlashGeometry geometry;
    geometry.ring_blocks = 3;
    out.layout = *lay_out_ring(geometry, 16, out.records);
    out.demand.life_s = life_s;
    out.demand.starts_per_s = 1.0 / 86400;
    out.demand.records = {{60, 0}, {0, 2.0 / 86400}};
    return out;
}

TEST(Life, EverySaveOfTheLifeIsRunAndReadBack) {
    const Case c = node(100 * 86400.0);
    const LifeResult result = live(c.layout, c.records, {}, c.demand, {});
    EXPECT_EQ(result.failure, "");
    EXPECT_TRUE(result.whole_life);
    EXPECT_EQ(result.records[0].saves, 100U * 1440);
    EXPECT_NEAR(double(result.records[1].saves), 200, 60); // Poisson of mean 200: four standard deviations
    EXPECT_EQ(result.starts, 101U);                        // one a day, and one at the end
    EXPECT_EQ(result.mismatches(), 0U);
    EXPECT_EQ(result.records[0].checked, result.records[0].saves + result.starts);
    EXPECT_LE(result.erases_max - result.erases_mean, 2.0); // wear is level
    EXPECT_TRUE(agree(c.layout, c.demand, {}, result).agrees());
}

TEST(Life, TheFastWaySaysSoAndComesClose) {
    const Case c = node(1000 * 86400.0);
    const LifeResult whole = live(c.layout, c.records, {}, c.demand, {});
    LifeOptions options;
    options.turns_max = 20;
    const LifeResult fast = live(c.layout, c.records, {}, c.demand, options);
    EXPECT_FALSE(fast.whole_life);
    EXPECT_LT(fast.simulated_share, 0.2);
    EXPECT_NEAR(fast.erases_mean / whole.erases_mean, 1, 0.02);
    EXPECT_NEAR(fast.erases_max / whole.erases_max, 1, 0.02); // the most worn block too
}

TEST(Life, TheSameNumberGivesTheSameLife) {
    const Case c = node(50 * 86400.0);
    const LifeResult a = live(c.layout, c.records, {}, c.demand, {});
    const LifeResult b = live(c.layout, c.records, {}, c.demand, {});
    EXPECT_EQ(a.programs, b.programs);
    EXPECT_EQ(a.records[1].saves, b.records[1].saves);
    LifeOptions options;
    options.seed = 2;
    EXPECT_NE(live(c.layout, c.records, {}, c.demand, options).records[1].saves, a.records[1].saves);
}

TEST(Life, AWrongPredictionIsSeen) {
    Case c = node(100 * 86400.0);
    const LifeResult result = live(c.layout, c.records, {}, c.demand, {});
    c.demand.records[0].period_s = 59; // not what was lived
    EXPECT_FALSE(agree(c.layout, c.demand, {}, result).agrees());
}

TEST(Life, TheDemandLivedIsTheDemandBudgeted) {
    Case c = node(100 * 86400.0);
    Demand demand;
    demand.life_s = c.demand.life_s;
    demand.starts = 100;
    RecordDemand count{1, "count", {}, 144'000, 144'000}, other{2, "other", {}, 200, 200};
    count.policies = {{SaveWhen::periodic, 144'000, 144'000, 1, "", {}}};
    other.policies = {{SaveWhen::events, 200, 200, 1, "", {}}};
    demand.records = {count, other};
    const LifeResult result = live(c.layout, c.records, {}, c.demand, {});
    for (const DemandCount& of : compare_demand(demand, c.records, result)) {
        EXPECT_TRUE(of.agrees()) << of.name << ": " << of.budgeted << " budgeted, " << of.run << " run";
    }
    demand.records[0].sizing_saves = 144'010; // a budget that counts ten saves too many
    EXPECT_FALSE(compare_demand(demand, c.records, result)[1].agrees());
    demand.starts = 110;
    EXPECT_FALSE(compare_demand(demand, c.records, result)[0].agrees());
}

TEST(Life, SavesAtStartFollowTheStarts) {
    Case c = node(400 * 86400.0);
    c.demand.starts_per_s = 50.0 / 86400;
    c.demand.records = {{0, 0, 1}, {0, 0, 0.25}};
    const LifeResult result = live(c.layout, c.records, {}, c.demand, {});
    EXPECT_EQ(result.failure, "");
    EXPECT_EQ(result.starts, 20'001U);
    EXPECT_EQ(result.records[0].saves, 20'000U);
    EXPECT_NEAR(double(result.records[1].saves), 5000, 250); // four standard deviations
    const Agreement agreement = agree(c.layout, c.demand, {}, result);
    EXPECT_TRUE(agreement.agrees()) << agreement.predicted << " against " << agreement.observed << ", at most "
                                    << agreement.predicted_max << " against " << agreement.observed_max;
}

TEST(Life, AMostWornBlockBeyondTheBudgetIsSeen) {
    const Case c = node(100 * 86400.0);
    LifeResult result = live(c.layout, c.records, {}, c.demand, {});
    ASSERT_TRUE(agree(c.layout, c.demand, {}, result).agrees());
    result.erases_per_block = {result.erases_per_block[0] + 20, result.erases_per_block[1] - 10,
                               result.erases_per_block[2] - 10}; // the mean stays
    EXPECT_FALSE(agree(c.layout, c.demand, {}, result).agrees());
}

// A product that starts every day and saves once in years: until then a start finds nothing to put again.
TEST(Life, StartsBeforeTheFirstSaveAreReckonedAsTheyAre) {
    Case c = node(3000 * 86400.0);
    c.demand.starts_per_s = 2.0 / 86400;
    c.records = {&c.all[1]};
    c.layout = *lay_out_ring(c.layout.geometry, 16, c.records);
    c.demand.records = {{0, 1.0 / (1000 * 86400.0)}};
    for (uint64_t seed = 1; seed <= 3; seed++) {
        LifeOptions options;
        options.seed = seed;
        const LifeResult result = live(c.layout, c.records, {}, c.demand, options);
        ASSERT_EQ(result.failure, "");
        EXPECT_GT(result.empty_starts, 100U);
        EXPECT_NEAR(double(result.empty_starts) / (2.0 / 86400), result.first_save_s, 86400);
        const Agreement agreement = agree(c.layout, c.demand, options, result);
        EXPECT_TRUE(agreement.agrees()) << "seed " << seed << ": " << agreement.predicted << " against "
                                        << agreement.observed << ", allowed " << agreement.allowed;
    }
}

TEST(Life, ARunThatSpendsLessBreaksNothing) {
    Agreement agreement{100, 97, 102, 98, 3.0 / 97, agreement_limit};
    EXPECT_FALSE(agreement.agrees());
    EXPECT_TRUE(agreement.within());
    agreement = {97, 100, 102, 101, 3.0 / 100, agreement_limit};
    EXPECT_FALSE(agreement.within());
    agreement = {100, 97, 102, 110, 3.0 / 97, agreement_limit}; // the most worn block beyond the budget
    EXPECT_FALSE(agreement.within());
}

TEST(Life, StallsAreHeldAgainstBudgetAndRequirement) {
    Latency latency;
    latency.service_can_help = true;
    latency.put_serviced_ms = 0.5;
    latency.put_alone_ms = 42;
    latency.open_ms = 108;
    Requirements asked;
    LifeResult result;
    result.put_longest_ms = result.put_served_longest_ms = 0.4;
    result.open_longest_ms = 41;
    LifeOptions options;
    const auto holds = [&](const std::optional<Latency>& bound) {
        const std::vector<StallCheck> stalls = compare_stalls(bound, asked, options, result);
        return std::vector<bool>{stalls.at(0).holds(), stalls.back().holds()};
    };
    using Both = std::vector<bool>;
    EXPECT_EQ(holds(latency), (Both{true, true}));
    result.put_longest_ms = result.put_served_longest_ms = 41.5; // as a put that empties the tail
    EXPECT_EQ(holds(latency), (Both{false, true}));
    result.put_served_longest_ms = 0.4; // the long one came before service was called after a start
    result.put_owed_longest_ms = 41.5;
    EXPECT_EQ(holds(latency), (Both{true, true}));
    EXPECT_EQ(compare_stalls(latency, asked, options, result).size(), 3U);
    result.put_owed_longest_ms = 0;
    options.service = false;
    EXPECT_EQ(holds(latency), (Both{true, true}));
    asked.put_stall_max_ms = 10;
    EXPECT_EQ(holds(latency), (Both{false, true}));
    result.put_longest_ms = result.put_served_longest_ms = 0.4;
    asked.start_up_max_ms = 40;
    EXPECT_EQ(holds(latency), (Both{true, false}));
    result.open_longest_ms = 120;
    asked.start_up_max_ms = 250;
    EXPECT_EQ(holds(latency), (Both{true, false}));
    asked = {};
    EXPECT_EQ(holds(std::nullopt), (Both{true, true})); // nothing known, nothing asked
    asked.put_stall_max_ms = 10;
    EXPECT_EQ(holds(std::nullopt), (Both{false, true}));
}

// What service spares a put, and what a start may undo before service is called again.
TEST(Life, PutsWithServiceOwedAreToldApart) {
    Case c = node(500 * 86400.0);
    c.demand.starts_per_s = 20.0 / 86400;
    c.demand.records = {{0, 0}, {0, 4.0 / 86400}};
    FlashCosts costs;
    costs.program_us = 100;
    costs.erase_ms = 20;
    const LifeResult result = live(c.layout, c.records, costs, c.demand, {});
    EXPECT_LT(result.put_served_longest_ms, 2);
    EXPECT_GT(result.put_owed_longest_ms, 0);
    EXPECT_EQ(result.put_longest_ms, std::max(result.put_served_longest_ms, result.put_owed_longest_ms));
}

TEST(Life, WithoutServiceThePutErases) {
    const Case c = node(30 * 86400.0);
    FlashCosts costs;
    costs.program_us = 100;
    costs.erase_ms = 20;
    LifeOptions options;
    EXPECT_LT(live(c.layout, c.records, costs, c.demand, options).put_longest_ms, 2);
    options.service = false;
    EXPECT_GT(live(c.layout, c.records, costs, c.demand, options).put_longest_ms, 20);
}

} // namespace
} // namespace perdure
