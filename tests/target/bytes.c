/* bytes.c - the same calls on any processor, and the bytes they leave in flash: printed, so that two processors can be
 * compared.
 *
 * Values, a total with short entries, a log, cleaning, starts and saves when the supply fails. Ends with 0 if what is
 * read is right.
 */
#include <stdio.h>
#include <string.h>

#include "product.h"

static uint32_t seed = 0x2545F491u;

static uint32_t random_number(void) { /* xorshift32: Marsaglia, "Xorshift RNGs", 2003 */
    seed ^= seed << 13;
    seed ^= seed >> 17;
    seed ^= seed << 5;
    return seed;
}

static unsigned long failures;

static void need(bool holds, const char* what, uint32_t n) {
    if (!holds) {
        failures++;
        printf("does not hold: %s (%lu)\n", what, (unsigned long)n);
    }
}

/* FNV-1a over the flash (Fowler, Noll, Vo: draft-eastlake-fnv). */
static uint32_t print_of_flash(void) {
    uint32_t hash = 0x811C9DC5u;
    for (uint32_t i = 0; i < FLASH_BYTES; i++) { hash = (hash ^ flash_cells[i]) * 0x01000193u; }
    return hash;
}

int main(void) {
    uint32_t number[AREAS][RECORDS];
    const uint16_t word = 1;
    uint8_t first = 0;
    memset(number, 0, sizeof number);
    memcpy(&first, &word, 1);
    fprintf(stderr, "%s-endian\n", first == 1u ? "little" : "big");
    flash_blank();
    for (unsigned area = 0; area < AREAS; area++) {
        need(perdure_format(&stores[area], &configs[area]) == PERDURE_OK, "format", area);
    }
    for (uint32_t n = 0; n < 2000u; n++) {
        const unsigned area = random_number() % AREAS;
        const unsigned record = random_number() % RECORDS;
        need(put(area, record, ++number[area][record]) == PERDURE_OK, "a put", n);
        if (n % 3u == 0u) { (void)perdure_service(&stores[area]); }
        if (n % 41u == 40u) {
            number[area][0] += 1000u;
            need(put_now(area, number[area][0]) == PERDURE_OK, "a save when the supply fails", n);
        }
        if (n % 41u == 40u || n % 29u == 28u) {
            need(perdure_open(&stores[area], &configs[area], PERDURE_WRITE) == PERDURE_OK, "open", n);
        }
        for (unsigned i = 0; i < RECORDS; i++) { need(reads_as(area, i, number[area][i], true), "it reads as put", n); }
        if (n % 50u == 49u) { printf("%lu: %08lX\n", (unsigned long)n + 1u, (unsigned long)print_of_flash()); }
    }
    for (uint32_t i = 0; i < FLASH_BYTES; i++) { printf(i % 32u == 31u ? "%02X\n" : "%02X", flash_cells[i]); }
    return failures == 0u ? 0 : 1;
}
