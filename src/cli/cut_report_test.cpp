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

TEST(CutReport, AShardToWhichNoCutFellHolds) {
    CutArea shard = area_of(0, 0, 0);
    shard.shards = 400;
    EXPECT_EQ(first_line(shard, true), "pump, area store: no cut tried loses anything");
}

} // namespace
} // namespace perdure
