// What the store takes on each target, from the measured table in store/SIZE.md, and what a plan takes with it.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "firmware/plan.hpp"

namespace perdure {

/// What store/SIZE.md says of one target.
struct TargetSize {
    std::string target;                            ///< "Cortex-M0+, gcc 12.2.1"
    uint32_t code_bytes = 0;                       ///< of store.c with all features
    uint32_t leanest_bytes = 0;                    ///< with every feature left out
    std::string largest_frame;                     ///< "352 (scan)"
    uint32_t state_bytes = 0;                      ///< sizeof(perdure_store)
    std::map<std::string, uint32_t> feature_bytes; ///< macro -> code that setting it to 0 saves
    std::map<std::string, uint32_t> stack_bytes;   ///< public call -> its deepest stack
};

/// The targets of the tables in this text; lines that are no rows of them are passed over.
std::vector<TargetSize> read_size_table(std::string_view text);

/// The same of the SIZE.md that this program carries.
std::vector<TargetSize> store_sizes();

/// RAM of the emitted data.c on that target: the stores, what they work on, one record on its way. Up to 3 bytes an
/// area of padding come on top, and on AVR the constants too, which gcc keeps in RAM there.
uint32_t ram_bytes(const FirmwarePlan& plan, const TargetSize& target);

/// Code of store.c as the emitted perdure_features.h has it built there.
uint32_t store_code_bytes(const FirmwarePlan& plan, const TargetSize& target);

/// The deepest stack of the calls that the emitted code makes, without what the port and interrupts take.
uint32_t stack_bytes(const FirmwarePlan& plan, const TargetSize& target);

} // namespace perdure
