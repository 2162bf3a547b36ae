// How much code the emitted data.c comes to, before it is compiled.
#pragma once

#include <cstdint>

#include "firmware/plan.hpp"

namespace perdure {

/// Code and constants of data.c on a Cortex-M0+ with -Os, in bytes: a sum of what each area, record and field adds. The
/// summands were measured with gcc 12.2 on projects that differ by one of them; on the examples the sum is within
/// 10 % of what that compiler makes (tests/firmware/target_test.cpp).
uint32_t data_code_bytes(const FirmwarePlan& plan);

} // namespace perdure
