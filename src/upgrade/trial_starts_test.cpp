// Upgrades of products with saves at power failure, lazy starts and logs: what holds, and that it was tried.
#include <gtest/gtest.h>

#include "upgrade/sample_versions.hpp"
#include "upgrade/trial.hpp"

namespace perdure {
namespace {

constexpr const char* supply = R"([supply]
load = "12 mA"
charged_to = "3.3 V"
trips_at = "2.9 V"
cpu_min = "2.0 V"
detection = "50 us"
capacitance = "1500 uF"
dips = "1/week"
)";

/// A total saved at power failure, with these fields behind its first, and a value.
std::string water_meter(const std::string& more_fields, const std::string& more = "") {
    return R"([record.water]
id = 1
kind = "total"
fields = [ { name = "litres", type = "u32", movement = 100 })" +
           more_fields + R"( ]
saves = [ { every = "15 min" }, { at_power_fail = true } ]
[record.settings]
id = 2
kind = "value"
fields = [ { name = "delay_s", type = "u16", default = 30 } ]
saves = [ { events = "1/day" } ]
)" + more + supply;
}

constexpr const char* fault = R"([record.fault]
id = 9
kind = "value"
fields = [ { name = "code", type = "u16" } ]
saves = [ { events = "1/week" } ]
)";

/// Values and a log of samples with these fields.
std::string logger(const std::string& more_fields, const std::string& more = "") {
    return R"([record.history]
id = 5
kind = "log"
depth = 200
batch = 4
fields = [ { name = "c", type = "i16" })" +
           more_fields + R"( ]
saves = [ { every = "1 h" } ]
[record.limits]
id = 6
kind = "value"
fields = [ { name = "low", type = "u16", default = 5 } ]
saves = [ { events = "1/day" } ]
)" + more;
}

Trial tried(const ProductVersion& from, const ProductVersion& to) {
    TrialOptions options;
    options.after_max = 12;
    return try_upgrade(from, to, compare(from, to), options);
}

/// Both ways, for every flash; gives the least number of saves and of cut starts that a flash had.
std::pair<uint64_t, uint64_t> expect_both_ways(const SamplePair& pair) {
    std::pair<uint64_t, uint64_t> least{UINT64_MAX, UINT64_MAX};
    for (const bool down : {false, true}) {
        const Trial trial = down ? tried(pair.to(), pair.from()) : tried(pair.from(), pair.to());
        EXPECT_EQ(trial.areas.at(0).images.size(), 3U);
        for (const ImageTrial& image : trial.areas.at(0).images) {
            EXPECT_EQ(image.failure, "") << image.name << (down ? " down" : " up");
            EXPECT_GT(image.cut_points, image.operations / 2);
            EXPECT_TRUE(image.back);
            least.first = std::min(least.first, image.saves);
            least.second = std::min(least.second, image.nested_cuts);
        }
    }
    return least;
}

TEST(TrialStarts, ASaveAtPowerFailureIsReadByTheOtherVersion) {
    for (const int release : {1, 2}) {
        SCOPED_TRACE(release);
        for (const char* size : {"size = \"6 KiB\"", "size = \"8 KiB\""}) {
            const SamplePair pair(water_meter(""),
                                  water_meter(R"(, { name = "pulses", type = "u32", movement = 2000 })", fault), size,
                                  "", release);
            const auto [saves, cut_starts] = expect_both_ways(pair);
            EXPECT_GT(saves, 40U);
            EXPECT_GT(cut_starts, 20U);
        }
    }
}

TEST(TrialStarts, TheFlashThatIsTakenOverEndsWithASave) {
    const SamplePair pair(water_meter(""), water_meter("", fault));
    const Trial trial = tried(pair.from(), pair.to());
    for (const ImageTrial& image : trial.areas.at(0).images) {
        EXPECT_NE(image.text.find("the supply failed in a put, and a record was saved"), std::string::npos);
    }
}

// Only the new firmware has the detector: nothing is saved under the old one.
TEST(TrialStarts, ASaveThatOnlyOneVersionHas) {
    std::string plain = water_meter("");
    plain.replace(plain.find(", { at_power_fail = true }"), 26, "");
    const SamplePair pair(plain.substr(0, plain.find("[supply]")), water_meter(""));
    EXPECT_GT(tried(pair.from(), pair.to()).areas.at(0).images.at(1).saves, 40U);
    const Trial down = tried(pair.to(), pair.from());
    EXPECT_TRUE(down.holds());
    EXPECT_EQ(down.areas.at(0).images.at(1).saves, 0U);
}

// A lazy open programs nothing, so the cuts fall on the first save behind it, which does the start's work.
TEST(TrialStarts, LazyStartsAreCutInTheirFirstSave) {
    for (const int release : {1, 2}) {
        SCOPED_TRACE(release);
        const SamplePair pair(logger(""), logger("", fault), "size = \"8 KiB\"", "", release, true);
        const auto [saves, cut_starts] = expect_both_ways(pair);
        EXPECT_EQ(saves, 0U);
        EXPECT_GT(cut_starts, 20U);
    }
}

TEST(TrialStarts, LazyStartsWithASaveAtPowerFailure) {
    const SamplePair pair(water_meter(""), water_meter("", fault), "size = \"8 KiB\"", "", 0, true);
    EXPECT_GT(expect_both_ways(pair).first, 10U);
}

TEST(TrialStarts, BatchesOfALogAreCarriedUpAndDown) {
    const SamplePair same(logger(""), logger("", fault), "size = \"8 KiB\"", "", 1);
    expect_both_ways(same);
    const SamplePair longer(logger(""), logger(R"(, { name = "rh", type = "u8", default = 50 })", fault),
                            "size = \"8 KiB\"");
    expect_both_ways(longer);
    const SamplePair new_log(fault, logger("", fault), "size = \"8 KiB\"");
    expect_both_ways(new_log);
}

// The cuts fall on five of its blocks; without cuts the whole ring is turned.
TEST(TrialStarts, OfALongRingAFewBlocksAreCut) {
    const SamplePair pair(logger(""), logger("", fault), "size = \"60 KiB\"");
    const Trial trial = tried(pair.from(), pair.to());
    EXPECT_TRUE(trial.holds());
    for (const ImageTrial& image : trial.areas.at(0).images) {
        EXPECT_EQ(image.cut_blocks, 5U);
        EXPECT_TRUE(image.back);
        EXPECT_GT(image.cut_points, image.operations);
    }
    ASSERT_FALSE(trial.not_tried.empty());
    EXPECT_EQ(trial.not_tried.front(), "cuts on the whole ring of area store: they fall on a ring of 5 such blocks");
}

// Release 1 puts a short entry of its own samples behind a full one of longer ones, and reads it no more. What it
// acknowledged is lost, and the trial has to say so.
TEST(TrialStarts, ReleaseOneLosesSamplesBehindLongerOnes) {
    const SamplePair pair(logger(""), logger(R"(, { name = "rh", type = "u8", default = 50 })"), "size = \"8 KiB\"", "",
                          1);
    const Trial down = tried(pair.to(), pair.from());
    EXPECT_FALSE(down.holds());
    EXPECT_EQ(down.areas.at(0).images.at(0).failure,
              "log history shows 4 samples (numbers 0 to 3) before number 8, and 8 before 8 were put");
}

} // namespace
} // namespace perdure
