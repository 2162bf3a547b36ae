#include "choose/choose.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "choose/candidate.hpp"
#include "choose/text.hpp"
#include "project/sample_rings.hpp"

namespace perdure {
namespace {

Device device(const std::string& id, uint32_t block_bytes, uint32_t unit_bytes, double endurance) {
    Device out;
    out.id = id;
    out.maker = "maker of " + id;
    out.runs = {BlockRun{64, block_bytes, 0}};
    out.flash_bytes = 64ULL * block_bytes;
    out.program_bytes = unit_bytes;
    out.program_rule = "once-noecc";
    out.erased_value = "0xFF";
    out.erase_ms_max = {40};
    out.program_us_max = 100;
    out.endurance_cycles = endurance;
    out.program_ma = 4;
    return out;
}

ExternalMemory memory(const std::string& id, const std::string& kind, double endurance) {
    ExternalMemory out;
    out.id = id;
    out.kind = kind;
    out.size_bytes = 8192;
    out.page_bytes = 32;
    out.write_ms_max = 4;
    out.endurance_cycles = endurance;
    return out;
}

Project meter() {
    Project out;
    out.path = "meter.toml";
    out.product.name = "meter";
    out.product.life_years = 10;
    out.part = device("own", 2048, 8, 10'000);
    Record record;
    record.name = "energy";
    record.id = 1;
    record.kind = RecordKind::total;
    Field field;
    field.movement_max = 100;
    record.fields = {field};
    record.saves = {SavePolicy{SaveWhen::periodic, 60, 0, {}, 1, {}}};
    out.records = {record};
    out.areas = {Area{}};
    return out;
}

const Candidate& best_of(const Choice& choice, const std::string& id) {
    for (const Candidate& candidate : choice.candidates) {
        if (candidate.id == id) { return candidate; }
    }
    throw std::runtime_error("no candidate " + id);
}

TEST(Choose, FiguresFromMemoryDoNotWinInSilence) {
    Catalog catalog;
    catalog.devices = {device("better", 2048, 8, 100'000)};
    catalog.devices[0].provenance["endurance_cycles"] = {"from memory", true};
    const Choice choice = choose(meter(), catalog, {});
    ASSERT_TRUE(choice.winner);
    EXPECT_EQ(choice.candidates[*choice.winner].id, "own");
    ASSERT_FALSE(choice.passed_over.empty());
    EXPECT_EQ(choice.candidates[choice.passed_over[0]].id, "better");
    EXPECT_NE(choice_text(choice, false).find("FROM MEMORY: endurance_cycles"), std::string::npos);
    catalog.devices[0].provenance.clear();
    const Choice documented = choose(meter(), catalog, {});
    EXPECT_EQ(documented.candidates[*documented.winner].id, "better");
}

TEST(Choose, AnEmptyFigureNeverHolds) {
    Catalog catalog;
    catalog.devices = {device("untimed", 2048, 8, 1'000'000)};
    catalog.devices[0].erase_ms_max.clear();
    const Choice choice = choose(meter(), catalog, {});
    const Candidate& untimed = best_of(choice, "untimed");
    EXPECT_FALSE(untimed.holds);
    EXPECT_EQ(untimed.reasons, std::vector<std::string>{"not known: erase_ms_max"});
}

TEST(Choose, LosersSayWhy) {
    Catalog catalog;
    catalog.devices = {device("worn", 2048, 8, 20)};
    const Choice choice = choose(meter(), catalog, {});
    const Candidate& worn = best_of(choice, "worn");
    EXPECT_FALSE(worn.holds);
    ASSERT_FALSE(worn.reasons.empty());
    EXPECT_EQ(worn.reasons[0].rfind("wear: needs", 0), 0U) << worn.reasons[0];
    for (const Candidate& candidate : choice.candidates) {
        if (candidate.holds && &candidate != &choice.candidates[*choice.winner]) { EXPECT_NE(candidate.behind, ""); }
    }
}

TEST(Choose, TheFrontIsWhatNothingBeatsAndTheWinnerStandsOnIt) {
    Catalog catalog;
    catalog.devices = {device("a", 1024, 4, 10'000), device("b", 4096, 16, 100'000), device("c", 2048, 8, 1'000)};
    const Choice choice = choose(meter(), catalog, {});
    size_t holding = 0, front = 0;
    for (const Candidate& one : choice.candidates) {
        if (!one.holds) { continue; }
        ++holding;
        front += one.on_front;
        const bool beaten =
            std::any_of(choice.candidates.begin(), choice.candidates.end(), [&](const Candidate& other) {
                return other.holds && other.bytes < one.bytes && other.margin > one.margin &&
                       *other.stall_ms < *one.stall_ms && *other.energy_j < *one.energy_j;
            });
        if (beaten) { EXPECT_FALSE(one.on_front) << one.id; }
    }
    EXPECT_GT(front, 1U);
    EXPECT_LT(front, holding); // twice the blocks of something never beats everything
    EXPECT_TRUE(choice.candidates[*choice.winner].on_front);
}

TEST(Choose, WeightsDecide) {
    Catalog catalog;
    catalog.devices = {device("small", 512, 8, 10'000), device("lasting", 4096, 8, 1'000'000)};
    ChooseOptions options;
    options.weights = {1, 0, 0, 0, 0};
    const Choice by_flash = choose(meter(), catalog, options);
    options.weights = {0, 1, 0, 0, 0};
    const Choice by_life = choose(meter(), catalog, options);
    const auto least = std::min_element(
        by_flash.candidates.begin(), by_flash.candidates.end(),
        [](const Candidate& a, const Candidate& b) { return a.holds && (!b.holds || a.bytes < b.bytes); });
    EXPECT_EQ(by_flash.candidates[*by_flash.winner].bytes, least->bytes);
    EXPECT_EQ(by_life.candidates[*by_life.winner].id, "lasting");
    EXPECT_DOUBLE_EQ(by_life.candidates[*by_life.winner].score, 1);
}

TEST(Choose, ASecondSourceHasAnotherGeometry) {
    Catalog catalog;
    catalog.devices = {device("twin", 2048, 8, 10'000), device("other", 4096, 16, 10'000)};
    const Choice choice = choose(meter(), catalog, {});
    ASSERT_TRUE(choice.second);
    const Candidate& winner = choice.candidates[*choice.winner];
    const Candidate& second = choice.candidates[*choice.second];
    EXPECT_NE(winner.id, second.id);
    EXPECT_TRUE(winner.block_bytes != second.block_bytes || winner.unit_bytes != second.unit_bytes);
}

TEST(Choose, StretchedSavesWearLessAndLoseMore) {
    ChooseOptions options;
    options.policies = {{}, {4, {}, false}};
    options.only = {"own"};
    const Choice choice = choose(meter(), Catalog{}, options);
    double once = 0, four = 0;
    for (const Candidate& one : choice.candidates) { (one.policy.stretch == 1 ? once : four) = one.loss_s; }
    EXPECT_EQ(four, 4 * once);
}

TEST(Choose, ATotalSavedMoreRarelyMovesFurtherBetweenTwoSaves) {
    Project project = meter();
    const uint64_t once = project.records[0].fields[0].movement_max;
    ASSERT_GT(once, 0U);
    const Project four = saved_so(project, {4, {}, false});
    EXPECT_EQ(four.records[0].fields[0].movement_max, 4 * once);
    EXPECT_EQ(saved_so(project, {0.25, {}, false}).records[0].fields[0].movement_max, once); // a burst stays a burst
    project.records[0].fields[0].movement_max = 0xFFFFFFF0;
    EXPECT_EQ(saved_so(project, {4, {}, false}).records[0].fields[0].movement_max,
              0xFFFFFFFFU); // no further than it holds
}

TEST(Choose, LazyStartsAndBatchesArePolicies) {
    Project project = meter();
    project.product.starts_per_day = 50;
    ChooseOptions options;
    options.policies = {{}, {1, {}, true}};
    options.only = {"own"};
    const Choice choice = choose(project, Catalog{}, options);
    double ordinary = 0, lazy = 0;
    for (const Candidate& one : choice.candidates) {
        double& most = one.policy.lazy_start ? lazy : ordinary;
        if (one.ring_blocks > 0) { most = std::max(most, one.margin * 1e3 / double(one.ring_blocks)); }
    }
    EXPECT_GT(lazy, ordinary); // starts that store nothing wear nothing
    EXPECT_EQ(words_of({4, 16, true}), "/4 batch16 lazy");
    EXPECT_EQ(words_of(SaveChange{}), "");
    EXPECT_NE(refused(project, {1, 8, false}), ""); // no log here
    project.records[0].saves.push_back({SaveWhen::at_power_fail, 0, 0, {}, 1, {}});
    EXPECT_NE(refused(project, {1, {}, true}), "");
}

TEST(Choose, TheWinnerAndTheSecondSourceAreCounted) {
    Project project = meter();
    project.product.starts_per_day = 300; // starts take much of the flash
    Catalog catalog;
    catalog.devices = {device("twin", 4096, 16, 10'000), device("third", 1024, 4, 20'000)};
    const Choice choice = choose(project, catalog, {});
    ASSERT_TRUE(choice.winner && choice.second);
    int reckoned = 0;
    for (const Candidate& one : choice.candidates) { reckoned += one.reckoned() ? 1 : 0; }
    EXPECT_GT(reckoned, 0);
    for (const size_t at : {*choice.winner, *choice.second}) {
        const Candidate& named = choice.candidates[at];
        EXPECT_FALSE(named.reckoned());
        const Budget budget = make_budget(*named.judged).value();
        EXPECT_EQ(named.holds, budget.holds());
        for (const Finding& finding : budget.findings) {
            if (finding.name == "wear") { EXPECT_EQ(named.margin, finding.margin); }
        }
    }
}

// The verdict is the budget's own, also where the reckoning says otherwise.
TEST(Choose, WhatIsNearTheMarginIsCounted) {
    ChooseOptions options;
    options.only = {"own"};
    options.layouts = 1;
    int fails = 0, holds = 0;
    for (const double starts : {30.0, 300.0, 3000.0}) {
        Project project = meter();
        project.product.starts_per_day = starts;
        project.areas[0].size_bytes = 8 * 2048;
        double margin = 0;
        const Budget budget = make_budget(project).value();
        for (const Finding& finding : budget.findings) {
            if (finding.name == "wear") { margin = finding.margin; }
        }
        const double just_enough = *project.part.endurance_cycles / margin;
        for (const double share : {0.98, 0.995, 1.005, 1.02}) {
            project.part.endurance_cycles = just_enough * share;
            const Choice choice = choose(project, Catalog{}, options);
            for (const Candidate& one : choice.candidates) {
                if (one.bytes != 8 * 2048) { continue; }
                const bool truth = make_budget(project)->holds();
                EXPECT_EQ(one.holds, truth) << starts << ' ' << share;
                ++(truth ? holds : fails);
            }
        }
    }
    EXPECT_GT(fails, 3);
    EXPECT_GT(holds, 3);
}

TEST(Choose, DaysOfALogTakeFewerSamplesWhenItsSavesAreStretched) {
    Project project = meter();
    Record log = sample_log(2, 1000, 600);
    log.log->depth_s = 1000 * 600;
    log.log->batch = 6;
    log.log->batch_found = true;
    project.records.push_back(log);
    const Project half = saved_so(project, {2, {}, false});
    EXPECT_EQ(half.records[1].log->depth_samples, 500U);
    EXPECT_EQ(half.records[1].log->batch, 3U); // the same time between two entries
    EXPECT_EQ(saved_so(project, {2, 5, false}).records[1].log->batch, 5U);
    project.records[1].fields[0].bytes = 240;
    EXPECT_NE(refused(project, {1, 255, false}).find("at most 136 samples"), std::string::npos);
}

TEST(Choose, EightLayoutsAreTriedWhereAsked) {
    ChooseOptions options;
    options.only = {"own"};
    options.layouts = 8;
    const Choice choice = choose(meter(), Catalog{}, options);
    std::set<uint32_t> rings;
    for (const Candidate& one : choice.candidates) { rings.insert(one.ring_blocks); }
    options.layouts = 1;
    EXPECT_GE(rings.size(), 6U); // some fall together where the fewest are few
    EXPECT_LT(choose(meter(), Catalog{}, options).candidates.size(), choice.candidates.size());
}

TEST(Choose, InPlaceSpreadsTheMostWornRecordOverTheMemory) {
    const Project project = meter();
    const double saves = 10 * 365.25 * 1440;
    const Candidate eeprom = in_place(project, memory("e", "serial EEPROM", 1e6), {});
    // 4 bytes, 2 of check, 4 of number: one page a slot. As many slots as half the endurance asks for.
    EXPECT_EQ(eeprom.bytes, 32 * static_cast<uint64_t>(std::ceil(saves / 5e5)));
    EXPECT_TRUE(eeprom.holds);
    EXPECT_GE(eeprom.margin, 1);
    EXPECT_EQ(*eeprom.stall_ms, 4);
    const Candidate tired = in_place(project, memory("t", "serial EEPROM", 1e4), {});
    EXPECT_FALSE(tired.holds);
    EXPECT_NEAR(tired.margin, 1e4 * 0.5 / (saves / 256), 1e-6); // all 256 pages in turn
    const Candidate fram = in_place(project, memory("f", "FRAM", 1e14), {});
    EXPECT_EQ(fram.bytes, 64U); // two slots, so that a cut leaves one
    ExternalMemory unknown = memory("u", "FRAM", 1e14);
    unknown.write_ms_max.reset();
    EXPECT_EQ(in_place(project, unknown, {}).reasons, std::vector<std::string>{"not known: write_ms_max"});
}

TEST(Choose, TextFitsEightyColumnsAndJsonNamesTheWinner) {
    const Choice choice = choose(meter(), catalog(), {});
    const std::string text = choice_text(choice, true);
    for (size_t begin = 0; begin < text.size();) {
        const size_t end = text.find('\n', begin);
        EXPECT_LE(end - begin, 80U) << text.substr(begin, end - begin);
        begin = end + 1;
    }
    const nlohmann::json json = choice_json(choice);
    ASSERT_TRUE(choice.winner);
    EXPECT_EQ(json["candidates"][json["winner"].get<size_t>()]["id"], choice.candidates[*choice.winner].id);
    EXPECT_GE(json["candidates"].size(), catalog().devices.size() + catalog().externals.size());
}

} // namespace
} // namespace perdure
