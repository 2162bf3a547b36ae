// The life run held against the budget: the same question answered by formula and by the real store.
#pragma once

#include "budget/wear.hpp"
#include "life/life.hpp"

namespace perdure {

/// How far formula and run may lie apart before the program says so.
constexpr double agreement_limit = 0.005;

struct Agreement {
    double predicted =
        0; ///< erases of a block by the budget's formula, on the saves as they were drawn, formatting included
    double observed = 0;   ///< mean erases of a block in the run
    double difference = 0; ///< |predicted - observed| / observed
    double allowed = 0;    ///< agreement_limit, or one erase in so few that this is more
    [[nodiscard]] bool agrees() const { return difference <= allowed; }
};

/// `result` as run (not extended), under `demand` and `options`.
Agreement agree(const AreaLayout& layout, const LifeDemand& demand, const LifeOptions& options,
                const LifeResult& result);

} // namespace perdure
