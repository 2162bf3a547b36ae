// Whatever the bytes are, the reader of dumps neither crashes nor reads beyond them, and what it makes of them holds
// together (tests/fuzz/decode_input.hpp). The sanitizers' build (cmake --preset asan) is what sees a read beyond.
#include <random>
#include <set>
#include <vector>

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "dump/decode.hpp"
#include "tests/fuzz/decode_input.hpp"

namespace perdure {
namespace {

TEST(DumpOfAnything, RandomBytes) {
    std::mt19937 draw(1);
    for (int i = 0; i < 500; i++) {
        std::vector<uint8_t> input(draw() % 600);
        for (uint8_t& byte : input) { byte = static_cast<uint8_t>(draw()); }
        ASSERT_EQ(fuzz::try_decode(input), "") << "input " << i;
    }
}

/// Entries of every kind one behind the other, each on a unit of its own, with right stamps and check codes of 0; here
/// and there a byte is changed, a unit left out or programmed in full.
std::vector<uint8_t> mostly_entries(std::mt19937& draw) {
    const auto below = [&](uint32_t count) { return static_cast<uint8_t>(draw() % count); };
    std::vector<uint8_t> input{static_cast<uint8_t>(1 + below(4) + (below(12) << 3)),
                               static_cast<uint8_t>(8 + below(40)), static_cast<uint8_t>(3 | (draw() & 0xFC)),
                               static_cast<uint8_t>(1 + below(20))};
    if (draw() % 4 != 0) { input[2] &= 0x1F; } // no faults
    const size_t unit_bytes = (input[0] >> 3) + 1U;
    const size_t code_bytes = (input[2] >> 3 & 3) + 1U;
    const size_t area_bytes = unit_bytes * ((input[1] & 63) + 1U) * ((input[0] & 7) + 1U);
    const auto blank = static_cast<uint8_t>((input[2] & 4) != 0 ? 0x00 : 0xFF);
    std::vector<uint8_t> area((16 + unit_bytes - 1) / unit_bytes * unit_bytes, blank);
    while (area.size() < area_bytes) {
        std::vector<uint8_t> entry;
        const auto full = [&] {
            const uint8_t id = 1 + below(3);
            if (id == 3) {
                entry.insert(entry.end(), {0xC3, 6, 0x8C, 0x48, below(256), 0, 0, 0, below(256), 1});
            } else {
                entry.insert(entry.end(), {static_cast<uint8_t>(0x80 + id), 2, below(256), 0});
            }
        };
        switch (below(9)) {
        case 0:
            entry = {3, below(4), 0};
            break;
        case 1:
            entry = {3, static_cast<uint8_t>(255 * below(2)), static_cast<uint8_t>(255 * below(2))};
            break;
        case 2:
            entry = {1, below(40), 0, below(3), static_cast<uint8_t>(below(2) << 7)};
            full();
            break;
        case 3:
            entry = {2, below(40), 0, below(3), static_cast<uint8_t>(below(2) << 7)};
            break;
        case 4:
            entry = {0x43, below(256), below(256), below(16)};
            break;
        case 5:
            entry.assign(unit_bytes, static_cast<uint8_t>(below(2) * 0xFF));
            break;
        case 6:
            entry = {0x80, below(80), 0, 1, below(256)};
            break;
        default:
            full();
        }
        entry.insert(entry.end(), code_bytes, 0);
        if (below(12) == 0) { entry[draw() % entry.size()] = below(256); }
        area.insert(area.end(), entry.begin(), entry.end());
        area.resize((area.size() + unit_bytes - 1) / unit_bytes * unit_bytes, blank);
    }
    input.insert(input.end(), area.begin(), area.end());
    return input;
}

TEST(DumpOfAnything, BytesThatAreMostlyValidEntries) {
    std::mt19937 draw(2);
    for (int i = 0; i < 4000; i++) { ASSERT_EQ(fuzz::try_decode(mostly_entries(draw)), "") << "input " << i; }
}

RC_GTEST_PROP(DumpOfAnything, HoldsTogether, (const std::vector<uint8_t>& bytes)) {
    RC_ASSERT(fuzz::try_decode(bytes).empty());
}

/// The inputs above reach every kind of entry, void and doubted ones too; else they would show little.
TEST(DumpOfAnything, ReachesEveryKindOfEntry) {
    std::mt19937 draw(2);
    std::set<std::string> seen;
    for (int i = 0; i < 4000; i++) {
        for (const std::string& kind : fuzz::kinds_met(mostly_entries(draw))) { seen.insert(kind); }
    }
    const std::set<std::string> all{"doubted", "full",  "lone restart", "mark",   "nothing", "pending",
                                    "restart", "short", "total",        "voided", "foreign"};
    EXPECT_EQ(seen, all);
}

} // namespace
} // namespace perdure
