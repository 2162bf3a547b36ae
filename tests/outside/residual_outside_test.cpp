// What check codes and ECC let through, against published Hamming distances, weights and code sizes.
#include <cmath>

#include <gtest/gtest.h>

#include "physics/check_code.hpp"

namespace perdure {
namespace {

/// P. Koopman's notation drops the lowest term instead of the top one.
CheckCode koopman(uint32_t bits, uint64_t notation) {
    return {bits, static_cast<uint32_t>((notation << 1 | 1) & ((uint64_t{1} << bits) - 1))};
}

// P. Koopman, users.ece.cmu.edu/~koopman/crc: the longest data word, in bits, at each Hamming distance from 3 on. Read
// in his tables hd3.html to hd6.html and notes.html; the rows of 0x97 and 0x8810 are from memory.
TEST(OutsideResidual, HammingDistancesByLength) {
    struct Row {
        uint32_t bits;
        uint32_t notation;
        std::vector<uint32_t> longest; ///< for distance 3, 4, ...
    };
    const Row rows[] = {{8, 0xA6, {247, 15, 6}},
                        {8, 0xE7, {247, 19, 1, 1, 1}},
                        {8, 0x97, {119, 119, 3, 3}},
                        {8, 0x83, {119, 119}},
                        {8, 0x9B, {118, 118, 4, 4}},
                        {8, 0xEB, {9, 9, 9, 2, 1}},
                        {8, 0xEA, {85, 85, 2, 2}},
                        {16, 0x8810, {32751, 32751}}, // the store's 16 bits
                        {16, 0xAC9A, {241, 241, 241, 35, 10, 8}},
                        {16, 0x9EB2, {135, 135, 135, 135, 6, 6}},
                        {16, 0xD175, {32751, 32751, 93, 93, 11, 11}}};
    for (const Row& row : rows) {
        const CheckCode code = koopman(row.bits, row.notation);
        for (size_t i = 0; i < row.longest.size(); ++i) {
            const auto distance = static_cast<uint32_t>(i) + 3;
            const uint32_t longest = row.longest[i] + row.bits;
            EXPECT_EQ(hamming_distance(code, longest, distance - 1), 0U) << std::hex << row.notation << ' ' << distance;
            if (i + 1 < row.longest.size() && row.longest[i + 1] == row.longest[i]) { continue; }
            const uint32_t found = hamming_distance(code, longest + 1, distance);
            EXPECT_TRUE(found > 0 && found <= distance) << std::hex << row.notation << ' ' << distance;
        }
    }
}

// Koopman, "32-bit cyclic redundancy codes for internet applications", 2002 (from memory, and computed apart): with the
// IEEE polynomial, which the store's 32 bits use, the distance is 5 up to 2974 data bits; one pattern of 4 at 2975, and
// 223,059 at 12,112.
TEST(OutsideResidual, WeightsOfTheThirtyTwoBitCode) {
    const CheckCode code = store_check_code(32);
    EXPECT_EQ(passing_patterns(code, 2974 + 32, 4)[4], 0);
    EXPECT_EQ(passing_patterns(code, 2975 + 32, 4)[4], 1);
    EXPECT_EQ(passing_patterns(code, 12'112 + 32, 4)[4], 223'059);
    // Distance 6 up to 268 data bits, so 5 at 269 (from memory).
    EXPECT_EQ(passing_patterns(code, 268 + 32, 5)[5], 0);
    EXPECT_GT(passing_patterns(code, 269 + 32, 5)[5], 0);
}

// The code 07h is the extended Hamming code at its full length: W4 = 127 x 126 x 124 / 24 (textbook). The other weights
// and the spectrum were computed apart from this program.
TEST(OutsideResidual, WeightsOfNarrowCodes) {
    EXPECT_EQ(passing_patterns({8, 0x07}, 127, 4)[4], 127.0 * 126 * 124 / 24);
    EXPECT_EQ(passing_patterns({8, 0x07}, 40, 4)[4], 727);
    EXPECT_EQ(passing_patterns({8, 0x2F}, 72, 4)[4], 8210);
    EXPECT_EQ(passing_patterns({16, 0x1021}, 80, 4)[4], 162);
    EXPECT_EQ(passing_patterns({16, 0x1021}, 1040, 4)[4], 1'494'140);
    const auto all = passing_patterns({8, 0x07}, 24, 24);
    const std::pair<size_t, double> spectrum[] = {{4, 80},     {6, 1054},  {8, 5786},  {10, 15220}, {12, 21224},
                                                  {14, 15296}, {16, 5725}, {18, 1068}, {20, 80},    {22, 2}};
    for (const auto& [weight, count] : spectrum) { EXPECT_EQ(all[weight], count) << weight; }
    EXPECT_NEAR(undetected_chance({8, 0x07}, 24, 1e-2), 6.552056e-7, 1e-13);
    EXPECT_NEAR(undetected_chance({8, 0x07}, 24, 1e-4), 7.984016e-15, 1e-21);
    EXPECT_NEAR(undetected_chance({8, 0x07}, 24, 0.5), 65535.0 / (1 << 24), 1e-12);
}

// Parameters of SEC-DED codes (R. Hamming 1950, M. Hsiao 1970; from memory): (13,8) (22,16) (39,32) (72,64) (137,128).
TEST(OutsideResidual, SecdedSizes) {
    const std::pair<uint32_t, uint32_t> codes[] = {{13, 8}, {22, 16}, {39, 32}, {72, 64}, {137, 128}};
    for (const auto& [word, data] : codes) { EXPECT_EQ(secded_check_bits(data), word - data); }
}

// No published example was found; the exact binomial tails were computed apart from this program.
TEST(OutsideResidual, SecdedResiduals) {
    const double table[][4] = {{39, 1e-3, 7.229664662e-4, 8.8957e-6},  {39, 1e-6, 7.409817222e-10, 9.1388e-15},
                               {72, 1e-3, 2.439751176e-3, 5.6636e-5},  {72, 1e-4, 2.544102808e-5, 5.9332e-8},
                               {72, 1e-6, 2.555880723e-9, 5.9637e-14}, {72, 1e-9, 2.555999881e-15, 5.9640e-23}};
    for (const auto& [bits, p, two, three] : table) {
        EXPECT_NEAR(more_flips_chance(static_cast<uint32_t>(bits), 1, p) / two, 1, 1e-9) << bits << ' ' << p;
        EXPECT_NEAR(more_flips_chance(static_cast<uint32_t>(bits), 2, p) / three, 1, 1e-4) << bits << ' ' << p;
    }
}

} // namespace
} // namespace perdure
