/* clock.h - counts what a call takes. On a Cortex-M3 under QEMU, whose clock goes on by 64 ns an instruction (-icount
 * shift=6), in instructions; on an AVR under simavr in cycles of its clock.
 */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

void clock_start(void);
uint32_t clock_stop(void); /* since clock_start, what starting and stopping takes taken off */

#endif
