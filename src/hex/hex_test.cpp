// Reading and writing HEX files: every error at its place, and what is written reads as it was.
#include "hex/hex.hpp"

#include <random>

#include <gtest/gtest.h>

namespace perdure {
namespace {

struct Wrong {
    std::string text;
    uint32_t line, column;
    std::string message, expected;
};

void hold(const HexRead& read, const Wrong& wrong) {
    ASSERT_GE(read.errors.size(), 1U) << wrong.text;
    EXPECT_EQ(read.errors[0].line, wrong.line) << wrong.text;
    EXPECT_EQ(read.errors[0].column, wrong.column) << wrong.text;
    EXPECT_EQ(read.errors[0].message, wrong.message) << wrong.text;
    EXPECT_EQ(read.errors[0].expected, wrong.expected) << wrong.text;
}

TEST(Hex, IntelErrorsHaveTheirPlace) {
    const std::string end = "\n:00000001FF\n";
    const Wrong all[] = {
        {":0300300002337A1F" + end, 1, 16, "the checksum 1F is wrong", "1E"},
        {":0300300002337G1E" + end, 1, 15, "this is no hexadecimal digit", "0 to 9 or A to F"},
        {":0300300002337A1" + end, 1, 16, "the last byte has one digit", "two digits a byte"},
        {":0300300002337A" + end, 1, 16, "the line ends after 7 of 8 bytes", "2 digits more"},
        {":0300300002337A1E00" + end, 1, 18, "the line goes on behind its checksum: its length says 3 bytes of data",
         "the line's end"},
        {"0300300002337A1E" + end, 1, 1, "this line does not begin with a colon", "':' and hexadecimal digits"},
        {":00000006FA" + end, 1, 8, "record type 06 is not known", "00 to 05"},
        {":0100000400FB" + end, 1, 2, "a record of type 04 holds 1 bytes", "02"},
        {"\n\n:0300300002337A1E\n", 3, 18, "the file ends without a record that says so: it may be cut short",
         ":00000001FF"},
        {":00000001FF\n:0300300002337A1E\n", 2, 1, "this line follows the record that ends the file",
         "nothing behind a record of type 01"},
        {":0300300002337A1E\n:01003200FFCE" + end, 2, 1, "the byte at 0x00000032 is given a second time",
         "each address once, in one line"},
        {"", 0, 1, "the file ends without a record that says so: it may be cut short", ":00000001FF"},
        {":", 1, 2, "the line ends after 0 of 5 bytes", "10 digits more"},
    };
    for (const Wrong& wrong : all) { hold(read_intel_hex(wrong.text), wrong); }
}

TEST(Hex, SRecordErrorsHaveTheirPlace) {
    const std::string end = "\nS9030000FC\n";
    const Wrong all[] = {
        {"S5031122FF" + end, 1, 9, "the checksum FF is wrong", "C9"},
        {"S107003000144ED493" + end, 1, 17, "the checksum 93 is wrong", "92"},
        {"S107003000144EZ492" + end, 1, 15, "this is no hexadecimal digit", "0 to 9 or A to F"},
        {"S107003000144ED4" + end, 1, 17, "the line ends after 7 of 8 bytes", "2 digits more"},
        {"S107003000144ED49200" + end, 1, 19, "the line goes on behind its checksum: its count says 7 bytes",
         "the line's end"},
        {"SX07" + end, 1, 2, "this line does not begin as an S-record", "S0 to S9"},
        {"X107" + end, 1, 1, "this line does not begin as an S-record", "S0 to S9"},
        {"S4030000FC" + end, 1, 1, "S4 is reserved", "S0 to S3 or S5 to S9"},
        {"S10200FD" + end, 1, 3, "the count 02 is too small for S1", "03 or more"},
        {"S107003000144ED492\nS5030002FA" + end, 2, 5, "S5 counts 2 data records, 1 were read",
         "the number of S1, S2 and S3 lines: one may be missing"},
        {"S107003000144ED492\n", 1, 19, "the file ends without a record that says so: it may be cut short",
         "S9, S8 or S7"},
        {"S", 1, 2, "this line does not begin as an S-record", "S0 to S9"},
        {"S1" + end, 1, 3, "the line ends after 0 of 1 bytes", "8 digits more"},
    };
    for (const Wrong& wrong : all) { hold(read_s_records(wrong.text), wrong); }
}

TEST(Hex, WhatIsInOrderIsReadBesideErrors) {
    const HexRead read = read_intel_hex(":0300300002337A1E\n:0300400002337AFF\n:0300500002337AFE\n:00000001FF\n");
    EXPECT_EQ(read.error_count, 1U);
    ASSERT_EQ(read.memory.segments.size(), 2U);
    EXPECT_EQ(read.memory.segments[0].address, 0x30U);
    EXPECT_EQ(read.memory.segments[1].address, 0x50U);
}

TEST(Hex, AnOverlapNamesBothLines) {
    const HexRead read = read_intel_hex(":01003200FFCE\n:0300300002337A1E\n:00000001FF\n");
    ASSERT_EQ(read.error_count, 1U);
    EXPECT_EQ(read.errors[0].line, 2U);
    EXPECT_EQ(read.errors[0].other_line, 1U);
}

Memory drawn(std::mt19937& random, bool high) {
    const auto below = [&](uint32_t n) { return std::uniform_int_distribution<uint32_t>(0, n - 1)(random); };
    Memory memory;
    uint64_t at = high ? 0x0001FFF0U + below(64) : below(64);
    for (uint32_t i = 0; i <= below(5); i++) {
        Segment& segment = memory.segments.emplace_back();
        segment.address = at;
        segment.bytes.resize(1 + below(high ? 70'000 : 400));
        for (uint8_t& byte : segment.bytes) { byte = static_cast<uint8_t>(below(256)); }
        at = segment.end() + 1 + below(high ? 0x30000 : 300);
    }
    if (below(2) == 0) { memory.start_address = below(0xFFFF); }
    return memory;
}

void expect_same(const Memory& one, const Memory& two) {
    ASSERT_EQ(one.segments.size(), two.segments.size());
    for (size_t i = 0; i < one.segments.size(); i++) {
        EXPECT_EQ(one.segments[i].address, two.segments[i].address);
        EXPECT_TRUE(one.segments[i].bytes == two.segments[i].bytes);
    }
}

TEST(Hex, WhatIsWrittenReadsAsItWas) {
    std::mt19937 random(1);
    for (int round = 0; round < 60; round++) {
        const Memory memory = drawn(random, round % 2 == 0);
        const uint32_t line = 1 + round * 4;
        const HexRead intel = read_intel_hex(write_intel_hex(memory, line));
        EXPECT_EQ(intel.error_count, 0U);
        expect_same(memory, intel.memory);
        EXPECT_EQ(intel.memory.start_address, memory.start_address);
        const HexRead motorola = read_s_records(write_s_records(memory, line));
        EXPECT_EQ(motorola.error_count, 0U) << motorola.errors[0].message;
        expect_same(memory, motorola.memory);
        EXPECT_EQ(motorola.memory.start_address, memory.start_address.value_or(0));
        const std::vector<uint8_t> binary = write_binary(memory, 0xFF);
        std::vector<uint8_t> known(binary.size());
        std::vector<uint8_t> back(binary.size(), 0xFF);
        EXPECT_EQ(copy_known(memory, memory.segments.front().address, back, known), memory.byte_count());
        EXPECT_TRUE(back == binary);
    }
}

TEST(Hex, SegmentAddressesWrapWithinTheSegment) {
    // Type 02: the offset counts modulo 64 KiB within the segment; type 04: on into the next 64 KiB.
    const HexRead segmented = read_intel_hex(":020000021000EC\n:02FFFF00AABB9B\n:00000001FF\n");
    ASSERT_EQ(segmented.memory.segments.size(), 2U);
    EXPECT_EQ(segmented.memory.segments[0].address, 0x10000U);
    EXPECT_EQ(segmented.memory.segments[0].bytes[0], 0xBB);
    EXPECT_EQ(segmented.memory.segments[1].address, 0x1FFFFU);
    const HexRead linear = read_intel_hex(":020000040001F9\n:02FFFF00AABB9B\n:00000001FF\n");
    ASSERT_EQ(linear.memory.segments.size(), 1U);
    EXPECT_EQ(linear.memory.segments[0].address, 0x1FFFFU);
}

TEST(Hex, MergeRefusesWhatBothHold) {
    Memory one{{{0x100, {1, 2, 3, 4}}}, {}, {}, {}};
    const Memory apart{{{0x104, {5}}, {0x10, {6}}}, 0x200, {}, {}};
    EXPECT_FALSE(merge(one, apart));
    ASSERT_EQ(one.segments.size(), 2U);
    EXPECT_EQ(one.segments[1].bytes, (std::vector<uint8_t>{1, 2, 3, 4, 5}));
    EXPECT_EQ(one.start_address, 0x200U);
    const auto overlap = merge(one, Memory{{{0x103, {9, 9, 9}}}, {}, {}, {}});
    ASSERT_TRUE(overlap);
    EXPECT_EQ(overlap->from, 0x103U);
    EXPECT_EQ(overlap->to, 0x104U);
    EXPECT_EQ(one.byte_count(), 6U);
}

TEST(Hex, FormatsAreToldApart) {
    EXPECT_EQ(format_of_name("a/b.HEX"), HexFormat::intel_hex);
    EXPECT_EQ(format_of_name("b.s19"), HexFormat::s_records);
    EXPECT_EQ(format_of_name("b.bin"), HexFormat::binary);
    EXPECT_FALSE(format_of_name("b.txt"));
    EXPECT_EQ(format_of_contents("\r\n:0300300002337A1E"), HexFormat::intel_hex);
    EXPECT_EQ(format_of_contents("S00600004844521B"), HexFormat::s_records);
    EXPECT_EQ(format_of_contents(":::"), HexFormat::binary);
    EXPECT_EQ(format_of_contents(""), HexFormat::binary);
}

} // namespace
} // namespace perdure
