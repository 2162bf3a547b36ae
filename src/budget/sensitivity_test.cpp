#include "budget/sensitivity.hpp"

#include <cmath>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "project/sample_rings.hpp"

namespace perdure {
namespace {

Project logger() {
    Project out;
    out.path = "logger.toml";
    out.product.name = "logger";
    out.product.life_years = 10;
    out.product.fleet_units = 100;
    Device& part = out.part;
    part.runs = {BlockRun{64, 2048, 0}};
    part.flash_bytes = 131'072;
    part.program_bytes = 8;
    part.program_rule = "ecc-zero";
    part.erased_value = "0xFF";
    part.endurance_cycles = 10'000;
    part.erase_ms_max = {40};
    part.program_us_max = 125;
    part.retention_years = 10;
    part.retention_temp_c = 85;
    Record record;
    record.name = "hours";
    record.id = 1;
    record.kind = RecordKind::total;
    Field field;
    field.movement_max = 100;
    record.fields = {field};
    record.saves = {SavePolicy{SaveWhen::periodic, 120, 0, {}, 1, {}}};
    out.records = {record};
    out.areas = {Area{}};
    out.requirements.start_up_max_ms = 400;
    out.conditions.profile = {{30, 0.5, {}}, {60, 0.5, {}}};
    return out;
}

Sensitivity moved(const Project& project) {
    return sensitivity_of(project, make_budget(project).value());
}

const Breaking& of(const Sensitivity& sensitivity, const std::string& name) {
    for (const Breaking& each : sensitivity.breaking) {
        if (each.lever.name == name) { return each; }
    }
    throw std::runtime_error("no input " + name);
}

TEST(Sensitivity, FailingPointsAreWhereTheBudgetTurns) {
    Project project = logger();
    const Budget budget = make_budget(project).value();
    ASSERT_TRUE(budget.holds());
    const Sensitivity sensitivity = sensitivity_of(project, budget);
    project.areas[0].size_bytes = budget.areas[0].layout.geometry.area_bytes();
    int broken = 0;
    for (const Breaking& each : sensitivity.breaking) {
        if (!each.at) { continue; }
        ++broken;
        SCOPED_TRACE(each.lever.name);
        Project at = project;
        each.lever.set(at, *each.at);
        EXPECT_FALSE(make_budget(at)->holds());
        // A fiftieth of the way back towards the value as it stands, or one where things are counted, it holds.
        Project back = project;
        const double way = each.lever.value - *each.at;
        each.lever.set(back, *each.at + (each.lever.whole ? std::copysign(1, way) : way * 0.02));
        EXPECT_TRUE(make_budget(back)->holds());
    }
    EXPECT_GE(broken, 6);
    EXPECT_EQ(of(sensitivity, "erase time").finding, "start-up");
    EXPECT_EQ(of(sensitivity, "endurance").finding, "wear");
    EXPECT_EQ(of(sensitivity, "hottest temperature").finding, "retention");
    EXPECT_NEAR(*of(sensitivity, "hottest temperature").at, 85, 0.1);
    EXPECT_FALSE(of(sensitivity, "fleet").at); // nothing asked depends on it
}

/// Keeps the hours also when the supply fails, on a capacitor.
Project with_capacitor() {
    Project out = logger();
    out.records[0].saves.push_back({SaveWhen::at_power_fail, 0, 0, {}, 1, {}});
    out.part.vdd_min_v = 1.8;
    Supply supply;
    supply.load_ma = 10;
    supply.trips_at_v = 2.8;
    supply.charged_to_v = 3.3;
    supply.cpu_min_v = 2;
    supply.detection_s = 1e-4;
    supply.capacitance_uf = 2000;
    supply.dips_per_day = 0.1;
    out.supply = supply;
    return out;
}

TEST(Sensitivity, TheSupplyAndTheCapacitorAreMoved) {
    const Project project = with_capacitor();
    const Budget budget = make_budget(project).value();
    ASSERT_TRUE(budget.hold_up && budget.hold_up->holds);
    const Sensitivity sensitivity = sensitivity_of(project, budget);
    // The capacitance fails where what is needed is more: hold_up's own figure.
    EXPECT_NEAR(*of(sensitivity, "capacitance").at, budget.hold_up->need_uf, budget.hold_up->need_uf * 0.01);
    EXPECT_EQ(of(sensitivity, "capacitance").finding, "hold-up");
    for (const char* input : {"load", "trips_at", "cpu_min", "ageing", "cold", "tolerance"}) {
        EXPECT_EQ(of(sensitivity, input).finding, "hold-up") << input;
    }
    EXPECT_GT(*of(sensitivity, "load").at, 10);
    EXPECT_LT(*of(sensitivity, "trips_at").at, 2.8);
}

TEST(Sensitivity, AMissingCapacitanceIsMendedByIt) {
    Project project = with_capacitor();
    project.supply->capacitance_uf = 500;
    const Budget budget = make_budget(project).value();
    ASSERT_FALSE(budget.hold_up->holds);
    const Sensitivity sensitivity = sensitivity_of(project, budget);
    ASSERT_FALSE(sensitivity.mending.empty());
    bool named = false;
    for (const Mending& each : sensitivity.mending) {
        EXPECT_EQ(each.finding, "hold-up");
        named = named || each.change.find("trips_at") != std::string::npos ||
                each.change.find("capacitance") != std::string::npos || each.change.find("load") != std::string::npos;
    }
    EXPECT_TRUE(named);
}

TEST(Sensitivity, ALogsDepthBatchAndBlocksAreWholeNumbers) {
    Project project = logger();
    Record log = sample_log(2, 500, 900);
    log.log->batch = 8;
    log.area = "past";
    Area past;
    past.name = "past";
    project.areas.push_back(past);
    project.records[0].area = project.areas[0].name;
    project.records.push_back(log);
    const Sensitivity sensitivity = moved(project);
    for (const char* input : {"depth of history", "batch of history", "blocks of past", "blocks of store"}) {
        const Breaking& each = of(sensitivity, input);
        EXPECT_TRUE(each.lever.whole) << input;
        if (each.at) { EXPECT_EQ(*each.at, std::floor(*each.at)) << input; }
    }
    EXPECT_TRUE(of(sensitivity, "blocks of past").at);
    EXPECT_GT(*of(sensitivity, "depth of history").at, 500);
}

TEST(Sensitivity, NearestFirst) {
    const Sensitivity sensitivity = moved(logger());
    for (size_t i = 1; i < sensitivity.breaking.size(); ++i) {
        const Breaking& before = sensitivity.breaking[i - 1];
        const Breaking& after = sensitivity.breaking[i];
        EXPECT_TRUE(before.at || !after.at);
        if (before.at && after.at) { EXPECT_LE(before.distance, after.distance); }
    }
    EXPECT_TRUE(sensitivity.mending.empty());
    EXPECT_TRUE(sensitivity.beyond.empty());
}

TEST(Sensitivity, TheShortestChangeMends) {
    Project project = logger();
    project.areas[0].size_bytes = 3 * 2048;
    project.records[0].saves[0].every_s = 20;
    const Budget budget = make_budget(project).value();
    ASSERT_FALSE(budget.holds());
    const Sensitivity sensitivity = sensitivity_of(project, budget);
    ASSERT_FALSE(sensitivity.mending.empty());
    EXPECT_EQ(sensitivity.mending[0].finding, "wear");
    EXPECT_TRUE(sensitivity.mending[0].everything_holds);
    EXPECT_LE(sensitivity.mending.size(), 5U);
    // The wear that fails asks for this much more endurance; no change offered is longer than that one.
    double needed = 0;
    for (const Finding& finding : budget.findings) {
        if (finding.name == "wear") { needed = std::log(finding.need / finding.have); }
    }
    EXPECT_LE(sensitivity.mending[0].distance, needed + 0.005);
    EXPECT_FALSE(sensitivity_json(sensitivity)["mending"].empty());
    EXPECT_EQ(sensitivity.already, std::vector<std::string>{"wear"});
}

// A size too small to lay out, a loss that asks for more saves, a share that an area without a size could keep to.
TEST(Sensitivity, WhatMendsIsOffered) {
    const auto offered = [](const Project& project, const std::string& input) {
        for (const Mending& each : moved(project).mending) {
            if (each.change.rfind(input, 0) == 0) { return true; }
        }
        return false;
    };
    Project small = logger();
    small.areas[0].size_bytes = 2 * 2048;
    Record large;
    large.name = "table";
    large.id = 2;
    large.fields = {Field{}};
    large.fields[0].bytes = 2000;
    large.area = small.records[0].area;
    small.records.push_back(large);
    EXPECT_TRUE(offered(small, "blocks of"));
    Project rare = logger();
    rare.requirements.loss_time_max_s = 30; // saved every 120 s
    EXPECT_TRUE(offered(rare, "saves of hours"));
    Project busy = logger();
    busy.records[0].saves[0].every_s = 1;
    busy.requirements.flash_share_max = 0.05;
    EXPECT_TRUE(offered(busy, "saves of hours"));
}

TEST(Sensitivity, WhatNoSingleChangeMendsIsSaid) {
    Project project = logger();
    project.conditions.profile = {{95, 0.5, {}}, {100, 0.5, {}}};
    project.part.endurance_temp_c = "-40..85";
    const Sensitivity sensitivity = moved(project);
    EXPECT_NE(std::find(sensitivity.beyond.begin(), sensitivity.beyond.end(), "endurance at"),
              sensitivity.beyond.end());
    EXPECT_NE(sensitivity_text(sensitivity).find("no single change"), std::string::npos);
}

TEST(Sensitivity, TextFitsEightyColumns) {
    Project project = logger();
    project.requirements.start_up_max_ms = 50;
    const std::string text = sensitivity_text(moved(project));
    for (size_t begin = 0; begin < text.size();) {
        const size_t end = text.find('\n', begin);
        EXPECT_LE(end - begin, 80U) << text.substr(begin, end - begin);
        begin = end + 1;
    }
}

} // namespace
} // namespace perdure
