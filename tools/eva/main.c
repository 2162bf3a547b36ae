/* The store over any flash contents, for Frama-C's Eva plug-in: tools/eva.py analyses this file together with store.c.
 *
 * Flash is taken at its worst: every read gives any bytes at all, or faults; nothing read twice need be the same; every
 * program and every erase may fail. So the analysis covers every contents that an area of this shape can have, whatever
 * left it there, and more. The assertions hold the store to the area: no access outside it, none across a ring block.
 */
#include "store.h"

#include "__fc_builtin.h"

enum { BLOCKS = 3, BLOCK_UNITS = 40, UNIT_BYTES = 8, UNKNOWN = 1 };
enum { VALUE = 0, SECOND = 1, RECORDS = 2 };
enum { BYTES = 4, SAMPLE_BYTES = 2, BATCH = 3, LOG_STATE_BYTES = 6 };
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

#if PERDURE_LOGS /* the second record is a log, else a total with short entries */
static const perdure_record records[RECORDS] = {{1, BYTES, NULL, NULL, 0, 0, 0},
                                                {2, SAMPLE_BYTES, NULL, NULL, 0, 0, BATCH}};
#else
static const uint8_t fields[] = {PERDURE_FIELD(2, 12)};
static const perdure_record records[RECORDS] = {{1, BYTES, NULL, NULL, 0, 0, 0}, {2, BYTES, NULL, fields, 0, 1, 0}};
#endif
static uint32_t newest[RECORDS + UNKNOWN + 1];
static uint16_t unknown_ids[UNKNOWN];
static uint8_t totals[LOG_STATE_BYTES];
static uint8_t block_flags[BLOCKS];
static uint8_t unit_buffer[UNIT_BYTES];
static const perdure_port port = {flash_read, flash_program, flash_erase, check_any, NULL};
static const perdure_config config = {
    &port,   records, newest,      unknown_ids, totals, block_flags, unit_buffer, RECORDS,
    UNKNOWN, BLOCKS,  BLOCK_UNITS, UNIT_BYTES,  16,     0xFF,        1 + VALUE,
};
static perdure_store store;

#if PERDURE_LOGS
static bool visit(void* context, uint32_t number, const void* sample) {
    (void)context;
    (void)number;
    /*@ assert room: \valid_read((const uint8_t*)sample + (0 .. SAMPLE_BYTES - 1)); */
    (void)sample;
    return Frama_C_interval(0, 1) != 0;
}

/* What the product does with the second record. */
static void use_second(void) {
    uint8_t samples[BATCH * SAMPLE_BYTES];
    if (Frama_C_interval(0, 1) != 0) {
        Frama_C_make_unknown((char*)samples, sizeof samples);
        (void)perdure_append(&store, SECOND, samples, (uint8_t)Frama_C_interval(0, BATCH + 1));
    } else {
        perdure_read_log(&store, SECOND, Frama_C_unsigned_int_interval(0, 0xFFFFFFFFu), visit, NULL, samples);
        (void)perdure_log_next(&store, SECOND);
    }
}
#else
static void use_second(void) {
    uint8_t payload[BYTES];
    if (Frama_C_interval(0, 1) != 0) {
        Frama_C_make_unknown((char*)payload, sizeof payload);
        (void)perdure_put(&store, SECOND, payload);
    } else {
        (void)perdure_get(&store, SECOND, payload);
    }
}
#endif

int main(void) {
    perdure_status status = perdure_open(&store, &config, (uint8_t)Frama_C_interval(PERDURE_WRITE, PERDURE_LAZY));
    for (int calls = Frama_C_interval(0, 1000); calls != 0; calls--) {
        uint8_t payload[BYTES];
        switch (Frama_C_interval(0, 7)) {
        case 0:
            status = perdure_get(&store, VALUE, payload);
            break;
        case 1:
            Frama_C_make_unknown((char*)payload, sizeof payload);
            status = perdure_put(&store, VALUE, payload);
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
        case 5:
            use_second();
            break;
        case 6:
            Frama_C_make_unknown((char*)payload, sizeof payload);
            status = perdure_put_now(&store, VALUE, payload);
            break;
        default:
            status = perdure_open(&store, &config, (uint8_t)Frama_C_interval(PERDURE_WRITE, PERDURE_LAZY));
        }
    }
    return (int)status;
}
