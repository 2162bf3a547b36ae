// Upgrades tried on the store: what holds, and that what does not hold is found.
#include "upgrade/trial.hpp"

#include <gtest/gtest.h>

#include "upgrade/sample_versions.hpp"

namespace perdure {
namespace {

const std::string meter = sample_energy + R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "u16", default = 5 }, { name = "high", type = "u16" } ]
saves = [ { events = "1/day" } ]
)";

constexpr const char* meter_with_more = R"(
[record.energy]
id = 1
kind = "total"
fields = [ { name = "wh", type = "u32", movement = 100 }, { name = "starts", type = "u16", movement = 3 } ]
saves = [ { every = "1 min" } ]
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "u16", default = 5 }, { name = "high", type = "u16" }, { name = "mid", type = "u8", default = 7 } ]
saves = [ { events = "1/day" } ]
[record.fault]
id = 9
kind = "value"
fields = [ { name = "code", type = "u16" } ]
saves = [ { events = "1/week" } ]
[record.hours]
id = 70
kind = "total"
fields = [ { name = "h", type = "u32", movement = 2 } ]
saves = [ { every = "1 h" } ]
)";

Trial tried(const ProductVersion& from, const ProductVersion& to) {
    TrialOptions options;
    options.after_max = 20; // those of the quick tests
    return try_upgrade(from, to, compare(from, to), options);
}

void expect_tried_whole(const Trial& trial) {
    ASSERT_EQ(trial.areas.size(), 1U);
    EXPECT_TRUE(trial.areas[0].carried);
    ASSERT_EQ(trial.areas[0].images.size(), 3U);
    for (const ImageTrial& image : trial.areas[0].images) {
        EXPECT_EQ(image.failure, "") << image.name;
        EXPECT_GT(image.operations, 0U);
        const uint64_t after = (image.operations_after + image.after_step - 1) / image.after_step;
        EXPECT_EQ(image.cut_points, image.operations + after);
        EXPECT_GE(after, 10U);
        EXPECT_GT(image.ways, image.cut_points);
        EXPECT_GT(image.nested_cuts, image.operations);
        EXPECT_TRUE(image.back);
    }
}

TEST(Trial, LongerAndNewRecordsAreCarriedUpAndDown) {
    for (const int release : {1, 2}) {
        SCOPED_TRACE(release);
        const SamplePair pair(meter, meter_with_more, "size = \"6 KiB\"", "", release);
        expect_tried_whole(tried(pair.from(), pair.to()));
        expect_tried_whole(tried(pair.to(), pair.from()));
    }
}

TEST(Trial, OnFourBlocksABlockIsSetAsideFirst) {
    const SamplePair pair(meter, meter_with_more, "size = \"8 KiB\"");
    const Trial trial = tried(pair.from(), pair.to());
    expect_tried_whole(trial);
    EXPECT_EQ(trial.areas[0].images[2].text, "3 turns, a block whose erase fails set aside");
}

TEST(Trial, AConversionRunsOnceWhereverItIsCut) {
    const SamplePair pair(meter, sample_energy + sample_limits_converted);
    expect_tried_whole(tried(pair.from(), pair.to()));
    expect_tried_whole(tried(pair.to(), pair.from()));
}

TEST(Trial, ALogGoesOnUnderItsNumbers) {
    const std::string log = "[record.history]\nid = 5\nkind = \"log\"\ndepth = 200\nsaves = [ { every = \"1 h\" } ]\n";
    const SamplePair pair(
        log + "fields = [ { name = \"c\", type = \"i16\" } ]\n",
        log + "fields = [ { name = \"c\", type = \"i16\" }, { name = \"rh\", type = \"u8\", default = 50 } ]\n",
        "size = \"8 KiB\"");
    expect_tried_whole(tried(pair.from(), pair.to()));
    expect_tried_whole(tried(pair.to(), pair.from()));
}

// The trial has to catch what the rules forbid, by what the store gives back.
TEST(Trial, AChangedKindIsFoundByWhatIsRead) {
    const SamplePair pair(meter, sample_energy + R"(
[record.limits]
id = 2
kind = "total"
fields = [ { name = "low", type = "u16", movement = 1 }, { name = "high", type = "u16", movement = 1 } ]
saves = [ { events = "1/day" } ]
)");
    const Trial trial = tried(pair.from(), pair.to());
    EXPECT_FALSE(trial.holds());
    EXPECT_NE(trial.areas[0].images[0].failure.find("record limits reads as"), std::string::npos)
        << trial.areas[0].images[0].failure;
}

TEST(Trial, TooManyUnknownRecordsMakeTheAreaReadOnly) {
    std::string many = meter;
    for (int id = 10; id < 15; id++) {
        many +=
            "[record.extra" + std::to_string(id) + "]\nid = " + std::to_string(id) +
            "\nkind = \"value\"\nfields = [ { name = \"x\", type = \"u8\" } ]\nsaves = [ { events = \"1/day\" } ]\n";
    }
    const SamplePair pair(meter, many);
    const Trial down = tried(pair.to(), pair.from());
    EXPECT_FALSE(down.holds());
    EXPECT_EQ(down.areas[0].images[0].failure, "open gives PERDURE_READ_ONLY");
}

/// What open gives on the flash of an area that has changed; it touches nothing.
release_status opened(const std::string& from_area, const std::string& to_area) {
    const SamplePair pair(meter, meter, from_area, to_area);
    const Trial trial = tried(pair.from(), pair.to());
    EXPECT_FALSE(trial.holds());
    EXPECT_FALSE(trial.areas.at(0).carried);
    EXPECT_TRUE(trial.areas[0].untouched);
    EXPECT_TRUE(trial.areas[0].opened);
    return trial.areas[0].opened.value_or(RELEASE_OK);
}

TEST(Trial, AChangedAreaIsForeignAndStaysAsItIs) {
    EXPECT_EQ(opened("size = \"6 KiB\"", "size = \"8 KiB\""), RELEASE_FOREIGN);
    EXPECT_EQ(opened("size = \"8 KiB\"", "size = \"6 KiB\""), RELEASE_FOREIGN);
    EXPECT_EQ(opened("size = \"6 KiB\"\ncheck_bits = 16", "size = \"6 KiB\"\ncheck_bits = 32"), RELEASE_FOREIGN);
}

} // namespace
} // namespace perdure
