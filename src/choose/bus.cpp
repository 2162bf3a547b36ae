#include "choose/bus.hpp"

#include <charconv>

namespace perdure {

namespace {

/// The clock behind the name, in Hz: "I2C 400 kHz".
std::optional<double> clock_hz(std::string_view bus) {
    const size_t digits = bus.find_first_of("0123456789", bus.find(' '));
    if (digits == std::string_view::npos) { return std::nullopt; }
    double value = 0;
    const auto [end, error] = std::from_chars(bus.data() + digits, bus.data() + bus.size(), value);
    const std::string_view unit = bus.substr(static_cast<size_t>(end - bus.data()));
    if (error != std::errc{} || value <= 0) { return std::nullopt; }
    if (unit == " kHz") { return value * 1e3; }
    if (unit == " MHz") { return value * 1e6; }
    return std::nullopt;
}

} // namespace

std::optional<double> bus_write_ms(std::string_view bus, uint64_t memory_bytes, uint64_t bytes) {
    const auto hz = clock_hz(bus);
    if (!hz) { return std::nullopt; }
    const auto data = double(bytes);
    if (bus.substr(0, 4) == "I2C ") { return (2 + 9 * ((memory_bytes > 2048 ? 3 : 2) + data)) / *hz * 1e3; }
    if (bus.substr(0, 4) == "SPI ") { return 8 * (1 + 4 + data) / *hz * 1e3; }
    return std::nullopt;
}

} // namespace perdure
