// Where each area lies in flash.
#pragma once

#include <optional>
#include <vector>

#include <tl/expected.hpp>

#include "project/layout.hpp"
#include "project/project.hpp"

namespace perdure {

struct AreaPlace {
    uint64_t offset = 0;             ///< bytes from the start of flash
    std::optional<uint64_t> address; ///< absent where the project does not say where flash starts
};

/// The place of each of the project's areas, which take `bytes` each. Areas without a start are put at the top of the
/// run of equal blocks that best_run names, the first of them topmost, below or between those that have one. Refused
/// when they do not fit. `flash_start`: used where the project does not say.
tl::expected<std::vector<AreaPlace>, Refusal> place_areas(const Project& project, const std::vector<uint64_t>& bytes,
                                                          std::optional<uint64_t> flash_start = std::nullopt);

} // namespace perdure
