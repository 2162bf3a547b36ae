/* avr_board.c - board.h and clock.h for an ATmega1284P under simavr: text through a register that simavr prints, cycles
 * by timer 1 (the part's data sheet, "16-bit Timer/Counter1"). It ends when the processor sleeps with interrupts off.
 */
#include <avr/avr_mcu_section.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "board.h"
#include "clock.h"

AVR_MCU(16000000, "atmega1284p");
AVR_MCU_SIMAVR_CONSOLE(&GPIOR0);

static volatile uint16_t wraps;

ISR(TIMER1_OVF_vect) {
    wraps++;
}

void board_print(const char* text) {
    for (; *text != '\0'; text++) {
        GPIOR0 = (uint8_t)(*text == '\n' ? '\r' : *text); /* simavr prints a line at its end */
    }
}

void board_print_number(uint32_t number) {
    char text[11];
    uint8_t at = sizeof text - 1u;
    text[at] = '\0';
    do {
        at--;
        text[at] = (char)('0' + (int)(number % 10u));
        number /= 10u;
    } while (number != 0u);
    board_print(&text[at]);
}

void board_reset(void) {
    for (;;) {}
}

void board_exit(bool all_holds) {
    board_print(all_holds ? "holds\n" : "does not hold\n");
    cli();
    sleep_mode();
    for (;;) {}
}

static uint32_t now(void) {
    cli();
    const uint16_t low = TCNT1;
    uint16_t high = wraps;
    if ((TIFR1 & 1u) != 0u && low < 0x8000u) { /* has wrapped, and the interrupt is still to come */
        high++;
    }
    sei();
    return ((uint32_t)high << 16) | low;
}

static uint32_t begun;
static uint32_t empty;

void clock_start(void) {
    if (TCCR1B == 0u) {
        TIMSK1 = 1; /* on overflow */
        TCCR1B = 1; /* the processor's clock */
        begun = now();
        empty = now() - begun;
    }
    begun = now();
}

uint32_t clock_stop(void) {
    return now() - begun - empty;
}
