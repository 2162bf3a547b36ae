/* interrupts.c - the save when the supply fails, from an interrupt at any instruction of the other calls, on a
 * Cortex-M3.
 *
 * For each call, from many fills of the ring, the timer strikes after 1, 1 + STRIDE, 1 + 2 * STRIDE, ... ticks, until
 * the call comes through without it. Its handler saves. What the store promises of that save is held against what each
 * record reads as at the next start, and nothing may be programmed after it but what was in the port already. Ends with
 * 0 if all holds.
 */
#include <string.h>

#include "board.h"
#include "processor.h"
#include "product.h"

#ifndef STRIDE
#define STRIDE 97u
#endif
#ifndef FILLS
#define FILLS 23u
#endif

static uint32_t trials, interrupted_trials, in_program, in_erase, failures;

static void need(bool holds, const char* what, unsigned area, unsigned call, uint32_t ticks) {
    if (holds) { return; }
    failures++;
    if (failures <= 20u) {
        board_print("does not hold: ");
        board_print(what);
        board_print(" (area ");
        board_print_number(area);
        board_print(", call ");
        board_print_number(call);
        board_print(", after ticks ");
        board_print_number(ticks);
        board_print(")\n");
    }
}

/* What the interrupt does, and saw. */
static struct {
    unsigned area;
    uint32_t n;
    uint32_t came; /* how often */
    perdure_status status;
    flash_activity found;
    uint32_t begun_after;
    uint8_t cells_after[FLASH_BYTES];
} strike;

void systick_handler(void);
void systick_handler(void) {
    timer_stop();
    strike.came++;
    strike.found = flash_under_way();
    strike.status = put_now(strike.area, strike.n);
    strike.begun_after = flash_begun();
    memcpy(strike.cells_after, flash_cells, sizeof flash_cells);
}

/* The calls: a put of each record, service until it is done, a get and a walk. */
enum { PUT = 0, SERVICE = RECORDS, READ };
#ifndef FIRST_CALL
#define FIRST_CALL PUT
#define LAST_CALL READ
#endif
#ifndef AREAS_TRIED
#define AREAS_TRIED AREAS /* from the first on */
#endif

static uint32_t number_of[AREAS][RECORDS];

/* True if it did what it was asked to. */
static bool call(unsigned area, unsigned which) {
    if (which < SERVICE) { return put(area, which, number_of[area][which] + 1u) == PERDURE_OK; }
    if (which == SERVICE) {
        while (perdure_service(&stores[area])) {}
        return true;
    }
    bool right = true;
    for (unsigned record = 0; record < RECORDS; record++) {
        right = reads_as(area, record, number_of[area][record], false) && right;
    }
    return right;
}

/* Ring cells of the area that differ from those right after the save. */
static bool cells_changed(void) {
    return memcmp(strike.cells_after, flash_cells, sizeof flash_cells) != 0;
}

/* One call with the interrupt after `ticks`. True if it came. */
static bool try_after(unsigned area, unsigned which, uint32_t ticks) {
    strike.area = area;
    strike.n = number_of[area][0] + 1000u + ticks;
    strike.came = 0;
    trials++;
    timer_start(ticks);
    const bool done = call(area, which);
    timer_stop();
    if (strike.came == 0u) {
        need(done, "without an interrupt the call succeeds", area, which, ticks);
        return false;
    }
    interrupted_trials++;
    in_program += strike.found == FLASH_PROGRAM ? 1u : 0u;
    in_erase += strike.found == FLASH_ERASE ? 1u : 0u;
    need(strike.came == 1u, "the interrupt came once", area, which, ticks);
    need(strike.status == PERDURE_OK, "the save succeeds", area, which, ticks);
    /* A call of the port that had been entered, and had not begun, may still come. */
    const uint32_t late = flash_begun() - strike.begun_after;
    need(late <= 1u, "nothing is begun after the save but what was in the port", area, which, ticks);
    need(late == 1u || strike.found == FLASH_PROGRAM || strike.found == FLASH_ERASE || !cells_changed(),
         "nothing changes in flash after the save", area, which, ticks);
    need(put(area, 2, number_of[area][2] + 1u) == PERDURE_READ_ONLY, "after the save nothing is stored", area, which,
         ticks);
    const perdure_status opened = perdure_open(&stores[area], &configs[area], PERDURE_WRITE);
    need(opened == PERDURE_OK, "it opens after the save", area, which, ticks);
    for (unsigned record = 0; record < RECORDS; record++) {
        const uint32_t before = number_of[area][record];
        if (record == 0u) {
            need(reads_as(area, 0, strike.n, false), "what was saved reads as saved", area, which, ticks);
        } else if (record == which && done) {
            need(reads_as(area, record, before + 1u, false), "what had returned stays", area, which, ticks);
        } else {
            need(reads_as(area, record, before, false), "what had not returned did not happen, the others stay", area,
                 which, ticks);
        }
    }
    return true;
}

static uint8_t kept[FLASH_BYTES];

int main(void) {
    for (unsigned area = 0; area < AREAS_TRIED; area++) {
        flash_blank();
        memset(number_of, 0, sizeof number_of);
        if (perdure_format(&stores[area], &configs[area]) != PERDURE_OK) {
            board_print("no format\n");
            board_exit(false);
        }
        for (unsigned record = 0; record < RECORDS; record++) {
            need(put(area, record, ++number_of[area][record]) == PERDURE_OK, "a put", area, record, 0);
        }
        for (uint32_t fill = 0; fill < FILLS; fill++) {
            memcpy(kept, flash_cells, sizeof kept);
            for (unsigned which = FIRST_CALL; which <= LAST_CALL; which++) {
                bool came = true;
                for (uint32_t ticks = 1u + fill * 5u; came; ticks += STRIDE) {
                    memcpy(flash_cells, kept, sizeof kept);
                    need(perdure_open(&stores[area], &configs[area], PERDURE_WRITE) == PERDURE_OK, "it opens", area,
                         which, ticks);
                    came = try_after(area, which, ticks);
                }
            }
            memcpy(flash_cells, kept, sizeof kept);
            (void)perdure_open(&stores[area], &configs[area], PERDURE_WRITE);
            for (unsigned i = 0; i < 3u; i++) {
                const unsigned record = (fill + i) % RECORDS;
                need(put(area, record, ++number_of[area][record]) == PERDURE_OK, "a put", area, record, 0);
            }
        }
    }
    board_print("interrupted ");
    board_print_number(interrupted_trials);
    board_print(" of ");
    board_print_number(trials);
    board_print(" calls, ");
    board_print_number(in_program);
    board_print(" in a program, ");
    board_print_number(in_erase);
    board_print(" in an erase; ");
    board_print_number(failures);
    board_print(" do not hold\n");
    board_exit(failures == 0u && in_program > 0u && (in_erase > 0u || FILLS < 10u));
    return 0;
}
