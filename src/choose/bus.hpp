// What the bus of an external memory adds to a write.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

namespace perdure {

/// Milliseconds that writing `bytes` in one transfer takes on a bus such as "I2C 1 MHz" or "SPI 40 MHz", at that clock:
/// I2C: each byte 8 clocks and an acknowledge (UM10204, the I2C-bus specification, 3.1.5), start and stop a clock each,
/// before the data the device and two bytes of
/// address, one up to 2 KiB of memory (common practice, no source). SPI: a clock a bit; the write enable of a byte,
/// then the instruction and three bytes of address (common practice, no source). Absent where no clock is said.
std::optional<double> bus_write_ms(std::string_view bus, uint64_t memory_bytes, uint64_t bytes);

} // namespace perdure
