// What share of units fails: limits from a qualification sample, life distributions that the user has data for, and
// the spare blocks that keep a fleet's target. Shares and confidences are 0..1.
#pragma once

#include <cstdint>
#include <optional>

namespace perdure {

/// One-sided upper limit of the failing share after `failures` of `units` failed: exact binomial (Clopper and Pearson
/// 1934, through the beta distribution). 1 when all failed. Units above 0, confidence inside 0..1.
double failing_share_upper(uint64_t units, uint64_t failures, double confidence);

/// One-sided lower limit of the same; 0 when none failed.
double failing_share_lower(uint64_t units, uint64_t failures, double confidence);

/// The upper limit by the Poisson approximation, chi-square(confidence; 2 failures + 2) / (2 units); above the exact
/// one, and not held below 1.
double failing_share_upper_chi_square(uint64_t units, uint64_t failures, double confidence);

/// The fewest units that show, when none fails, a failing share of at most `share` at this confidence.
uint64_t units_to_show(double share, double confidence);

/// Upper limit of a constant failure rate, in failures each hour, after `failures` in `hours` of all units together,
/// the test ending at a set time: chi-square(confidence; 2 failures + 2) / (2 hours) (NIST/SEMATECH
/// e-Handbook 8.4.5.1).
double failures_an_hour_upper(uint64_t failures, double hours, double confidence);

/// Lower limit; 0 without a failure: chi-square(1 - confidence; 2 failures) / (2 hours).
double failures_an_hour_lower(uint64_t failures, double hours, double confidence);

enum class LifeLaw { weibull, lognormal };

/// When things fail, over whatever grows with use (erases, years). Weibull: `shape` and the characteristic life
/// `scale` (63.2 % failed). Lognormal: `shape` is sigma of the logarithm, `scale` the median.
struct LifeModel {
    LifeLaw law = LifeLaw::weibull;
    double shape = 1;
    double scale = 1;
};

/// The share that has failed by `used`. Shape and scale above 0.
double failed_by(const LifeModel& model, double used);

/// The use at which this share has failed, 0..1 exclusive.
double used_when_failed(const LifeModel& model, double share);

/// Of those still whole at `from`, the share that fails by `to`.
double failed_between(const LifeModel& model, double from, double to);

/// The chance that of `blocks` + `spares` equal blocks, each failing with chance `block_share` for itself, more than
/// `spares` fail.
double chance_of_too_few(uint32_t blocks, uint32_t spares, double block_share);

/// The fewest spare blocks that keep that chance at or below `share_max`; nothing when `most` are not enough.
std::optional<uint32_t> spares_needed(uint32_t blocks, double block_share, double share_max, uint32_t most);

} // namespace perdure
