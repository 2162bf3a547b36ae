// HEX files between this program and srec_cat of Debian's package srecord, which shares no code with it: each reads
// what the other wrote, in both formats.
#include <cstdlib>
#include <fstream>
#include <random>
#include <sstream>

#include <gtest/gtest.h>

#include "hex/hex.hpp"
#include "tests/own_folder.hpp"

namespace perdure {
namespace {

std::string contents_of(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path, std::ios::binary).rdbuf();
    return text.str();
}

/// `from` in format `read` as srec_cat writes it in format `write`.
std::string converted(const std::string& from, const std::string& read, const std::string& write) {
    const std::string one = own_folder() + "outside_hex_in";
    const std::string two = own_folder() + "outside_hex_out";
    std::ofstream(one, std::ios::binary) << from;
    const int code = std::system(("srec_cat " + one + " " + read + " -o " + two + " " + write).c_str());
    EXPECT_EQ(code, 0) << read << " to " << write;
    return contents_of(two);
}

void expect_same(const HexRead& read, const Memory& memory, const char* how) {
    EXPECT_EQ(read.error_count, 0U) << how << ": " << (read.errors.empty() ? "" : read.errors[0].message);
    ASSERT_EQ(read.memory.segments.size(), memory.segments.size()) << how;
    for (size_t i = 0; i < memory.segments.size(); i++) {
        EXPECT_EQ(read.memory.segments[i].address, memory.segments[i].address) << how;
        EXPECT_TRUE(read.memory.segments[i].bytes == memory.segments[i].bytes) << how;
    }
}

TEST(OutsideHexTool, EachReadsWhatTheOtherWrote) {
    if (std::system("command -v srec_cat >/dev/null") != 0) {
        GTEST_SKIP() << "srec_cat (package srecord) is not there";
    }
    std::mt19937 random(7);
    const auto below = [&](uint32_t n) { return std::uniform_int_distribution<uint32_t>(0, n - 1)(random); };
    for (const uint64_t begin :
         {uint64_t{0x10}, uint64_t{0xFFE0}, uint64_t{0x1FFF0}, uint64_t{0xFFFFF0}, uint64_t{0x0801E800}}) {
        Memory memory;
        uint64_t at = begin;
        for (uint32_t i = 0; i < 4; i++) {
            Segment& segment = memory.segments.emplace_back();
            segment.address = at;
            segment.bytes.resize(1 + below(300));
            for (uint8_t& byte : segment.bytes) { byte = static_cast<uint8_t>(below(256)); }
            at = segment.end() + 1 + below(200);
        }
        const std::string intel = write_intel_hex(memory);
        const std::string motorola = write_s_records(memory);
        expect_same(read_intel_hex(converted(intel, "-intel", "-intel")), memory, "Intel to Intel");
        expect_same(read_s_records(converted(intel, "-intel", "-motorola")), memory, "Intel to Motorola");
        expect_same(read_intel_hex(converted(motorola, "-motorola", "-intel")), memory, "Motorola to Intel");
        expect_same(read_s_records(converted(motorola, "-motorola", "-motorola")), memory, "Motorola to Motorola");
        if (begin < 0x100000 - 4000) { // segmented addresses (type 02) reach 1 MiB
            expect_same(read_intel_hex(converted(intel, "-intel", "-intel --address-length=3")), memory, "segmented");
        }
    }
}

} // namespace
} // namespace perdure
