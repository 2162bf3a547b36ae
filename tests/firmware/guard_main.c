/* The emitted guard on a flash in RAM, with 20 erases allowed (guard_test.cpp sees to that): exits with 0 if it says
 * what has to be said. */
#include <stdio.h>
#include <string.h>

#include "data_guard.h"
#include "host/ram_port.h"

#define NEED(holds)                                                                                                    \
    do {                                                                                                               \
        if (!(holds)) {                                                                                                \
            printf("line %d: %s\n", __LINE__, #holds);                                                                 \
            return 1;                                                                                                  \
        }                                                                                                              \
    } while (0)

static struct data_water water;

static bool save(void) {
    water.litres += 7;
    return data_water_save(&water) == PERDURE_OK;
}

int main(void) {
    data_health health;
    uint8_t packed[DATA_HEALTH_BYTES];
    data_guard_look(DATA_AREA_STORE, &health);
    NEED(health.erases == 0 && health.turns_left == 0); /* not open: nothing is known */
    ram_port_blank();
    NEED(data_open(PERDURE_WRITE) == PERDURE_BLANK);
    NEED(data_format(DATA_AREA_STORE) == PERDURE_OK);
    data_guard_look(DATA_AREA_STORE, &health);
    /* Block 0 is erased twice, and a block without a stamp counts on from the highest (store/format.md). */
    NEED(health.erases >= 2 && health.erases <= 3 && health.turns_left == 20 - health.erases);
    NEED(!health.alarm_spent && health.spent_percent <= 15);

    /* A day as budgeted, then one with three times as many. */
    data_guard_day(DATA_AREA_STORE);
    for (uint32_t i = 0; i < DATA_STORE_UNITS_A_DAY * 9 / 10; i++) { NEED(save()); }
    data_guard_look(DATA_AREA_STORE, &health);
    NEED(!health.alarm_day && health.units_today >= DATA_STORE_UNITS_A_DAY * 9 / 10);
    data_guard_day(DATA_AREA_STORE);
    data_guard_look(DATA_AREA_STORE, &health);
    NEED(health.units_today == 0);
    for (uint32_t i = 0; i < DATA_STORE_UNITS_A_DAY * 3; i++) { NEED(save()); }
    data_guard_look(DATA_AREA_STORE, &health);
    NEED(health.alarm_day);

    /* The alarm comes when 80 % of the 20 are spent: at 16 erases of a block, not before. */
    while (!health.alarm_spent) {
        NEED(health.erases < 16);
        NEED(save());
        data_guard_look(DATA_AREA_STORE, &health);
    }
    NEED(health.erases == 16 && health.turns_left == 4 && health.spent_percent == 80);
    while (health.erases < 25) {
        NEED(save());
        data_guard_look(DATA_AREA_STORE, &health);
    }
    NEED(health.turns_left == 0 && health.spent_percent == 100);

    /* What a power cut leaves is counted by the next open. */
    ram_port_cut_after(0);
    (void)save();
    NEED(ram_port_power());
    NEED(data_open(PERDURE_WRITE) == PERDURE_OK);
    data_guard_look(DATA_AREA_STORE, &health);
    NEED(health.recovered == 1);

    data_health_pack(DATA_AREA_STORE, &health, packed);
    NEED(packed[0] == 1 && packed[1] == 0 && packed[2] == 100 && (packed[3] & 1) == 1);
    NEED(packed[4] == (uint8_t)health.erases && packed[5] == 0 && packed[8] == 0 && packed[16] == 1 && packed[17] == 0);
    printf("guard holds\n");
    return 0;
}
