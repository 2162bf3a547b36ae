#include "project/units.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <optional>

#include <fmt/format.h>

namespace perdure {
namespace {

struct Unit {
    std::string_view name;
    Dimension dimension;
    double factor; ///< to the dimension's own unit
};

constexpr std::array units{
    Unit{"us", Dimension::time_s, 1e-6},
    Unit{"ms", Dimension::time_s, 1e-3},
    Unit{"s", Dimension::time_s, 1},
    Unit{"min", Dimension::time_s, 60},
    Unit{"h", Dimension::time_s, 3600},
    Unit{"d", Dimension::time_s, 86400},
    Unit{"y", Dimension::life_y, 1},
    Unit{"B", Dimension::size_bytes, 1},
    Unit{"KiB", Dimension::size_bytes, 1024},
    Unit{"MiB", Dimension::size_bytes, 1048576},
    Unit{"C", Dimension::temperature_c, 1},
    Unit{"mV", Dimension::voltage_v, 1e-3},
    Unit{"V", Dimension::voltage_v, 1},
    Unit{"uA", Dimension::current_ma, 1e-3},
    Unit{"mA", Dimension::current_ma, 1},
    Unit{"A", Dimension::current_ma, 1000},
    Unit{"eV", Dimension::energy_ev, 1},
    Unit{"mAh", Dimension::charge_mah, 1},
    Unit{"Ah", Dimension::charge_mah, 1000},
    Unit{"uW", Dimension::power_mw, 1e-3},
    Unit{"mW", Dimension::power_mw, 1},
    Unit{"W", Dimension::power_mw, 1000},
    Unit{"nF", Dimension::capacitance_uf, 1e-3},
    Unit{"uF", Dimension::capacitance_uf, 1},
    Unit{"mF", Dimension::capacitance_uf, 1e3},
    Unit{"F", Dimension::capacitance_uf, 1e6},
};

struct Spelling {
    std::string_view written, meant;
};

// How people also write them. They are not accepted, so that a file has one spelling, but they are understood in the
// message.
constexpr std::array spellings{
    Spelling{"sec", "s"},       Spelling{"secs", "s"},     Spelling{"second", "s"}, Spelling{"seconds", "s"},
    Spelling{"S", "s"},         Spelling{"m", "min"},      Spelling{"mins", "min"}, Spelling{"minute", "min"},
    Spelling{"minutes", "min"}, Spelling{"hour", "h"},     Spelling{"hours", "h"},  Spelling{"hr", "h"},
    Spelling{"hrs", "h"},       Spelling{"H", "h"},        Spelling{"day", "d"},    Spelling{"days", "d"},
    Spelling{"D", "d"},         Spelling{"year", "y"},     Spelling{"years", "y"},  Spelling{"yr", "y"},
    Spelling{"yrs", "y"},       Spelling{"a", "y"},        Spelling{"Y", "y"},      Spelling{"\u00b5s", "us"},
    Spelling{"\u03bcs", "us"},  Spelling{"usec", "us"},    Spelling{"msec", "ms"},  Spelling{"byte", "B"},
    Spelling{"bytes", "B"},     Spelling{"b", "B"},        Spelling{"k", "KiB"},    Spelling{"K", "KiB"},
    Spelling{"kB", "KiB"},      Spelling{"KB", "KiB"},     Spelling{"kb", "KiB"},   Spelling{"Kib", "KiB"},
    Spelling{"kib", "KiB"},     Spelling{"kiB", "KiB"},    Spelling{"M", "MiB"},    Spelling{"MB", "MiB"},
    Spelling{"mb", "MiB"},      Spelling{"\u00b0C", "C"},  Spelling{"c", "C"},      Spelling{"degC", "C"},
    Spelling{"v", "V"},         Spelling{"volt", "V"},     Spelling{"volts", "V"},  Spelling{"ma", "mA"},
    Spelling{"mw", "mW"},       Spelling{"w", "W"},        Spelling{"watt", "W"},   Spelling{"uf", "uF"},
    Spelling{"\u00b5F", "uF"},  Spelling{"\u03bcF", "uF"}, Spelling{"UF", "uF"},    Spelling{"nf", "nF"},
    Spelling{"f", "F"},
};

std::string_view trimmed(std::string_view text) {
    while (!text.empty() && text.front() == ' ') { text.remove_prefix(1); }
    while (!text.empty() && text.back() == ' ') { text.remove_suffix(1); }
    return text;
}

/// Takes the number off the front of `text`; nothing when there is none or it does not fit a double.
std::optional<double> take_number(std::string_view& text) {
    // from_chars would also read "inf" and "nan": a figure begins with a digit, a sign or a point.
    if (text.empty() || text.find_first_of("0123456789-.") != 0) { return std::nullopt; }
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || !std::isfinite(value)) { return std::nullopt; }
    text.remove_prefix(static_cast<size_t>(end - text.data()));
    return value;
}

std::string_view measured_thing(Dimension dimension) {
    switch (dimension) {
    case Dimension::time_s:
        return "a time";
    case Dimension::life_y:
        return "in years";
    case Dimension::size_bytes:
        return "a size";
    case Dimension::temperature_c:
        return "a temperature";
    case Dimension::voltage_v:
        return "a voltage";
    case Dimension::current_ma:
        return "a current";
    case Dimension::energy_ev:
        return "an energy";
    case Dimension::charge_mah:
        return "a charge";
    case Dimension::power_mw:
        return "a power";
    case Dimension::capacitance_uf:
        return "a capacitance";
    }
    return "";
}

const Unit* find_unit(std::string_view name) {
    for (const Unit& unit : units) {
        if (unit.name == name) { return &unit; }
    }
    return nullptr;
}

const Unit* meant_unit(std::string_view name, Dimension dimension) {
    for (const Spelling& spelling : spellings) {
        if (spelling.written != name) { continue; }
        const Unit* unit = find_unit(spelling.meant);
        if (unit != nullptr && unit->dimension == dimension) { return unit; }
    }
    return nullptr;
}

} // namespace

tl::expected<double, QuantityError> parse_quantity(std::string_view text, Dimension dimension) {
    std::string_view rest = trimmed(text);
    const std::string_view whole = rest;
    const std::optional<double> number = take_number(rest);
    if (!number) { return tl::unexpected(QuantityError{fmt::format("\"{}\" does not begin with a number", text), ""}); }
    const std::string_view digits = trimmed(whole.substr(0, whole.size() - rest.size()));
    const std::string_view name = trimmed(rest);
    if (name.empty()) { return tl::unexpected(QuantityError{fmt::format("\"{}\" has no unit", text), ""}); }
    const Unit* unit = find_unit(name);
    if (unit != nullptr && unit->dimension == dimension) { return *number * unit->factor; }
    const Unit* meant = meant_unit(name, dimension);
    const std::string nearest = meant != nullptr ? fmt::format("\"{} {}\"", digits, meant->name) : "";
    if (unit != nullptr) {
        return tl::unexpected(QuantityError{
            fmt::format("\"{}\" is {}, not {}", text, measured_thing(unit->dimension), measured_thing(dimension)),
            nearest});
    }
    const std::string_view thing = dimension == Dimension::life_y ? "years" : measured_thing(dimension).substr(2);
    return tl::unexpected(QuantityError{fmt::format("\"{}\" is not a unit of {}", name, thing), nearest});
}

tl::expected<double, QuantityError> parse_rate_per_day(std::string_view text, double year_days) {
    std::string_view rest = trimmed(text);
    const std::optional<double> number = take_number(rest);
    if (!number) { return tl::unexpected(QuantityError{fmt::format("\"{}\" does not begin with a number", text), ""}); }
    rest = trimmed(rest);
    if (rest.empty() || rest.front() != '/') {
        return tl::unexpected(QuantityError{fmt::format("\"{}\" does not say \"/day\" or the like", text), ""});
    }
    rest.remove_prefix(1);
    const std::string_view span = trimmed(rest);
    if (span == "min") { return *number * 1440.0; }
    if (span == "h") { return *number * 24.0; }
    if (span == "day") { return *number; }
    if (span == "week") { return *number / 7.0; }
    if (span == "year") { return *number / year_days; }
    const std::string_view meant = span == "d"                  ? "day"
                                   : span == "y" || span == "a" ? "year"
                                   : span == "hour"             ? "h"
                                                                : "";
    return tl::unexpected(QuantityError{fmt::format("\"/{}\" is not one of /min, /h, /day, /week, /year", span),
                                        meant.empty() ? "" : fmt::format("\"{:g}/{}\"", *number, meant)});
}

std::string_view example_of(Dimension dimension) {
    switch (dimension) {
    case Dimension::time_s:
        return "a time such as \"250 us\", \"45 s\", \"10 min\", \"6 h\" or \"1 d\"";
    case Dimension::life_y:
        return "a number of years such as \"12 y\"";
    case Dimension::size_bytes:
        return "a size such as \"8 B\" or \"2 KiB\"";
    case Dimension::temperature_c:
        return "a temperature such as \"55 C\"";
    case Dimension::voltage_v:
        return "a voltage such as \"3.3 V\"";
    case Dimension::current_ma:
        return "a current such as \"3 mA\"";
    case Dimension::energy_ev:
        return "an activation energy such as \"0.6 eV\"";
    case Dimension::charge_mah:
        return "a charge such as \"2400 mAh\"";
    case Dimension::power_mw:
        return "a power such as \"40 mW\"";
    case Dimension::capacitance_uf:
        return "a capacitance such as \"470 uF\"";
    }
    return "";
}

std::string show_bytes(uint64_t bytes) {
    constexpr uint64_t kib = 1024;
    if (bytes >= kib * kib && bytes % (kib * kib) == 0) { return fmt::format("{} MiB", bytes / (kib * kib)); }
    if (bytes >= kib && bytes % kib == 0) { return fmt::format("{} KiB", bytes / kib); }
    return fmt::format("{} B", bytes);
}

std::string show_seconds(double seconds) {
    struct Step {
        double factor;
        std::string_view unit;
    };
    constexpr std::array steps{Step{86400, "d"}, Step{3600, "h"}, Step{60, "min"}, Step{1, "s"}, Step{1e-3, "ms"}};
    for (const Step& step : steps) {
        const double value = seconds / step.factor;
        const bool whole = std::abs(value - std::round(value)) < 1e-9;
        if (value >= 1 && (whole || step.factor <= 1)) { return fmt::format("{:.6g} {}", value, step.unit); }
    }
    return fmt::format("{:.6g} us", seconds * 1e6);
}

} // namespace perdure
