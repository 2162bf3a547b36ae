/* port.h - what the store needs from the part's flash: three functions, and one that may be left out.
 *
 * Addresses count bytes from the start of the area. A ring block is config->block_units * config->unit_bytes
 * bytes; it may join several of the part's erase blocks, which `erase` then erases one after the other.
 * No function is called from an interrupt by the store itself.
 */
#ifndef PERDURE_PORT_H
#define PERDURE_PORT_H

#include <stdbool.h>
#include <stdint.h>

/* Where PERDURE_FEATURES is defined for all files, a header of the product sets macros of store.h: which features it has, and what
 * keeps the interrupt out that saves when the supply fails. */
#ifdef PERDURE_FEATURES
#include "perdure_features.h"
#endif

#ifdef __cplusplus
extern "C" {
#endif

typedef struct perdure_port {
    /* Copies `bytes` bytes at `address` to `to`. False if the read faulted (an ECC word that cannot be corrected);
     * a fault is an answer, so catch it and return. An erased unit has to read as blank bytes: where the part faults on
     * one, ask its blank check first. Never crosses a ring block; `bytes` is never 0. */
    bool (*read)(void *context, uint32_t address, void *to, uint32_t bytes);
    /* Programs the one unit at `address`. False if the flash reports a failure. The store reads it back itself. */
    bool (*program)(void *context, uint32_t address, const void *unit);
    /* Erases ring block number `block`. False if the flash reports a failure. */
    bool (*erase)(void *context, uint32_t block);
    /* Optional, NULL for the store's own code: carries the check code `state` over `bytes` bytes at `from`.
     * The state is left-aligned in 32 bits, most significant bit first; see "Check codes" in format.md. */
    uint32_t (*check)(void *context, uint32_t state, const void *from, uint32_t bytes);
    void *context; /* handed back to every function */
} perdure_port;

#ifdef __cplusplus
}
#endif
#endif
