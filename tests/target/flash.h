/* flash.h - a flash in RAM for a processor under QEMU, slow enough to be interrupted: a program or an erase goes on
 * byte by byte while whoever began it waits. It outlives a reset, and what a reset or a cut finds under way stays half
 * done.
 */
#ifndef FLASH_H
#define FLASH_H

#include "store/store.h"

enum {
    FLASH_BLOCK_BYTES = 512,
    FLASH_BLOCKS = 7,
    FLASH_UNIT_BYTES = 8,
    FLASH_BYTES = FLASH_BLOCKS * FLASH_BLOCK_BYTES
};

/* What of an operation is under way. */
typedef enum flash_activity { FLASH_IDLE, FLASH_PROGRAM, FLASH_ERASE } flash_activity;

extern uint8_t flash_cells[FLASH_BYTES]; /* in .noinit */

void flash_blank(void);

/* The port of the blocks from `first_block` on: its context points to that number. */
extern const perdure_port flash_port_of[2];
extern const uint32_t flash_first_block[2];

flash_activity flash_under_way(void);

/* Operations that were begun so far. */
uint32_t flash_begun(void);

/* The power goes: what is under way is left with each remaining bit as it was or as it would be, as `random` says. */
void flash_cut(uint32_t (*random)(void));

#endif
