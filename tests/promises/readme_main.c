/* Runs the example of store/README.md on a flash in RAM: the factory formats, the pump runs, the power goes and comes
 * back. readme_test.cpp puts the README's own text into readme_example.c and compiles the two with the store. */
#include <stdio.h>
#include <string.h>

#include "readme_example.c"

enum { BLOCK_BYTES = BLOCK_UNITS * UNIT_BYTES };
static uint8_t flash[BLOCKS * BLOCK_BYTES];

bool flash_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    (void)context;
    memcpy(to, flash + address, bytes);
    return true;
}

bool flash_program(void* context, uint32_t address, const void* unit) {
    (void)context;
    memcpy(flash + address, unit, UNIT_BYTES);
    return true;
}

bool flash_erase(void* context, uint32_t block) {
    (void)context;
    memset(flash + block * BLOCK_BYTES, 0xFF, BLOCK_BYTES);
    return true;
}

#define EXPECT(what)                                                                                                   \
    if (!(what)) {                                                                                                     \
        printf("not so: %s\n", #what);                                                                                 \
        return 1;                                                                                                      \
    }

int main(void) {
    pump_totals counted;
    pump_settings settings;
    memset(flash, 0xFF, sizeof flash);
    EXPECT(!pump_start(false)); /* blank in the field */
    EXPECT(pump_start(true));
    for (uint32_t start = 0; start < 20u; start++) {
        for (uint32_t i = 0; i < 100u; i++) {
            EXPECT(pump_stopped(60));
            while (pump_idle()) {}
        }
        EXPECT(pump_start(false));
        EXPECT(pump_read(&counted, &settings));
        EXPECT(counted.starts == 100u * (start + 1u));
        EXPECT(counted.run_s == 6000u * (start + 1u));
    }
    EXPECT(settings.pressure_mbar == 2500u && settings.delay_s == 30u);
    return 0;
}
