#include "physics/check_code.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

#include <absl/container/flat_hash_map.h>
#include <boost/math/distributions/binomial.hpp>
#include <boost/multiprecision/cpp_bin_float.hpp>
#include <boost/multiprecision/cpp_int.hpp>

namespace perdure {

namespace {

using boost::multiprecision::cpp_int;
using Wide = boost::multiprecision::cpp_bin_float_100; // the sum below cancels to far less than a double holds

constexpr uint32_t exact_bits_max = 24; // of the check code: all states of the dual code are walked
constexpr uint32_t counted_weight_max = 5;
constexpr uint32_t counted_word_max = 512; // longer words: weights of up to 3 are counted
constexpr uint32_t counted_weight_long = 3;

/// The check code's register after one more bit of zero.
uint32_t step(const CheckCode& code, uint32_t state) {
    const uint32_t top = 1U << (code.bits - 1);
    const uint32_t mask = code.bits == 32 ? ~0U : (1U << code.bits) - 1;
    return ((state << 1) ^ ((state & top) != 0 ? code.polynomial : 0)) & mask;
}

/// Weights of the dual code: how many of its 2^bits words of this length have each weight. A word is what one
/// functional of the register says along x^0, x^1, ...; all functionals are the windows of the sequences that the
/// register's steps give backwards, so the weight of each follows from its neighbour's by one bit in and one out.
std::vector<uint64_t> dual_weights(const CheckCode& code, uint32_t word_bits) {
    const uint32_t states = 1U << code.bits;
    // The functional f is a mask; f after one step of the register is the transposed step of f.
    const auto parity = [](uint32_t value) { return static_cast<uint32_t>(__builtin_parity(value)); };
    const auto next = [&](uint32_t f) { return (f >> 1) | (parity(f & code.polynomial) << (code.bits - 1)); };
    // f(step(s)): bit i of s moves to i + 1, the top one adds the polynomial. So the transposed step shifts f down and
    // puts f(polynomial) on top. Position j of f's word is f(x^j); x^0 is bit 0.
    std::vector<bool> seen(states, false);
    std::vector<uint64_t> out(size_t{word_bits} + 1, 0);
    for (uint32_t start = 0; start < states; ++start) {
        if (seen[start]) { continue; }
        uint32_t ahead = start, weight = 0;
        for (uint32_t j = 0; j < word_bits; ++j, ahead = next(ahead)) { weight += ahead & 1U; }
        for (uint32_t f = start; !seen[f]; f = next(f), ahead = next(ahead)) {
            seen[f] = true;
            ++out[weight];
            weight = weight - (f & 1U) + (ahead & 1U);
        }
    }
    return out;
}

/// MacWilliams: weights of the code from those of its dual, through Krawtchouk polynomials
/// K_w(i) = sum_j (-1)^j C(i, j) C(n - i, w - j), by their recursion in w:
/// (w + 1) K_{w+1}(i) = (n - 2i) K_w(i) - (n - w + 1) K_{w-1}(i).
std::vector<double> by_dual(const CheckCode& code, uint32_t word_bits, uint32_t weight_max) {
    const std::vector<uint64_t> dual = dual_weights(code, word_bits);
    std::vector<cpp_int> sums(size_t{weight_max} + 1, 0);
    for (uint32_t i = 0; i <= word_bits; ++i) {
        if (dual[i] == 0) { continue; }
        cpp_int before = 0, here = 1;
        for (uint32_t w = 0; w <= weight_max; ++w) {
            sums[w] += here * dual[i];
            const cpp_int after =
                ((cpp_int(word_bits) - 2 * cpp_int(i)) * here - (cpp_int(word_bits) - w + 1) * before) / (w + 1);
            before = here;
            here = after;
        }
    }
    std::vector<double> out;
    for (const cpp_int& sum : sums) { out.push_back((sum >> code.bits).convert_to<double>()); }
    return out;
}

/// x^0, x^1, ... modulo the polynomial, and where each stands first.
struct Powers {
    std::vector<uint32_t> at;
    absl::flat_hash_map<uint32_t, uint32_t> first;
    Powers(const CheckCode& code, uint32_t word_bits) {
        uint32_t power = 1;
        for (uint32_t i = 0; i < word_bits; ++i, power = step(code, power)) {
            at.push_back(power);
            first.emplace(power, i);
        }
    }
    /// 1 when the power of this value stands above `low` and below `high`.
    [[nodiscard]] double between(uint32_t value, uint32_t low, uint32_t high) const {
        const auto found = first.find(value);
        return found != first.end() && found->second > low && found->second < high ? 1 : 0;
    }
};

/// Patterns of this weight whose lowest bit is 0 and whose highest is `high`: the middle ones are chosen but for the
/// last, which is looked up. The powers must differ from each other.
double spanning(const Powers& powers, uint32_t weight, uint32_t high) {
    const std::vector<uint32_t>& x = powers.at;
    const uint32_t ends = x[0] ^ x[high];
    double out = 0;
    if (weight == 3) { return powers.between(ends, 0, high); }
    for (uint32_t i = 1; i + 1 < high; ++i) {
        if (weight == 4) {
            out += powers.between(ends ^ x[i], i, high);
            continue;
        }
        for (uint32_t j = i + 1; j + 1 < high; ++j) { out += powers.between(ends ^ x[i] ^ x[j], j, high); }
    }
    return out;
}

/// Counted one by one: each pattern is one that begins at bit 0, moved up; so those that span `high` count once for
/// each place they fit in.
std::vector<double> by_counting(const CheckCode& code, uint32_t word_bits, uint32_t weight_max) {
    assert(weight_max <= counted_weight_max);
    const Powers powers(code, word_bits);
    assert(powers.first.size() == word_bits && "longer than the code's order: weight 2 passes");
    std::vector<double> out(size_t{weight_max} + 1, 0);
    out[0] = 1;
    for (uint32_t weight = 3; weight <= weight_max; ++weight) {
        for (uint32_t high = weight - 1; high < word_bits; ++high) {
            out[weight] += spanning(powers, weight, high) * (word_bits - high);
        }
    }
    return out;
}

} // namespace

CheckCode store_check_code(uint32_t bits) {
    switch (bits) {
    case 8:
        return {8, 0x31};
    case 24:
        return {24, 0x864CFB};
    case 32:
        return {32, 0x04C11DB7};
    default:
        assert(bits == 16);
        return {16, 0x1021};
    }
}

std::vector<double> passing_patterns(const CheckCode& code, uint32_t word_bits, uint32_t weight_max) {
    weight_max = std::min(weight_max, word_bits);
    return code.bits <= exact_bits_max ? by_dual(code, word_bits, weight_max)
                                       : by_counting(code, word_bits, weight_max);
}

uint32_t hamming_distance(const CheckCode& code, uint32_t word_bits, uint32_t most) {
    const std::vector<double> patterns = passing_patterns(code, word_bits, most);
    for (uint32_t weight = 1; weight < patterns.size(); ++weight) {
        if (patterns[weight] > 0) { return weight; }
    }
    return 0;
}

double undetected_chance(const CheckCode& code, uint32_t word_bits, double bit_chance) {
    if (bit_chance <= 0 || word_bits == 0) { return 0; }
    if (code.bits <= exact_bits_max) {
        // 2^-bits sum_i B_i (1 - 2p)^i - (1 - p)^n, B being the dual's weights.
        const std::vector<uint64_t> dual = dual_weights(code, word_bits);
        const Wide p = bit_chance;
        Wide sum = 0, power = 1;
        for (uint32_t i = 0; i <= word_bits; ++i, power *= 1 - 2 * p) { sum += power * dual[i]; }
        const Wide none = boost::multiprecision::pow(1 - p, word_bits);
        return std::max(0.0, Wide(sum / (uint64_t{1} << code.bits) - none).convert_to<double>());
    }
    const uint32_t counted = word_bits <= counted_word_max ? counted_weight_max : counted_weight_long;
    const std::vector<double> patterns = passing_patterns(code, word_bits, counted);
    double out = more_flips_chance(word_bits, counted, bit_chance);
    for (uint32_t w = 1; w < patterns.size(); ++w) {
        out += patterns[w] * std::pow(bit_chance, w) * std::pow(1 - bit_chance, word_bits - w);
    }
    return out;
}

double chance_match(uint32_t check_bits) {
    return std::exp2(-double(check_bits));
}

double more_flips_chance(uint32_t word_bits, uint32_t flips, double bit_chance) {
    if (flips >= word_bits || bit_chance <= 0) { return 0; }
    const boost::math::binomial_distribution<double> flipped(word_bits, bit_chance);
    return boost::math::cdf(boost::math::complement(flipped, double(flips)));
}

uint32_t secded_check_bits(uint32_t data_bits) {
    uint32_t r = 2;
    while ((uint64_t{1} << (r - 1)) < uint64_t{data_bits} + r) { ++r; }
    return r;
}

} // namespace perdure
