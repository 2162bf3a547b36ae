/* mps2-an385.c - start-up, semihosting and reset for QEMU's mps2-an385, a Cortex-M3. Compiled with -ffreestanding and
 * no C library but for its memcpy, memmove, memset and memcmp.
 */
#include "board.h"

#include <stddef.h>
#include <string.h>

int main(void);
void reset_handler(void);

extern uint32_t stack_top[];
extern uint8_t data_load[];
extern uint8_t data_start[];
extern uint8_t data_end[];
extern uint8_t bss_start[];
extern uint8_t bss_end[];

/* Semihosting: operation in r0, its argument in r1 ("Semihosting for AArch32 and AArch64", Arm, release 2.0). */
enum { SYS_WRITE0 = 0x04, SYS_EXIT_EXTENDED = 0x20, ADP_STOPPED_APPLICATION_EXIT = 0x20026 };

static void semihosting(uint32_t operation, const void* argument) {
    register uint32_t r0 __asm__("r0") = operation;
    register const void* r1 __asm__("r1") = argument;
    __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
}

void board_print(const char* text) {
    semihosting(SYS_WRITE0, text);
}

void board_print_number(uint32_t number) {
    char text[11];
    size_t at = sizeof text - 1u;
    text[at] = '\0';
    do {
        at--;
        text[at] = (char)('0' + (int)(number % 10u));
        number /= 10u;
    } while (number != 0u);
    board_print(&text[at]);
}

void board_exit(bool all_holds) {
    const uint32_t block[2] = {ADP_STOPPED_APPLICATION_EXIT, all_holds ? 0u : 1u};
    semihosting(SYS_EXIT_EXTENDED, block);
    for (;;) {}
}

void board_reset(void) {
    volatile uint32_t* const aircr =
        (volatile uint32_t*)0xE000ED0Cu; /* Armv7-M Architecture Reference Manual, B3.2.6 */
    *aircr = 0x05FA0004u;                /* SYSRESETREQ */
    for (;;) {}
}

static void fault_handler(void) {
    board_print("FAILED: the processor faulted\n");
    board_exit(false);
}

void reset_handler(void) {
    memcpy(data_start, data_load, (size_t)(data_end - data_start));
    memset(bss_start, 0, (size_t)(bss_end - bss_start));
    (void)main();
    for (;;) {}
}

/* A firmware that starts the processor's timer writes one of its own. */
void systick_handler(void);
__attribute__((weak)) void systick_handler(void) {
    fault_handler();
}

/* Stack pointer, reset, NMI, hard fault, the three configurable faults, the timer. Nothing else is enabled. */
typedef void (*handler)(void);
__attribute__((section(".vectors"), used)) static const struct {
    const uint32_t* stack;
    handler handlers[15];
} vectors = {stack_top,
             {reset_handler, fault_handler, fault_handler, fault_handler, fault_handler, fault_handler, NULL, NULL, NULL,
              NULL, NULL, NULL, NULL, NULL, systick_handler}};
