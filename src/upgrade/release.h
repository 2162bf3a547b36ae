/* release.h - one release of the store behind a table of calls, so that several can stand in one program.
 *
 * Each release is compiled as an object of its own (release_calls.c around that release's store.c, its functions
 * renamed), and its structs are seen nowhere else. The calls are those of store.h, which says what they do. */
#ifndef PERDURE_UPGRADE_RELEASE_H
#define PERDURE_UPGRADE_RELEASE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What a call returned, the same numbers for every release. */
typedef enum release_status {
    RELEASE_OK,
    RELEASE_DEFAULT,
    RELEASE_BLANK,
    RELEASE_FOREIGN,
    RELEASE_READ_ONLY,
    RELEASE_BACKWARD,
    RELEASE_FAULT,
    RELEASE_CONFIG
} release_status;

/* A record as in a release's configuration. What it points to must outlive the store. */
typedef struct release_record {
    const uint8_t* defaults; /* bytes of them */
    const uint8_t* fields;   /* descriptors of a total, or NULL */
    uint16_t id;
    uint16_t bytes;
    uint8_t field_count;
    uint8_t batch; /* logs: samples an entry at most; 0: not a log */
} release_record;

/* One area, and the flash that it lies in. */
typedef struct release_setup {
    void* context; /* handed to the three functions */
    bool (*read)(void* context, uint32_t address, void* to, uint32_t bytes);
    bool (*program)(void* context, uint32_t address, const void* unit);
    bool (*erase)(void* context, uint32_t block);
    uint32_t (*check)(void* context, uint32_t state, const void* from, uint32_t bytes); /* as in port.h */
    const release_record* records;                                                      /* ascending by id */
    uint16_t record_count;
    uint16_t unknown_max;
    uint16_t blocks;
    uint16_t block_units;
    uint16_t unit_bytes;
    uint8_t check_bits;
    uint8_t blank;
    uint16_t urgent; /* 1 + place of the record that is put when the supply fails; 0: none */
} release_setup;

typedef bool release_visit(void* context, uint32_t number, const void* sample);

typedef struct store_release {
    int version; /* its PERDURE_STORE_VERSION */
    /* Memory for one store; NULL when there is none. `setup` is copied, what it points to is not. */
    void* (*create)(const release_setup* setup);
    void (*destroy)(void* store);
    release_status (*format)(void* store);
    release_status (*open)(void* store, bool lazy); /* PERDURE_LAZY instead of PERDURE_WRITE */
    release_status (*get)(const void* store, uint16_t index, void* to);
    release_status (*put)(void* store, uint16_t index, const void* from);
    release_status (*append)(void* store, uint16_t index, const void* samples, uint8_t count);
    uint32_t (*log_next)(const void* store, uint16_t index);
    /* Shows every sample; `sample` is room for one. */
    void (*read_log)(const void* store, uint16_t index, release_visit* visit, void* context, void* sample);
    release_status (*put_now)(void* store, uint16_t index, const void* from);
    bool (*service)(void* store);
    uint32_t (*sequence)(const void* store); /* blocks opened since format */
    uint16_t (*blocks_bad)(const void* store);
} store_release;

extern const store_release perdure_release_1;
extern const store_release perdure_release_2;

#ifdef __cplusplus
}
#endif
#endif
