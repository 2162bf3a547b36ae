#include "firmware/firmware.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "firmware/field_code.hpp"
#include "firmware/names.hpp"
#include "project/read.hpp"

namespace perdure {
namespace {

/// A project with these areas and records on a made-up part of 32 blocks of 1 KiB.
std::string project_text(const std::string& rest) {
    return "[product]\nname = \"p\"\nlife = \"5 y\"\n[part]\nerase_block = \"1 KiB\"\nblocks = 32\nprogram_unit = \"8 "
           "B\"\n"
           "blank = 0xFF\nendurance = 10000\nerase_max = \"4 ms\"\nprogram_max = \"90 us\"\nflash_start = "
           "\"0x08000000\"\n" +
           rest;
}

std::string record(const std::string& name, int id, const std::string& area, const std::string& field = "a") {
    return "[record." + name + "]\nid = " + std::to_string(id) + "\nkind = \"value\"\narea = \"" + area +
           "\"\nfields = [ { name = \"" + field + "\", type = \"u8\" } ]\nsaves = [ { events = \"1/day\" } ]\n";
}

struct Made {
    Project project;
    FirmwarePlan plan;
    std::string refused; ///< the message, when it was
    std::vector<EmittedFile> files;

    [[nodiscard]] std::string text_of(const std::string& path) const {
        for (const EmittedFile& file : files) {
            if (file.path == path) { return file.text; }
        }
        return "";
    }
};

Made make(const std::string& rest) {
    Made out;
    out.project = read_project(project_text(rest), "p.toml", catalog()).value();
    const auto plan = plan_firmware(out.project, make_budget(out.project).value());
    if (!plan) {
        out.refused = plan.error().message;
        return out;
    }
    out.plan = *plan;
    const auto files = emit_firmware(out.project, out.plan, {});
    if (!files) {
        out.refused = files.error().message;
        return out;
    }
    out.files = *files;
    return out;
}

TEST(Placement, AreasWithoutAStartStackDownFromTheTopClearOfTheOthers) {
    const Made made = make("[area.one]\nsize = \"4 KiB\"\n[area.two]\nsize = \"2 KiB\"\nstart = "
                           "\"0x08006800\"\n[area.three]\nsize = \"6 KiB\"\n" +
                           record("a", 1, "one") + record("b", 2, "two") + record("c", 3, "three"));
    ASSERT_EQ(made.refused, "");
    EXPECT_EQ(made.plan.areas[0].offset_bytes, 0x7000U); // the top 4 KiB of 32 KiB
    EXPECT_EQ(made.plan.areas[1].offset_bytes, 0x6800U); // as given
    EXPECT_EQ(made.plan.areas[2].offset_bytes, 0x5000U); // below both: 6 KiB do not fit between
    EXPECT_TRUE(made.plan.areas[2].placed_by_us);
    EXPECT_FALSE(made.plan.areas[1].placed_by_us);
}

TEST(Placement, WhatDoesNotFitBesideTheOthersIsRefused) {
    EXPECT_EQ(make("[area.one]\nsize = \"20 KiB\"\n[area.two]\nsize = \"20 KiB\"\n" + record("a", 1, "one") +
                   record("b", 2, "two"))
                  .refused,
              "no room for the 20 KiB of [area.two] beside the other areas");
    EXPECT_EQ(make("[area.one]\n[area.two]\n" + record("a", 1, "one")).refused, "[area.two] holds no record");
}

TEST(Names, ThatComeToTheSameInCAreRefused) {
    EXPECT_EQ(make("[area.one]\n[area.ONE]\n" + record("a", 1, "one") + record("b", 2, "ONE")).refused,
              "[area.one] and [area.ONE] both come to \"DATA_ONE_OFFSET\" in C");
    EXPECT_EQ(make("[area.port]\n" + record("put", 1, "port")).refused, "");
    EXPECT_EQ(make("[area.unit]\n" + record("a", 1, "unit")).refused,
              "the figures of the part and [area.unit] both come to \"DATA_UNIT_BYTES\" in C");
    EXPECT_EQ(make("[area.one]\n" + record("a", 1, "one", "class")).refused,
              "\"class\" is a word of C++, and what is emitted serves both");
}

TEST(Readme, SaysHowOftenServiceHasToRunAndWhatComesOfItComingLate) {
    const Made made = make("[area.one]\nsize = \"4 KiB\"\n" + record("a", 1, "one"));
    const ServiceNeed need = made.plan.areas.at(0).service.value();
    EXPECT_TRUE(need.helps);
    const std::string readme = made.text_of("README.md");
    const std::string often = "**How often**, for area one: the budget counts on that loop at least every ";
    const size_t at = readme.find(often);
    ASSERT_NE(at, std::string::npos) << readme;
    const double days = std::stod(readme.substr(at + often.size()));
    EXPECT_EQ(readme.substr(readme.find(' ', at + often.size()), 3), " d:");
    EXPECT_LE(days * 86400, need.every_s);
    EXPECT_GT(days * 86400, need.every_s * 0.99);
    EXPECT_NE(readme.find(fmt::format("takes up to {:.3g} ms.", need.put_late_ms)), std::string::npos);
    EXPECT_GT(need.put_late_ms, need.put_ms);

    const std::string two = make("[area.one]\nsize = \"2 KiB\"\n" + record("a", 1, "one")).text_of("README.md");
    EXPECT_NE(two.find("Area one has two ring blocks, of which service cannot empty one ahead"), std::string::npos);
    EXPECT_EQ(two.find("How often"), std::string::npos);
}

// What the budget says of one call of service is true of the emitted one: two areas do not erase in the same call.
TEST(Emitted, ServiceTakesOneAreaACall) {
    const std::string one = make("[area.one]\n" + record("a", 1, "one")).text_of("data.c");
    EXPECT_EQ(one.find("static uint8_t turn"), std::string::npos);
    const std::string two =
        make("[area.one]\n[area.two]\n" + record("a", 1, "one") + record("b", 2, "two")).text_of("data.c");
    EXPECT_NE(two.find("case DATA_AREA_ONE:\n        more = state_of(one_ram.found)"), std::string::npos) << two;
    EXPECT_NE(two.find("case DATA_AREA_TWO:\n        more = state_of(two_ram.found)"), std::string::npos);
}

TEST(Comments, SayWhatAFieldCounts) {
    Field field;
    field.name = "f";
    field.type = FieldType::u32;
    field.bytes = 4;
    field.movement_max = 200;
    field.unit = "l";
    EXPECT_EQ(field_comment(field), "in l; grows by at most 200 between two saves");
    field.unit = "a */ b";
    EXPECT_EQ(field_comment(field), "in a * / b; grows by at most 200 between two saves");
}

TEST(Comments, CannotEndEarly) {
    EXPECT_EQ(for_comment("a */ b /* c"), "a * / b / * c");
    EXPECT_EQ(for_comment("line\nline\\"), "line line/");
    EXPECT_EQ(for_comment("\"x\" $(rm) `y`"), "'x' ?(rm) ?y?");
}

TEST(Defaults, AreLiteralsOfTheirType) {
    const auto literal = [](FieldType type, uint32_t bytes, double value) {
        Field field{.name = "f", .type = type, .bytes = bytes, .default_value = value, .place = {}};
        return default_literal(field);
    };
    EXPECT_EQ(literal(FieldType::i32, 4, -2147483648.0), "(-2147483647l - 1)");
    EXPECT_EQ(literal(FieldType::u64, 8, 9007199254740992.0), "9007199254740992ull");
    EXPECT_EQ(literal(FieldType::f32, 4, 0.1), "0.1f");
    EXPECT_EQ(literal(FieldType::f32, 4, 100), "100.0f");
    EXPECT_EQ(literal(FieldType::f64, 8, 1e100), "1e+100");
    EXPECT_EQ(literal(FieldType::u8, 1, 0), "");
}

// FIPS 180-2, appendix B.1: the SHA-256 of "abc".
TEST(Sha256, OfThePublishedExample) {
    EXPECT_EQ(sha256_hex("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

} // namespace
} // namespace perdure
