/* processor.h - a Cortex-M3's interrupt mask and its timer ("Armv7-M Architecture Reference Manual", Arm, DDI 0403:
 * PRIMASK in B1.4.3, SysTick in B3.3).
 */
#ifndef PROCESSOR_H
#define PROCESSOR_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __arm__
/* Keeps interrupts out; gives what interrupts_back needs to let in again only what was let in before. */
static inline uint32_t interrupts_off(void) {
    uint32_t before;
    __asm__ volatile("mrs %0, primask\n cpsid i" : "=r"(before)::"memory");
    return before;
}

static inline void interrupts_back(uint32_t before) {
    __asm__ volatile("msr primask, %0" ::"r"(before) : "memory");
}

#define SYST_CSR (*(volatile uint32_t*)0xE000E010u)
#define SYST_RVR (*(volatile uint32_t*)0xE000E014u)
#define SYST_CVR (*(volatile uint32_t*)0xE000E018u)
#define ICSR (*(volatile uint32_t*)0xE000ED04u)

/* The timer's interrupt after `ticks` of the processor's clock, 1 to 0xFFFFFF. systick_handler stops it. */
static inline void timer_start(uint32_t ticks) {
    SYST_CSR = 0;
    SYST_RVR = ticks;
    SYST_CVR = 0;
    SYST_CSR = 7u; /* processor's clock, interrupt, on */
}

static inline void timer_stop(void) {
    SYST_CSR = 0;
    ICSR = 1u << 25; /* PENDSTCLR */
}

#else /* a processor without interrupts of ours: bytes.c */
static inline uint32_t interrupts_off(void) {
    return 0;
}
static inline void interrupts_back(uint32_t before) {
    (void)before;
}
#endif

#endif
