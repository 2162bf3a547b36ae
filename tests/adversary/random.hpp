// The adversary's only source of chance: a small generator whose whole state is one number, so that a run can be
// replayed.
#pragma once

#include <cstdint>

namespace perdure::adversary {

/// Shift-register generator (13, 7, 17 and a final multiplication, from memory; nothing rests on its quality but
/// variety).
struct Random {
    uint64_t state = 1;

    /// A generator for run `number`; neighbouring numbers give unrelated streams.
    static Random of_run(uint64_t number) {
        Random random{number * 0x9E3779B97F4A7C15u + 1u};
        for (int i = 0; i < 8; i++) { random.next(); }
        return random;
    }

    uint64_t next() {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        return (state * 0x2545F4914F6CDD1Du) >> 16;
    }

    /// 0 to `count` - 1.
    uint32_t below(uint32_t count) { return static_cast<uint32_t>(next() % count); }
    /// `from` to `to`, both included.
    uint32_t between(uint32_t from, uint32_t to) { return from + below(to - from + 1u); }
    /// True once in `count` calls on average.
    bool one_in(uint32_t count) { return below(count) == 0; }
};

} // namespace perdure::adversary
