// What the product lives through and what its users' reviewers ask beyond the flash itself: temperatures, guarantees
// that depend on them, ageing, deadlines, energy, samples, spreads. Plain structs; src/project/read_conditions.cpp
// fills them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "physics/failures.hpp"
#include "physics/retention.hpp"
#include "physics/spread.hpp"

namespace perdure {

/// Where in the project file something was said. Lines and columns count from 1; 0 means "not in the file".
struct Place {
    uint32_t line = 0;
    uint32_t column = 0;
};

/// [[profile]]: the flash's temperature for a share of all time; the shares add up to 1.
struct ProfileStep {
    double temperature_c = 0;
    double share = 0;
    Place place;
};

/// [[endurance.pair]]: erases guaranteed up to a temperature, in the whole flash or in a stretch of it.
struct EndurancePair {
    double erases = 0;
    std::optional<double> up_to_c;      ///< absent: wherever the part may be used
    std::optional<uint64_t> from_bytes; ///< from the start of flash; absent: everywhere
    std::optional<uint64_t> size_bytes;
    Place place;
};

/// [[retention.pair]]: what the data sheet guarantees.
struct RetentionPair {
    RetentionGuarantee guarantee;
    Place place;
};

/// [retention]
struct RetentionTerms {
    std::optional<double> activation_ev; ///< stated by the user, or nothing is carried between temperatures
    double storage_years = 0, storage_c = 25;
    double reflow_s = 0, reflow_c = 260;
    double light_user = 1; ///< how much slower than nominal the ring turns in the least used unit; 0: it never turns
    std::vector<RetentionPair> pairs;
    Place place, activation_place, storage_place, reflow_place, light_place;
};

/// [[aged]]: the part's maximum times up to so many erases of a block.
struct AgedTimes {
    double erases = 0;
    std::optional<double> erase_ms_max, program_us_max;
    Place place;
};

enum class DeadlineCounts {
    call,      ///< until the call returns: what waits for it, such as a watchdog fed between calls
    operation, ///< until one flash operation ends: what only the stalled processor holds up, such as an interrupt
};

enum class CodeIn { flash, other_bank, ram };

/// [[deadline]]: something that must not wait longer than this.
struct Deadline {
    std::string name;
    double limit_ms = 0;
    bool put = true, service = true, open = false; ///< the calls that may be under way
    DeadlineCounts counts = DeadlineCounts::call;
    CodeIn code = CodeIn::flash; ///< where the code runs that must meet it
    Place place, limit_place, code_place;
};

/// [energy]
struct EnergyTerms {
    double voltage_v = 0;
    double run_ma = 0; ///< what the processor draws beside the flash
    std::optional<double> battery_mah, supply_min_v, peak_max_ma;
    Place place, voltage_place, run_place, battery_place, supply_min_place, peak_place;
};

/// [qualification]: a sample that was tested.
struct Qualification {
    uint64_t units = 0;
    uint64_t failures = 0;
    double confidence = 0.9;
    std::optional<double> hours, at_c,
        activation_ev; ///< of a life test: its length, its temperature, the energy stated
    Place place, activation_place;
};

/// [wear_out]: when blocks of this part fail, over erases; the user's own data.
struct WearOut {
    LifeModel model;
    Place place;
};

enum class UncertainWhat { saves, starts, endurance };

/// [[uncertainty.input]]: an input that differs from unit to unit.
struct UncertainInput {
    UncertainWhat what = UncertainWhat::saves;
    std::string record; ///< saves: of this record; empty: of all
    Spread spread;
    Place place;
};

/// [uncertainty]
struct Uncertainty {
    double share = 0.95; ///< of the fleet, that shall hold
    uint64_t trials = 2000, seed = 1;
    std::vector<UncertainInput> inputs;
    Place place, share_place;
};

/// [errors]
struct ErrorTerms {
    double bit_flip = 0; ///< chance that a bit has flipped by itself before its entry is written again
    Place place, bit_flip_place;
};

/// What is asked of these in [require]; absent means not asked.
struct ConditionRequirements {
    std::optional<double> wrong_entries_max; ///< expected in the whole fleet over life
    std::optional<double> failed_share_max;  ///< of the units, over life
    std::optional<double> battery_share_max;
    std::optional<double> service_every_s; ///< how often the firmware calls service
    Place wrong_entries_place, failed_share_place, battery_share_place, service_every_place;
};

struct Conditions {
    std::vector<ProfileStep> profile;
    double erases_spent = 0; ///< of each block, before shipment
    std::vector<EndurancePair> endurance;
    std::optional<RetentionTerms> retention;
    std::vector<AgedTimes> aged; ///< by erases
    std::vector<Deadline> deadlines;
    std::optional<EnergyTerms> energy;
    std::optional<Qualification> qualification;
    std::optional<WearOut> wear_out;
    std::optional<Uncertainty> uncertainty;
    ErrorTerms errors;
    ConditionRequirements require;
    Place spent_place;
};

} // namespace perdure
