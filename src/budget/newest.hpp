// Which record a start finds newest, and so puts again. Pure chances, no units.
#pragma once

#include <vector>

#include "budget/wear.hpp"

namespace perdure {

/// Chances over all starts of an area under some traffic.
struct Newest {
    std::vector<double> saved;       ///< by record: that its save was the last before the start; they sum to 1
    double starts_before_a_save = 0; ///< mean number of starts after a save before the next save
    double none_between = 0;         ///< chance of no save between two starts in a row, those at starts left out
    double one_between = 0;          ///< and of exactly one
};

/// By numerical integration over the time since the last save: random saves survive exp(-rate t), even ones of unknown
/// phase 1 - t / period, those at starts until the start before. Without any saves all records count alike.
/// `coarse` takes a quarter of the steps.
Newest newest_at_starts(const Traffic& traffic, Precision precision = Precision::fine);

/// Chance that no start falls into a span of `starts` mean distances, one start at a random time in each.
double no_start_within(double starts);

} // namespace perdure
