/* flash.c - see flash.h. */
#include "flash.h"

#include <string.h>

#include "processor.h"

#ifdef __arm__
__attribute__((section(".noinit"))) /* outlives a reset */
#endif
uint8_t flash_cells[FLASH_BYTES];

/* The flash's registers, as it were. */
static volatile struct {
    flash_activity activity;
    uint32_t address;
    uint32_t done;
    uint8_t unit[FLASH_UNIT_BYTES];
} under_way;

static uint32_t begun;

const uint32_t flash_first_block[2] = {0, 4};

void flash_blank(void) {
    memset(flash_cells, 0xFF, sizeof flash_cells);
}

flash_activity flash_under_way(void) {
    return under_way.activity;
}

uint32_t flash_begun(void) {
    return begun;
}

/* One byte more of what is under way. A controller does this beside the processor, so no interrupt comes in its middle.
 */
static void step(void) {
    const uint32_t enabled = interrupts_off();
    const uint32_t at = under_way.done;
    if (under_way.activity == FLASH_PROGRAM && at < FLASH_UNIT_BYTES) {
        flash_cells[under_way.address + at] &= under_way.unit[at];
    } else if (under_way.activity == FLASH_ERASE && at < FLASH_BLOCK_BYTES) {
        flash_cells[under_way.address + at] = 0xFF;
    } else {
        under_way.activity = FLASH_IDLE;
    }
    under_way.done = at + 1u;
    interrupts_back(enabled);
}

/* Waits until the flash is idle, then gives it this to do and waits for that. The interrupt must not come while the
 * registers are written: it would leave them changed. */
static void operate(flash_activity activity, uint32_t address, const uint8_t* unit) {
    const uint32_t enabled = interrupts_off();
    while (under_way.activity != FLASH_IDLE) { step(); }
    begun++;
    under_way.address = address;
    under_way.done = 0;
    for (uint32_t i = 0; unit != NULL && i < FLASH_UNIT_BYTES; i++) { under_way.unit[i] = unit[i]; }
    under_way.activity = activity;
    interrupts_back(enabled);
    while (under_way.activity != FLASH_IDLE) { step(); }
}

static uint32_t start_of(void* context) {
    const uint32_t* first_block = (const uint32_t*)context;
    return *first_block * FLASH_BLOCK_BYTES;
}

static bool flash_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    memcpy(to, &flash_cells[start_of(context) + address], bytes);
    return true;
}

static bool flash_program(void* context, uint32_t address, const void* unit) {
    operate(FLASH_PROGRAM, start_of(context) + address, (const uint8_t*)unit);
    return true;
}

static bool flash_erase(void* context, uint32_t block) {
    operate(FLASH_ERASE, start_of(context) + block * FLASH_BLOCK_BYTES, NULL);
    return true;
}

const perdure_port flash_port_of[2] = {
    {flash_read, flash_program, flash_erase, NULL, (void*)&flash_first_block[0]},
    {flash_read, flash_program, flash_erase, NULL, (void*)&flash_first_block[1]},
};

void flash_cut(uint32_t (*random)(void)) {
    const uint32_t bytes = under_way.activity == FLASH_ERASE ? FLASH_BLOCK_BYTES : FLASH_UNIT_BYTES;
    if (under_way.activity == FLASH_IDLE) { return; }
    for (uint32_t i = 0; i < bytes; i++) {
        uint8_t* cell = &flash_cells[under_way.address + i];
        const uint8_t wanted = under_way.activity == FLASH_ERASE ? (uint8_t)0xFF : (uint8_t)(*cell & under_way.unit[i]);
        const uint32_t bits = random();
        *cell = (uint8_t)((wanted & bits) | (*cell & ~bits));
    }
}
