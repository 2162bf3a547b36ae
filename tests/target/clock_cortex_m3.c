/* clock_cortex_m3.c - see clock.h. The timer of mps2-an385 counts at 25 MHz: 1.6 ticks an instruction. It wraps after
 * 10 million. */
#include "clock.h"

#include "board.h"
#include "processor.h"

static uint32_t now(void) {
    return 0xFFFFFFu - SYST_CVR;
}

static uint32_t begun;
static uint32_t empty; /* ticks that an empty measurement takes */

void clock_start(void) {
    if ((SYST_CSR & 1u) == 0u) {
        SYST_RVR = 0xFFFFFFu;
        SYST_CVR = 0;
        SYST_CSR = 5u;           /* processor's clock, no interrupt, on */
        while (SYST_CVR == 0u) { /* until it has begun */
        }
        begun = now();
        empty = now() - begun;
    }
    begun = now();
}

uint32_t clock_stop(void) {
    const uint32_t ticks = ((now() - begun) & 0xFFFFFFu) - empty;
    return (ticks * 5u + 4u) / 8u;
}
