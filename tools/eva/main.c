/* The store over any flash contents, for Frama-C's Eva plug-in: tools/eva.py analyses this file together with store.c.
 *
 * Flash is taken at its worst: every read gives any bytes at all, or faults; nothing read twice need be the same; every
 * program and every erase may fail. So the analysis covers every contents that an area of this shape can have, whatever
 * left it there, and more. The assertions hold the store to the area: no access outside it, none across a ring block.
 */
#include "store.h"

#include "__fc_builtin.h"

enum { BLOCKS = 3, BLOCK_UNITS = 32, UNIT_BYTES = 8, RECORDS = 2, UNKNOWN = 1 };
enum { BLOCK_BYTES = BLOCK_UNITS * UNIT_BYTES, AREA_BYTES = BLOCKS * BLOCK_BYTES };

static bool flash_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    (void)context;
    /*@ assert inside: address + bytes <= AREA_BYTES; */
    /*@ assert piece: bytes <= UNIT_BYTES; */
    /*@ assert some: 0 < bytes; */
    Frama_C_make_unknown((char*)to, bytes);
    return Frama_C_interval(0, 1) != 0;
}

static bool flash_program(void* context, uint32_t address, const void* unit) {
    (void)context;
    (void)unit;
    /*@ assert inside: address <= AREA_BYTES - UNIT_BYTES; */
    return Frama_C_interval(0, 1) != 0;
}

static bool flash_erase(void* context, uint32_t block) {
    (void)context;
    /*@ assert inside: block < BLOCKS; */
    return Frama_C_interval(0, 1) != 0;
}

/* Any code at all may be the right one: so entries of all kinds are met with, and no analysis of the code's bits is
 * needed. */
static uint32_t check_any(void* context, uint32_t state, const void* from, uint32_t bytes) {
    (void)context;
    (void)state;
    (void)from;
    (void)bytes;
    return Frama_C_unsigned_int_interval(0, 0xFFFFFFFFu);
}

static const uint8_t fields[] = {PERDURE_FIELD(2, 12)};
static const perdure_record records[RECORDS] = {{1, 4, NULL, NULL, 0, 0, 0}, {2, 4, NULL, fields, 0, 1, 0}};
static uint32_t newest[RECORDS + UNKNOWN + 1];
static uint16_t unknown_ids[UNKNOWN];
static uint8_t totals[4];
static uint8_t block_flags[BLOCKS];
static uint8_t unit_buffer[UNIT_BYTES];
static const perdure_port port = {flash_read, flash_program, flash_erase, check_any, NULL};
static const perdure_config config = {
    &port,   records, newest, unknown_ids, totals,     block_flags, unit_buffer,
    RECORDS, UNKNOWN, BLOCKS, BLOCK_UNITS, UNIT_BYTES, 16,          0xFF, 0,
};
static perdure_store store;

int main(void) {
    perdure_status status = perdure_open(&store, &config, (uint8_t)Frama_C_interval(PERDURE_WRITE, PERDURE_LAZY));
    for (int calls = Frama_C_interval(0, 1000); calls != 0; calls--) {
        uint8_t payload[4];
        const uint16_t index = (uint16_t)Frama_C_interval(0, RECORDS - 1);
        switch (Frama_C_interval(0, 5)) {
        case 0:
            status = perdure_get(&store, index, payload);
            break;
        case 1:
            Frama_C_make_unknown((char*)payload, sizeof payload);
            status = perdure_put(&store, index, payload);
            break;
        case 2:
            (void)perdure_service(&store);
            break;
        case 3:
            status = perdure_format(&store, &config);
            break;
        case 4: {
            perdure_health health;
            uint32_t erases;
            perdure_get_health(&store, &health);
            (void)perdure_erase_count(&store, (uint16_t)Frama_C_interval(0, BLOCKS - 1), &erases);
            break;
        }
        default:
            status = perdure_open(&store, &config, (uint8_t)Frama_C_interval(PERDURE_WRITE, PERDURE_LAZY));
        }
    }
    return (int)status;
}
