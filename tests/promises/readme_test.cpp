// Runs the example of store/README.md on a flash in RAM: the factory formats, the pump runs, the power goes and comes back.
#include <algorithm>
#include <array>
#include <cstring>

#include <gtest/gtest.h>

#include "store/store.h"

extern "C" {
struct pump_totals {
    uint32_t run_s;
    uint32_t starts;
};
struct pump_settings {
    uint16_t pressure_mbar;
    uint16_t delay_s;
};
bool pump_start(bool in_factory);
bool pump_stopped(uint32_t run_s);
bool pump_idle(void);
bool pump_read(pump_totals* counted, pump_settings* settings);

static std::array<uint8_t, 4 * 2048> flash;

bool flash_read(void*, uint32_t address, void* to, uint32_t bytes);
bool flash_program(void*, uint32_t address, const void* unit);
bool flash_erase(void*, uint32_t block);

bool flash_read(void*, uint32_t address, void* to, uint32_t bytes) {
    std::memcpy(to, flash.data() + address, bytes);
    return true;
}
bool flash_program(void*, uint32_t address, const void* unit) {
    std::memcpy(flash.data() + address, unit, 8);
    return true;
}
bool flash_erase(void*, uint32_t block) {
    std::fill_n(flash.begin() + block * 2048, 2048, uint8_t{0xFF});
    return true;
}
}

TEST(ReadmeExample, CountsOverStarts) {
    flash.fill(0xFF);
    EXPECT_FALSE(pump_start(false)); // blank in the field
    ASSERT_TRUE(pump_start(true));
    pump_totals counted{};
    pump_settings settings{};
    for (uint32_t start = 0; start < 20; start++) {
        for (uint32_t i = 0; i < 100; i++) {
            ASSERT_TRUE(pump_stopped(60));
            while (pump_idle()) {
            }
        }
        ASSERT_TRUE(pump_start(false));
        ASSERT_TRUE(pump_read(&counted, &settings));
        EXPECT_EQ(counted.starts, 100 * (start + 1));
        EXPECT_EQ(counted.run_s, 6000 * (start + 1));
    }
    EXPECT_EQ(settings.pressure_mbar, 2500);
    EXPECT_EQ(settings.delay_s, 30);
}
