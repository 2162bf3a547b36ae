#include <chrono>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "budget/count_walk.hpp"
#include "budget/search.hpp"
#include "budget/text.hpp"

namespace perdure {
namespace {

Field field(uint32_t bytes, uint64_t movement_max = 0) {
    Field out;
    out.bytes = bytes;
    out.movement_max = movement_max;
    return out;
}

/// A valve node on a part of 64 blocks of 2 KiB.
Project node() {
    Project out;
    out.path = "node.toml";
    out.product.name = "valve node";
    out.product.life_years = 12;
    out.product.life_place = {3, 1};
    Device& part = out.part;
    part.runs = {BlockRun{64, 2048, 0}};
    part.flash_bytes = 131'072;
    part.program_bytes = 8;
    part.program_rule = "ecc-zero";
    part.erased_value = "0xFF";
    part.endurance_cycles = 10'000;
    part.erase_ms_max = {40};
    part.program_us_max = 125;
    part.provenance["endurance_cycles"] = {"data sheet, table 48", false};
    part.provenance["erase_ms_max"] = {"from memory", true};
    out.areas = {Area{}};
    Record litres;
    litres.name = "litres";
    litres.id = 1;
    litres.kind = RecordKind::total;
    litres.fields = {field(8, 500), field(4, 500)};
    litres.saves = {SavePolicy{SaveWhen::periodic, 60, 0, {}, 1, {}}};
    Record settings;
    settings.name = "settings";
    settings.id = 2;
    settings.fields = {field(40)};
    settings.saves = {SavePolicy{SaveWhen::events, 0, 2, 0.99, 1, {}}};
    Record calibration;
    calibration.name = "calibration";
    calibration.id = 3;
    calibration.fields = {field(64)};
    out.records = {litres, settings, calibration};
    out.requirements.put_stall_max_ms = 10;
    out.requirements.start_up_max_ms = 500;
    out.requirements.flash_share_max = 0.2;
    return out;
}

const Finding& finding(const Budget& budget, const std::string& name) {
    for (const Finding& entry : budget.findings) {
        if (entry.name == name) { return entry; }
    }
    throw std::runtime_error("no finding " + name);
}

std::vector<std::string> failing(const Budget& budget) {
    std::vector<std::string> out;
    for (const Finding& entry : budget.findings) {
        if (entry.status == FindingStatus::fails) { out.push_back(entry.name); }
    }
    return out;
}

// The stamp's count of erases has 24 bits (store/format.md).
TEST(Budget, NoMoreErasesAreAllowedThanTheStoreCounts) {
    Project project = node();
    project.part.endurance_cycles = 1e8;
    const Finding wear = finding(make_budget(project).value(), "wear");
    EXPECT_EQ(wear.have, 16'777'215);
    EXPECT_NE(wear.note.find("counts no further"), std::string::npos) << wear.note;
    EXPECT_EQ(erases_allowed(project), 16'777'215);
    project.records[0].saves[0].every_s = 0.001; // over 12 years
    EXPECT_EQ(finding(make_budget(project).value(), "wear").status, FindingStatus::fails);
    EXPECT_EQ(finding(make_budget(node()).value(), "wear").have, 5000);
}

TEST(Budget, HoldsAndTracesItsNumbers) {
    const auto budget = make_budget(node());
    ASSERT_TRUE(budget);
    EXPECT_TRUE(budget->holds());
    const Finding& wear = finding(*budget, "wear");
    EXPECT_EQ(wear.have, 5000);
    EXPECT_EQ(wear.from[0].text, "data sheet, table 48");
    EXPECT_FALSE(wear.from_memory());
    EXPECT_EQ(wear.from[3].text, "node.toml:3");
    EXPECT_TRUE(finding(*budget, "start-up").from_memory());
    EXPECT_TRUE(finding(*budget, "start-up").assumed());
    // One full entry of the largest record, 68 bytes: 9 units, each read back.
    EXPECT_DOUBLE_EQ(finding(*budget, "put stall").need, 9 * 0.133);
}

TEST(Budget, FewestBlocksIsTheFewest) {
    const Project project = node();
    const Demand demand = demand_of(project);
    const auto fewest = fewest_blocks(project, project.areas[0], demand);
    ASSERT_TRUE(fewest);
    ASSERT_GT(*fewest, 2U);
    const Traffic traffic = traffic_of(project, project.areas[0], demand, Figures::sizing);
    const auto at = [&](uint32_t blocks) {
        return erases_needed(*lay_out(project, project.areas[0], blocks), traffic, demand.life_s, Precision::fine);
    };
    EXPECT_LE(at(*fewest), 5000);
    if (*fewest > 3) { EXPECT_GT(at(*fewest - 1), 5000); } // two have no service, and the stall asked is 10 ms
}

TEST(Budget, WhereNothingHoldsTheRingShownFailsNothingElse) {
    // Wear that no ring of this part stands: the ring shown is the largest that flash_share leaves.
    Project project = node();
    project.records[0].saves[0].every_s = 1;
    auto budget = make_budget(project).value();
    EXPECT_FALSE(budget.areas[0].fewest_blocks);
    EXPECT_EQ(budget.areas[0].found, RingFound::most_by_share);
    EXPECT_EQ(budget.areas[0].layout.geometry.ring_blocks, 12U); // 0.2 of 64 blocks
    EXPECT_EQ(failing(budget), std::vector<std::string>{"wear"});
    // So too where start_up is what leaves least.
    const double start_of_12 = finding(budget, "start-up").need;
    project.requirements.flash_share_max.reset();
    project.requirements.start_up_max_ms = start_of_12;
    budget = make_budget(project).value();
    EXPECT_EQ(budget.areas[0].layout.geometry.ring_blocks, 12U);
    EXPECT_EQ(budget.areas[0].found, RingFound::most_by_start);
    EXPECT_EQ(failing(budget), std::vector<std::string>{"wear"});
    // Neither asked: the whole part, and it says so.
    project.requirements.start_up_max_ms.reset();
    budget = make_budget(project).value();
    EXPECT_EQ(budget.areas[0].found, RingFound::most);
    EXPECT_EQ(budget.areas[0].layout.geometry.ring_blocks, 64U);
    EXPECT_NE(budget_text(budget).find("no number holds; the most there are"), std::string::npos);
    // Even two blocks are more than the share.
    project.requirements.flash_share_max = 0.01;
    budget = make_budget(project).value();
    EXPECT_EQ(budget.areas[0].found, RingFound::least);
    EXPECT_EQ(budget.areas[0].layout.geometry.ring_blocks, 2U);
    // A share that the ring without the stall does not keep to: the stall is not all that is in the way.
    project.records[0].saves[0].every_s = 600;
    project.requirements.put_stall_max_ms = 0.01;
    project.requirements.flash_share_max = 0.04; // two blocks of 64, not three
    budget = make_budget(project).value();
    EXPECT_EQ(budget.areas[0].layout.geometry.ring_blocks, 2U);
    EXPECT_EQ(failing(budget), std::vector<std::string>{"put stall"});
}

TEST(Budget, TheShareLeftIsWhatTheOtherAreasDoNotNeed) {
    Project project = node();
    Area other;
    other.name = "other";
    project.areas.push_back(other);
    project.records[1].area = "other"; // settings, two blocks
    project.records[0].area = project.records[2].area = project.areas[0].name;
    project.records[0].saves[0].every_s = 1;
    const Budget budget = make_budget(project).value();
    EXPECT_EQ(budget.areas[1].found, RingFound::fewest);
    EXPECT_EQ(budget.areas[0].found, RingFound::most_by_share);
    EXPECT_EQ(budget.areas[0].layout.geometry.ring_blocks + budget.areas[1].layout.geometry.ring_blocks, 12U);
    EXPECT_EQ(failing(budget), std::vector<std::string>{"wear"});
}

TEST(Budget, AStallThatNoRingMeetsDoesNotMakeTheRingLarge) {
    Project project = node();
    const Budget before = make_budget(project).value();
    project.requirements.put_stall_max_ms = 0.1; // less than one entry takes
    const Budget budget = make_budget(project).value();
    EXPECT_FALSE(budget.areas[0].fewest_blocks);
    EXPECT_EQ(budget.areas[0].found, RingFound::fewest_but_stall);
    EXPECT_LE(budget.areas[0].layout.geometry.ring_blocks, before.areas[0].layout.geometry.ring_blocks);
    EXPECT_EQ(failing(budget), std::vector<std::string>{"put stall"});
}

TEST(Budget, InverseAnswersJustHold) {
    Project project = node();
    project.areas[0].size_bytes = 4 * 2048;
    const auto budget = make_budget(project);
    ASSERT_TRUE(budget);
    const double life = *budget->areas[0].longest_life_years;
    const double faster = *budget->areas[0].fastest_periodic;
    project.records[0].saves[0].every_s /= faster;
    EXPECT_NEAR(make_budget(project)->areas[0].erases.per_block_mean + format_erases, 5000, 5);
    project = node();
    project.areas[0].size_bytes = 4 * 2048;
    project.product.life_years = life;
    EXPECT_NEAR(make_budget(project)->areas[0].erases.per_block_mean + format_erases, 5000, 25);
}

TEST(Budget, NominalLeavesOutTheHeavyUserAndTheQuantile) {
    Project project = node();
    project.records[0].heavy_user_factor = 3;
    const auto budget = make_budget(project);
    ASSERT_TRUE(budget);
    EXPECT_NEAR(budget->areas[0].erases.per_block_mean / budget->areas[0].nominal_erases.per_block_mean, 3, 0.1);
}

TEST(Budget, RequirementsFailWithTheirNumbers) {
    Project project = node();
    project.areas[0].size_bytes = 2 * 2048;
    const auto budget = make_budget(project);
    ASSERT_TRUE(budget);
    EXPECT_FALSE(budget->holds());
    EXPECT_EQ(finding(*budget, "put stall").status, FindingStatus::fails);
    EXPECT_GT(finding(*budget, "put stall").need, 40);
    project.part.erase_ms_max.clear();
    EXPECT_EQ(finding(*make_budget(project), "put stall").status, FindingStatus::unknown);
    project.records[2].fields = {field(1900)};
    const auto full = make_budget(project);
    ASSERT_TRUE(full);
    EXPECT_EQ(finding(*full, "layout").status, FindingStatus::fails);
    project.part.endurance_cycles.reset();
    ASSERT_FALSE(make_budget(project));
    EXPECT_EQ(make_budget(project).error().text, "endurance_cycles is not known");
}

TEST(BudgetText, FitsEightyColumnsAndSaysFromMemory) {
    const std::string text = budget_text(*make_budget(node()));
    size_t begin = 0;
    while (begin < text.size()) {
        const size_t end = text.find('\n', begin);
        EXPECT_LE(end - begin, 80U) << text.substr(begin, end - begin);
        begin = end + 1;
    }
    EXPECT_EQ(text.rfind("valve node: every requirement holds over 12 years.", 0), 0U) << text;
    EXPECT_NE(text.find("FROM MEMORY"), std::string::npos);
    const nlohmann::json json = budget_json(*make_budget(node()));
    EXPECT_EQ(json["holds"], true);
    EXPECT_EQ(json["areas"][0]["records"][1]["name"], "settings");
    EXPECT_EQ(json["findings"][3]["name"], "put stall alone");
    EXPECT_EQ(json["findings"][3]["from_memory"], true);
}

} // namespace
} // namespace perdure
