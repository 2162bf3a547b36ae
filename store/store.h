/* store.h - keeps records in a microcontroller's own flash for the whole life of a product.
 *
 * Copy this folder, fill in a port (port.h), describe the flash and the records in a perdure_config, and call:
 *
 *     perdure_open      once after reset: finds the newest value of every record, whatever the last power cut did
 *     perdure_get       reads a record
 *     perdure_put       stores a record; when it returns PERDURE_OK no power cut can take it back
 *     perdure_append    adds samples to a log; perdure_read_log reads them, oldest first
 *     perdure_put_now   when the supply fails: stores one declared record with no erase and no copying
 *     perdure_service   when idle: one bounded step of background work, so that put need not erase
 *     perdure_format    begins afresh; never called by the store itself
 *
 * The promises and how they are kept are in README.md; every byte in flash is in format.md.
 * One call at a time: the store may not be entered again from an interrupt while a call is running, but for perdure_put_now.
 * Plain C99, no heap, no recursion, no global data; all memory is the caller's.
 */
#ifndef PERDURE_STORE_H
#define PERDURE_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "port.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Raised when a configuration, a call or a byte in flash changes so that what was written for the version before no longer
 * fits. Sources that were written for a version hold it against this. */
#define PERDURE_STORE_VERSION 2

/* Feature macros: set one to 0 to leave its code out. The bytes in flash stay readable by a build that has it. */
#ifndef PERDURE_TOTALS
#define PERDURE_TOTALS 1 /* records whose fields only grow, with short entries */
#endif
#ifndef PERDURE_LOGS
#define PERDURE_LOGS 1 /* records that are logs: perdure_append, perdure_read_log, perdure_log_next */
#endif
#ifndef PERDURE_PUT_NOW
#define PERDURE_PUT_NOW 1 /* perdure_put_now, and the room it needs */
#endif
#ifndef PERDURE_UNKNOWN
#define PERDURE_UNKNOWN 1 /* records of a newer firmware are kept alive through cleaning */
#endif
#ifndef PERDURE_FORMAT_CALL
#define PERDURE_FORMAT_CALL 1 /* perdure_format; without it the area has to be begun elsewhere, in the factory say */
#endif
#ifndef PERDURE_BAD_BLOCKS
#define PERDURE_BAD_BLOCKS                                                                                             \
    1 /* blocks that fail are set aside; without it the first that cannot be erased ends storing */
#endif
#ifndef PERDURE_HEALTH
#define PERDURE_HEALTH 1 /* perdure_get_health and perdure_erase_count */
#endif

/* No feature, but a choice: 1 has perdure_get return a value without computing its check code again. perdure_open has computed that
 * of every entry; what has rotted in flash since is then returned as if it were good, unless the port's read answers false. README.md
 * ("Which call when") argues for 0. */
#ifndef PERDURE_GET_UNCHECKED
#define PERDURE_GET_UNCHECKED 0
#endif

/* Only where perdure_put_now is called from an interrupt: keeps that interrupt out for a few instructions and lets it in again.
 * The store calls them in pairs, never nested, and does not touch the flash in between. */
#ifndef PERDURE_MASK
#define PERDURE_MASK() ((void)0)
#define PERDURE_UNMASK() ((void)0)
#endif

typedef enum perdure_status {
    PERDURE_OK = 0,
    PERDURE_DEFAULT,   /* get: nothing stored yet, the default was returned */
    PERDURE_BLANK,     /* open: the area is blank, or a format was begun and not finished: call perdure_format */
    PERDURE_FOREIGN,   /* open: the area holds something this configuration does not understand; read-only */
    PERDURE_READ_ONLY, /* nothing can be stored: opened so, or too few good blocks, or too many unknown records */
    PERDURE_BACKWARD,  /* put: a total would go backward; nothing was stored */
    PERDURE_FAULT,     /* the flash failed: get cannot read the record; put could not store it */
    PERDURE_CONFIG /* the configuration cannot work: live data and reserves do not fit the blocks; or the call is not
                        * one for this record */
} perdure_status;

/* How perdure_open opens. */
enum {
    PERDURE_WRITE = 0, /* for use: programs a restart entry and finishes what a cut interrupted, before it returns */
    PERDURE_READ = 1,  /* programs and erases nothing (bootloaders, low supply); puts are refused */
    PERDURE_LAZY =
        2 /* programs nothing before the first put or append, which then begins with the start's own work: for
                        * products that wake often and seldom store. Until then values read are as with PERDURE_READ */
};

/* One field of a total: its size in bytes as a power of two, and the low-order bits that a short entry carries (0 to 56;
 * never more than the field has; all 0: no short entries). The payload of a total is its fields, packed, little-endian. */
#define PERDURE_FIELD(size_log2, short_bits) ((uint8_t)(((size_log2) << 6) | (short_bits)))

typedef struct perdure_record {
    uint16_t id;           /* 1 to 65534, for ever; ids up to 62 take less flash */
    uint16_t bytes;        /* payload, 1 to 32767 */
    const void *defaults;  /* `bytes` bytes, or NULL for zeros */
    const uint8_t *fields; /* totals: one PERDURE_FIELD a field; NULL: a value */
    uint16_t total_offset; /* totals: where its current value lies in config->totals */
    uint8_t field_count;   /* totals */
    uint8_t batch; /* logs: most samples put as one entry, 1 to 255; `bytes` is that of one sample, and 6 bytes at
                            * `total_offset` hold where the log stands. 0: not a log */
} perdure_record;

/* Everything constant about one area. May lie in flash. The RAM it points to is the caller's, any alignment of its type. */
typedef struct perdure_config {
    const perdure_port *port;
    const perdure_record *records; /* ascending by id */
    uint32_t *newest;              /* RAM: record_count + unknown_max + 1 */
    uint16_t *unknown_ids;         /* RAM: unknown_max; may be NULL when that is 0 */
    uint8_t *totals;               /* RAM: the totals' current values; may be NULL without totals */
    uint8_t *block_flags;          /* RAM: blocks; may be NULL without PERDURE_BAD_BLOCKS */
    uint8_t *unit_buffer;          /* RAM: unit_bytes */
    uint16_t record_count;
    uint16_t unknown_max; /* records of a newer firmware that get room; more make the store read-only */
    uint16_t blocks;      /* ring blocks, 2 to 32767 */
    uint16_t block_units; /* program units in one, up to 65535; with urgent up to 65534 */
    uint16_t unit_bytes;  /* the part's program unit, or a multiple of it */
    uint8_t check_bits;   /* 8, 16, 24 or 32 */
    uint8_t blank;        /* what an erased byte reads: 0xFF or 0x00 */
    uint16_t urgent;      /* 1 + place of the record that perdure_put_now stores; 0: none */
} perdure_config;

/* The store's own state. Its fields are its own; perdure_health reads those that matter. Small ones first: 16-bit
 * instructions reach no byte beyond the first 32. */
typedef struct perdure_store {
    const perdure_config *config;
    uint8_t state; /* a perdure_status */
    uint8_t spare; /* blank blocks kept while puts are accepted */
    uint8_t mark_units;
    uint8_t stamp_units;
    uint8_t write_bits;    /* check width of what is being put */
    bool write_ok;         /* nothing of it has failed yet */
    uint16_t write_fill;   /* bytes waiting in the unit buffer */
    uint16_t head;         /* the block that is filled now */
    uint16_t unit;         /* its next free unit */
    uint16_t blanks;       /* erased and stamped blocks after the head */
    uint16_t reserve;      /* units kept free for perdure_put_now while no blank block is left */
    uint16_t live_max;     /* units of the largest entry seen or configured */
    uint16_t pending;      /* block whose erase may be unfinished, or NONE */
    uint16_t newest_index; /* while opening: record of the newest entry, or NONE */
    uint16_t faults;
    uint16_t recovered;
    uint32_t sequence;     /* of the head block */
    uint32_t head_check;   /* check code state after the head's sequence number */
    uint32_t newest_from;  /* while opening: from where the next restart entry voids */
    uint32_t newest_place; /* while opening: of the newest entry */
    uint32_t write_place;  /* of the unit that is being filled */
    uint32_t write_check;  /* check code state of the entry that is being put */
    uint32_t programs;
} perdure_store;

typedef struct perdure_health {
    uint32_t programs;   /* units programmed since open */
    uint32_t sequence;   /* blocks opened since format, the head included */
    uint16_t blocks_bad; /* set aside */
    uint16_t faults;     /* programs and erases that failed, entries that could not be copied, since open */
    uint16_t recovered;  /* bad units stepped over by this open */
    uint16_t blanks;     /* blocks erased in advance */
} perdure_health;

/* Opens the area: reads all of it, puts a restart entry, finishes what a cut interrupted.
 * Returns PERDURE_OK, PERDURE_BLANK, PERDURE_FOREIGN, PERDURE_READ_ONLY, PERDURE_FAULT or PERDURE_CONFIG.
 * `mode` is PERDURE_WRITE, PERDURE_READ or PERDURE_LAZY. With the latter two nothing is programmed or erased: values read are
 * those of the last completed put or of the one that was cut, and may still change: at the next start, and with PERDURE_LAZY no
 * more once the first put has returned.
 * `config` must stay valid as long as the store is used. */
perdure_status perdure_open(perdure_store *store, const perdure_config *config, uint8_t mode);

/* Copies record `index` (its place in config->records) to `to`, config->records[index].bytes bytes.
 * Returns PERDURE_OK; PERDURE_DEFAULT when nothing was ever stored (`to` holds the default);
 * PERDURE_FAULT when the stored value cannot be read (`to` is not to be used); with PERDURE_GET_UNCHECKED only if the port says so.
 * A value stored by a firmware with a shorter record is completed with the default's last bytes.
 * Not for a log: perdure_read_log reads those, and perdure_log_next and perdure_read_log are for nothing else. */
perdure_status perdure_get(const perdure_store *store, uint16_t index, void *to);

/* Stores record `index` from `from`. On PERDURE_OK the value survives any power cut. On a cut during the call the
 * record reads afterwards as before or as new, whole. Other results: PERDURE_READ_ONLY, PERDURE_BACKWARD, PERDURE_FAULT:
 * the record keeps its value. */
perdure_status perdure_put(perdure_store *store, uint16_t index, const void *from);

#if PERDURE_LOGS
/* Adds `count` samples, 1 to the record's `batch`, to the log `index` as one entry: after a cut all of them are there or none is.
 * Results as those of perdure_put; PERDURE_CONFIG when `count` is not allowed. Samples are numbered from 0 for ever. */
perdure_status perdure_append(perdure_store *store, uint16_t index, const void *samples, uint8_t count);

/* The number that the next sample of log `index` gets. */
uint32_t perdure_log_next(const perdure_store *store, uint16_t index);

/* Is shown a sample of a log: `sample` holds it as it was appended. False: no more. */
typedef bool perdure_visit(void *context, uint32_t number, const void *sample);

/* Shows the samples of log `index` with numbers from `from` on that are still there, in order of their numbers. Where a number
 * does not follow the one before, samples are lost. `sample` is the caller's room for one sample. `visit` may call
 * nothing of this store that programs. */
void perdure_read_log(const perdure_store *store, uint16_t index, uint32_t from, perdure_visit *visit, void *context,
                      void *sample);
#endif

#if PERDURE_PUT_NOW
/* Stores the record that config->urgent names, when the supply fails: no erase, no copying, at most
 * units(5 + full entry) programs. It may interrupt any call but perdure_open, perdure_format and itself; see "When the supply
 * fails" in README.md. Whatever it interrupted programs and erases nothing more and did not happen unless it had
 * returned; the store then is read-only until it is opened again. A total is not checked for going backward.
 * Returns PERDURE_OK, PERDURE_FAULT, PERDURE_READ_ONLY when the store was not open for use, PERDURE_CONFIG for another record. */
perdure_status perdure_put_now(perdure_store *store, uint16_t index, const void *from);
#endif

/* One bounded step of background work: at most one entry copied, or one block erased. True if more is due now. */
bool perdure_service(perdure_store *store);

/* What is wrong with `config`, in words that begin with the field's name, or NULL. `record`: the place in its table of
 * the record that is meant, 0xFFFF if none is. In check_config.c, for a firmware's tests: the other calls check only that the
 * data fit, and what they do with any other mistake is undefined. Whether the data fit is not checked here: open tells. */
const char *perdure_check_config(const perdure_config *config, uint16_t *record);

#if PERDURE_FORMAT_CALL
/* Erases the whole area and begins afresh; the erase counts are carried on. Everything stored is gone. Afterwards the
 * store is open. A cut during format leaves the area as it was, or formatted, or one that perdure_open reports as
 * PERDURE_BLANK; then call it again, which may be cut as well. It may be PERDURE_FOREIGN instead as long as no stamp is
 * whole: where the area was blank or foreign before and the cut came in the first erase or stamp, and on two blocks
 * where two formats in a row were cut. Who knows that a format was begun calls it again then too. */
perdure_status perdure_format(perdure_store *store, const perdure_config *config);
#endif

#if PERDURE_HEALTH
/* Figures about the store since it was opened. Never fails. */
void perdure_get_health(const perdure_store *store, perdure_health *health);

/* Erase count of ring block `block` from its stamp; false if the stamp cannot be read. */
bool perdure_erase_count(const perdure_store *store, uint16_t block, uint32_t *count);
#endif

#ifdef __cplusplus
}
#endif
#endif
