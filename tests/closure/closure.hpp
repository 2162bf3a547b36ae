// The states that the smallest ring of one or two values can come to, and in each of them the power cut everywhere: no
// bound on how many puts, cuts and starts came before.
//
// That is possible because little of a ring's state grows without end, and what does makes no difference:
//  - Sequence numbers only ever count up. The check codes see them modulo `4 * blocks` here (by the port's hook), and
//    once all are above twice that, as much is taken off each stamp and off the store's RAM.
//  - Erase counts are only carried from stamp to stamp; they are set to 0.
//  - Values go round in a cycle of three, so that the last ones can be told from each other.
//  - States that differ only in what makes no difference are taken as one (closure_state.hpp), and the search goes on
//    from the first of them that it met. That is no theorem about the store, so it is checked: of the states that were
//    taken as another one, one in some is gone on from as well, and must lead to states that have been met.
// So the states are finite, and a search that meets nothing new has seen them all. Torn units and blocks are visible:
// what they read as after the cut they read as until they are programmed or erased (the weak ones are explorer.hpp's
// matter). Not here: totals, logs, saves at power failure, lazy starts, blocks that fail, ECC, entries longer than two
// units.
#pragma once

#include <cstdint>
#include <functional>
#include <string>

namespace perdure::tiny {

struct ClosureShape {
    uint32_t blocks = 2;
    uint32_t unit_bytes = 8;
    uint8_t blank = 0xFF;
    uint32_t records = 1;     ///< values of two bytes
    uint32_t cuts_in_row = 0; ///< starts one after another that may be cut, after an operation that was
    /// States, the first that are met, in which the area is formatted too, cut twice in a row.
    uint32_t formats_from = 0;
    bool every_tear = false; ///< else one torn state of a unit stands for all, and three of a block
    uint64_t states_max = 3'000'000;
};

struct ClosureResult {
    uint64_t states = 0;      ///< different ones, powered and not
    uint64_t runs = 0;        ///< of the store, cut and not
    uint64_t checked = 0;     ///< steps from states that were taken as another one
    uint64_t cut_formats = 0; ///< different areas that a format left when it was cut
    uint32_t block_units = 0;
    uint32_t steps = 0;  ///< actions, cuts and starts to the state that takes most of them
    bool closed = false; ///< nothing new was met any more
    std::string failure; ///< empty: none
};

/// Every 100,000 states, `told` hears what was done and how many states are still to be gone on from.
ClosureResult close_over(const ClosureShape& shape,
                         const std::function<void(const ClosureResult&, uint64_t open)>& told = {});

} // namespace perdure::tiny
