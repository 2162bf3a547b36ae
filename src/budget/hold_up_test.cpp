#include "budget/hold_up.hpp"

#include <gtest/gtest.h>

#include "budget/findings.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

/// A pump on an invented part: 8-byte units, 2 KiB blocks, 40 ms to erase, 100 us to program; `supply` and `part` add
/// to their sections.
Project pump(const std::string& supply, const std::string& part = "") {
    const std::string text = R"(
[product]
name = "pump"
life = "10 y"
year = "365 d"
starts = "1/day"
[part]
erase_block = "2 KiB"
blocks = 16
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
vdd_min = "1.8 V"
)" + part + R"(
[supply]
load = "10 mA"
trips_at = "3 V"
cpu_min = "2 V"
detection = "1 ms"
)" + supply + R"(
[record.water]
id = 1
kind = "total"
fields = [ { name = "litres", type = "u32", movement = 100 } ]
saves = [ { every = "15 min" }, { at_power_fail = true } ]
)";
    auto project = read_project(text, "pump.toml", Catalog{});
    EXPECT_TRUE(project) << (project ? "" : render(project.error()));
    return project.value();
}

const Finding& finding(const Budget& budget, const std::string& name) {
    for (const Finding& of : budget.findings) {
        if (of.name == name) { return of; }
    }
    throw std::out_of_range(name);
}

// id 1, u32: head 1, length 1, descriptor 1, payload 4, check 2: 9 bytes; with the restart's 5: 14, two units of 8.
TEST(HoldUp, NeededTimeIsTheSumOfItsParts) {
    const Budget budget = make_budget(pump("capacitance = \"1000 uF\"")).value();
    ASSERT_TRUE(budget.hold_up);
    const HoldUp& hold_up = *budget.hold_up;
    EXPECT_EQ(hold_up.save.units, 2U);
    EXPECT_DOUBLE_EQ(hold_up.save.programming_ms, 2 * (0.1 * 1.5 + 8 * 0.001));
    EXPECT_DOUBLE_EQ(hold_up.save.under_way_ms, 40);
    EXPECT_DOUBLE_EQ(hold_up.need_ms, 1 + 40 + 2 * 0.158);
    EXPECT_DOUBLE_EQ(hold_up.end_v, 2);
    EXPECT_DOUBLE_EQ(hold_up.left_share, 0.512);
    EXPECT_NEAR(*hold_up.have_ms, 1000e-6 * 0.512 * 1 / 0.010 * 1e3, 1e-9); // 51.2 ms
    EXPECT_TRUE(hold_up.holds);
    EXPECT_EQ(finding(budget, "hold-up").status, FindingStatus::holds);
    EXPECT_NEAR(finding(budget, "hold-up").margin, 51.2 / 41.316, 1e-9);
    EXPECT_TRUE(finding(budget, "power-fail save").assumed()); // the aged factor has no source
}

TEST(HoldUp, CapacitanceIsFound) {
    const Budget found = make_budget(pump("")).value();
    ASSERT_TRUE(found.hold_up);
    EXPECT_FALSE(found.hold_up->have_ms);
    const double uf = found.hold_up->need_uf;
    EXPECT_NEAR(uf, 41.316e-3 * 0.010 / 1 / 0.512 * 1e6, 1e-6);
    const std::string enough = "capacitance = \"" + std::to_string(uf * 1.0001) + " uF\"";
    const std::string short_of_it = "capacitance = \"" + std::to_string(uf * 0.9999) + " uF\"";
    EXPECT_EQ(finding(make_budget(pump(enough)).value(), "hold-up").status, FindingStatus::holds);
    EXPECT_EQ(finding(make_budget(pump(short_of_it)).value(), "hold-up").status, FindingStatus::fails);
}

TEST(HoldUp, AnEraseThatCanBeStoppedNeedsLess) {
    const Budget budget = make_budget(pump("aged_program = 1", "erase_abort = \"20 us\"")).value();
    EXPECT_TRUE(budget.hold_up->save.erase_aborted);
    EXPECT_DOUBLE_EQ(budget.hold_up->save.under_way_ms, 0.1); // the program of a unit takes longer than the abort
}

TEST(HoldUp, TheFlashMayNeedMoreThanTheProcessor) {
    const Budget budget = make_budget(pump("dropout = \"0.1 V\"", "vdd_max = \"3.6 V\"\nname = \"a\"")).value();
    EXPECT_DOUBLE_EQ(budget.hold_up->end_v, 2.1);
    Project flash = pump("");
    flash.part.vdd_min_v = 2.4;
    EXPECT_DOUBLE_EQ(make_budget(flash)->hold_up->end_v, 2.4);
    flash.part.vdd_min_v = 3.0; // no less than the voltage at which the detector trips
    EXPECT_EQ(finding(make_budget(flash).value(), "hold-up").status, FindingStatus::fails);
    EXPECT_EQ(finding(make_budget(flash).value(), "hold-up").unit, "V");
    flash.part.vdd_min_v.reset();
    EXPECT_EQ(finding(make_budget(flash).value(), "hold-up").status, FindingStatus::unknown);
}

TEST(HoldUp, WithoutASupplyThereIsNoVerdict) {
    Project project = pump("");
    project.supply.reset();
    const Budget budget = make_budget(project).value();
    EXPECT_FALSE(budget.hold_up);
    EXPECT_EQ(finding(budget, "hold-up").status, FindingStatus::unknown);
    EXPECT_FALSE(budget.holds());
}

TEST(HoldUp, DipsAreStartsAndSaves) {
    const Project calm = pump("");
    const Project chatter = pump("dips = \"2/day\"\nstorms = \"10/year\"\nstorm_dips = 73\nstorm_gap = \"1 s\"");
    const Demand demand = demand_of(chatter);
    EXPECT_NEAR(demand.starts, (1 + 2 + 10 * 73 / 365.0) * 3650, 1e-6); // 5 a day
    EXPECT_NEAR(demand.records[0].policies[1].sizing_saves, 5 * 3650, 1e-6);
    const Budget quiet = make_budget(calm).value(), loud = make_budget(chatter).value();
    EXPECT_GT(loud.areas[0].erases.per_block_mean, quiet.areas[0].erases.per_block_mean);
    EXPECT_NEAR(loud.hold_up->dips, 4 * 3650, 1e-6);
    EXPECT_EQ(finding(loud, "armed again").status, FindingStatus::holds);
    EXPECT_EQ(finding(quiet, "armed again").status, FindingStatus::informs);
}

} // namespace
} // namespace perdure
