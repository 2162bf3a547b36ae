// Every example lives its whole life on the real store, and budget and life run say the same.
#include <filesystem>

#include <gtest/gtest.h>

#include "budget/findings.hpp"
#include "life/agree.hpp"
#include "life/life.hpp"
#include "project/read.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

std::vector<std::string> examples() {
    std::vector<std::string> out;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(source_path("examples"))) {
        if (entry.path().parent_path().filename() == "versions") {
            continue;
        } // shipped once; the present one stands beside
        if (entry.path().extension() == ".toml") { out.push_back(entry.path().string()); }
    }
    std::sort(out.begin(), out.end());
    return out;
}

struct Lived {
    Project project;
    Budget budget;
    LifeDemand demand;
    LifeResult life;
};

Lived live_example(const std::string& path, size_t area = 0) {
    Lived out;
    out.project = load_project(path, catalog()).value();
    out.budget = make_budget(out.project).value();
    const auto records = records_of(out.project, out.project.areas.at(area));
    out.demand = sizing_demand(out.project, records);
    out.life = live(out.budget.areas.at(area).layout, records, flash_costs(out.project.part), out.demand, {});
    return out;
}

void expect_as_budgeted(const Lived& lived, size_t area) {
    EXPECT_TRUE(lived.budget.holds());
    EXPECT_EQ(lived.life.failure, "");
    EXPECT_TRUE(lived.life.whole_life);
    EXPECT_EQ(lived.life.mismatches(), 0U);
    EXPECT_LE(lived.life.erases_max,
              lived.project.part.endurance_cycles.value() * lived.project.requirements.spend_limit);
    const Agreement agreement = agree(lived.budget.areas[area].layout, lived.demand, {}, lived.life);
    for (const StallCheck& stall :
         compare_stalls(lived.budget.areas[area].latency, lived.project.requirements, {}, lived.life)) {
        EXPECT_TRUE(stall.budget_ms);
        EXPECT_TRUE(stall.holds()) << stall.call << ": " << stall.run_ms << " ms";
    }
    // A ring that turns seldom cannot show half a per cent: one block more or less is a matter of when we look.
    EXPECT_LE(agreement.difference, std::max(0.005, lived.life.erases_mean < 200 ? agreement.allowed : 0))
        << agreement.predicted << " against " << agreement.observed;
}

TEST(Examples, AllAreHere) {
    EXPECT_GE(examples().size(), 3U);
}

TEST(Examples, LiveTheirLivesAsBudgeted) {
    for (const std::string& path : examples()) {
        SCOPED_TRACE(path);
        const size_t areas = load_project(path, catalog()).value().areas.size();
        for (size_t area = 0; area < areas; ++area) { expect_as_budgeted(live_example(path, area), area); }
    }
}

// The log at its least, right after a block was erased, holds what was asked and what the budget says.
TEST(Examples, TheLoggersLogIsNeverShorterThanItsDepth) {
    const Lived lived = live_example(source_path("examples/cold-store-logger/cold-store-logger.toml"));
    ASSERT_TRUE(lived.life.records.at(0).log_kept_min);
    const uint64_t kept = *lived.life.records.at(0).log_kept_min;
    EXPECT_GE(kept, 43'200U);
    EXPECT_GE(double(kept), lived.budget.areas[0].log->cost.kept);
    EXPECT_LE(double(kept), lived.budget.areas[0].log->cost.kept * 1.02); // within a block or two
}

TEST(Examples, HoldByTheirBudget) {
    for (const std::string& path : examples()) {
        SCOPED_TRACE(path);
        const Project project = load_project(path, catalog()).value();
        const Budget budget = make_budget(project).value();
        EXPECT_TRUE(budget.holds());
        EXPECT_EQ(budget.losses.size(), project.records.size());
    }
}

// Side by side: the periodic policy alone against a rarer one with a save at power failure.
TEST(Examples, TheValveSavedAtPowerFailureWearsLess) {
    const std::string folder = source_path("examples/orchard-valve/");
    const Budget alone = make_budget(load_project(folder + "orchard-valve.toml", catalog()).value()).value();
    const Budget both = make_budget(load_project(folder + "orchard-valve-power-fail.toml", catalog()).value()).value();
    EXPECT_LT(both.areas[0].erases.per_block_mean * 5, alone.areas[0].erases.per_block_mean);
    EXPECT_EQ(alone.losses.at(0).time_s, 60);
    EXPECT_EQ(both.losses.at(0).time_s, 0);
    EXPECT_EQ(both.losses.at(0).time_otherwise_s, 900);
    ASSERT_TRUE(both.hold_up && both.hold_up->holds);
    // As examples/orchard-valve/README.md says.
    EXPECT_EQ(alone.findings.at(0).need, 3010);
    EXPECT_EQ(both.findings.at(0).need, 354);
    EXPECT_NEAR(both.hold_up->need_uf, 1058, 0.5);
    EXPECT_NEAR(both.hold_up->need_ms, 40.6, 0.05);
    EXPECT_NEAR(*both.hold_up->have_ms, 57.6, 0.05);
}

// Thirty days of a sample a minute, batched for a loss window of 15 minutes: 1.15 times the raw bytes and two blocks.
TEST(Examples, TheLoggerKeepsItsThirtyDaysInLittleMoreThanTheirBytes) {
    const Budget budget =
        make_budget(load_project(source_path("examples/cold-store-logger/cold-store-logger.toml"), catalog()).value())
            .value();
    ASSERT_TRUE(budget.areas.at(0).log);
    const LogBudget& log = *budget.areas[0].log;
    EXPECT_EQ(log.raw_bytes, 259'200);
    EXPECT_LE(log.cost.flash_bytes, 1.15 * log.raw_bytes + 2.0 * budget.areas[0].layout.geometry.ring_block_bytes());
    EXPECT_LE(log.cost.loss_s, 900);
    EXPECT_GE(log.cost.kept, 43'200);
}

// Two 8-byte energies saved together every 45 s for 15 years of 365 days, on blocks of 512 words of 3 bytes, 6-byte
// units and 10,000 erases (an invented part): five blocks or fewer, no block over its erases.
TEST(Examples, TheMeterFitsFiveBlocks) {
    const Lived lived = live_example(source_path("examples/grain-dryer-meter/grain-dryer-meter.toml"));
    EXPECT_LE(lived.budget.areas[0].layout.geometry.ring_blocks, 5U);
    EXPECT_EQ(lived.life.records.at(0).saves, 10'512'000U);
    EXPECT_LE(lived.life.erases_max, 10'000);
    EXPECT_GE(lived.project.areas[0].check_bits, 16U);
    EXPECT_EQ(lived.project.records[0].fields[0].movement_max, 1023U);
    // Room for two short entries lost in a row: three movements fit the width.
    for (const uint8_t bits : lived.budget.areas[0].layout.records[0].short_bits) {
        EXPECT_GE((uint64_t{1} << bits) - 1, 3U * 1023);
    }
}

// The limit is one unit a save with every unit of every block used each turn: 256 saves a block of 2 KiB and 8-byte
// units.
TEST(Examples, OneTotalAloneUsesNineteenTwentiethsOfEachBlock) {
    Lived lived = live_example(source_path("examples/grain-dryer-meter/grain-dryer-meter.toml"));
    FlashGeometry geometry;
    geometry.unit_bytes = 8;
    geometry.erase_block_bytes = 2048;
    geometry.ring_blocks = 3;
    const std::vector<const Record*> records{&lived.project.records[0]};
    const auto layout = lay_out_ring(geometry, 16, records);
    ASSERT_TRUE(layout);
    LifeDemand demand = lived.demand;
    demand.life_s = 365 * 86400.0;
    const LifeResult life = live(*layout, records, {}, demand, {});
    EXPECT_EQ(life.failure, "");
    const double blocks = (life.erases_mean - 1) * geometry.ring_blocks;
    const double saves_a_block = double(life.saves) / blocks;
    RecordProperty("saves_a_block", std::to_string(saves_a_block));
    EXPECT_GE(saves_a_block / 256, 0.95) << saves_a_block;
}

// A start opens one area after the other, so what is asked of the start is asked of all together.
TEST(Examples, TheLoggersAreasAreOpenedOneAfterTheOther) {
    Project project = load_project(source_path("examples/cold-store-logger/cold-store-logger.toml"), catalog()).value();
    const auto needs = [](const Budget& budget, const std::string& name) {
        std::vector<double> out;
        for (const Finding& finding : budget.findings) {
            if (finding.name == name) { out.push_back(finding.need); }
        }
        return out;
    };
    Budget budget = make_budget(project).value();
    const std::vector<double> each = needs(budget, "start-up"), all = needs(budget, "start-up of all");
    ASSERT_EQ(each.size(), 2U);
    ASSERT_EQ(all.size(), 1U);
    EXPECT_DOUBLE_EQ(all[0], each[0] + each[1]);
    // Each area keeps to this, both together do not.
    project.requirements.start_up_max_ms = std::max(each[0], each[1]) + 1;
    Deadline deadline;
    deadline.name = "radio";
    deadline.limit_ms = *project.requirements.start_up_max_ms;
    deadline.open = true;
    project.conditions.deadlines.push_back(deadline);
    budget = make_budget(project).value();
    std::vector<std::string> failing;
    for (const Finding& finding : budget.findings) {
        if (finding.status == FindingStatus::fails) { failing.push_back(finding.name); }
    }
    EXPECT_EQ(failing, (std::vector<std::string>{"start-up of all", "deadline radio"}));
}

} // namespace
} // namespace perdure
