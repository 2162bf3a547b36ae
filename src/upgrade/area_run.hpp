// Two versions' firmwares over one area whose flash is the same to both: filled by the one, opened by the other, with
// the power cut, or the supply failing and a record saved, in a chosen operation.
#pragma once

#include <random>
#include <string>

#include "upgrade/firmware_run.hpp"
#include "upgrade/trial.hpp"
#include "upgrade/trial_flash.hpp"

namespace perdure {

enum class Start { fresh, wrapped, worn };

/// Each call that gives a text gives nothing, or what did not hold.
class AreaRun {
public:
    AreaRun(const ProductVersion& from, const ProductVersion& to, const AreaChange& area, Start start,
            const TrialOptions& options, uint64_t seed)
        : from_(from), to_(to), area_(area), start_(start), options_(options), random_(seed),
          flash_(area.from->layout.geometry) {}

    /// Fills the flash by the firmware it comes from.
    std::string prepare(ImageTrial& out);
    /// Opens, converts, saves, turns the ring; then back to the version before, and here again.
    std::string without_cuts(ImageTrial& out);
    /// Cuts operation `cut` of the migration or behind it, and tries what may come of it.
    std::string with_cut(uint64_t cut, ImageTrial& out);
    /// Where the new firmware saves a record when the supply fails: that it fails before, in and behind operation
    /// `at`, and what may come of it. Nothing is tried in a start, where that interrupt is not armed (store.h).
    std::string with_saves(uint64_t at, ImageTrial& out);

private:
    void wind_back() { flash_.flash.undo(base_); }
    /// Turns the ring and wears it as start_ says.
    std::string use(FirmwareRun& old, ImageTrial& out);
    /// As a supply that fails leaves it: the record saved in the midst of a put.
    std::string end_by_save(FirmwareRun& old);
    [[nodiscard]] std::string broken_rule() const;
    /// Opens as the version does; a lazy start may touch nothing.
    std::string open(FirmwareRun& run);
    /// Opens, reads all, saves all, turns the ring, reads all.
    std::string visit(const ProductVersion& version, const ImageArea& area, HeldData& contents, std::mt19937_64& random,
                      ImageTrial& out);
    /// The first start after a cut, and the saves after it.
    std::string resume(const ProductVersion& version, const ImageArea& area, HeldData contents, ImageTrial& out);
    /// Both firmwares, with the hit units read in this way.
    std::string resume_both(uint64_t way, const HeldData& contents, ImageTrial& out);
    /// The start that follows a cut is cut as well, in each of its operations; of a lazy one those of the first save.
    std::string cut_start(uint64_t way, const HeldData& contents, ImageTrial& out);
    std::string with_save(uint64_t at, SupplyFails when, uint64_t way, ImageTrial& out);
    /// Holds the reader of dumps against the model, right after every record was put.
    std::string wrong_by_dump(const HeldData& contents);

    const ProductVersion& from_;
    const ProductVersion& to_;
    const AreaChange& area_;
    Start start_;
    const TrialOptions& options_;
    std::mt19937_64 random_;
    TrialFlash flash_;
    HeldData contents_;       ///< of the flash as filled
    uint64_t opening_ = 0;    ///< operations of the new firmware's open, without a cut
    uint64_t operations_ = 0; ///< of the migration, without a cut
    ForkingFlash::Mark base_{};
};

} // namespace perdure
