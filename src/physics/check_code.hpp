// What check codes and ECC let through: weights of the error patterns that pass, and the chances that follow.
// A code word is data and check code together; `word_bits` counts both. A pattern of flipped bits passes unseen when it
// is itself a code word, whatever the code's initial value.
#pragma once

#include <cstdint>
#include <vector>

namespace perdure {

/// A check code by its polynomial, without the top term: 0x1021 with 16 bits. 8 to 32 bits, the lowest bit set.
struct CheckCode {
    uint32_t bits = 16;
    uint32_t polynomial = 0x1021;
};

/// The store's code of this width (store/format.md, section 2): 8, 16, 24 or 32 bits.
CheckCode store_check_code(uint32_t bits);

/// How many patterns of 0, 1, 2, ... `weight_max` flipped bits in a word pass unseen: exact counts, as floating point.
/// Up to 24 bits any weight and length (through the weights of the dual code); above, counted one by one, so that
/// weights above 5 are refused (assert) and 5 takes of the order of word_bits^3 / 6 steps.
std::vector<double> passing_patterns(const CheckCode& code, uint32_t word_bits, uint32_t weight_max);

/// The fewest flipped bits that pass unseen in a word of this length; 0 when more than `most` are needed. Above 24 bits
/// `most` is 5 at the most.
uint32_t hamming_distance(const CheckCode& code, uint32_t word_bits, uint32_t most);

/// The chance that each of the word's bits flips by itself with chance `bit_chance` (0..1) and the word still passes.
/// Up to 24 bits exact. Above, an upper bound: patterns of up to 5 bits (3 in words above 512 bits) as counted, all
/// others as if they passed.
double undetected_chance(const CheckCode& code, uint32_t word_bits, double bit_chance);

/// The chance that a word's content that has nothing to do with its check code passes: 2^-bits.
double chance_match(uint32_t check_bits);

/// The chance that more than `flips` of `word_bits` bits flip. ECC that corrects one bit and detects two (SEC-DED)
/// loses the word when more than one flips, and may hand out wrong bytes in silence when more than two do.
double more_flips_chance(uint32_t word_bits, uint32_t flips, double bit_chance);

/// Check bits of SEC-DED over so many data bits: the least r with 2^(r-1) >= data + r (Hamming 1950, Hsiao 1970, from
/// memory).
uint32_t secded_check_bits(uint32_t data_bits);

} // namespace perdure
