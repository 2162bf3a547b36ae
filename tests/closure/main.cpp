// The closure from the command line, to go deeper than the tests have time for: perdure_closure --help.
#include <cstdio>
#include <ctime>
#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "tests/closure/closure.hpp"

using namespace perdure::tiny;

int main(int argc, char** argv) {
    ClosureShape shape;
    shape.states_max = 100'000'000;
    CLI::App app{"Every state that the smallest ring can come to, by any number of puts, calls of service, starts and "
                 "cuts; tests/closure/closure.hpp says what counts as one state."};
    app.add_option("--blocks", shape.blocks, "of the ring")->check(CLI::Range(2, 3))->capture_default_str();
    app.add_option("--unit", shape.unit_bytes, "bytes")->check(CLI::IsMember({8, 16, 32}))->capture_default_str();
    app.add_option("--values", shape.records, "of two bytes each")->check(CLI::Range(1, 2))->capture_default_str();
    app.add_option("--cuts", shape.cuts_in_row, "starts in a row that are cut, after an operation that was")
        ->check(CLI::Range(0, 3))
        ->capture_default_str();
    app.add_option("--formats", shape.formats_from, "states in which the area is formatted too")->capture_default_str();
    app.add_flag("--every-tear", shape.every_tear, "each torn state of a unit for itself");
    app.add_option("--states", shape.states_max, "to give up after; each takes some 400 bytes of memory")
        ->capture_default_str();
    CLI11_PARSE(app, argc, argv);

    const auto minutes = [] { return double(std::clock()) / CLOCKS_PER_SEC / 60; };
    const auto line = [&](const ClosureResult& result, uint64_t open) {
        return fmt::format("{} states, {} runs of the store, {} states to go on from, {:.1f} min", result.states,
                           result.runs, open, minutes());
    };
    const ClosureResult result = close_over(
        shape, [&](const ClosureResult& so_far, uint64_t open) { fmt::print(stderr, "{}\n", line(so_far, open)); });
    if (!result.failure.empty()) {
        fmt::print("FAILS: {}\n", result.failure);
        return 1;
    }
    if (!result.closed) {
        fmt::print("not closed: {} states met, {} runs of the store, {:.1f} min\n", result.states, result.runs,
                   minutes());
        return 3;
    }
    fmt::print("closed: {} states, {} runs of the store, the furthest {} steps away; {} steps from states taken as "
               "another one led to none that is new; {:.1f} min of the processor\n",
               result.states, result.runs, result.steps, result.checked, minutes());
    return 0;
}
