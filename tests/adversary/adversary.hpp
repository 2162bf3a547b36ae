// A random adversary of the store: puts, idle work, formats and starts, with the power cut anywhere and every weak unit
// read at its worst, against a model that knows which values were acknowledged and which one was in flight.
//
// A run is a pure function of its number, its family and the options; a failure names them, and the line that plays it
// again. What is covered, and what is not, is said in README.md beside this file.
#pragma once

#include "drawn_case.hpp"

#include <cstdint>
#include <optional>
#include <string>

namespace perdure::adversary {

struct Options {
    uint32_t starts = 60;              ///< completed starts in a run
    unsigned check_code = 0;           ///< 0: the store's own; others see check_code.hpp
    uint32_t formats_cut_in_a_row = 3; ///< after as many, one is left to finish
    bool trace = false;                ///< print every operation
};

struct Counts {
    uint64_t runs = 0;
    uint64_t starts = 0; ///< calls of open after a cut, those that were cut themselves included
    uint64_t nested = 0; ///< of them, cut
    uint64_t puts = 0;
    uint64_t cut_puts = 0;
    uint64_t cut_services = 0;
    uint64_t cut_formats = 0;
    uint64_t backward = 0;  ///< totals that were asked to go backward
    uint64_t read_only = 0; ///< read-only opens
    uint64_t set_aside = 0; ///< runs in which the failing block was set aside
    uint64_t over_weak = 0; ///< units, other than pads, programmed over weak units that read blank
    uint64_t pads_over = 0; ///< pads programmed over units that were not erased
    uint64_t erases = 0;
    uint64_t programs = 0;
    uint64_t chance = 0; ///< runs lost to a chance match of a narrow check code: gone under every other code

    Counts& operator+=(const Counts& more);
};

struct Failure {
    Family family = Family::basic;
    uint64_t run = 0;
    uint64_t start = 0;  ///< after how many starts of the run
    bool chance = false; ///< gone under other check codes
    std::string wrong;   ///< what went wrong
    std::string what;    ///< what went wrong, the configuration, and the line that plays it again
};

struct Outcome {
    Counts counts;
    std::optional<Failure> failure;
};

/// Plays run `run` of `family`. With check codes of 8 and 16 bits a failure is played again under the other codes of
/// check_code.hpp: a fault of the store is there under most of them, a chance match of the check code is gone under
/// most, and only counted.
Outcome play(Family family, uint64_t run, const Options& options);

/// Plays runs `first` to `first + count - 1`; stops at the first failure.
Outcome play_many(Family family, uint64_t first, uint64_t count, const Options& options);

} // namespace perdure::adversary
