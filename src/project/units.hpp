// Values with their unit as people write them: "45 s", "12 y", "2 KiB", "55 C", "1/day".
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

namespace perdure {

/// What a quantity measures; the result of parse_quantity is in the unit named here.
enum class Dimension {
    time_s,
    life_y,
    size_bytes,
    temperature_c,
    voltage_v,
    current_ma,
    energy_ev,
    charge_mah,
    power_mw,
    capacitance_uf
};

/// Why a text is not the quantity asked for.
struct QuantityError {
    std::string message; ///< such as "\"45\" has no unit"
    std::string nearest; ///< the text as it was probably meant; empty when unknown
};

/// Reads a number, optional blanks and a unit: us ms s min h d (a day of 86,400 s); y; B KiB MiB; C; mV V; uA mA A; eV;
/// mAh Ah; uW mW W; nF uF mF F.
/// A year is not a time here, because its length is the project's to say. Errors: no number, not finite, no unit, a
/// unit that is unknown or measures something else.
tl::expected<double, QuantityError> parse_quantity(std::string_view text, Dimension dimension);

/// Reads "4/day": a number, a slash and one of min, h, day, week, year; gives the number a day. `year_days` is the
/// length of the year in days.
tl::expected<double, QuantityError> parse_rate_per_day(std::string_view text, double year_days);

/// Examples of the dimension for messages: "a time such as \"45 s\", \"10 min\" or \"6 h\"".
std::string_view example_of(Dimension dimension);

/// "2 KiB", "1536 B": the largest unit in which it is whole.
std::string show_bytes(uint64_t bytes);

/// "45 s", "10 min", "250 us": the largest unit in which it is a short number.
std::string show_seconds(double seconds);

} // namespace perdure
