/* release_calls.c - compiled once for each release, with that release's folder to include from and PERDURE_RELEASE its
 * number: its store.c with every function renamed, and the table of calls around it. See release.h. */
#define JOINED(a, b, c) a##b##c
#define NAMED(release, name) JOINED(perdure_release_, release, name)
#define OF_RELEASE(name) NAMED(PERDURE_RELEASE, name)

#define perdure_open OF_RELEASE(_open)
#define perdure_get OF_RELEASE(_get)
#define perdure_put OF_RELEASE(_put)
#define perdure_append OF_RELEASE(_append)
#define perdure_log_next OF_RELEASE(_log_next)
#define perdure_read_log OF_RELEASE(_read_log)
#define perdure_put_now OF_RELEASE(_put_now)
#define perdure_service OF_RELEASE(_service)
#define perdure_format OF_RELEASE(_format)
#define perdure_get_health OF_RELEASE(_get_health)
#define perdure_erase_count OF_RELEASE(_erase_count)

#include "store.c"

#include <stdlib.h>

#include "upgrade/release.h"

#if PERDURE_STORE_VERSION != PERDURE_RELEASE
#error "this folder holds another release than its name says"
#endif

typedef struct memory {
    perdure_store store;
    perdure_config config;
    perdure_port port;
    perdure_record* records;
} memory;

static release_status status_of(perdure_status status) {
    switch (status) {
    case PERDURE_OK:
        return RELEASE_OK;
    case PERDURE_DEFAULT:
        return RELEASE_DEFAULT;
    case PERDURE_BLANK:
        return RELEASE_BLANK;
    case PERDURE_FOREIGN:
        return RELEASE_FOREIGN;
    case PERDURE_READ_ONLY:
        return RELEASE_READ_ONLY;
    case PERDURE_BACKWARD:
        return RELEASE_BACKWARD;
    case PERDURE_FAULT:
        return RELEASE_FAULT;
    case PERDURE_CONFIG:
        break;
    }
    return RELEASE_CONFIG;
}

static void destroy(void* store) {
    memory* m = (memory*)store;
    free(m->records);
    free(m->config.newest);
    free(m->config.unknown_ids);
    free(m->config.totals);
    free(m->config.block_flags);
    free(m->config.unit_buffer);
    free(m);
}

/* Fills in `to` and gives the bytes that it takes among the totals. */
static uint16_t set_record(perdure_record* to, const release_record* from, uint16_t offset) {
    to->id = from->id;
    to->bytes = from->bytes;
    to->defaults = from->defaults;
    to->fields = from->fields;
    to->field_count = from->field_count;
    to->batch = from->batch;
    to->total_offset = offset;
    if (from->batch != 0u) { return 6; /* where a log stands */ }
    return from->fields != NULL ? from->bytes : 0u;
}

static void* create(const release_setup* setup) {
    memory* m = (memory*)calloc(1, sizeof *m);
    if (m == NULL) { return NULL; }
    perdure_config* c = &m->config;
    uint16_t totals = 0;
    m->port.read = setup->read;
    m->port.program = setup->program;
    m->port.erase = setup->erase;
    m->port.check = setup->check;
    m->port.context = setup->context;
    m->records = (perdure_record*)calloc(setup->record_count + 1u, sizeof *m->records);
    for (uint16_t i = 0; m->records != NULL && i < setup->record_count; i++) {
        totals = (uint16_t)(totals + set_record(&m->records[i], &setup->records[i], totals));
    }
    c->port = &m->port;
    c->records = m->records;
    c->newest = (uint32_t*)calloc(setup->record_count + setup->unknown_max + 1u, sizeof *c->newest);
    c->unknown_ids = (uint16_t*)calloc(setup->unknown_max + 1u, sizeof *c->unknown_ids);
    c->totals = (uint8_t*)calloc(totals + 1u, 1);
    c->block_flags = (uint8_t*)calloc(setup->blocks, 1);
    c->unit_buffer = (uint8_t*)calloc(setup->unit_bytes, 1);
    c->record_count = setup->record_count;
    c->unknown_max = setup->unknown_max;
    c->blocks = setup->blocks;
    c->block_units = setup->block_units;
    c->unit_bytes = setup->unit_bytes;
    c->check_bits = setup->check_bits;
    c->blank = setup->blank;
    c->urgent = setup->urgent;
    if (m->records == NULL || c->newest == NULL || c->unknown_ids == NULL || c->totals == NULL ||
        c->block_flags == NULL || c->unit_buffer == NULL) {
        destroy(m);
        return NULL;
    }
    return m;
}

static release_status format(void* store) {
    memory* m = (memory*)store;
    return status_of(perdure_format(&m->store, &m->config));
}

static release_status open(void* store, bool lazy) {
    memory* m = (memory*)store;
    return status_of(perdure_open(&m->store, &m->config, lazy ? PERDURE_LAZY : PERDURE_WRITE));
}

static release_status get(const void* store, uint16_t index, void* to) {
    return status_of(perdure_get(&((const memory*)store)->store, index, to));
}

static release_status release_put(void* store, uint16_t index, const void* from) {
    return status_of(perdure_put(&((memory*)store)->store, index, from));
}

static release_status release_append(void* store, uint16_t index, const void* samples, uint8_t count) {
    return status_of(perdure_append(&((memory*)store)->store, index, samples, count));
}

static uint32_t log_next(const void* store, uint16_t index) {
    return perdure_log_next(&((const memory*)store)->store, index);
}

static void read_log(const void* store, uint16_t index, release_visit* visit, void* context, void* sample) {
    perdure_read_log(&((const memory*)store)->store, index, 0, visit, context, sample);
}

static release_status put_now(void* store, uint16_t index, const void* from) {
    return status_of(perdure_put_now(&((memory*)store)->store, index, from));
}

static bool service(void* store) {
    return perdure_service(&((memory*)store)->store);
}

static uint32_t sequence(const void* store) {
    return ((const memory*)store)->store.sequence;
}

static uint16_t blocks_bad(const void* store) {
    perdure_health health;
    perdure_get_health(&((const memory*)store)->store, &health);
    return health.blocks_bad;
}

const store_release OF_RELEASE() = {PERDURE_RELEASE, create,   destroy,  format,  open,    get,      release_put,
                                    release_append,  log_next, read_log, put_now, service, sequence, blocks_bad};
