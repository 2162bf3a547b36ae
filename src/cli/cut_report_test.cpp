#include "cli/cut_report.hpp"

#include <sstream>

#include <gtest/gtest.h>

namespace perdure {
namespace {

CutArea area_of(uint64_t cuts, uint64_t torn, uint64_t chance) {
    CutArea area;
    area.project = "pump";
    area.area = "store";
    area.parts.resize(1);
    area.parts[0].result.counts.cuts = cuts;
    area.parts[0].result.counts.torn = torn;
    area.parts[0].result.counts.chance = chance;
    area.parts[0].result.complete = true;
    return area;
}

std::string first_line(const CutArea& area, bool as_expected) {
    std::ostringstream out;
    EXPECT_EQ(report({area}, false, out), as_expected);
    return out.str().substr(0, out.str().find('\n'));
}

TEST(CutReport, ItsFirstLineSaysWhyItDoesNotHold) {
    EXPECT_EQ(first_line(area_of(10, 1000, 0), true), "pump, area store: no cut tried loses anything");
    EXPECT_EQ(first_line(area_of(0, 0, 0), false), "pump, area store: NO CUT WAS TRIED");
    EXPECT_EQ(first_line(area_of(10, 1000, 20), false),
              "pump, area store: MORE TORN ENTRIES PASS THE CHECK THAN CHANCE LETS PASS");
    CutArea lost = area_of(10, 1000, 0);
    lost.parts[0].result.failure.emplace();
    EXPECT_EQ(first_line(lost, false), "pump, area store: A CUT LOSES SOMETHING, OR BYTES ARE MADE UP");
}

TEST(CutReport, AFailureSaysWhereItStoppedAndOnWhatDevice) {
    CutArea area = area_of(10, 1000, 0);
    area.parts[0].result.failure.emplace();
    area.options = " --length 1 --undecided";
    std::ostringstream out;
    EXPECT_FALSE(report({area}, false, out));
    EXPECT_NE(out.str().find("  stopped at the first failure"), std::string::npos);
    EXPECT_NE(out.str().find("  on a device that the store makes no promise for: --undecided\n"), std::string::npos);
}

TEST(CutReport, LinesFitAndTheReplayLineIsWordsForAShell) {
    CutArea area = area_of(1'000'000'000, 100'000'000'000, 0);
    area.parts[0].result.counts.trials = area.parts[0].result.counts.equal = 900'000'000;
    area.check_bits = 32;
    area.part = "a-part-with-a-long-name-4711";
    area.shard = area.shards = shards_most;
    std::ostringstream out;
    report({area}, false, out);
    std::istringstream lines(out.str());
    for (std::string line; std::getline(lines, line);) { EXPECT_LE(line.size(), 80U) << line; }

    area.file = "my pump's.toml";
    std::ostringstream failure;
    print_failure({}, {}, area, false, failure);
    EXPECT_NE(failure.str().find("perdure cut 'my pump'\\''s.toml' --replay "), std::string::npos) << failure.str();
}

TEST(CutReport, AShardToWhichNoCutFellHolds) {
    CutArea shard = area_of(0, 0, 0);
    shard.shards = 400;
    EXPECT_EQ(first_line(shard, true), "pump, area store: no cut tried loses anything");
}

} // namespace
} // namespace perdure
