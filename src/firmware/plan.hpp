// What a project's firmware is made of, in numbers: where each area lies, what RAM it takes. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "budget/findings.hpp"
#include "project/diagnostic.hpp"

namespace perdure {

/// How often the firmware has to call `service`, and what its calls take at most, as budgeted.
struct ServiceNeed {
    bool helps = false;     ///< three ring blocks or more: blocks can be emptied ahead of the saves
    double every_s = 0;     ///< one call each so often keeps ahead of the mean traffic; infinite without saves
    double put_ms = 0;      ///< a save with service called so
    double put_late_ms = 0; ///< a save that has to empty a block by itself
    double step_ms = 0;     ///< one call of service
    double open_ms = 0;     ///< after a cut in the middle of emptying a block
};

struct PlannedArea {
    std::string name;
    uint64_t offset_bytes = 0; ///< from the start of the part's flash
    bool placed_by_us = false; ///< the project file gives no start
    AreaLayout layout;
    std::vector<const Record*> records; ///< the layout's, in its order
    std::optional<size_t> urgent;       ///< place of the record that is saved when the supply fails
    uint32_t urgent_bytes = 0;          ///< RAM for that record on its way
    uint32_t totals_bytes = 0;          ///< RAM for the totals' current values and where logs stand
    uint32_t waiting_bytes = 0;         ///< RAM for samples that wait for a batch, their count too
    uint32_t ram_bytes = 0;             ///< RAM beside perdure_store, without padding
    uint32_t erases_allowed = 0;        ///< of each block: endurance x spend limit / margin
    double units_a_day = 0;             ///< programmed, as budgeted: saves, copies, starts, marks
    std::optional<ServiceNeed> service; ///< absent where the part's times are not known
    Place place;                        ///< of [area.NAME]

    [[nodiscard]] uint64_t bytes() const { return layout.geometry.area_bytes(); }
};

struct FirmwarePlan {
    std::vector<PlannedArea> areas; ///< in the project's order
    uint32_t payload_bytes_max = 0; ///< of the largest record, or sample of a log
    uint32_t unknown_max = 4;       ///< records of a newer firmware that get RAM in each area
};

/// RAM that the store keeps of a record between calls, beside its place: a total's current value, where a log stands.
uint32_t kept_in_ram_bytes(const Record& record);

/// Plans the firmware of a project with its budget. Areas without a start are put at the top of the run of equal
/// blocks, each below the one before, clear of the others. Refused, with a place, where an area could not be laid out,
/// does not fit the flash, or lies among blocks of another size.
tl::expected<FirmwarePlan, Diagnostic> plan_firmware(const Project& project, const Budget& budget);

} // namespace perdure
