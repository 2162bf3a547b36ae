// What comparing two versions says, to the word where people act on it.
#include "upgrade/schema.hpp"

#include <gtest/gtest.h>

#include "upgrade/sample_versions.hpp"

namespace perdure {
namespace {

/// The fate of each field of a record, "kept new lost".
std::string fates(const RecordChange& record) {
    std::string out;
    for (const FieldChange& field : record.fields) {
        out += (out.empty() ? "" : " ") + std::string(name_of(field.fate));
    }
    return out;
}

std::vector<std::string> rules(const SchemaChange& change) {
    std::vector<std::string> out;
    for (const Breach& breach : change.breaches) { out.push_back(breach.rule); }
    return out;
}

constexpr const char* first = R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "u16", default = 5 }, { name = "high", type = "u16" } ]
saves = [ { events = "1/day" } ]
)";

TEST(Schema, FieldsAtTheEndAreNew) {
    const SamplePair pair(first, R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "u16", default = 5 }, { name = "high", type = "u16" }, { name = "mid", type = "u8", default = 7 } ]
saves = [ { events = "1/day" } ]
)");
    const SchemaChange up = compare(pair.from(), pair.to());
    EXPECT_TRUE(up.breaches.empty());
    EXPECT_FALSE(up.back);
    ASSERT_EQ(up.records.size(), 1U);
    EXPECT_EQ(fates(up.records[0]), "kept kept new");
    EXPECT_EQ(up.records[0].fields[2].text, "7");
    const SchemaChange down = compare(pair.to(), pair.from());
    EXPECT_TRUE(down.back);
    EXPECT_TRUE(down.breaches.empty());
    EXPECT_EQ(fates(down.records[0]), "kept kept lost");
}

TEST(Schema, AChangedTypeIsMisreadFromThereOn) {
    const SamplePair pair(first, R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "u32", default = 5 }, { name = "high", type = "u16" } ]
saves = [ { events = "1/day" } ]
)");
    const SchemaChange up = compare(pair.from(), pair.to());
    EXPECT_EQ(fates(up.records[0]), "misread misread");
    ASSERT_EQ(rules(up), std::vector<std::string>{"fields are added at a record's end only"});
    EXPECT_EQ(up.breaches[0].text, "record limits (id 2): field 1 is low (u32) and was low (u16)");
}

TEST(Schema, AFieldLeftOutBreaksTheRuleOnlyForward) {
    const SamplePair pair(first, R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "u16", default = 5 } ]
saves = [ { events = "1/day" } ]
)");
    EXPECT_EQ(rules(compare(pair.from(), pair.to())),
              std::vector<std::string>{"fields are added at a record's end only"});
    EXPECT_EQ(fates(compare(pair.from(), pair.to()).records[0]), "kept lost");
    EXPECT_TRUE(compare(pair.to(), pair.from()).breaches.empty());
}

TEST(Schema, AnIdNeverMeansAnotherRecord) {
    const SamplePair pair(first, R"(
[record.wifi]
id = 2
kind = "value"
fields = [ { name = "channel", type = "u16" } ]
saves = [ { events = "1/day" } ]
)");
    const SchemaChange up = compare(pair.from(), pair.to());
    ASSERT_EQ(rules(up), std::vector<std::string>{"an id means one record for ever"});
    EXPECT_EQ(up.breaches[0].text, "id 2 is limits in version 1 and wifi in the present one");
    EXPECT_EQ(up.records[0].fate, Fate::misread);
}

TEST(Schema, ANameWithAnotherIdLeavesItsDataBehind) {
    const SamplePair pair(first, R"(
[record.limits]
id = 3
kind = "value"
fields = [ { name = "low", type = "u16" } ]
saves = [ { events = "1/day" } ]
)");
    const SchemaChange up = compare(pair.from(), pair.to());
    ASSERT_EQ(rules(up), std::vector<std::string>{"an id means one record for ever"});
    EXPECT_EQ(up.breaches[0].text,
              "record limits has id 2 in version 1 and 3 in the present one: what was saved stays under 2");
}

TEST(Schema, AConversionFromARetiredRecordBreaksNothing) {
    const SamplePair pair(first, sample_limits_converted);
    const SchemaChange up = compare(pair.from(), pair.to());
    EXPECT_TRUE(up.breaches.empty());
    ASSERT_EQ(up.records.size(), 2U);
    EXPECT_EQ(up.records[0].fate, Fate::renamed);
    EXPECT_EQ(up.records[0].text, "was limits, retired");
    EXPECT_EQ(up.records[1].fate, Fate::converted);
    EXPECT_EQ(up.records[1].text, "by its conversion, from limits_1");
    EXPECT_EQ(compare(pair.to(), pair.from()).records[1].fate, Fate::carried);
}

TEST(Schema, AKindAndAnAreaStay) {
    const SamplePair kind(first, R"(
[record.limits]
id = 2
kind = "total"
fields = [ { name = "low", type = "u16", movement = 1 }, { name = "high", type = "u16", movement = 1 } ]
saves = [ { events = "1/day" } ]
)");
    EXPECT_EQ(rules(compare(kind.from(), kind.to())), std::vector<std::string>{"a record keeps its kind"});
}

// Nothing in flash changes, and what is made of it does: said, in both directions, though no rule is broken.
TEST(Schema, AChangedUnitIsSaid) {
    const SamplePair pair(R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "i16", unit = "degC" }, { name = "high", type = "i16" } ]
saves = [ { events = "1/day" } ]
)",
                          R"(
[record.limits]
id = 2
kind = "value"
fields = [ { name = "low", type = "i16", unit = "degF" }, { name = "high", type = "i16" } ]
saves = [ { events = "1/day" } ]
)");
    const SchemaChange up = compare(pair.from(), pair.to());
    EXPECT_TRUE(up.breaches.empty());
    ASSERT_EQ(up.records.size(), 1U);
    EXPECT_EQ(up.records[0].fields[0].text, "unit \"degF\", was \"degC\": the stored number is not converted");
    EXPECT_EQ(up.records[0].fields[1].text, "");
    ASSERT_EQ(up.warnings.size(), 1U);
    EXPECT_EQ(up.warnings[0].rfind("record limits (id 2): field low: unit \"degF\", was \"degC\"", 0), 0U)
        << up.warnings[0];
    EXPECT_EQ(compare(pair.from(), pair.from()).warnings.size(), 0U);
}

TEST(Schema, AChangedAnswerToALostRecordIsSaid) {
    const std::string rest = "fields = [ { name = \"gain\", type = \"f32\" } ]\nsaves = [ { events = \"1/day\" } ]\n";
    const std::string begin = "[record.calibration]\nid = 3\nkind = \"value\"\n";
    const SamplePair gone(begin + "if_lost = \"refuse\"\n" + rest, begin + rest);
    const SchemaChange up = compare(gone.from(), gone.to());
    ASSERT_EQ(up.warnings.size(), 1U);
    EXPECT_EQ(up.warnings[0].rfind("record calibration (id 3): if_lost is not said and was \"refuse\"", 0), 0U)
        << up.warnings[0];
    EXPECT_NE(up.warnings[0].find("a value that was refused becomes a default"), std::string::npos) << up.warnings[0];
    EXPECT_EQ(up.records[0].text, "if_lost not said, was \"refuse\"");
    EXPECT_EQ(compare(gone.to(), gone.from()).warnings.size(), 1U);
}

TEST(Schema, AnAreaKeepsItsFlash) {
    const SamplePair pair(first, first, "size = \"6 KiB\"\ncheck_bits = 16", "size = \"8 KiB\"\ncheck_bits = 24");
    const SchemaChange up = compare(pair.from(), pair.to());
    ASSERT_EQ(up.areas.size(), 1U);
    EXPECT_FALSE(up.areas[0].same_flash());
    ASSERT_EQ(rules(up), std::vector<std::string>{"an area keeps its place, size, units and check width"});
    EXPECT_EQ(up.breaches[0].text, "area store: size 8192 B instead of 6144, ring blocks 4 instead of 3, check code 24 "
                                   "bits instead of 16, offset in flash 122880 instead of 124928");
}

TEST(Schema, NoMoreUnknownRecordsThanAFirmwareCarries) {
    std::string many;
    for (int id = 10; id < 15; id++) {
        many +=
            "[record.extra" + std::to_string(id) + "]\nid = " + std::to_string(id) +
            "\nkind = \"value\"\nfields = [ { name = \"x\", type = \"u8\" } ]\nsaves = [ { events = \"1/day\" } ]\n";
    }
    const SamplePair pair(first, first + many);
    EXPECT_TRUE(compare(pair.from(), pair.to()).breaches.empty());
    EXPECT_EQ(rules(compare(pair.to(), pair.from())),
              std::vector<std::string>{"a firmware carries few records that it does not know"});
}

} // namespace
} // namespace perdure
