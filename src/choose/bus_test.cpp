#include "choose/bus.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

// UM10204, the I2C-bus specification, 3.1.5: each byte is followed by an acknowledge, so nine clocks a byte.
TEST(Bus, I2cTakesNineClocksAByte) {
    EXPECT_DOUBLE_EQ(*bus_write_ms("I2C 400 kHz", 8192, 16), (2 + 9 * (3 + 16)) / 400.0);
    EXPECT_DOUBLE_EQ(*bus_write_ms("I2C 400 kHz", 256, 16), (2 + 9 * (2 + 16)) / 400.0); // a short address
    EXPECT_NEAR(*bus_write_ms("I2C 1 MHz", 8192, 1016) - *bus_write_ms("I2C 1 MHz", 8192, 16), 9.0,
                1e-12); // 1,000 bytes more
}

TEST(Bus, SpiTakesAClockABit) {
    EXPECT_DOUBLE_EQ(*bus_write_ms("SPI 40 MHz", 8192, 20), 200 / 40e3);
}

TEST(Bus, WithoutAClockNothingIsSaid) {
    for (const char* bus : {"I2C", "SPI", "QSPI", "", "QSPI 80 MHz", "I2C fast", "SPI 0 MHz", "SPI 40"}) {
        EXPECT_FALSE(bus_write_ms(bus, 8192, 16)) << bus;
    }
}

} // namespace
} // namespace perdure
