#include "physics/check_code.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace perdure {
namespace {

/// All error patterns of a short word, each divided by the polynomial.
std::vector<double> by_force(const CheckCode& code, uint32_t word_bits) {
    std::vector<double> out(word_bits + 1, 0);
    for (uint64_t pattern = 0; pattern < (uint64_t{1} << word_bits); ++pattern) {
        uint64_t rest = pattern;
        const uint64_t divisor = (uint64_t{1} << code.bits) | code.polynomial;
        for (uint32_t bit = word_bits; bit-- > code.bits;) {
            if ((rest >> bit & 1U) != 0) { rest ^= divisor << (bit - code.bits); }
        }
        if (rest == 0) { out[static_cast<size_t>(__builtin_popcountll(pattern))] += 1; }
    }
    return out;
}

TEST(CheckCode, CountsAreThoseOfEveryPattern) {
    for (const CheckCode code : {CheckCode{8, 0x31}, CheckCode{8, 0x2F}, CheckCode{16, 0x1021}}) {
        EXPECT_EQ(passing_patterns(code, 22, 22), by_force(code, 22)) << code.polynomial;
    }
}

TEST(CheckCode, CountsOfTheWidestAreThoseOfEveryChoiceOfBits) {
    const CheckCode code = store_check_code(32);
    for (const uint32_t bits : {40U, 64U, 120U}) {
        const auto counted = passing_patterns(code, bits, 4);
        double fours = 0;
        std::vector<uint32_t> x(bits);
        uint32_t power = 1;
        for (uint32_t& place : x) {
            place = power;
            power = (power << 1) ^ ((power >> 31) != 0 ? code.polynomial : 0);
        }
        double threes = 0;
        for (size_t a = 0; a < bits; ++a) {
            for (size_t b = a + 1; b < bits; ++b) {
                for (size_t c = b + 1; c < bits; ++c) {
                    threes += (x[a] ^ x[b] ^ x[c]) == 0;
                    for (size_t d = c + 1; d < bits; ++d) { fours += (x[a] ^ x[b] ^ x[c] ^ x[d]) == 0; }
                }
            }
        }
        EXPECT_EQ(counted[3], threes);
        EXPECT_EQ(counted[4], fours);
    }
}

TEST(CheckCode, UndetectedIsTheSumOverTheWeights) {
    const CheckCode code = store_check_code(16);
    const auto patterns = passing_patterns(code, 60, 60);
    for (const double p : {1e-6, 1e-3, 0.1, 0.5}) {
        double sum = 0;
        for (uint32_t w = 1; w <= 60; ++w) { sum += patterns[w] * std::pow(p, w) * std::pow(1 - p, 60 - w); }
        EXPECT_NEAR(undetected_chance(code, 60, p) / sum, 1, 1e-9) << p;
    }
}

TEST(CheckCode, TheWidestIsBoundedFromAbove) {
    // With half the bits wrong, what passes is 2^-32 of all; the bound says far more, and never less.
    EXPECT_GE(undetected_chance(store_check_code(32), 200, 0.5), chance_match(32));
    EXPECT_LT(undetected_chance(store_check_code(32), 200, 1e-6), undetected_chance(store_check_code(16), 200, 1e-6));
    EXPECT_EQ(undetected_chance(store_check_code(32), 200, 0), 0);
}

TEST(CheckCode, MoreFlipsThanBitsCannotBe) {
    EXPECT_EQ(more_flips_chance(8, 8, 0.5), 0);
    EXPECT_NEAR(more_flips_chance(8, 7, 0.5), std::exp2(-8), 1e-15);
}

} // namespace
} // namespace perdure
