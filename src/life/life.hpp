// A product's whole life on the real store: every save, every start, on a simulated flash.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "project/layout.hpp"
#include "project/project.hpp"

namespace perdure {

struct FlashRecording;

/// How often each thing happens, as the life run draws it: even saves by period, random ones by rate.
struct LifeRecord {
    double period_s = 0;        ///< even saves; 0 = none
    double random_per_s = 0;    ///< Poisson saves
    double at_start = 0;        ///< saves right after a start: so many whole ones, and one more with the chance left
    bool at_power_fail = false; ///< saved at power failure, before each start
};

struct LifeDemand {
    double life_s = 0;
    bool lazy_start = false;
    double starts_per_s = 0;         ///< one start in each 1 / starts_per_s, at a random time in it
    std::vector<LifeRecord> records; ///< in the layout's order
};

struct LifeOptions {
    uint64_t seed = 1;
    bool service = true;    ///< perdure_service is called after each save until nothing is due
    uint64_t turns_max = 0; ///< 0: the whole life; else stop after so many whole turns of the ring and extend
    /// Called now and then with the share of life that is done (0..1); may be empty.
    std::function<void(double)> progress;
    FlashRecording* recording = nullptr; ///< every flash operation is added to it; slow, and much memory
};

/// What one record did. `mismatches` counts values read back that were not those saved: any is a failure of the store.
/// A read after a save gives a total from the store's copy in RAM, any other value from flash; a read after a start
/// gives both from flash.
struct LifeRecordResult {
    uint64_t saves = 0;
    uint64_t checked = 0;
    uint64_t mismatches = 0;
    uint64_t log_erases = 0;              ///< logs: saves in which a block was erased, from the second turn on
    uint64_t log_watched = 0;             ///< of them, those after which the log was read as a whole
    std::optional<uint64_t> log_kept_min; ///< the fewest samples there were then; absent: none was watched
};

struct LifeResult {
    bool whole_life = true;     ///< false: it ended before the life did, by `turns_max` or by a failure
    bool extended = false;      ///< run for some turns, then extended to the life at the rate of those after the first
    double simulated_share = 1; ///< share of life that was run
    double simulated_s = 0;     ///< product time that was run
    uint64_t saves = 0;         ///< run
    uint64_t starts = 0;        ///< run
    uint64_t empty_starts = 0;  ///< of them, those that found nothing ever put, and programmed a shorter restart entry
    double first_save_s = 0;    ///< when the first save came; without any, the time that was run
    uint64_t lazy_starts = 0;   ///< of them, those that nothing was put after: they programmed nothing
    uint64_t payload_bytes = 0; ///< saved
    uint64_t programs = 0;      ///< units
    uint64_t programmed_bytes = 0;
    uint64_t reads = 0;
    std::vector<uint32_t> erases_per_block; ///< as run
    double erases_mean = 0;                 ///< a block over the whole life, formatting included
    double erases_max = 0;                  ///< the most of any block; extended: over the mean by as much as in the run
    double write_amplification = 0;         ///< bytes programmed / payload bytes saved
    double put_longest_ms = 0;              ///< programming and erasing in one put
    double put_owed_longest_ms = 0;         ///< of them, where service still owed what a start had made due
    double put_served_longest_ms = 0;       ///< of the others
    double service_longest_ms = 0;
    double open_longest_ms = 0;
    double busy_s = 0; ///< programming and erasing over the run
    double energy_j = 0;
    std::vector<LifeRecordResult> records;
    std::string failure; ///< empty, or what went wrong and when
    [[nodiscard]] uint64_t mismatches() const;
};

/// The demand that the budget sizes an area for: heavy user, and for events with a confidence the Poisson quantile as a
/// rate. Saves 'when changed' count as random ones. `records` as in the layout.
LifeDemand sizing_demand(const Project& project, const std::vector<const Record*>& records);

/// The part's maximum (else typical) times, its current and highest supply voltage; zeros where the part gives none, so
/// that an energy of 0 then means 'not known'.
FlashCosts flash_costs(const Device& part);

/// Lives `demand` through on the real store. Every saved value is read back at once, and all of them after each start.
LifeResult live(const AreaLayout& layout, const std::vector<const Record*>& records, const FlashCosts& costs,
                const LifeDemand& demand, const LifeOptions& options);

} // namespace perdure
