/* main.c - the orchard valve's data on a Cortex-M3 (QEMU's mps2-an385), end to end: blank flash, format, saves, resets,
 * a power cut.
 *
 * The flash is the emitted one in RAM (host/ram_port.c), which mps2-an385.ld keeps out of what start-up clears, so that
 * it outlives a reset as flash does. Each start says what it finds, over semihosting.
 */
#include "data.h"
#include "host/ram_port.h"

#include "board.h"

/* Outlives resets, as the flash in RAM does. */
static struct {
    uint32_t magic;
    uint32_t starts;
} kept __attribute__((section(".noinit")));

static void fail(const char* what) {
    board_print("FAILED: ");
    board_print(what);
    board_print("\n");
    board_exit(false);
}

static void need(bool holds, const char* what) {
    if (!holds) { fail(what); }
}

static struct data_water water(void) {
    struct data_water now = {0, 0};
    need(data_water_load(&now) <= PERDURE_DEFAULT, "water is read");
    return now;
}

static void say_water(const char* when) {
    const struct data_water now = water();
    board_print(when);
    board_print(": litres ");
    board_print_number(now.litres);
    board_print(", pulses ");
    board_print_number(now.pulses);
    board_print("\n");
}

/* A valve that runs for `minutes`: a save a minute, service in the idle loop. */
static void run(uint32_t minutes) {
    for (uint32_t i = 0; i < minutes; i++) {
        struct data_water now = water();
        now.litres += 7u;
        now.pulses += 140u;
        need(data_water_save(&now) == PERDURE_OK, "water is saved");
        while (data_service()) {}
    }
}

static void new_product(void) {
    struct data_settings settings;
    ram_port_blank();
    need(data_open(PERDURE_WRITE) == PERDURE_BLANK, "new flash is blank");
    need(data_format(DATA_AREA_STORE) == PERDURE_OK, "format");
    need(data_settings_load(&settings) == PERDURE_DEFAULT, "settings are the defaults");
    board_print("new: run_minutes ");
    board_print_number(settings.run_minutes);
    board_print(" (default)\n");
    settings.run_minutes = 60;
    need(data_settings_save(&settings) == PERDURE_OK, "settings are saved");
    run(10);
    say_water("new");
}

static void second_start(void) {
    struct data_settings settings;
    need(data_open(PERDURE_WRITE) == PERDURE_OK, "open after a reset");
    need(data_settings_load(&settings) == PERDURE_OK && settings.run_minutes == 60u, "settings outlive a reset");
    say_water("second start");
    run(5000);
    say_water("after 5000 minutes");
    struct data_water now = water();
    now.litres += 1u;
    ram_port_cut_after(0); /* in the middle of the next program */
    need(data_water_save(&now) != PERDURE_OK, "a save without power is none");
}

static void third_start(void) {
    (void)ram_port_power();
    need(data_open(PERDURE_WRITE) == PERDURE_OK, "open after a power cut");
    say_water("after a power cut");
    run(1);
    say_water("one minute later");
    need(data_store(DATA_AREA_STORE)->sequence > 3u * DATA_STORE_BLOCKS, "the ring has turned three times");
    board_print("all holds\n");
    board_exit(true);
}

int main(void) {
    if (kept.magic != 0x5641564Cu) {
        kept.magic = 0x5641564Cu;
        kept.starts = 0;
    }
    kept.starts++;
    switch (kept.starts) {
    case 1:
        new_product();
        break;
    case 2:
        second_start();
        break;
    default:
        third_start();
        break;
    }
    board_reset();
    return 0;
}
