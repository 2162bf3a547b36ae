// How often everything is written over the product's life, before flash comes into it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "project/project.hpp"

namespace perdure {

/// Saves over life for one reason to save. `nominal` is the mean of an ordinary product; `sizing` is what the area is
/// sized for: the heavy user's mean, and for events with a confidence the Poisson quantile of the whole life's count.
/// Of a log, entries: samples by the batch.
struct PolicyDemand {
    SaveWhen when = SaveWhen::periodic;
    double nominal_saves = 0;
    double sizing_saves = 0;
    double changed_share = 1;
    std::string formula; ///< how the sizing figure was reached
    Place place;
};

struct RecordDemand {
    uint16_t id = 0;
    std::string name;
    std::vector<PolicyDemand> policies;
    double nominal_saves = 0;
    double sizing_saves = 0;
};

struct Demand {
    double life_s = 0;
    double starts = 0;                 ///< over life, those after dips of the supply included
    std::vector<RecordDemand> records; ///< in the project's order
};

/// The smallest count that a Poisson variable of this mean does not exceed with probability `confidence` (0..1,
/// exclusive). A mean of 0 gives 0.
double poisson_count(double mean, double confidence);

/// Saves a second that wait until `settle_s` after the last of changes that come at random, `per_s` of them: one for
/// each pause that is longer, per_s exp(-per_s settle_s). With `latest_s`, at most: those besides that come so long
/// after the first change, and no more than one in each pause and its wait, per_s / (1 + per_s settle_s).
double settled_per_s(double per_s, double settle_s, std::optional<double> latest_s);

Demand demand_of(const Project& project);

/// What a record saved more rarely asks of its short entries: a total grows `factor` times as much between two saves,
/// no further than its fields hold. Below 1 nothing is narrowed: a burst stays as steep as it was.
void widen_movement(Record& record, double factor);

} // namespace perdure
