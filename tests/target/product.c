/* product.c - see product.h. */
#include "product.h"

#include <string.h>

perdure_store stores[AREAS];

static const uint8_t total_fields[] = {PERDURE_FIELD(2, 6), PERDURE_FIELD(2, 10)};
static const perdure_record records[AREAS][RECORDS] = {
    {{1, 4, NULL, NULL, 0, 0, 0}, {2, 8, NULL, total_fields, 0, 2, 0}, {300, RECORD_BYTES_MAX, NULL, NULL, 0, 0, 0}},
    {{1, 4, NULL, NULL, 0, 0, 0}, {5, SAMPLE_BYTES, NULL, NULL, 0, 0, LOG_BATCH}, {6, 7, NULL, NULL, 0, 0, 0}},
};

static struct {
    uint32_t newest[RECORDS + 1];
    uint8_t totals[8];
    uint8_t block_flags[4];
    uint8_t unit[FLASH_UNIT_BYTES];
} ram[AREAS];

#define AREA(a)                                                                                                        \
    {                                                                                                                  \
        &flash_port_of[a], records[a], ram[a].newest, NULL, ram[a].totals, ram[a].block_flags, ram[a].unit, RECORDS,   \
            0, (a) == 0 ? 4 : 3, FLASH_BLOCK_BYTES / FLASH_UNIT_BYTES, FLASH_UNIT_BYTES, 16, 0xFF, 1                   \
    }
const perdure_config configs[AREAS] = {AREA(0), AREA(1)};

void fill(unsigned area, unsigned record, uint32_t n, uint8_t* to) {
    const uint16_t bytes = records[area][record].bytes;
    const bool total = area == 0u && record == TOTAL;
    memset(to, 0, bytes);
    for (uint16_t i = 0; n != 0u && i < bytes; i++) {
        if (total) { /* two fields that grow by 5 and 100 each time */
            to[i] = (uint8_t)((i < 4u ? 5u * n : 100u * n) >> (8u * (i % 4u)));
        } else {
            to[i] = (uint8_t)((n * 0x9E3779B1u) >> (8u * (i % 4u))) ^ (uint8_t)(i * 29u + area);
        }
    }
}

perdure_status put(unsigned area, unsigned record, uint32_t n) {
    uint8_t payload[LOG_BATCH * RECORD_BYTES_MAX];
    if (area != 1u || record != LOG) {
        fill(area, record, n, payload);
        return perdure_put(&stores[area], (uint16_t)record, payload);
    }
    for (unsigned i = 0; i < LOG_BATCH; i++) {
        fill(area, record, (n - 1u) * LOG_BATCH + i + 1u, payload + i * SAMPLE_BYTES);
    }
    return perdure_append(&stores[area], LOG, payload, LOG_BATCH);
}

perdure_status put_now(unsigned area, uint32_t n) {
    uint8_t payload[4];
    fill(area, 0, n, payload);
    return perdure_put_now(&stores[area], 0, payload);
}

struct walked {
    uint32_t next;
    bool right;
};

static bool look(void* context, uint32_t number, const void* sample) {
    struct walked* walked = (struct walked*)context;
    uint8_t wanted[SAMPLE_BYTES];
    fill(1, LOG, number + 1u, wanted);
    walked->right = walked->right && memcmp(sample, wanted, SAMPLE_BYTES) == 0 &&
                    (number == walked->next || walked->next == 0u); /* the oldest are gone */
    walked->next = number + 1u;
    return true;
}

bool reads_as(unsigned area, unsigned record, uint32_t n, bool may_be_empty) {
    uint8_t wanted[RECORD_BYTES_MAX];
    uint8_t found[RECORD_BYTES_MAX];
    if (area == 1u && record == LOG) {
        struct walked walked = {0, true};
        perdure_read_log(&stores[area], LOG, 0, look, &walked, found);
        const bool there = walked.next == n * LOG_BATCH || (may_be_empty && walked.next == 0u);
        return walked.right && there && perdure_log_next(&stores[area], LOG) == n * LOG_BATCH;
    }
    fill(area, record, n, wanted);
    return perdure_get(&stores[area], (uint16_t)record, found) == (n == 0u ? PERDURE_DEFAULT : PERDURE_OK) &&
           memcmp(wanted, found, records[area][record].bytes) == 0;
}
