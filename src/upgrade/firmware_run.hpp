// A firmware at work on a flash: it opens, converts, saves, cleans, as one that perdure emit wrote does, and keeps the
// model of what must be there in step.
#pragma once

#include <optional>
#include <random>
#include <string>

#include "upgrade/held_data.hpp"
#include "upgrade/schema.hpp"

namespace perdure {

/// One area of one version's firmware.
class FirmwareRun {
public:
    /// `area` is of `version`'s plan.
    FirmwareRun(const ProductVersion& version, const ImageArea& area, const FlashCalls& flash);

    release_status format() { return store_.format(); }
    /// As its project says: lazily, where it has lazy starts.
    release_status open() { return store_.open(lazy_); }
    [[nodiscard]] bool lazy() const { return lazy_; }
    [[nodiscard]] const ReleaseStore& store() const { return store_; }
    /// Has it a record that is saved when the supply fails?
    [[nodiscard]] bool saves_at_power_fail() const { return urgent_.has_value(); }

    // Each of these gives nothing, or what did not work. Where the flash has lost its power they just end: `contents`
    // says what may be there.

    /// Calls the conversion of every record that has one, was never stored, and has data to be made from.
    std::string convert(HeldData& contents);
    /// Saves every record that is in use once, and adds an entry to each log.
    std::string save_all(HeldData& contents, std::mt19937_64& random);
    /// Saves until so many blocks have been opened, with all that has to be cleaned for it.
    std::string go_on(HeldData& contents, std::mt19937_64& random, uint32_t blocks);
    /// Saves until the ring has turned `turns` times.
    std::string turn(HeldData& contents, std::mt19937_64& random, uint32_t turns) {
        return go_on(contents, random, turns * blocks_);
    }
    /// One save of a record other than the one of power failures, if there is another.
    std::string save_one(HeldData& contents, std::mt19937_64& random);
    /// The supply fails: the record that is for it is saved, maybe in the midst of another call. Refused where a lazy
    /// start's own work is still owed; then nothing is saved. Afterwards only open may be called.
    std::string supply_fails(HeldData& contents, std::mt19937_64& random);
    /// Background work until none is due.
    void service();

private:
    std::string save(size_t record, HeldData& contents, std::mt19937_64& random);
    std::string put(size_t record, const Payload& payload, HeldData& contents);

    ReleaseStore store_;
    bool lazy_;
    std::optional<size_t> urgent_; ///< place of the record saved at power failure
    uint32_t blocks_;
    uint64_t block_units_;
};

/// What a trial takes for the engineer's conversion: bytes that all of the sources have a part in, as long as `record`
/// is.
Payload stand_in_conversion(const Record& record, const std::vector<Payload>& sources);

} // namespace perdure
