// What happens to a product, in time: its saves and its starts.
#pragma once

#include <cstdint>
#include <vector>

#include "life/life.hpp"
#include "life/random.hpp"

namespace perdure {

/// One save of a record, or a start.
struct Happening {
    double at_s = 0; ///< since the first day; infinite: nothing happens any more
    uint16_t record = 0;
    bool start = false;
};

/// All that LifeDemand asks for, as one sequence in time. Saves that come even are multiples of their period; starts
/// come one in each period, at a random time in it; the others are Poisson.
class Happenings {
public:
    Happenings(const LifeDemand& demand, Random& random);
    Happening next();

private:
    enum class Kind : uint8_t { periodic, random, start };
    struct Stream {
        double next_s = 0;
        double period_s = 0; ///< even period, or mean distance of random ones
        uint64_t count = 0;
        uint16_t record = 0;
        Kind kind = Kind::periodic;
    };

    Random& random_;
    std::vector<Stream> streams_;
};

} // namespace perdure
