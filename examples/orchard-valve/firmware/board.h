/* board.h - what main.c needs of the board: text to the host, a reset, an end. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

void board_print(const char *text);
void board_print_number(uint32_t number);
void board_reset(void);          /* as the reset pin: RAM outside .noinit begins anew; does not return */
void board_exit(bool all_holds); /* ends QEMU with 0 or 1; does not return */

#endif
