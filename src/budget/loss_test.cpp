#include "budget/loss.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "budget/findings.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

constexpr const char* steady = ", rate = \"14400/day\"";

/// One total with the saves given; `field` and `more` add keys to the field and the record.
Project meter(const std::string& saves, const std::string& field = "", const std::string& more = "",
              const std::string& rate = steady) {
    const std::string text = R"(
[product]
name = "meter"
life = "10 y"
[part]
erase_block = "2 KiB"
blocks = 16
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
[record.water]
id = 1
kind = "total"
)" + more + "\nfields = [ { name = \"litres\", type = \"u32\", movement = 900" +
                             rate + field + " } ]\nsaves = [ " + saves + " ]\n";
    auto project = read_project(text, "meter.toml", Catalog{});
    EXPECT_TRUE(project) << (project ? "" : render(project.error()));
    return project.value();
}

RecordLoss loss(const std::string& saves, bool hold_up = false, const std::string& rate = steady) {
    const Project project = meter(saves, "", "", rate);
    return loss_of(project, project.records[0], hold_up);
}

TEST(Loss, TheShortestSaveBoundsTheTime) {
    EXPECT_EQ(loss("{ every = \"15 min\" }").time_s, 900);
    EXPECT_EQ(loss("{ every = \"15 min\" }, { every = \"1 h\" }").time_s, 900);
    EXPECT_EQ(loss("{ every = \"15 min\", changed = 0.2 }").time_s,
              900); // unchanged is not lost, changed is saved then
    EXPECT_EQ(loss("{ settled = \"10 s\", latest = \"1 min\", events = \"9/day\" }").time_s, 60);
    EXPECT_TRUE(std::isinf(loss("{ settled = \"10 s\", events = \"9/day\" }").time_s));
    EXPECT_TRUE(std::isinf(loss("{ moved_by = 50 }").time_s));
}

TEST(Loss, EventsSaveOnlyWhatIsAnEvent) {
    EXPECT_EQ(loss("{ events = \"4/day\" }", false, "").time_s, 0);
    EXPECT_EQ(loss("{ events = \"4/day\" }", false, "").amounts.at(0).most, 0);
    EXPECT_EQ(loss("{ events = \"4/day\" }, { at_start = true }", false, "").time_s, 0);
    EXPECT_EQ(loss("{ events = \"4/day\" }, { every = \"15 min\" }").time_s, 900);
    EXPECT_TRUE(std::isinf(loss("{ at_start = true }", false, "").time_s)); // a run, however long
    EXPECT_EQ(loss("{ at_start = true }, { every = \"15 min\" }").time_s, 900);
}

TEST(Loss, EventsAndStartsBoundNothingOfWhatMovesBetweenThem) {
    for (const char* saves : {"{ events = \"1/year\" }", "{ at_start = true }"}) {
        EXPECT_TRUE(std::isinf(loss(saves).time_s)) << saves;
        EXPECT_EQ(loss(saves).amounts.at(0).most, 900) << saves; // a total's movement between two saves still does
        EXPECT_FALSE(loss(saves).amounts.at(0).mean) << saves;
        Project value = meter(saves, ", loss_amount = 5", "loss_time = \"1 min\"");
        value.records[0].kind = RecordKind::value;
        value.records[0].fields[0].movement_max = 0;
        EXPECT_FALSE(loss_of(value, value.records[0], false).amounts.at(0).most) << saves;
        const std::vector<Finding> findings = loss_findings(value, {loss_of(value, value.records[0], false)});
        ASSERT_EQ(findings.size(), 2U);
        EXPECT_EQ(findings[0].status, FindingStatus::fails) << findings[0].note;
        EXPECT_EQ(findings[1].status, FindingStatus::unknown) << findings[1].note;
    }
    const Project total = meter("{ events = \"1/year\" }", ", loss_amount = 5");
    const std::vector<Finding> findings = loss_findings(total, {loss_of(total, total.records[0], false)});
    EXPECT_EQ(findings.at(0).status, FindingStatus::fails); // 900 against 5
}

TEST(Loss, TheHoldUpHasToHold) {
    const std::string both = "{ every = \"15 min\" }, { at_power_fail = true }";
    EXPECT_EQ(loss(both, true).time_s, 0);
    EXPECT_TRUE(loss(both, true).by_hold_up);
    EXPECT_EQ(loss(both, true).time_otherwise_s, 900);
    EXPECT_EQ(loss(both, false).time_s, 900);
    EXPECT_TRUE(std::isinf(loss("{ at_power_fail = true }", false).time_s));
}

TEST(Loss, AmountsComeFromMovementOrThreshold) {
    EXPECT_EQ(loss("{ every = \"15 min\" }").amounts.at(0).most, 900);
    EXPECT_NEAR(*loss("{ every = \"15 min\" }").amounts.at(0).mean, 150, 1e-9); // 14400 a day
    EXPECT_EQ(loss("{ every = \"15 min\" }, { moved_by = 50 }").amounts.at(0).most, 50);
    EXPECT_EQ(loss("{ moved_by = 50 }").amounts.at(0).most, 50);
    EXPECT_EQ(loss("{ every = \"15 min\" }, { at_power_fail = true }", true).amounts.at(0).most, 0);
}

TEST(Loss, WhatIsAskedBecomesAFinding) {
    const auto status = [](const Project& project, const std::string& name) {
        const Budget budget = make_budget(project).value();
        for (const Finding& finding : budget.findings) {
            if (finding.name == name) { return finding.status; }
        }
        return FindingStatus::informs;
    };
    EXPECT_EQ(status(meter("{ every = \"15 min\" }", "", "loss_time = \"15 min\""), "loss of water"),
              FindingStatus::holds);
    EXPECT_EQ(status(meter("{ every = \"15 min\" }", "", "loss_time = \"14 min\""), "loss of water"),
              FindingStatus::fails);
    EXPECT_EQ(status(meter("{ moved_by = 50 }", "", "loss_time = \"1 d\""), "loss of water"), FindingStatus::fails);
    EXPECT_EQ(status(meter("{ moved_by = 50 }", ", loss_amount = 50"), "loss of water.litres"), FindingStatus::holds);
    EXPECT_EQ(status(meter("{ every = \"15 min\" }", ", loss_amount = 50"), "loss of water.litres"),
              FindingStatus::fails);
    EXPECT_EQ(status(meter("{ every = \"15 min\" }"), "loss of water"), FindingStatus::informs); // not asked: not there
}

} // namespace
} // namespace perdure
