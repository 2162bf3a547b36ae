// HEX files that others published. Intel HEX: the lines that Wikipedia's article "Intel HEX" works through. S-records:
// the example of the UNIX manual page srec(5), and that of Wikipedia's article "SREC (file format)". Each line's
// checksum was recomputed by the published rule.
#include <array>
#include <string>

#include <gtest/gtest.h>

#include "hex/hex.hpp"

namespace perdure {
namespace {

TEST(OutsideHex, IntelExampleOfWikipedia) {
    const std::string text = ":10010000214601360121470136007EFE09D2190140\n"
                             ":100110002146017E17C20001FF5F16002148011928\n"
                             ":10012000194E79234623965778239EDA3F01B2CAA7\n"
                             ":100130003F0156702B5E712B722B732146013421C7\n"
                             ":00000001FF\n";
    const HexRead read = read_intel_hex(text);
    EXPECT_EQ(read.error_count, 0U);
    ASSERT_EQ(read.memory.segments.size(), 1U);
    EXPECT_EQ(read.memory.segments[0].address, 0x100U);
    ASSERT_EQ(read.memory.segments[0].bytes.size(), 64U);
    EXPECT_EQ(read.memory.segments[0].bytes[0], 0x21);
    EXPECT_EQ(read.memory.segments[0].bytes[63], 0x21);
    EXPECT_EQ(write_intel_hex(read.memory), text); // to the letter
    std::string changed = text;
    changed.replace(changed.find("3F0156702B"), 10, "3F0256702B"); // a byte changed: the sum does not fit any more
    const HexRead wrong = read_intel_hex(changed);
    ASSERT_EQ(wrong.error_count, 1U);
    EXPECT_EQ(wrong.errors[0].line, 4U);
    EXPECT_EQ(wrong.errors[0].column, 42U);
}

TEST(OutsideHex, IntelRecordTypesOfWikipedia) {
    const HexRead gap = read_intel_hex(":0B0010006164647265737320676170A7\n:00000001FF\n");
    ASSERT_EQ(gap.error_count, 0U);
    const std::vector<uint8_t>& bytes = gap.memory.segments.at(0).bytes;
    EXPECT_EQ(std::string(bytes.begin(), bytes.end()), "address gap");
    const HexRead segment = read_intel_hex(":020000021200EA\n:0300300002337A1E\n:0400000300003800C1\n:00000001FF\n");
    ASSERT_EQ(segment.error_count, 0U);
    EXPECT_EQ(segment.memory.segments.at(0).address, 0x12030U);
    EXPECT_EQ(segment.memory.start_segment_offset, 0x00003800U);
    const HexRead linear = read_intel_hex(":02000004FFFFFC\n:0300300002337A1E\n:04000005000000CD2A\n:00000001FF\n");
    ASSERT_EQ(linear.error_count, 0U);
    EXPECT_EQ(linear.memory.segments.at(0).address, 0xFFFF0030U);
    EXPECT_EQ(linear.memory.start_address, 0xCDU);
    for (const char* line : {":020000021000EC", ":020000040800F2", ":0400000512345678E3"}) {
        EXPECT_EQ(read_intel_hex(std::string(line) + "\n:00000001FF\n").error_count, 0U) << line;
    }
}

TEST(OutsideHex, SRecordsOfTheManualPage) {
    const std::string text = "S00600004844521B\n"
                             "S1130000285F245F2212226A000424290008237C2A\n"
                             "S11300100002000800082629001853812341001813\n"
                             "S113002041E900084E42234300182342000824A952\n"
                             "S107003000144ED492\n"
                             "S5030004F8\n"
                             "S9030000FC\n";
    const HexRead read = read_s_records(text);
    EXPECT_EQ(read.error_count, 0U);
    EXPECT_EQ(read.memory.header, "HDR");
    ASSERT_EQ(read.memory.segments.size(), 1U);
    EXPECT_EQ(read.memory.segments[0].bytes.size(), 52U);
    EXPECT_EQ(read.memory.start_address, 0U);
    EXPECT_EQ(write_s_records(read.memory), text); // to the letter
}

TEST(OutsideHex, SRecordsOfWikipedia) {
    const HexRead read = read_s_records("S00F000068656C6C6F202020202000003C\n"
                                        "S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026\n"
                                        "S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9\n"
                                        "S111003848656C6C6F20776F726C642E0A0042\n"
                                        "S5030003F9\n"
                                        "S9030000FC\n");
    ASSERT_EQ(read.error_count, 0U);
    EXPECT_EQ(read.memory.header.substr(0, 5), "hello");
    const std::vector<uint8_t>& bytes = read.memory.segments.at(0).bytes;
    EXPECT_EQ(std::string(bytes.begin() + 0x38, bytes.begin() + 0x45), "Hello world.\n");
}

// Single lines of the same three types with wider addresses, from the same manual page's data; the sums recomputed.
TEST(OutsideHex, WiderSRecords) {
    const std::array<std::string, 5> lines{"S214000000285F245F2212226A000424290008237C29",
                                           "S31500000000285F245F2212226A000424290008237C28", "S70500001122C7",
                                           "S804001122C8", "S9031122C9"};
    for (const std::string& line : lines) {
        const bool ends = line[1] >= '7';
        EXPECT_EQ(read_s_records(line + (ends ? "\n" : "\nS9030000FC\n")).error_count, 0U) << line;
    }
}

} // namespace
} // namespace perdure
