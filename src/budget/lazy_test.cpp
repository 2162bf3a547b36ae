#include <gtest/gtest.h>

#include "budget/findings.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

/// A sensor that wakes a hundred times a day and stores something once in ten days.
Project sensor(bool lazy) {
    const std::string text = std::string("[product]\nname = \"sensor\"\nlife = \"10 y\"\nstarts = \"100/day\"\n") +
                             (lazy ? "lazy_start = true\n" : "") + R"(
[part]
erase_block = "2 KiB"
blocks = 64
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
[area.store]
size = "16 KiB"
[record.setting]
id = 1
kind = "value"
fields = [ { name = "limit", type = "u32" } ]
saves = [ { every = "10 d" } ]
)";
    auto project = read_project(text, "sensor.toml", Catalog{});
    EXPECT_TRUE(project) << (project ? "" : render(project.error()));
    return project.value();
}

TEST(LazyStart, StartsThatStoreNothingCostNothing) {
    const Budget ordinary = make_budget(sensor(false)).value(), lazy = make_budget(sensor(true)).value();
    const Project project = sensor(true);
    const Traffic traffic = traffic_of(project, project.areas[0], demand_of(project), Figures::sizing);
    EXPECT_NEAR(traffic.starts_per_s * 86400, 0.1, 1e-9); // one start for each save
    EXPECT_LT(lazy.areas[0].erases.per_block_mean * 50, ordinary.areas[0].erases.per_block_mean);
    // Each is shown beside the other.
    EXPECT_NEAR(*lazy.areas[0].other_start_erases, ordinary.areas[0].erases.per_block_mean,
                0.02 * ordinary.areas[0].erases.per_block_mean);
    EXPECT_TRUE(lazy.areas[0].lazy_start);
    EXPECT_FALSE(ordinary.areas[0].lazy_start);
}

TEST(LazyStart, ABusyProductSavesNothingByIt) {
    Project busy = sensor(true);
    busy.records[0].saves[0].every_s = 60; // a save in every run
    const Traffic traffic = traffic_of(busy, busy.areas[0], demand_of(busy), Figures::sizing);
    EXPECT_NEAR(traffic.starts_per_s * 86400, 100, 1e-9);
}

/// The finding of that name.
Finding found(const Budget& budget, const std::string& name) {
    for (const Finding& finding : budget.findings) {
        if (finding.name == name) { return finding; }
    }
    ADD_FAILURE() << "no finding " << name;
    return {};
}

TEST(LazyStart, TheFirstPutDoesTheStartsWork) {
    Project ordinary = sensor(false), lazy = sensor(true);
    ordinary.requirements.put_stall_max_ms = lazy.requirements.put_stall_max_ms = 1;
    ordinary.requirements.start_up_max_ms = lazy.requirements.start_up_max_ms = 70;
    const Budget with = make_budget(ordinary).value(), without = make_budget(lazy).value();
    EXPECT_EQ(found(with, "put stall").status, FindingStatus::holds);
    EXPECT_EQ(found(without, "put stall").status, FindingStatus::fails);
    EXPECT_EQ(found(with, "start-up").status, FindingStatus::fails);
    EXPECT_EQ(found(without, "start-up").status, FindingStatus::holds); // it reads 16 KiB and programs nothing
    const Latency& a = *with.areas[0].latency;
    const Latency& b = *without.areas[0].latency;
    EXPECT_EQ(b.put_later_ms, a.put_serviced_ms);
    // Together a start and its first put take as long either way.
    EXPECT_NEAR(b.open_ms + b.put_serviced_ms, a.open_ms + a.put_serviced_ms, 1e-9);
    EXPECT_NEAR(b.open_ms, 2 * 16.384, 1e-9); // 1 us a byte, entries read twice
    EXPECT_GT(b.put_serviced_ms, 2 * 40);     // two erases: the one that was cut, and one to go on
}

TEST(LazyStart, DeadlinesWaitForTheFirstPut) {
    for (const DeadlineCounts counts : {DeadlineCounts::call, DeadlineCounts::operation}) {
        for (const bool is_lazy : {false, true}) {
            Project project = sensor(is_lazy);
            Deadline deadline;
            deadline.name = "radio";
            deadline.limit_ms = 5;
            deadline.counts = counts;
            deadline.put = true;
            deadline.service = deadline.open = false;
            project.conditions.deadlines = {deadline};
            const Finding finding = found(make_budget(project).value(), "deadline radio");
            EXPECT_EQ(finding.status, is_lazy ? FindingStatus::fails : FindingStatus::holds) << finding.need;
        }
    }
}

} // namespace
} // namespace perdure
