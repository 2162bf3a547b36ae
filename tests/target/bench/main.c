/* main.c - the emitted bench on QEMU's mps2-an385: the flash is a file of the host, so that it outlives the whole
 * machine, and the serial line goes where QEMU is told. Whoever ends the QEMU process cuts the supply.
 *
 * The flash file is written byte by byte, an erase in pieces, as a real flash is caught half way. Semihosting:
 * "Semihosting for AArch32 and AArch64", Arm, release 2.0. The serial line: CMSDK APB UART, "Cortex-M System Design
 * Kit", Arm, DDI 0479.
 */
#include <string.h>

#include "board.h"
#include "data_bench.h"

enum { SYS_OPEN = 0x01, SYS_WRITE = 0x05, SYS_READ = 0x06, SYS_SEEK = 0x0A, MODE_RPLUS_B = 3 };
enum { FLASH_BYTES = DATA_STORE_BYTES + DATA_HISTORY_BYTES, ERASE_PIECE_BYTES = 16 };

#define LOWEST (DATA_STORE_OFFSET < DATA_HISTORY_OFFSET ? DATA_STORE_OFFSET : DATA_HISTORY_OFFSET)

static uint8_t cells[FLASH_BYTES];
static uint32_t file;

static uint32_t host(uint32_t operation, const uint32_t* arguments) {
    register uint32_t r0 __asm__("r0") = operation;
    register const uint32_t* r1 __asm__("r1") = arguments;
    __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

static void fail(const char* what) {
    board_print(what);
    board_exit(false);
}

static void open_flash(void) {
    static const char name[] = "flash.bin";
    const uint32_t open[3] = {(uint32_t)name, MODE_RPLUS_B, sizeof name - 1u};
    file = host(SYS_OPEN, open);
    if (file == 0xFFFFFFFFu) { fail("no flash.bin\n"); }
    const uint32_t read[3] = {file, (uint32_t)cells, FLASH_BYTES};
    if (host(SYS_READ, read) != 0u) { fail("flash.bin is too short\n"); }
}

static void write_out(uint32_t at, uint32_t bytes) {
    const uint32_t seek[2] = {file, at};
    const uint32_t write[3] = {file, (uint32_t)&cells[at], bytes};
    if (host(SYS_SEEK, seek) != 0u || host(SYS_WRITE, write) != 0u) { fail("flash.bin cannot be written\n"); }
}

bool data_port_read(uint32_t offset, void* to, uint32_t bytes) {
    memcpy(to, &cells[offset - LOWEST], bytes);
    return true;
}

bool data_port_program(uint32_t offset, const void* unit) {
    const uint8_t* from = (const uint8_t*)unit;
    const uint32_t at = offset - LOWEST;
    for (uint32_t i = 0; i < DATA_UNIT_BYTES; i++) {
        cells[at + i] &= from[i];
        write_out(at + i, 1);
    }
    return true;
}

bool data_port_erase(uint32_t offset) {
    const uint32_t at = offset - LOWEST;
    memset(&cells[at], 0xFF, DATA_ERASE_BLOCK_BYTES);
    for (uint32_t i = 0; i < DATA_ERASE_BLOCK_BYTES; i += ERASE_PIECE_BYTES) { write_out(at + i, ERASE_PIECE_BYTES); }
    return true;
}

#define UART_DATA (*(volatile uint32_t*)0x40004000u)
#define UART_STATE (*(volatile uint32_t*)0x40004004u)
#define UART_CONTROL (*(volatile uint32_t*)0x40004008u)
#define UART_DIVIDER (*(volatile uint32_t*)0x40004010u)

void data_bench_send(const char* text, uint8_t bytes) {
    for (uint8_t i = 0; i < bytes; i++) {
        while ((UART_STATE & 1u) != 0u) { /* full */
        }
        UART_DATA = (uint8_t)text[i];
    }
    while ((UART_STATE & 1u) != 0u) {}
}

int main(void) {
    UART_DIVIDER = 16;
    UART_CONTROL = 1; /* sends */
    open_flash();
    data_bench_run();
    fail("the bench has stopped; its log says why\n");
    return 0;
}
