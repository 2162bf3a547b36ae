/* counts.c - what each call takes, in instructions or cycles (clock.h): least and most over many calls, on a valve's
 * records in three blocks of 2 KiB, and one of many ids. The flash is RAM that a port copies from and to; what a real
 * flash makes the processor wait comes on top.
 */
#include <string.h>

#include "board.h"
#include "clock.h"
#include "store/store.h"

#ifndef MANY
#define MANY 300
#endif
enum { UNIT_BYTES = 8, BLOCK_UNITS = 256, BLOCKS = 3, MANY_BLOCK_BYTES = MANY * 16 * 2 };
enum {
    CELLS =
        MANY_BLOCK_BYTES * 2 > BLOCKS* BLOCK_UNITS* UNIT_BYTES ? MANY_BLOCK_BYTES * 2 : BLOCKS* BLOCK_UNITS* UNIT_BYTES
};

static uint8_t cells[CELLS];
static uint32_t block_bytes;

static bool ram_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    (void)context;
    memcpy(to, &cells[address], (size_t)bytes);
    return true;
}

static bool ram_program(void* context, uint32_t address, const void* unit) {
    (void)context;
    memcpy(&cells[address], unit, UNIT_BYTES);
    return true;
}

static bool ram_erase(void* context, uint32_t block) {
    (void)context;
    memset(&cells[block * block_bytes], 0xFF, (size_t)block_bytes);
    return true;
}

#if !PERDURE_GET_UNCHECKED
/* The check code by a table of 16 entries, 4 bits a step: polynomial 0x1021, as store/format.md has it for 16 bits. */
static uint32_t check_by_table(void* context, uint32_t state, const void* from, uint32_t bytes) {
    static const uint16_t table[16] = {0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
                                       0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF};
    const uint8_t* at = (const uint8_t*)from;
    uint16_t check = (uint16_t)(state >> 16);
    (void)context;
    for (; bytes != 0u; bytes--, at++) {
        check = (uint16_t)((uint16_t)(check << 4) ^ table[(check >> 12) ^ (*at >> 4)]);
        check = (uint16_t)((uint16_t)(check << 4) ^ table[(check >> 12) ^ (*at & 15u)]);
    }
    return (uint32_t)check << 16;
}
#endif

static perdure_port port = {ram_read, ram_program, ram_erase, NULL, NULL};

enum { WATER, SETTINGS, CALIBRATION, FAULT, RECORDS };
static const uint8_t water_fields[] = {PERDURE_FIELD(2, 9), PERDURE_FIELD(2, 14)};
static const perdure_record valve_records[RECORDS] = {{1, 8, NULL, water_fields, 0, 2, 0},
                                                      {2, 25, NULL, NULL, 0, 0, 0},
                                                      {3, 4, NULL, NULL, 0, 0, 0},
                                                      {4, 11, NULL, NULL, 0, 0, 0}};
static perdure_record many_records[MANY];

static uint32_t newest[MANY + 1];
static uint8_t totals[8], flags[BLOCKS], unit[UNIT_BYTES];
static const perdure_config valve = {&port, valve_records, newest,      NULL,       totals, flags, unit, RECORDS,
                                     0,     BLOCKS,        BLOCK_UNITS, UNIT_BYTES, 16,     0xFF,  0};
static const perdure_config many = {
    &port,      many_records, newest, NULL, totals, flags, unit, MANY, 0, 2, MANY_BLOCK_BYTES / UNIT_BYTES,
    UNIT_BYTES, 16,           0xFF,   0};
static perdure_store store;
static bool all_well = true;

typedef struct range {
    uint32_t least, most;
} range;

static void add(range* to, uint32_t count) {
    to->least = count < to->least ? count : to->least;
    to->most = count > to->most ? count : to->most;
}

static void say(const char* what, range counted) {
    board_print(what);
    board_print(": ");
    board_print_number(counted.least);
    board_print(" ");
    board_print_number(counted.most);
    board_print("\n");
}

static const range nothing = {0xFFFFFFFFu, 0};

static void fill(uint8_t* to, uint16_t bytes, uint32_t n) {
    for (uint16_t i = 0; i < bytes; i++) { to[i] = (uint8_t)(n * 7u + i); }
}

/* The valve's life in little: the total again and again, the others now and then, service when idle, a start now and
 * then. */
static void count_valve(void) {
    range open = nothing, put_total = nothing, put_value = nothing, get_total = nothing, get_value = nothing,
          service = nothing;
    uint32_t water[2] = {0, 0};
    uint8_t payload[25];
    block_bytes = BLOCK_UNITS * UNIT_BYTES;
    memset(cells, 0xFF, sizeof cells);
    all_well = perdure_format(&store, &valve) == PERDURE_OK && all_well;
    for (uint16_t n = 1; n < 1500u; n++) {
        const uint16_t other = n % 3u == 0u ? SETTINGS : n % 3u == 1u ? CALIBRATION : FAULT;
        water[0] += 7;
        water[1] += 140;
        clock_start();
        const perdure_status put = perdure_put(&store, WATER, water);
        add(&put_total, clock_stop());
        all_well = put == PERDURE_OK && all_well;
        if (n % 7u == 0u || n < 4u) {
            fill(payload, valve_records[other].bytes, n);
            clock_start();
            const perdure_status value = perdure_put(&store, other, payload);
            const uint32_t took = clock_stop();
            all_well = value == PERDURE_OK && all_well;
            if (other == CALIBRATION) { add(&put_value, took); }
        }
        if (n > 3u) {
            uint32_t found[2];
            clock_start();
            const perdure_status got = perdure_get(&store, WATER, found);
            add(&get_total, clock_stop());
            all_well = got == PERDURE_OK && found[0] == water[0] && found[1] == water[1] && all_well;
            clock_start();
            const perdure_status value = perdure_get(&store, CALIBRATION, payload);
            add(&get_value, clock_stop());
            all_well = value == PERDURE_OK && all_well;
        }
        bool more = true;
        while (more) {
            clock_start();
            more = perdure_service(&store);
            add(&service, clock_stop());
        }
        if (n % 60u == 0u) {
            clock_start();
            const perdure_status opened = perdure_open(&store, &valve, PERDURE_WRITE);
            add(&open, clock_stop());
            all_well = opened == PERDURE_OK && all_well;
        }
    }
#if !PERDURE_GET_UNCHECKED /* which changes nothing but get */
    say("open", open);
#endif
    say("get of a value of 4 bytes", get_value);
    say("get of a total of 8 bytes", get_total);
#if !PERDURE_GET_UNCHECKED
    say("put of a value of 4 bytes", put_value);
    say("put of a total of 8 bytes", put_total);
    say("service, a step", service);
#endif
}

static void count_many(void) {
    range get = nothing, open = nothing;
    uint8_t payload[4];
    for (uint16_t i = 0; i < MANY; i++) {
        many_records[i].id = (uint16_t)(1u + i * 7u);
        many_records[i].bytes = 4;
    }
    block_bytes = MANY_BLOCK_BYTES;
    memset(cells, 0xFF, sizeof cells);
    all_well = perdure_format(&store, &many) == PERDURE_OK && all_well;
    for (uint16_t i = 0; i < MANY; i++) {
        fill(payload, 4, i);
        all_well = perdure_put(&store, i, payload) == PERDURE_OK && all_well;
    }
    clock_start();
    const perdure_status opened = perdure_open(&store, &many, PERDURE_WRITE);
    add(&open, clock_stop());
    all_well = opened == PERDURE_OK && all_well;
    for (uint16_t i = 0; i < MANY; i++) {
        clock_start();
        const perdure_status got = perdure_get(&store, i, payload);
        add(&get, clock_stop());
        all_well = got == PERDURE_OK && payload[0] == (uint8_t)(i * 7u) && all_well;
    }
#if !PERDURE_GET_UNCHECKED
    say("open, many ids", open);
#endif
    say("get of 4 bytes, one of many ids", get);
}

int main(void) {
#if PERDURE_GET_UNCHECKED
    board_print("get without the check code, PERDURE_GET_UNCHECKED\n");
    count_valve();
    count_many();
#else
    board_print("check code bit by bit\n");
    count_valve();
    count_many();
    port.check = check_by_table;
    board_print("check code by a table\n");
    count_valve();
    count_many();
#endif
    board_exit(all_well);
    return 0;
}
