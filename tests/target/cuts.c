/* cuts.c - a thousand power cuts on a Cortex-M3: the machine is reset at an instruction chosen by chance, while it
 * puts, appends, cleans and starts, and what the flash had under way is left half done by chance. Each start is held
 * against a model.
 *
 * The flash, the model and the generator of chance outlive a reset (.noinit), so the run is the same each time. Ends
 * with 0 if all holds.
 */
#include <string.h>

#include "board.h"
#include "processor.h"
#include "product.h"

#ifndef CUTS
#define CUTS 1000u
#endif

enum { MAGIC = 0x43555453, STARTS_CUT_IN_A_ROW_MAX = 1 }; /* promise 1: two on four blocks, one on fewer */

/* What has to hold. */
static struct {
    uint32_t magic, seed, cuts, puts;
    uint32_t in_program, in_erase, in_open, in_doubt, kept_new;
    uint32_t starts_cut_in_a_row;
    uint32_t acknowledged[AREAS][RECORDS];
    uint32_t appended_in; /* sequence number of the block with the last batch */
    bool opening;         /* the cut came in a start */
    bool putting;         /* a put of `area`, `record` had begun and had not returned */
    unsigned area, record;
} model __attribute__((section(".noinit")));

static uint32_t random_number(void) { /* xorshift32: Marsaglia, "Xorshift RNGs", 2003 */
    model.seed ^= model.seed << 13;
    model.seed ^= model.seed >> 17;
    model.seed ^= model.seed << 5;
    return model.seed;
}

static void say(const char* text, uint32_t number) {
    board_print(text);
    board_print_number(number);
}

static void need(bool holds, const char* what, unsigned area, unsigned record) {
    if (holds) { return; }
    board_print("does not hold: ");
    board_print(what);
    say(" (area ", area);
    say(", record ", record);
    say(", cut ", model.cuts);
    board_print(")\n");
    board_exit(false);
}

/* The power goes. */
void systick_handler(void);
void systick_handler(void) {
    model.cuts++;
    model.in_program += flash_under_way() == FLASH_PROGRAM ? 1u : 0u;
    model.in_erase += flash_under_way() == FLASH_ERASE ? 1u : 0u;
    model.in_open += model.opening ? 1u : 0u;
    model.starts_cut_in_a_row = model.opening ? model.starts_cut_in_a_row + 1u : 0u;
    flash_cut(random_number);
    board_reset();
}

/* After a start: every record reads as acknowledged, or, of the one that was being put, as put. */
static void look(void) {
    for (unsigned area = 0; area < AREAS; area++) {
        for (unsigned record = 0; record < RECORDS; record++) {
            const uint32_t was = model.acknowledged[area][record];
            const bool erased = stores[area].sequence > model.appended_in; /* of the log's last batch: it may be */
            if (!model.putting || area != model.area || record != model.record) {
                need(reads_as(area, record, was, erased), "what was acknowledged reads so", area, record);
                continue;
            }
            const bool is_new = reads_as(area, record, was + 1u, false);
            need(is_new || reads_as(area, record, was, erased), "what was being put reads as before or as put", area,
                 record);
            model.in_doubt++;
            model.kept_new += is_new ? 1u : 0u;
            model.acknowledged[area][record] = was + (is_new ? 1u : 0u);
        }
    }
    model.putting = false;
}

static void start(void) {
    const bool may_be_cut = model.starts_cut_in_a_row < STARTS_CUT_IN_A_ROW_MAX && random_number() % 4u == 0u;
    model.opening = true;
    if (may_be_cut) { timer_start(1u + random_number() % 40000u); }
    for (unsigned area = 0; area < AREAS; area++) {
        const perdure_status opened = perdure_open(&stores[area], &configs[area], PERDURE_WRITE);
        need(opened == PERDURE_OK, "it opens", area, (unsigned)opened);
    }
    timer_stop();
    model.opening = false;
    model.starts_cut_in_a_row = 0;
    look();
}

/* Puts and appends by chance until the power goes. */
static void run(void) {
    timer_start(1u + random_number() % 60000u);
    for (;;) {
        const unsigned area = random_number() % AREAS;
        const unsigned record = random_number() % RECORDS;
        if (random_number() % 4u == 0u) {
            (void)perdure_service(&stores[area]);
            continue;
        }
        model.area = area;
        model.record = record;
        model.putting = true;
        const perdure_status status = put(area, record, model.acknowledged[area][record] + 1u);
        const uint32_t enabled = interrupts_off(); /* the model changes at once */
        if (status == PERDURE_OK) {
            model.acknowledged[area][record]++;
            model.appended_in = area == 1u && record == LOG ? stores[area].sequence : model.appended_in;
        }
        model.putting = false;
        model.puts++;
        interrupts_back(enabled);
        need(status == PERDURE_OK, "a put succeeds", area, record);
    }
}

static void begin(void) {
    memset(&model, 0, sizeof model);
    model.magic = MAGIC;
    model.seed = 0x2545F491u;
    flash_blank();
    for (unsigned area = 0; area < AREAS; area++) {
        need(perdure_format(&stores[area], &configs[area]) == PERDURE_OK, "format", area, 0);
    }
}

int main(void) {
    if (model.magic != MAGIC) { begin(); }
    start();
    if (model.cuts < CUTS) { run(); }
    say("", model.cuts);
    say(" cuts: ", model.in_program);
    say(" in a program, ", model.in_erase);
    say(" in an erase, ", model.in_open);
    say(" in a start; ", model.puts);
    say(" puts acknowledged, ", model.in_doubt);
    say(" cut, ", model.kept_new);
    board_print(" of those read as put\n");
    board_exit(model.in_program > 0u && model.in_erase > 0u && model.in_open > 0u && model.kept_new < model.in_doubt);
    return 0;
}
