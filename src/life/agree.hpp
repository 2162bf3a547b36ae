// The life run held against the budget: the same question answered by formula and by the real store.
#pragma once

#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "budget/demand.hpp"
#include "budget/latency.hpp"
#include "budget/wear.hpp"
#include "life/life.hpp"

namespace perdure {

/// How far formula and run may lie apart before the program says so.
constexpr double agreement_limit = 0.005;

struct Agreement {
    double predicted = 0;     ///< erases of a block by the budget's figures, on the saves as drawn, formatting included
    double observed = 0;      ///< mean erases of a block in the run
    double predicted_max = 0; ///< the same of the most worn block
    double observed_max = 0;
    double difference = 0; ///< |predicted - observed| / observed
    /// agreement_limit; one erase in so few that this is more; or what chance may do where starts erase blocks again
    /// (three standard deviations).
    double allowed = 0;
    [[nodiscard]] bool worst_agrees() const { return observed_max <= predicted_max * (1 + allowed) + 1; }
    [[nodiscard]] bool agrees() const { return difference <= allowed && worst_agrees(); }
    /// The run spent no more than the budget says. One that spends less does not agree, but breaks nothing.
    [[nodiscard]] bool within() const { return (observed <= predicted || difference <= allowed) && worst_agrees(); }
};

/// `result` as run (not extended), under `demand` and `options`.
Agreement agree(const AreaLayout& layout, const LifeDemand& demand, const LifeOptions& options,
                const LifeResult& result);

/// The longest call of one kind in the run, programming and erasing alone, against the budget's bound of it and against
/// what the project file asks.
struct StallCheck {
    std::string call; ///< "put", "open", "put with service owed since a start"
    double run_ms = 0;
    std::optional<double> budget_ms; ///< absent: the part's times are not known, and the run's 0 says nothing
    std::optional<double> asked_ms;
    [[nodiscard]] bool agrees() const { return !budget_ms || run_ms <= *budget_ms * (1 + 1e-9); }
    [[nodiscard]] bool meets() const { return !asked_ms || (budget_ms && run_ms <= *asked_ms * (1 + 1e-9)); }
    [[nodiscard]] bool holds() const { return agrees() && meets(); }
};

/// Puts, with service called or not as `options` had it, and opens. `latency`: of the budget's area. The run calls
/// service after saves alone; a longer put that comes before
/// all is done again that a start made due is one without service.
std::vector<StallCheck> compare_stalls(const std::optional<Latency>& latency, const Requirements& asked,
                                       const LifeOptions& options, const LifeResult& result);

/// One count of the budget's demand against the run's.
struct DemandCount {
    std::string name;
    double budgeted = 0; ///< over the time that was run
    double run = 0;
    double allowed = 0; ///< two, and for what comes by chance five standard deviations of a Poisson count
    [[nodiscard]] bool agrees() const { return std::abs(budgeted - run) <= allowed; }
};

/// The starts, each record's saves and the bytes saved, as `demand` (demand_of the project) has them, against the run
/// of these records. `agree` takes its traffic from the run; this says that the budget reckons with the same.
std::vector<DemandCount> compare_demand(const Demand& demand, const std::vector<const Record*>& records,
                                        const LifeResult& result);

} // namespace perdure
