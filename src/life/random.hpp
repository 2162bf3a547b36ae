// What chance decides in a life that is run: the same seed gives the same life, on every machine.
#pragma once

#include <cmath>
#include <cstdint>

namespace perdure {

/// xorshift64*: fast, and the same everywhere.
class Random {
public:
    explicit Random(uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15U + 0x1234567U) {}
    uint64_t next() {
        state_ ^= state_ >> 12;
        state_ ^= state_ << 25;
        state_ ^= state_ >> 27;
        return state_ * 0x2545F4914F6CDD1DU;
    }
    /// 0 to below, by multiplication.
    uint64_t below(uint64_t limit) {
        return static_cast<uint64_t>((__extension__ static_cast<unsigned __int128>(next()) * limit) >> 64);
    }
    /// Between 0 and 1, neither included.
    double share() { return (double(next() >> 11) + 0.5) * 0x1p-53; }
    double exponential(double mean) { return -mean * std::log(share()); }

private:
    uint64_t state_;
};

} // namespace perdure
