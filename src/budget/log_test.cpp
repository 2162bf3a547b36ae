#include "budget/log.hpp"

#include <gtest/gtest.h>

#include "budget/findings.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

/// A log of 6-byte samples, one a minute, on 8-byte units and 2 KiB blocks; `keys` go to the record.
Project logger(const std::string& keys, const std::string& starts = "1/day", const std::string& area = "") {
    const std::string text = "[product]\nname = \"logger\"\nlife = \"10 y\"\nstarts = \"" + starts + "\"\n" + R"(
[part]
erase_block = "2 KiB"
blocks = 512
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
)" + area + R"(
[record.history]
id = 1
kind = "log"
fields = [ { name = "air", type = "i32" }, { name = "door", type = "u16" } ]
saves = [ { every = "1 min" } ]
)" + keys;
    auto project = read_project(text, "logger.toml", Catalog{});
    EXPECT_TRUE(project) << (project ? "" : render(project.error()));
    return project.value();
}

// The format: 1 tag, 1 head, 1 length, 1 count, 4 number, samples, 2 check code; short: 1 head, 1, samples, 2.
TEST(Log, BytesOfItsEntries) {
    const Project project = logger("depth = 1000\nbatch = 15");
    const RecordLayout layout = lay_out_record(project.records[0], 8, 2);
    EXPECT_EQ(layout.full_bytes, 100U);
    EXPECT_EQ(layout.full_units, 13U);
    EXPECT_EQ(layout.short_bytes, 94U);
    EXPECT_EQ(layout.short_units, 12U);
    EXPECT_EQ(layout.restart_units, 14U);
    Record more = project.records[0];
    more.log->batch = 21; // 5 + 126 bytes: the length takes two bytes
    EXPECT_EQ(lay_out_record(more, 8, 2).full_bytes, 137U);
    more.id = 63; // and the id two more
    EXPECT_EQ(lay_out_record(more, 8, 2).full_bytes, 139U);
    EXPECT_EQ(lay_out_record(more, 8, 2).short_bytes, 132U);
}

// The figure to reach: our own aim, stated before it was computed.
TEST(Log, ThirtyDaysTakeLittleMoreThanTheirRawBytes) {
    const Budget budget = make_budget(logger("depth = \"30 d\"\nbatch = \"find it\"\nloss_time = \"15 min\"")).value();
    ASSERT_TRUE(budget.areas[0].log);
    const LogBudget& log = *budget.areas[0].log;
    EXPECT_EQ(log.cost.batch, 15U);
    EXPECT_EQ(log.raw_bytes, 30 * 24 * 60 * 6);
    EXPECT_EQ(log.cost.loss_s, 900);
    EXPECT_GE(log.cost.kept, 43'200);
    EXPECT_LE(log.cost.flash_bytes, 1.15 * log.raw_bytes + 2 * 2048);
    ASSERT_TRUE(log.one_by_one);
    EXPECT_GT(log.one_by_one->flash_bytes, 2 * log.cost.flash_bytes); // two units for 6 bytes
    EXPECT_EQ(log.one_by_one->loss_s, 0);
    EXPECT_TRUE(budget.holds());
}

TEST(Log, AnAreaTooSmallFails) {
    const std::string keys = "depth = \"30 d\"\nbatch = 15\narea = \"history\"";
    const auto status = [&](const std::string& size) {
        const Budget budget = make_budget(logger(keys, "1/day", "[area.history]\nsize = \"" + size + "\"\n")).value();
        for (const Finding& finding : budget.findings) {
            if (finding.name == "log depth") { return finding.status; }
        }
        return FindingStatus::unknown;
    };
    EXPECT_EQ(status("200 KiB"), FindingStatus::fails);
    EXPECT_EQ(status("400 KiB"), FindingStatus::holds);
}

TEST(Log, ABatchIsFoundForAnOrdinaryUser) {
    // The heavy user fills a batch sooner, so the loss window is the ordinary one's.
    const Project project = logger("depth = 1000\nbatch = \"find it\"\nloss_time = \"10 min\"\nheavy_user = 3.0");
    EXPECT_EQ(project.records[0].log->batch, 10U);
}

TEST(Log, AmongTheValuesItIsOneValue) {
    const Project project = logger("depth = 16\namong_values = true");
    EXPECT_EQ(project.records[0].payload_bytes(), 4U + 16 * 6);
    const RecordLayout layout = lay_out_record(project.records[0], 8, 2);
    EXPECT_EQ(layout.full_bytes, 1U + 1 + 100 + 2);
    EXPECT_FALSE(layout.log);
    EXPECT_FALSE(make_budget(project)->areas[0].log);
}

} // namespace
} // namespace perdure
