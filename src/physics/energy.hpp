// What saving takes from the supply: plain products, kept here so that their units are said once.
#pragma once

namespace perdure {

/// Millijoules drawn at `volts` and `milliamps` for `ms`.
constexpr double energy_mj(double volts, double milliamps, double ms) {
    return volts * milliamps * ms / 1e3;
}

/// Joules in a battery of so many milliampere hours at this voltage.
constexpr double battery_j(double milliamp_hours, double volts) {
    return milliamp_hours * 3.6 * volts;
}

} // namespace perdure
