// How long flash keeps its charge: time at one temperature as time at another (Arrhenius), and the data sheet's
// guarantees as steps. The activation energy is always stated by who asks; none is ever fitted through guarantees,
// which are no Arrhenius lines.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

namespace perdure {

/// Boltzmann's constant over the elementary charge, both exact in the SI since 2019 (from memory of CODATA 2018).
constexpr double boltzmann_ev_per_k = 1.380649e-23 / 1.602176634e-19;

/// 0 degrees Celsius in kelvin (definition).
constexpr double zero_celsius_k = 273.15;

/// How many times faster something with this activation energy goes at `to_c` than at `from_c`: exp(E/k (1/T1 - 1/T2)).
/// Below 1 where `to_c` is the cooler. Temperatures above -273.15 C.
double acceleration(double from_c, double to_c, double energy_ev);

/// A stretch of time at one temperature. Years of whatever length the caller uses.
struct Stay {
    double temperature_c = 0;
    double years = 0;
};

/// The hottest of them; stays of no length do not count. Nothing when none has a length.
std::optional<double> hottest_c(const std::vector<Stay>& stays);

/// The years at `at_c` that age as much as all the stays together.
double equivalent_years(const std::vector<Stay>& stays, double at_c, double energy_ev);

/// The one temperature at which the same time ages as much. Needs a stay of some length and an energy above 0.
double effective_temperature_c(const std::vector<Stay>& stays, double energy_ev);

/// What a data sheet guarantees: after at most so many erases, data stay for so many years at this temperature.
struct RetentionGuarantee {
    double cycles = 0;
    double temperature_c = 0;
    double years = 0;
};

/// Which guarantee governs, and what is asked of it.
struct RetentionStep {
    size_t guarantee = 0;     ///< index
    double need_years = 0;    ///< at its temperature
    double have_years = 0;    ///< what it guarantees
    bool by_energy = false;   ///< false: it covers the hottest stay as it stands, and no energy was used
    bool below_stays = false; ///< by energy, from a temperature below the hottest stay: an extrapolation upward
    [[nodiscard]] double margin() const { return need_years > 0 ? have_years / need_years : 1e9; }
};

/// Holds the stays against the guarantees after `cycles` erases. Only guarantees for at least so many erases count.
///
/// As steps: of those given at or above the hottest stay, the longest; nothing is interpolated. With an energy, all
/// stays are carried to each guarantee's temperature, and of the guarantees not below the hottest stay (of all, where
/// there is none such) the one with the least margin is taken. Where both ways exist, the one with the greater margin
/// counts, as each is safe by itself. `beyond` are stays hotter than any guarantee is meant for, such as soldering:
/// they count by the energy only, and where there are some nothing is taken as a step. Nothing when no guarantee covers
/// the erases, or none the temperature and no energy was stated.
std::optional<RetentionStep> retention_step(const std::vector<RetentionGuarantee>& guarantees, double cycles,
                                            const std::vector<Stay>& stays, const std::vector<Stay>& beyond,
                                            std::optional<double> energy_ev);

} // namespace perdure
