/* store.c - see store.h for the calls, README.md for the promises and why they hold, format.md for the bytes.
 *
 * Written to be small on 32-bit cores: blocks, units and counts are 32-bit in the code whatever they are in RAM, a
 * place in flash is one number, and whatever is read or programmed goes through take() or write_bytes(). */
#include "store.h"

#include <string.h>

#define NONE 0xFFFFu
#define BAD_LIST_ID 0xFFFFu
#define FORMAT_VERSION 0x10u
#define STAMP_BYTES 16u
#define STAMP_BITS 16u /* the stamp's check code has this width always: a reader needs to know nothing to read it */
#define RESTART_BYTES 5u
#define PADS 2u        /* constant units before a restart entry, beside one longest entry: README.md, "Restarts" */
#define PENDING_MAX 6u /* entries whose fate a later restart entry may still decide */
#define FIELDS_MAX 32u
#define FOREIGN_FIELDS 0x80000000u /* in newest[]: the entry's field widths are not the configured ones */
#define BLOCK_BAD 1u               /* set aside for good */
#define BLOCK_WORN 2u              /* a program failed: set aside once it has been emptied */
#define RESTART_PENDING 0x8000u    /* in a restart entry's distance: the last mark's block may not be erased yet */
#define MARK_DONE 0u
#define MARK_FORMAT 0xFFFFu
#define RESTARTS_HELD 3u       /* failed starts that a head must have room for */
#define NO_RESTART 0xFFFFFFFFu /* as the age from which an entry voids: it voids nothing */

#define LOG_BYTES 5u       /* count and number of a full log entry, which its length counts */
#define LOG_SHORT_MAX 255u /* short log entries that may rest on one full entry */
#define STATE_LAZY 0xFFu   /* in perdure_store.state: opened, but the restart entry is still owed */
#define STATE_CLOSED 0xFEu /* after perdure_put_now: whatever call it interrupted must program nothing more */

enum { TAG_RESTART = 1, TAG_RESTART_ALONE = 2, TAG_MARK = 3, TAG_LOG = 4 };
enum { KIND_SYSTEM = 0, KIND_SHORT = 0x40, KIND_VALUE = 0x80, KIND_TOTAL = 0xC0 };

/* A place in flash: block in the upper half, unit in the lower. 0 is a stamp, so it means "nowhere". */
#define PLACE(block, unit) (((uint32_t)(block) << 16) | (uint32_t)(unit))
#define BLOCK_OF(place) (((place) >> 16) & 0x7FFFu)
#define UNIT_OF(place) ((place)&0xFFFFu)

/* Where the compiler is asked for small code: what it would spread over its callers, or split, stays one function; and
 * what is on the stack for one job only is gone before the next one. */
#if defined(__OPTIMIZE_SIZE__) && defined(__GNUC__) && __GNUC__ >= 8 && !defined(__clang__)
#define OUT_OF_LINE __attribute__((noipa))
#elif defined(__OPTIMIZE_SIZE__) && defined(__GNUC__)
#define OUT_OF_LINE __attribute__((noinline))
#else
#define OUT_OF_LINE
#endif

#if PERDURE_HEALTH
#define COUNT(counter) ((counter)++)
#else
#define COUNT(counter) ((void)0)
#endif

/* ------------------------------------------------------------------------------------------------------------------
 * Check codes and addresses
 * ---------------------------------------------------------------------------------------------------------------- */

/* Generator polynomial and initial value for 8, 16, 24 and 32 bits, left-aligned: CRC-8/NRSC-5, CRC-16/IBM-3740,
 * CRC-24/OPENPGP and CRC-32/MPEG-2 of the published catalogue of parametrised CRC algorithms. */
static const uint32_t check_codes[4][2] = {
    {0x31000000u, 0xFF000000u}, {0x10210000u, 0xFFFF0000u}, {0x864CFB00u, 0xB704CE00u}, {0x04C11DB7u, 0xFFFFFFFFu}};

static uint32_t check_start(uint32_t bits) {
    return check_codes[(bits >> 3) - 1u][1];
}

static uint32_t check_over(const perdure_config *c, uint32_t bits, uint32_t state, const uint8_t *from,
                           uint32_t bytes) {
    if (c->port->check != NULL && bits == c->check_bits) {
        return c->port->check(c->port->context, state, from, bytes);
    }
    const uint32_t polynomial = check_codes[(bits >> 3) - 1u][0];
    while (bytes-- != 0u) {
        state ^= (uint32_t)*from++ << 24;
        for (uint32_t i = 8; i != 0u; i--) {
            state = (state << 1) ^ ((state >> 31) != 0u ? polynomial : 0u);
        }
    }
    return state;
}

static void put_le(uint8_t *to, uint32_t value) {
    for (uint32_t i = 0; i < 4u; i++) {
        to[i] = (uint8_t)value;
        value >>= 8;
    }
}

#if PERDURE_LOGS
static OUT_OF_LINE uint32_t get_le(const uint8_t *from) {
    uint32_t value = 0;
    for (uint32_t i = 4; i != 0u; i--) {
        value = (value << 8) | from[i - 1u];
    }
    return value;
}
#endif

static OUT_OF_LINE uint32_t units_of(const perdure_config *c, uint32_t bytes) {
    return (bytes + c->unit_bytes - 1u) / c->unit_bytes;
}

static OUT_OF_LINE uint32_t address_of(const perdure_config *c, uint32_t place) {
    return (BLOCK_OF(place) * c->block_units + UNIT_OF(place)) * c->unit_bytes;
}

static OUT_OF_LINE bool flash_read(const perdure_config *c, uint32_t address, void *to, uint32_t bytes) {
    return c->port->read(c->port->context, address, to, bytes);
}

/* Does the unit at `address` read as the unit buffer holds it? */
static bool unit_reads(const perdure_config *c, uint32_t address) {
    uint8_t raw[8];
    uint32_t bytes;
    for (uint32_t done = 0; done < c->unit_bytes; done += bytes) {
        bytes = c->unit_bytes - done;
        bytes = bytes < sizeof raw ? bytes : (uint32_t)sizeof raw;
        if (!flash_read(c, address + done, raw, bytes) || memcmp(raw, c->unit_buffer + done, bytes) != 0) {
            return false;
        }
    }
    return true;
}

static bool unit_is_blank(const perdure_config *c, uint32_t place) {
    memset(c->unit_buffer, c->blank, c->unit_bytes);
    return unit_reads(c, address_of(c, place));
}

/* The unit after the last one of `block`, from `unit` on, that is not blank; `unit` if all are. */
static OUT_OF_LINE uint32_t used_from(const perdure_config *c, uint32_t block, uint32_t unit) {
    uint32_t used = unit;
    for (; unit < c->block_units; unit++) {
        if (!unit_is_blank(c, PLACE(block, unit))) {
            used = unit + 1u;
        }
    }
    return used;
}

/* ------------------------------------------------------------------------------------------------------------------
 * The ring
 * ---------------------------------------------------------------------------------------------------------------- */

/* Steps from block `from` forward to block `to`. */
static OUT_OF_LINE uint32_t ring_distance(const perdure_config *c, uint32_t from, uint32_t to) {
    return to >= from ? to - from : to + c->blocks - from;
}

static OUT_OF_LINE uint32_t ring_next(const perdure_config *c, uint32_t block) {
    return ++block == c->blocks ? 0u : block;
}

/* The next block that is not set aside; the head counts as one, so that the search ends. */
static uint32_t ring_next_good(const perdure_store *s, uint32_t block) {
#if PERDURE_BAD_BLOCKS
    do {
        block = ring_next(s->config, block);
    } while ((s->config->block_flags[block] & BLOCK_BAD) != 0u && block != s->head);
    return block;
#else
    return ring_next(s->config, block);
#endif
}

static uint32_t ring_tail(const perdure_store *s) {
    uint32_t block = s->head;
    for (uint32_t i = 0; i <= s->blanks; i++) {
        block = ring_next_good(s, block);
    }
    return block;
}

/* Sequence number of `block`, from its distance to the head: every step round the ring counts one. The number under
 * which it waits erased is higher by the number of blocks. */
static OUT_OF_LINE uint32_t sequence_of(const perdure_store *s, uint32_t block) {
    return s->sequence - ring_distance(s->config, block, s->head);
}

/* Places in order of age: block in ring order counted from the one after the head, then unit. */
static OUT_OF_LINE uint32_t age_order(const perdure_store *s, uint32_t place) {
    return PLACE(s->config->blocks - 1u - ring_distance(s->config, BLOCK_OF(place), s->head), UNIT_OF(place));
}

/* The place of that age. */
static OUT_OF_LINE uint32_t place_of_age(const perdure_store *s, uint32_t age) {
    return PLACE(ring_distance(s->config, s->config->blocks - 1u - (age >> 16), s->head), UNIT_OF(age));
}

static uint32_t room(const perdure_store *s) {
    return (uint32_t)s->config->block_units - s->unit;
}

/* May something still be programmed or erased? Not after perdure_put_now, which this call may have been interrupted by. */
static bool not_closed(const perdure_store *s) {
#if PERDURE_PUT_NOW
    return s->state != STATE_CLOSED;
#else
    (void)s;
    return true;
#endif
}

/* Has the head room for `units`? While no blank block is left that perdure_put_now could go to, its room is kept too. */
static OUT_OF_LINE bool fits(const perdure_store *s, uint32_t units) {
#if PERDURE_PUT_NOW
    if (s->blanks == 0u) {
        units += s->reserve;
    }
#endif
    return room(s) >= units;
}

#if PERDURE_BAD_BLOCKS
static uint32_t bad_count(const perdure_config *c) {
    uint32_t count = 0;
    for (uint32_t i = 0; i < c->blocks; i++) {
        count += c->block_flags[i] & BLOCK_BAD;
    }
    return count;
}
#else
#define bad_count(c) 0u
#endif

/* Records, the list of blocks set aside, and records of a newer firmware: places in newest[]. */
static uint32_t slots(const perdure_config *c) {
#if PERDURE_UNKNOWN
    return c->record_count + 1u + c->unknown_max;
#else
    return c->record_count + 1u;
#endif
}

/* ------------------------------------------------------------------------------------------------------------------
 * Reading an entry
 * ---------------------------------------------------------------------------------------------------------------- */

#define PIECE 8u /* bytes read at a time, at most */

/* A stamp or an entry, and how far it has been read. It is read in pieces of no more than a unit: asking for no unit beyond
 * the entry keeps a torn neighbour's fault out of it. Small members first, as in perdure_store. */
typedef struct entry {
    uint8_t field_count; /* of the last full entry of a total */
    uint8_t log_count;   /* of samples of the last full log entry; 0: the last full entry was that of a total */
    /* From here on of one entry. */
    uint8_t next; /* of the piece */
    uint8_t have;
    uint8_t check_bits;
    uint8_t kind;
    uint8_t tag;  /* system tag, or 0 */
    bool pending; /* restart: the erase that the last mark speaks of may be unfinished */
    bool ok;      /* false once a byte could not be read or made no sense; from then on nothing is read */
    bool log;     /* a full log entry; `body` and `length` are those of its samples */
    uint16_t units;
    uint16_t index;   /* record, NONE for marks and lone restarts */
    uint16_t id;      /* marks: the distance */
    uint16_t length;  /* payload bytes */
    uint32_t address; /* of the next piece */
    uint32_t left;    /* bytes from the next one to the end of the block */
    uint32_t whole;   /* bytes from `address` on that are sure to belong to the entry; 0: a unit more */
    uint32_t check;   /* check code state before this piece */
    uint8_t piece[PIECE];
    uint32_t head; /* address of a full entry's first byte, behind what makes it a restart */
    uint32_t body; /* address of descriptors (totals) and payload, or of a short entry's bits */
    uint32_t end;  /* address of the check code */
    uint32_t from; /* in age order, from where it voids; NO_RESTART: nothing */
    /* From here on, and the first two, kept from one entry to the next. */
    const perdure_config *config;
    uint32_t sequence; /* `prefix` is the check code state after it; 0: none yet */
    uint32_t prefix;
    uint32_t base;  /* if these fields are those of the full entry a short one rested on, its place; else 0 */
    uint32_t width; /* all fields' low-order bits in a short entry; of a log: bits of its short entry behind the head */
    uint32_t log_number; /* of the first sample of the last full log entry */
    uint32_t fields;     /* address of the last full entry's field descriptors */
} entry;

static void entry_forget(const perdure_config *c, entry *e) {
    e->config = c;
    e->sequence = 0;
    e->base = 0;
    e->log_count = 0;
}

static void read_begin(uint32_t place, uint32_t check_bits, entry *e) {
    const perdure_config *c = e->config;
    memset((uint8_t *)e + offsetof(entry, next), 0, offsetof(entry, config) - offsetof(entry, next));
    e->address = address_of(c, place);
    e->head = e->address;
    e->left = (c->block_units - UNIT_OF(place)) * c->unit_bytes;
    e->check_bits = (uint8_t)check_bits;
    e->check = check_start(check_bits);
    e->from = NO_RESTART;
    e->index = NONE;
    e->ok = true;
}

static void spoil(entry *e) {
    e->left = 0;
    e->ok = false;
}

/* Address of the next byte. */
static OUT_OF_LINE uint32_t read_address(const entry *e) {
    return e->address - e->have + e->next;
}

/* The check code state after what has been read. */
static OUT_OF_LINE uint32_t read_check(const entry *e) {
    return check_over(e->config, e->check_bits, e->check, e->piece, e->next);
}

static void next_piece(entry *e) {
    e->check = read_check(e);
    if (e->whole == 0u) {
        e->whole = e->config->unit_bytes;
    }
    e->have = (uint8_t)(e->whole < PIECE ? e->whole : PIECE);
    if (!flash_read(e->config, e->address, e->piece, e->have)) {
        spoil(e);
    }
    e->address += e->have;
    e->whole -= e->have;
    e->next = 0;
}

/* Passes over bytes; the last of them, up to four, as a number in the uppermost bits. 0 if that fails. */
static uint32_t pass(entry *e, uint32_t bytes) {
    uint32_t value = 0;
    if (bytes > e->left) {
        spoil(e);
    } else {
        e->left -= bytes;
        for (; bytes != 0u && e->ok; bytes--) {
            if (e->next == e->have) {
                next_piece(e);
            }
            value = (value >> 8) | ((uint32_t)e->piece[e->next++] << 24);
        }
    }
    return e->ok ? value : 0u;
}

/* Reads 1 to 4 bytes as a number; 0 if that fails. */
static uint32_t take(entry *e, uint32_t bytes) {
    return pass(e, bytes) >> (32u - 8u * bytes);
}

static bool take_check(entry *e) {
    const uint32_t expected = read_check(e) >> (32u - e->check_bits);
    return take(e, e->check_bits >> 3) == expected && e->ok;
}

#if PERDURE_TOTALS || PERDURE_LOGS || PERDURE_BAD_BLOCKS
/* Goes back to read the verified entry `e` from its byte at `address` on. */
static OUT_OF_LINE void read_again(entry *e, uint32_t address) {
    e->whole = e->end - address;
    e->left = e->end - address;
    e->address = address;
    e->have = 0;
    e->next = 0;
    e->ok = true;
}
#endif

/* The record's place in newest[]; NONE if there is no room for one more unknown record. */
static uint32_t record_index(const perdure_config *c, uint32_t id) {
    uint32_t low = 0;
    uint32_t high = c->record_count;
    while (low < high) {
        const uint32_t middle = (low + high) >> 1;
        if (c->records[middle].id < id) {
            low = middle + 1u;
        } else {
            high = middle;
        }
    }
    if (low < c->record_count && c->records[low].id == id) {
        return low;
    }
    if (id == BAD_LIST_ID) {
#if PERDURE_BAD_BLOCKS
        return c->record_count;
#else
        return NONE;
#endif
    }
#if PERDURE_UNKNOWN
    for (uint32_t i = 0; i < c->unknown_max; i++) {
        if (c->unknown_ids[i] == id || c->unknown_ids[i] == 0u) {
            return c->record_count + 1u + i;
        }
    }
#endif
    return NONE;
}

/* Every entry's check code begins with the sequence number of its block, so that bytes of an earlier turn do not pass. */
static uint32_t check_begin(const perdure_config *c, uint32_t sequence) {
    uint8_t raw[4];
    put_le(raw, sequence);
    return check_over(c, c->check_bits, check_start(c->check_bits), raw, sizeof raw);
}

/* Reads an entry up to its payload (full), its bits (short) or its check code (marks, lone restarts). */
static void read_head(const perdure_store *s, uint32_t place, entry *e) {
    const perdure_config *c = s->config;
    const uint32_t sequence = sequence_of(s, BLOCK_OF(place));
    if (sequence == 0u || sequence != e->sequence) {
        e->sequence = sequence;
        e->prefix = check_begin(c, sequence);
    }
    read_begin(place, c->check_bits, e);
    e->check = e->prefix;
    uint32_t first = take(e, 1);
    e->kind = (uint8_t)(first & 0xC0u);
    if (first == c->blank) {
        spoil(e);
        return;
    }
    if (e->kind == KIND_SYSTEM) {
        e->tag = (uint8_t)first;
        if (first == TAG_MARK) {
            e->id = (uint16_t)take(e, 2);
            return;
        }
        if (first == TAG_RESTART || first == TAG_RESTART_ALONE) {
            const uint32_t unit = take(e, 2);
            const uint32_t back = take(e, 2);
            const uint32_t age = age_order(s, place) >> 16;
            e->pending = (back & RESTART_PENDING) != 0u;
            e->from = (back & ~RESTART_PENDING) > age ? 0u : PLACE(age - (back & ~RESTART_PENDING), unit);
            if (first == TAG_RESTART_ALONE) {
                return;
            }
            e->head = read_address(e);
            first = take(e, 1);
        }
#if PERDURE_LOGS
        if (first == TAG_LOG) {
            e->log = true;
            first = take(e, 1);
        }
#endif
        e->kind = (uint8_t)(first & 0xC0u);
        if ((first & 0x80u) == 0u) {
            spoil(e);
        }
    }
    e->id = (uint16_t)(first & 0x3Fu);
    if (e->id == 0u) {
        e->id = (uint16_t)take(e, 2);
    }
    e->index = (uint16_t)record_index(c, e->id);
    if (e->kind != KIND_SHORT) {
        uint32_t length = take(e, 1);
        if (length >= 0x80u) {
            length = ((length & 0x7Fu) << 8) | take(e, 1);
        }
        e->length = (uint16_t)length;
    }
    if (e->id == 0u || (e->kind != KIND_SHORT && e->length == 0u)) {
        spoil(e); /* nothing writes such a one, and no port is asked for 0 bytes */
    }
    e->body = read_address(e);
    if (e->kind == KIND_TOTAL) {
        e->base = 0;
        e->log_count = 0;
        e->field_count = 0;
        e->width = 0;
        e->fields = e->body;
        for (uint32_t bytes = 0; bytes < e->length && e->ok;) {
            const uint32_t field = take(e, 1);
            if (e->field_count == FIELDS_MAX) {
                spoil(e);
            }
            bytes += 1u << (field >> 6);
            e->width += field & 0x3Fu;
            e->field_count++;
        }
    }
#if PERDURE_LOGS
    if (e->log) {
        e->base = 0;
        e->field_count = 0; /* its short entries move nothing where the record is a total now */
        e->log_count = (uint8_t)take(e, 1);
        e->log_number = take(e, 4);
        e->body = read_address(e);
        if (e->kind != KIND_VALUE || e->length < LOG_BYTES) {
            spoil(e);
        }
        e->length = (uint16_t)(e->length - LOG_BYTES);
        e->width = 8u * (1u + e->length); /* how far it is in the count of entries, and as many samples */
    }
#endif
}

/* What a later restart entry may still void. */
typedef struct seen {
    uint32_t age;   /* its place, in age order */
    uint32_t from;  /* restarts: age order from where they void; others: NO_RESTART */
    uint16_t which; /* full entries: the record's id; short ones: its place in newest[] or NONE; others: 0 */
    uint8_t bits;   /* short entries: where in the entry the bits begin; others: 0 */
} seen;

typedef struct walk {
    uint32_t count; /* in the list */
#if PERDURE_LOGS
    /* A reader of a log: what is settled is shown to it instead of being taken as the newest. */
    perdure_visit *visit; /* NULL while the store is opened */
    void *context;
    uint8_t *sample;
    uint32_t index; /* the log */
    uint32_t next;  /* number of the first sample that is still asked for */
    bool done;
#endif
    seen list[PENDING_MAX + 1u]; /* and the one that comes */
} walk;

/* The full entry that the short entry `e` in `block` rests on, 0 if none. While a block is walked (`k`) it may itself be
 * unsettled, even of a record that has no place in newest[], and must stand in the same block. One that a restart entry
 * between them voids is passed over: who put the short entry had not read it, and its widths or samples may be others. */
static uint32_t base_of(const perdure_store *s, const walk *k, const entry *e, uint32_t block) {
    uint32_t place = e->index == NONE ? 0u : s->config->newest[e->index] & ~FOREIGN_FIELDS;
    if (k != NULL) {
        uint32_t limit = NO_RESTART;
        for (uint32_t i = k->count; i-- != 0u;) {
            const seen *at = &k->list[i];
            if (at->age < limit) {
                if (at->bits == 0u && at->which == e->id) {
                    place = place_of_age(s, at->age);
                    break;
                }
                limit = at->from < limit ? at->from : limit;
            }
        }
        if (BLOCK_OF(place) != block) {
            place = 0;
        }
    }
    return place;
}

/* Reads the entry at `place` and verifies its check code; `k` as in base_of. */
static bool read_entry(const perdure_store *s, const walk *k, uint32_t place, entry *e) {
    read_head(s, place, e);
    if (!e->ok) {
        return false;
    }
    uint32_t left = e->length;
    if (e->kind == KIND_SHORT) {
        const uint32_t base = base_of(s, k, e, BLOCK_OF(place));
        if (base == 0u) {
            return false;
        }
        if (base != e->base) {
            read_head(s, base, e); /* for its field widths; it may be a restart entry */
            if (!e->ok || (e->kind != KIND_TOTAL && !e->log)) {
                return false;
            }
            e->base = base;
            read_head(s, place, e);
        }
        left = (e->width + 7u) >> 3;
    }
    (void)pass(e, left);
    e->end = read_address(e);
    const bool ok = take_check(e);
    e->units = (uint16_t)units_of(e->config, read_address(e) - address_of(e->config, place));
    return ok;
}

/* Reads the newest full entry of record `index` again; false if it cannot be read. */
static bool read_newest(const perdure_store *s, uint32_t index, entry *e) {
    return read_entry(s, NULL, s->config->newest[index] & ~FOREIGN_FIELDS, e);
}

/* ------------------------------------------------------------------------------------------------------------------
 * Programming
 * ---------------------------------------------------------------------------------------------------------------- */

static void write_begin(perdure_store *s, uint32_t place, uint32_t check) {
    s->write_place = place;
    s->write_check = check;
    s->write_fill = 0;
    s->write_ok = true;
}

/* Programs the unit buffer and reads it back. After a failure the rest of the entry is not programmed. */
static void write_unit(perdure_store *s) {
    const perdure_config *c = s->config;
    if (s->write_ok) {
        const uint32_t address = address_of(c, s->write_place);
        COUNT(s->programs);
        s->write_ok = not_closed(s) && c->port->program(c->port->context, address, c->unit_buffer) &&
                      unit_reads(c, address) && not_closed(s);
    }
    s->write_place++;
    s->write_fill = 0;
}

/* The check code is carried over whole units, and over the rest at the end. */
static void write_byte(perdure_store *s, uint32_t byte) {
    const perdure_config *c = s->config;
    c->unit_buffer[s->write_fill++] = (uint8_t)byte;
    if (s->write_fill == c->unit_bytes) {
        s->write_check = check_over(c, s->write_bits, s->write_check, c->unit_buffer, c->unit_bytes);
        write_unit(s);
    }
}

static OUT_OF_LINE void write_bytes(perdure_store *s, const uint8_t *from, uint32_t bytes) {
    while (bytes-- != 0u) {
        write_byte(s, *from++);
    }
}

static OUT_OF_LINE void write_number(perdure_store *s, uint32_t value, uint32_t bytes) {
    for (; bytes != 0u; bytes--) {
        write_byte(s, value);
        value >>= 8;
    }
}

/* Ends an entry or a stamp: check code, the rest of the unit blank. */
static bool write_end(perdure_store *s) {
    const perdure_config *c = s->config;
    const uint32_t check = check_over(c, s->write_bits, s->write_check, c->unit_buffer, s->write_fill);
    write_number(s, check >> (32u - s->write_bits), (uint32_t)s->write_bits >> 3);
    if (s->write_fill != 0u) {
        memset(c->unit_buffer + s->write_fill, c->blank, (size_t)c->unit_bytes - s->write_fill);
        write_unit(s);
    }
    return s->write_ok;
}

/* Begins an entry at the head. */
static void entry_begin(perdure_store *s) {
    s->write_bits = s->config->check_bits;
    write_begin(s, PLACE(s->head, s->unit), s->head_check);
}

/* Ends it. A failed program is a fault of the block: nothing more is put there. */
static bool entry_end(perdure_store *s) {
    bool ok = write_end(s);
    /* A perdure_put_now up to here has voided the entry; one after this begins behind it. */
    PERDURE_MASK();
    ok = not_closed(s) && ok;
    s->unit = (uint16_t)s->write_place;
    PERDURE_UNMASK();
    if (!ok) {
        COUNT(s->faults);
#if PERDURE_BAD_BLOCKS
        s->config->block_flags[s->head] |= BLOCK_WORN;
#endif
        s->unit = s->config->block_units;
    }
    return ok;
}

/* ------------------------------------------------------------------------------------------------------------------
 * Blocks: stamp, erase, advance
 * ---------------------------------------------------------------------------------------------------------------- */

enum { STAMP_NONE, STAMP_OTHER, STAMP_OK };

typedef struct stamp {
    uint32_t sequence;
    uint32_t erases;
} stamp;

/* The stamp's geometry: format version and check width, unit_bytes; then blocks and block_units. */
#define STAMP_FIRST(c) (FORMAT_VERSION | ((uint32_t)(c)->check_bits >> 3) | ((uint32_t)(c)->unit_bytes << 8))
#define STAMP_SECOND(c) ((c)->blocks | ((uint32_t)(c)->block_units << 16))

/* `e` is overwritten but for what it keeps; its `config` has to be set. */
static uint32_t read_stamp(entry *e, uint32_t block, stamp *of) {
    const perdure_config *c = e->config;
    read_begin(PLACE(block, 0), STAMP_BITS, e);
    const uint32_t first = take(e, 3);
    const uint32_t second = take(e, 4);
    of->sequence = take(e, 4);
    of->erases = take(e, 3);
    if (!take_check(e)) {
        return STAMP_NONE;
    }
    return first == STAMP_FIRST(c) && second == STAMP_SECOND(c) ? STAMP_OK : STAMP_OTHER;
}

/* A failed block is never used again; a build without that can only stop. */
static void set_aside(perdure_store *s, uint32_t block) {
    COUNT(s->faults);
#if PERDURE_BAD_BLOCKS
    s->config->block_flags[block] |= BLOCK_BAD;
#else
    (void)block;
    s->state = PERDURE_READ_ONLY;
#endif
}

/* Erases `block` and stamps it with the sequence number it will have as head. False: it was set aside. */
static bool erase_block(perdure_store *s, uint32_t block, uint32_t sequence) {
    const perdure_config *c = s->config;
    stamp old;
    entry e;
    e.config = c;
    if (read_stamp(&e, block, &old) == STAMP_NONE) {
        /* Lost with a torn erase: the highest of the others is near, as wear is level. While a format goes on, of which
         * the number 0 tells, the block that it began with: else each would count on from the one before. */
        const bool format_goes_on = s->sequence == 0u && sequence != 0u;
        old.erases = 0;
        for (uint32_t i = 0; i < c->blocks; i++) {
            stamp other;
            if ((!format_goes_on || i == s->head) && read_stamp(&e, i, &other) == STAMP_OK &&
                other.erases > old.erases) {
                old.erases = other.erases;
            }
        }
    }
#if PERDURE_BAD_BLOCKS
    bool ok = (c->block_flags[block] & BLOCK_WORN) == 0u && not_closed(s) && c->port->erase(c->port->context, block);
#else
    bool ok = not_closed(s) && c->port->erase(c->port->context, block);
#endif
    if (ok) {
        write_begin(s, PLACE(block, 0), check_start(STAMP_BITS));
        s->write_bits = STAMP_BITS;
        write_number(s, STAMP_FIRST(c), 3);
        write_number(s, STAMP_SECOND(c), 4);
        write_number(s, sequence, 4);
        write_number(s, old.erases + 1u, 3);
        ok = write_end(s);
    }
    if (!ok) {
        set_aside(s, block);
    }
    return ok;
}

/* Erases `block` for its next turn. */
static bool renew(perdure_store *s, uint32_t block) {
    return erase_block(s, block, s->sequence + ring_distance(s->config, s->head, block));
}

/* Makes the next blank block the head. False if there is none. */
static bool advance(perdure_store *s) {
    if (s->blanks == 0u) {
        return false;
    }
    const uint32_t next = ring_next_good(s, s->head);
    const uint32_t sequence = s->sequence + ring_distance(s->config, s->head, next);
    const uint32_t check = check_begin(s->config, sequence);
    PERDURE_MASK();
    s->sequence = sequence;
    s->head = (uint16_t)next;
    s->blanks--;
    s->unit = s->stamp_units;
    s->head_check = check;
    PERDURE_UNMASK();
    return true;
}

/* ------------------------------------------------------------------------------------------------------------------
 * Appending entries
 * ---------------------------------------------------------------------------------------------------------------- */

/* What a full entry is made of: id, length, descriptors and payload from RAM, or all of it as it stands in flash. */
typedef struct source {
    const perdure_record *record; /* NULL: the list of blocks set aside, or a copy of what stands in flash */
    const uint8_t *payload;       /* in RAM, or NULL */
    uint32_t address;             /* in flash: of `copy` bytes that end the entry */
    uint32_t copy;
    uint32_t id;
    uint32_t length;
    uint32_t kind;
    uint32_t bytes; /* of the whole entry, but for the check code */
#if PERDURE_LOGS
    uint32_t number; /* logs: of the first sample */
    uint32_t count;  /* and how many there are */
#endif
} source;

static uint32_t entry_units(const perdure_config *c, uint32_t bytes) {
    return units_of(c, bytes + ((uint32_t)c->check_bits >> 3));
}

static uint32_t head_bytes(uint32_t id) {
    return id > 62u ? 3u : 1u;
}

static bool is_log(const perdure_record *record) {
#if PERDURE_LOGS
    return record->batch != 0u;
#else
    (void)record;
    return false;
#endif
}

#if PERDURE_LOGS
/* Where a log stands, in the RAM for current values: number of the next sample (four bytes), how many short entries
 * rest on the last full one, how many samples that one has. */
static OUT_OF_LINE uint8_t *log_state(const perdure_config *c, uint32_t index) {
    return c->totals + c->records[index].total_offset;
}

static void set_log_state(const perdure_config *c, uint32_t index, uint32_t next, uint32_t shorts, uint32_t count) {
    uint8_t *state = log_state(c, index);
    put_le(state, next);
    state[4] = (uint8_t)shorts;
    state[5] = (uint8_t)count;
}

/* For log_state: the count of a full entry with `bytes` bytes of samples, 0 where they are of another size than this
 * firmware's, so that no short entry of its own rests on them. */
static uint32_t count_to_rest_on(const perdure_record *record, uint32_t bytes, uint32_t count) {
    return bytes == count * record->bytes ? count : 0u;
}

/* `count` samples, which are `bytes` bytes, are in it. */
static OUT_OF_LINE void size_log_source(source *f, uint32_t count, uint32_t bytes) {
    f->count = count;
    f->length = LOG_BYTES + bytes;
    f->bytes = 1u + head_bytes(f->id) + (f->length >= 0x80u ? 2u : 1u) + f->length;
}

/* A log's full entry: `count` samples at `samples`. Without, the newest entry's as a start puts it again, or later
 * none: then it carries on the number only. `e` is overwritten then. */
static bool find_log_source(const perdure_store *s, uint32_t index, const uint8_t *samples, uint32_t count, source *f,
                            entry *e) {
    const perdure_config *c = s->config;
    bool ok = true;
    f->number = get_le(log_state(c, index));
    f->payload = samples;
    uint32_t bytes = count * f->record->bytes;
    if (samples == NULL && s->newest_index == index) {
        entry_forget(c, e);
        ok = read_entry(s, NULL, s->newest_place, e);
        count = e->log_count;
        f->address = e->kind == KIND_SHORT ? e->body + 1u : e->body;
        f->copy = e->end - f->address;
        bytes = f->copy;
        f->number -= count;
    }
    size_log_source(f, count, bytes);
    return ok;
}
#endif

/* Finds what record `index` consists of now; `payload` is its new value, or NULL for the stored one. */
static bool find_source(const perdure_store *s, uint32_t index, const uint8_t *payload, source *f) {
    const perdure_config *c = s->config;
    entry e;
    memset(f, 0, sizeof *f);
    f->kind = KIND_VALUE;
    if (index < c->record_count) {
        const perdure_record *record = &c->records[index];
        f->record = record;
        f->id = record->id;
        f->length = record->bytes;
#if PERDURE_LOGS
        if (is_log(record)) {
            return find_log_source(s, index, payload, payload == NULL ? 0u : record->batch, f, &e);
        }
#endif
#if PERDURE_TOTALS
        if (record->fields != NULL) {
            f->kind = KIND_TOTAL;
            f->bytes = record->field_count;
            payload = payload == NULL ? c->totals + record->total_offset : payload;
        }
#endif
        f->payload = payload;
#if PERDURE_BAD_BLOCKS
    } else if (index == c->record_count) {
        f->id = BAD_LIST_ID;
        f->length = bad_count(c) * 2u;
        payload = f->length != 0u ? c->block_flags : NULL; /* none of this ring: as it stands in flash */
#endif
    }
    if (payload == NULL) {
        entry_forget(c, &e);
        const bool ok = read_newest(s, index, &e);
        f->record = NULL;
        f->address = e.head;
        f->copy = e.end - e.head;
        f->bytes = f->copy;
        return ok;
    }
    f->bytes += head_bytes(f->id) + (f->length >= 0x80u ? 2u : 1u) + f->length;
    return true;
}

static OUT_OF_LINE void write_head(perdure_store *s, uint32_t kind, uint32_t id) {
    write_number(s, id > 62u ? kind | (id << 8) : kind | id, head_bytes(id));
}

/* Appends a full entry at the head, which has room for it. With `from` (age order) other than NO_RESTART it is a restart
 * entry, a lone one without `f`. */
static bool append(perdure_store *s, uint32_t index, const source *f, uint32_t from) {
    const perdure_config *c = s->config;
    const uint32_t place = PLACE(s->head, s->unit);
    entry_begin(s);
    if (from != NO_RESTART) {
        /* The head is the youngest block, so the steps back to that of `from` are what its age lacks. */
        const uint32_t back = c->blocks - 1u - (from >> 16);
        write_number(s, (f == NULL ? TAG_RESTART_ALONE : TAG_RESTART) | (UNIT_OF(from) << 8), 3);
        write_number(s, back | (s->pending != NONE ? RESTART_PENDING : 0u), 2);
    }
    if (f == NULL) {
        return entry_end(s);
    }
    if (f->copy != f->bytes) {
#if PERDURE_LOGS
        const bool log = f->record != NULL && is_log(f->record);
        if (log) {
            write_byte(s, TAG_LOG);
        }
#endif
        write_head(s, f->kind, f->id);
        if (f->length >= 0x80u) {
            write_byte(s, 0x80u | (f->length >> 8));
        }
        write_byte(s, f->length);
#if PERDURE_LOGS
        if (log) {
            write_byte(s, f->count);
            write_number(s, f->number, 4);
            write_bytes(s, f->payload, f->payload == NULL ? 0u : f->length - LOG_BYTES);
        } else
#endif
            if (f->record != NULL) {
#if PERDURE_TOTALS
            if (f->kind == KIND_TOTAL) {
                write_bytes(s, f->record->fields, f->record->field_count);
            }
#endif
            write_bytes(s, f->payload, f->length);
        }
#if PERDURE_BAD_BLOCKS
        for (uint32_t i = 0; f->record == NULL && i < c->blocks; i++) {
            if ((c->block_flags[i] & BLOCK_BAD) != 0u) {
                write_number(s, i, 2);
            }
        }
#endif
    }
    for (uint32_t i = 0; i < f->copy; i++) {
        uint8_t raw = 0;
        s->write_ok = s->write_ok && flash_read(c, f->address + i, &raw, 1);
        write_byte(s, raw);
    }
    if (!entry_end(s)) {
        return false;
    }
    c->newest[index] = place;
#if PERDURE_LOGS
    if (f->record != NULL && is_log(f->record)) {
        set_log_state(c, index, f->number + f->count, 0, count_to_rest_on(f->record, f->length - LOG_BYTES, f->count));
    }
#endif
    return true;
}

static bool append_mark(perdure_store *s, uint32_t distance) {
    entry_begin(s);
    write_number(s, TAG_MARK | (distance << 8), 3);
    return entry_end(s);
}

#define FULL_ONLY 0xFFFFu /* as the bytes of a short entry: there is none */

#if PERDURE_TOTALS
/* Totals are worked on byte by byte with a carry: on 32-bit cores that is less code than 64-bit arithmetic. */
#define BACKWARD 0u

/* How a total moves from its current value to `payload`: BACKWARD, FULL_ONLY, or the bytes of a short entry without its
 * check code. A short entry carries a growth of a third of what the width can, so two lost entries leave it right: three
 * times the growth must have no bit from the width on. */
static uint32_t total_moves(const perdure_config *c, const perdure_record *record, const uint8_t *payload) {
    const uint8_t *now = c->totals + record->total_offset;
    uint32_t excess = 0;
    uint32_t bits = 7;
    for (uint32_t i = 0; i < record->field_count; i++) {
        uint32_t width = record->fields[i] & 0x3Fu;
        uint32_t borrow = 0;
        uint32_t triple = 0; /* of the growth: one byte, and above it what carries on */
        bits += width;
        for (uint32_t bytes = 1u << (record->fields[i] >> 6); bytes != 0u; bytes--) {
            const uint32_t growth = (uint32_t)*payload++ - *now++ - borrow;
            borrow = growth >> 31;
            triple = (triple >> 8) + 3u * (growth & 0xFFu);
            if (width < 8u) {
                excess |= (triple & 0xFFu) >> width;
                width = 8;
            }
            width -= 8u;
        }
        excess |= triple >> 8;
        if (borrow != 0u) {
            return BACKWARD;
        }
    }
    return excess != 0u ? FULL_ONLY : head_bytes(record->id) + (bits >> 3);
}

static OUT_OF_LINE bool append_short_total(perdure_store *s, const perdure_record *record, const uint8_t *payload) {
    uint32_t bits = 0;
    uint32_t count = 0; /* of bits that wait, below 8 */
    entry_begin(s);
    write_head(s, KIND_SHORT, record->id);
    for (uint32_t i = 0; i < record->field_count; i++) {
        const uint8_t *from = payload;
        uint32_t width = record->fields[i] & 0x3Fu;
        payload += 1u << (record->fields[i] >> 6);
        while (width != 0u) {
            const uint32_t take_bits = width < 8u ? width : 8u;
            bits |= (*from++ & ((1u << take_bits) - 1u)) << count;
            count += take_bits;
            width -= take_bits;
            if (count >= 8u) {
                write_byte(s, bits);
                bits >>= 8;
                count -= 8u;
            }
        }
    }
    if (count != 0u) {
        write_byte(s, bits);
    }
    return entry_end(s);
}

#endif

#if PERDURE_LOGS
/* Appends samples as a short entry: it rests on a full one of as many samples in the head. */
static bool append_short_log(perdure_store *s, uint32_t index, const source *f) {
    const uint32_t shorts = log_state(s->config, index)[4] + 1u;
    entry_begin(s);
    write_head(s, KIND_SHORT, f->id);
    write_byte(s, shorts);
    write_bytes(s, f->payload, f->length - LOG_BYTES);
    const bool ok = entry_end(s);
    if (ok) {
        set_log_state(s->config, index, f->number + f->count, shorts, f->count);
    }
    return ok;
}
#endif

#if PERDURE_TOTALS
#define NO_FIELD 0x7C0u /* larger than any record */

/* Descriptor `i` of the last full entry of a total; NO_FIELD if it cannot be read any more. */
static OUT_OF_LINE uint32_t field_of(const entry *e, uint32_t i) {
    uint8_t field;
    return flash_read(e->config, e->fields + i, &field, 1) ? field : NO_FIELD;
}

/* Carries a total's current value up to the low-order bits of the short entry `e`: now += (bits - now) mod 2^width. */
static void apply_short(entry *e, uint8_t *now, uint32_t bytes_max) {
    uint32_t bits = 0;
    uint32_t count = 0;
    read_again(e, e->body);
    for (uint32_t i = 0; i < e->field_count; i++) {
        uint32_t carry = 0;
        const uint32_t field = field_of(e, i);
        uint32_t width = field & 0x3Fu;
        uint32_t bytes = 1u << (field >> 6);
        if (bytes > bytes_max) {
            return; /* a field that this firmware does not have, or NO_FIELD */
        }
        bytes_max -= bytes;
        for (; bytes != 0u; bytes--) {
            const uint32_t take_bits = width < 8u ? width : 8u;
            if (count < take_bits) {
                bits |= take(e, 1) << count;
                count += 8u;
            }
            const uint32_t sum = *now + ((bits - *now - carry) & ((1u << take_bits) - 1u)) + carry;
            *now++ = (uint8_t)sum;
            carry = sum >> 8;
            bits >>= take_bits;
            count -= take_bits;
            width -= take_bits;
        }
    }
}
#endif

/* ------------------------------------------------------------------------------------------------------------------
 * Cleaning
 * ---------------------------------------------------------------------------------------------------------------- */

/* Copies record `index` to the head, advancing while blank blocks are left; `here`: only if the head has room now. True when
 * its old place is not needed any more. */
static bool copy_out(perdure_store *s, uint32_t index, bool here) {
    source f;
    if (!find_source(s, index, NULL, &f)) {
        /* Rotten where it stands: nothing can save it, and the ring must go on. */
        COUNT(s->faults);
        s->config->newest[index] = 0;
        return true;
    }
    for (uint32_t tries = 0; tries < 4u; tries++) {
        if (!fits(s, entry_units(s->config, f.bytes))) {
            if (here || !advance(s)) {
                return false;
            }
        } else if (append(s, index, &f, NO_RESTART)) {
            return true;
        }
        here = false;
    }
    return false;
}

/* The first record from `index` on whose newest full entry lies in `block`; slots(c) if there is none. */
static OUT_OF_LINE uint32_t living_in(const perdure_config *c, uint32_t block, uint32_t index) {
    while (index < slots(c) && (c->newest[index] == 0u || BLOCK_OF(c->newest[index]) != block)) {
        index++;
    }
    return index;
}

/* Everything in `tail` has been copied: says so in the log, then erases and stamps it. */
static bool release(perdure_store *s, uint32_t tail) {
    const perdure_config *c = s->config;
    while (!fits(s, s->mark_units) || !append_mark(s, ring_distance(c, tail, s->head))) {
        if (!advance(s)) {
            return false;
        }
    }
    const uint16_t pending = s->pending;
    s->pending = (uint16_t)tail; /* for a perdure_put_now that comes while it is erased */
    const bool ok = renew(s, tail);
    s->pending = pending;
    if (ok) {
        s->blanks++;
        return true;
    }
#if PERDURE_BAD_BLOCKS
    if (bad_count(c) + 2u <= c->blocks - s->spare + 1u) {
        return copy_out(s, c->record_count, false);
    }
    s->state = PERDURE_READ_ONLY;
#endif
    return false;
}

/* Empties tails until enough blank blocks are there; at least one if `due`. */
static bool clean(perdure_store *s, bool due) {
    for (; due || s->blanks < s->spare; due = false) {
        const uint32_t tail = ring_tail(s);
        if (tail == s->head) {
            return false;
        }
        for (uint32_t i = 0; (i = living_in(s->config, tail, i)) < slots(s->config); i++) {
            if (!copy_out(s, i, false)) {
                return false;
            }
        }
        if (!release(s, tail)) {
            return false;
        }
    }
    return true;
}

/* ------------------------------------------------------------------------------------------------------------------
 * Opening
 * ---------------------------------------------------------------------------------------------------------------- */

static void set_default(const perdure_record *record, uint8_t *to, uint32_t from) {
    for (; from < record->bytes; from++) {
        to[from] = record->defaults != NULL ? ((const uint8_t *)record->defaults)[from] : 0u;
    }
}

/* Makes records unknown again: those whose newest full entry lies in `block`, or all with NONE. */
static void forget(const perdure_config *c, uint32_t block) {
    for (uint32_t i = 0; i < slots(c); i++) {
        if (block == NONE || BLOCK_OF(c->newest[i]) == block) {
            c->newest[i] = 0;
#if PERDURE_LOGS
            if (i < c->record_count && is_log(&c->records[i])) {
                set_log_state(c, i, 0, 0, 0);
            }
#endif
#if PERDURE_TOTALS
            if (i < c->record_count && c->records[i].fields != NULL) {
                set_default(&c->records[i], c->totals + c->records[i].total_offset, 0);
            }
#endif
        }
    }
}

/* Reads the payload at `address` of entry `e` into `to`; what the entry is too short for comes from the defaults. False if it
 * cannot be read. */
static bool fetch(const entry *e, const perdure_record *record, uint32_t address, uint8_t *to) {
    const uint32_t bytes = e->length < record->bytes ? e->length : record->bytes;
    const bool ok = flash_read(e->config, address, to, bytes);
    set_default(record, to, bytes);
    return ok;
}

/* Takes entry `e` at `place` as the newest of its record. */
static OUT_OF_LINE void apply(perdure_store *s, uint32_t place, entry *e) {
    const perdure_config *c = s->config;
#if PERDURE_BAD_BLOCKS
    if (e->index == c->record_count) {
        for (read_again(e, e->body); e->left > 1u;) {
            const uint32_t block = take(e, 2);
            if (block < c->blocks) {
                c->block_flags[block] |= BLOCK_BAD;
            }
        }
    }
#endif
#if PERDURE_LOGS
    if (e->index < c->record_count && is_log(&c->records[e->index])) {
        uint32_t shorts = 0;
        if (e->kind == KIND_SHORT) {
            read_again(e, e->body);
            shorts = take(e, 1);
        } else if (e->log) {
            c->newest[e->index] = place;
        } else {
            return;
        }
        set_log_state(c, e->index, e->log_number + (shorts + 1u) * e->log_count, shorts,
                      count_to_rest_on(&c->records[e->index], (e->width >> 3) - 1u, e->log_count));
        return;
    }
#endif
#if PERDURE_TOTALS
    if (e->index < c->record_count && c->records[e->index].fields != NULL && e->kind != KIND_VALUE) {
        const perdure_record *record = &c->records[e->index];
        uint8_t *now = c->totals + record->total_offset;
        if (e->kind == KIND_SHORT) {
            apply_short(e, now, record->bytes);
            return;
        }
        (void)fetch(e, record, e->body + e->field_count, now); /* an earlier entry may have been longer */
        bool same = e->field_count == record->field_count;
        for (uint32_t i = 0; same && i < e->field_count; i++) {
            same = field_of(e, i) == record->fields[i];
        }
        if (!same) {
            place |= FOREIGN_FIELDS;
        }
    }
#endif
    if (e->kind != KIND_SHORT) {
        c->newest[e->index] = place;
    }
}

#if PERDURE_LOGS
/* Shows the samples of the settled entry `e` to who reads the log. */
static void show(walk *k, uint32_t place, entry *e) {
    const perdure_config *c = e->config;
    const perdure_record *record = &c->records[k->index];
    uint32_t number = e->log_number;
    uint32_t at = e->body;
    if (e->index != k->index) {
        return;
    }
    if (e->kind == KIND_SHORT) {
        read_again(e, at++);
        number += take(e, 1) * e->log_count;
        e->length = (uint16_t)((e->width >> 3) - 1u);
    } else if (e->log) {
        c->newest[k->index] = place; /* for the short ones that follow; put back in the end */
    } else {
        return;
    }
    if (e->log_count == 0u) {
        return; /* carries on the number only */
    }
    e->length = (uint16_t)((uint32_t)e->length / e->log_count);
    for (uint32_t i = e->log_count; i != 0u && !k->done; i--) {
        /* An entry that failed and was put again may come twice. */
        if (number >= k->next && fetch(e, record, at, k->sample)) {
            k->next = number + 1u;
            k->done = !k->visit(k->context, number, k->sample);
        }
        number++;
        at += e->length;
    }
}
#endif

/* Settles the oldest of the seen entries: newest to oldest, a void restart voids nothing, what a standing one voids is lost.
 * `e` is overwritten: one entry for all of the walk saves stack. */
static void settle_oldest(perdure_store *s, walk *k, entry *e) {
    uint32_t limit = NO_RESTART;
    const seen oldest = k->list[0];
    for (uint32_t i = --k->count; i != 0u; i--) {
        if (k->list[i].age < limit && k->list[i].from < limit) {
            limit = k->list[i].from;
        }
    }
    memmove(k->list, k->list + 1, PENDING_MAX * sizeof(seen));
    if (oldest.age >= limit) {
        return;
    }
    const uint32_t place = place_of_age(s, oldest.age);
    if (e->base != 0u && oldest.bits != 0u && oldest.which != NONE &&
        (s->config->newest[oldest.which] & ~FOREIGN_FIELDS) == e->base) {
        e->index = oldest.which; /* the fields of its full entry are at hand, and its check code was right */
        e->kind = KIND_SHORT;
        e->body = address_of(s->config, place) + oldest.bits;
        e->end = e->body + ((e->width + 7u) >> 3);
    } else if (!read_entry(s, NULL, place, e)) {
        return;
    }
#if PERDURE_LOGS
    if (k->visit != NULL) {
        show(k, place, e);
        return;
    }
#endif
    if (e->index != NONE) {
        apply(s, place, e);
    } else if (e->tag == TAG_MARK && k->count == 0u) {
        /* Format gave up everything. Behind that mark comes nothing, unless a start could not read it and went on. That
         * start's restart entry voids it, but where the erase of this block is torn, the one may be readable without the
         * other. */
        s->state = PERDURE_BLANK;
        s->unit = (uint16_t)UNIT_OF(place); /* where a format that comes now puts further marks */
    }
}

static void note_entry(perdure_store *s, walk *k, uint32_t place, entry *e) {
    const perdure_config *c = s->config;
    if (e->units > s->live_max) {
        s->live_max = e->units;
    }
    /* Format's mark is no fact yet, unlike the other marks: a start that did not see it voids it. */
    const bool is_mark = e->tag == TAG_MARK;
    const bool gives_up = is_mark && e->id == MARK_FORMAT;
    if (!gives_up && (is_mark || !e->pending || BLOCK_OF(place) == s->pending)) {
        s->pending = NONE; /* an ordinary entry is only put once the erase and its stamp are complete */
    }
    if (is_mark && !gives_up) {
        if (e->id != MARK_DONE && e->id < c->blocks) {
            s->pending = (uint16_t)ring_distance(c, e->id, BLOCK_OF(place));
        }
        return;
    }
    if (e->kind != KIND_SYSTEM && e->index == NONE) {
        s->state = PERDURE_READ_ONLY;
    }
#if PERDURE_UNKNOWN
    if (e->index > c->record_count && e->index != NONE) {
        c->unknown_ids[e->index - c->record_count - 1u] = e->id;
    }
#endif
    seen *at = &k->list[k->count];
    s->newest_place = place;
    at->age = age_order(s, place);
    at->from = e->from;
    at->bits = 0;
    at->which = e->kind >= KIND_VALUE ? e->id : 0u;
    if (e->kind == KIND_SHORT) {
        at->which = e->index;
        at->bits = (uint8_t)(e->body - address_of(c, place));
    }
    s->newest_index = e->index;
    s->newest_from = e->from != NO_RESTART ? e->from : at->age;
    if (k->count == PENDING_MAX) {
        settle_oldest(s, k, e);
    }
    k->count++;
}

/* Walks one block. Returns the unit after the last one that is not blank. */
static uint32_t walk_block(perdure_store *s, walk *k, entry *e, uint32_t block) {
    const perdure_config *c = s->config;
    uint32_t used = s->stamp_units;
    uint32_t candidate = 0; /* unit of an entry that stands behind a bad unit; believed once a second one follows */
    bool doubt = false;
    for (uint32_t unit = used; unit < c->block_units;) {
        const uint32_t place = PLACE(block, unit);
        if (!read_entry(s, k, place, e)) {
            unit++;
            if (!unit_is_blank(c, place)) {
                used = unit;
                COUNT(s->recovered);
            }
            doubt = true;
            candidate = 0;
            continue;
        }
        used = unit + e->units;
        if (!doubt || e->from != NO_RESTART) {
            note_entry(s, k, place, e);
            doubt = false;
            candidate = 0;
            unit = used;
        } else if (candidate == 0u) {
            candidate = unit;
            unit = used;
        } else {
            doubt = false;
            unit = candidate;
            candidate = 0;
        }
    }
    return used;
}

/* A torn erase may leave a stamp and rubbish, so only a valid entry makes a block the head. */
static bool block_has_entry(const perdure_store *s, uint32_t block, entry *e) {
    for (uint32_t unit = s->stamp_units; unit < s->config->block_units; unit++) {
        if (read_entry(s, NULL, PLACE(block, unit), e)) {
            return true;
        }
    }
    return false;
}

/* Finds the head: of the stamped blocks the one with the highest sequence number that holds an entry. */
static perdure_status find_head(perdure_store *s, entry *e) {
    const perdure_config *c = s->config;
    uint32_t best = 0;
    uint32_t block = 0;
    stamp at;
    bool foreign = false;
    for (uint32_t i = 0; i < c->blocks; i++) {
        const uint32_t found = read_stamp(e, i, &at);
        if (found == STAMP_OK) {
            if (at.sequence == 0u) { /* a format was begun; `unit` tells it from an area without a log */
                s->head = (uint16_t)i;
                s->sequence = 0;
                s->unit = s->stamp_units;
                return PERDURE_BLANK;
            }
            if (at.sequence > best) {
                best = at.sequence;
                block = i;
            }
        } else if (found == STAMP_OTHER || used_from(c, i, 0) != 0u) {
            foreign = true;
        }
    }
    if (best == 0u) {
        return foreign ? PERDURE_FOREIGN : PERDURE_BLANK;
    }
    for (uint32_t i = 0; i < c->blocks && i < best; i++) {
        if (read_stamp(e, block, &at) == STAMP_OK && at.sequence == best - i) {
            s->head = (uint16_t)block;
            s->sequence = at.sequence;
            if (block_has_entry(s, block, e)) {
                return PERDURE_OK;
            }
        }
        block = ring_distance(c, 1, block); /* the one before */
    }
    return PERDURE_BLANK; /* no entry anywhere: a format was not finished */
}

/* Units that a start may use before its restart entry. */
static uint32_t pad_units(const perdure_store *s) {
    return PADS + s->live_max + units_of(s->config, RESTART_BYTES);
}

/* Sizes that follow from the configuration; false if live data and reserves do not fit. */
static bool set_sizes(perdure_store *s, const perdure_config *c) {
    uint32_t live = 0;
    memset(s, 0, sizeof *s);
    s->config = c;
    s->stamp_units = (uint8_t)units_of(c, STAMP_BYTES);
    s->mark_units = (uint8_t)entry_units(c, 3);
    s->live_max = s->mark_units;
    for (uint32_t i = 0; i < c->record_count; i++) {
        source f;
        (void)find_source(s, i, c->unit_buffer, &f); /* any RAM: only the size is used */
        const uint32_t units = entry_units(c, f.bytes);
        live += units;
        if (units > s->live_max) {
            s->live_max = (uint16_t)units;
        }
    }
    const uint32_t restart = 2u * pad_units(s) - PADS; /* pads, and the longest entry as a restart entry */
    uint32_t reserve = s->stamp_units + 2u * s->mark_units + RESTARTS_HELD * restart;
#if PERDURE_PUT_NOW
    if (c->urgent != 0u) {
        source f;
        (void)find_source(s, c->urgent - 1u, c->unit_buffer, &f);
        s->reserve = (uint16_t)(entry_units(c, RESTART_BYTES + f.bytes) + 1u); /* the unit that may be under way */
        reserve += s->reserve;
    }
#endif
    uint32_t holding = 1; /* blocks that may be full of live data */
    s->spare = 1;
    if (c->blocks >= 4u) { /* a second blank one takes over where cut starts have used up the first */
        s->spare = 2;
        holding = c->blocks - 3u;
    }
    const bool fits = reserve <= c->block_units && live <= holding * (c->block_units - reserve);
    s->state = fits ? PERDURE_OK : PERDURE_CONFIG;
    return fits;
}

/* A block that waits erased, or is set aside, has another stamp; one whose stamp is lost is read all the same. */
static bool holds_entries(const perdure_store *s, uint32_t block, entry *e) {
    stamp at;
    return ring_distance(s->config, block, s->head) < s->sequence &&
           (read_stamp(e, block, &at) != STAMP_OK || at.sequence == sequence_of(s, block));
}

/* Reads the whole ring into RAM. */
static perdure_status scan(perdure_store *s) {
    const perdure_config *c = s->config;
    walk k;
    entry e;
    stamp at;
    s->pending = NONE;
    s->newest_index = NONE;
#if PERDURE_HEALTH
    s->recovered = 0;
#endif
    s->state = STATE_LAZY; /* until the start's own work is done: a perdure_put_now is refused */
#if PERDURE_BAD_BLOCKS
    memset(c->block_flags, 0, c->blocks);
#endif
#if PERDURE_UNKNOWN
    for (uint32_t i = 0; i < c->unknown_max; i++) {
        c->unknown_ids[i] = 0;
    }
#endif
    forget(c, NONE);
    entry_forget(c, &e);
    const perdure_status found = find_head(s, &e);
    if (found != PERDURE_OK) {
        return found;
    }
    s->head_check = check_begin(c, s->sequence);
    s->newest_from = PLACE(c->blocks - 1u, s->stamp_units);
    k.count = 0;
#if PERDURE_LOGS
    k.visit = NULL;
#endif
    uint32_t block = s->head;
    do {
        block = ring_next(c, block);
        if (holds_entries(s, block, &e)) {
            s->unit = (uint16_t)walk_block(s, &k, &e, block);
        }
    } while (block != s->head);
    while (k.count != 0u) {
        settle_oldest(s, &k, &e);
    }
    if (s->pending != NONE) {
        forget(c, s->pending);
    }
    for (s->blanks = 0;; s->blanks++) {
        block = ring_next_good(s, block);
        if (block == s->head || block == s->pending || read_stamp(&e, block, &at) != STAMP_OK ||
            at.sequence != sequence_of(s, block) + c->blocks) {
            break;
        }
    }
    return s->state == STATE_LAZY ? PERDURE_OK : (perdure_status)s->state;
}

/* Puts the restart entry of this start. False if neither the head nor a blank block has room for it. */
static bool put_restart(perdure_store *s) {
    const perdure_config *c = s->config;
    source f;
    const source *what = NULL;
    uint32_t units = RESTART_BYTES;
    if (s->newest_index != NONE && find_source(s, s->newest_index, NULL, &f)) {
        what = &f;
        units += f.bytes;
    }
    units = entry_units(c, units);
    for (;;) {
        memset(c->unit_buffer, (uint8_t)~c->blank, c->unit_bytes);
        for (uint32_t i = pad_units(s); i != 0u && room(s) != 0u; i--) {
            /* Over a weak unit this may fail or read badly: it only has to leave nothing that looks like an entry. */
            (void)c->port->program(c->port->context, address_of(c, PLACE(s->head, s->unit)), c->unit_buffer);
            s->unit++;
        }
        /* Where the longest entry does not fit, the one that was cut may have begun in the next block. Decided after the
         * pads, which stay visible, so that a start after this one decides alike. */
        if (fits(s, units) && (room(s) >= s->live_max || s->blanks == 0u) &&
            append(s, s->newest_index, what, s->newest_from)) {
            return true;
        }
        const uint32_t old_head = s->head;
        if (!advance(s)) {
            return false;
        }
        /* Ages are counted from the head, which has moved. */
        const uint32_t moved = PLACE(ring_distance(c, old_head, s->head), 0);
        s->newest_from = s->newest_from < moved ? 0u : s->newest_from - moved;
        /* The entry that was cut, or an earlier start, may have left something here. */
        s->unit = (uint16_t)used_from(c, s->head, s->unit);
    }
}

/* Settles what a cut may have left open: restart entry, unfinished erase, unfinished cleaning. False if there is no room. */
static bool recover(perdure_store *s) {
    if (!put_restart(s)) {
        return false;
    }
    const bool unfinished = s->pending != NONE;
    if (!clean(s, unfinished)) {
        return false;
    }
    /* Else the next start could take the erase for unfinished although entries have gone into that block since. */
    while (unfinished && (!fits(s, s->mark_units) || !append_mark(s, MARK_DONE))) {
        (void)advance(s); /* there is a blank block: cleaning has left `spare` of them */
        if (!clean(s, false)) {
            return false;
        }
    }
    s->pending = NONE;
    s->newest_index = NONE;
    return true;
}

static perdure_status set_state(perdure_store *s, perdure_status state) {
    s->state = (uint8_t)state;
    return state;
}

/* Puts the restart entry that a start owes, and finishes what a cut interrupted. */
static perdure_status settle_start(perdure_store *s) {
    const perdure_config *c = s->config;
    for (uint32_t tries = 0; tries < 3u; tries++) {
        const perdure_status found = tries == 0u ? PERDURE_OK : scan(s);
        if (found != PERDURE_OK) {
            return set_state(s, found);
        }
        if (recover(s)) {
            return set_state(s, PERDURE_OK);
        }
        /* Starts have used up the head and no blank block is left. If nothing lives in the tail it can go at once;
         * else it is still being emptied, so the head holds copies only and can be made again. */
        const uint32_t tail = s->pending != NONE ? s->pending : ring_next_good(s, s->head);
        if (tail == s->head) {
            return set_state(s, PERDURE_READ_ONLY); /* no other block is good */
        }
        if (living_in(c, tail, 0) < slots(c)) {
            (void)erase_block(s, s->head, s->sequence);
        } else if (renew(s, tail)) {
            s->pending = NONE;
            s->blanks = 1;
            if (recover(s)) {
                return set_state(s, PERDURE_OK);
            }
        }
    }
    return set_state(s, PERDURE_READ_ONLY);
}

perdure_status perdure_open(perdure_store *store, const perdure_config *config, uint8_t mode) {
    if (!set_sizes(store, config)) {
        return PERDURE_CONFIG;
    }
    const perdure_status found = scan(store);
    if (found != PERDURE_OK) {
        return set_state(store, found);
    }
    if (mode == PERDURE_READ) {
        return set_state(store, PERDURE_READ_ONLY);
    }
    if (mode == PERDURE_LAZY) {
        store->state = STATE_LAZY;
        return PERDURE_OK;
    }
    return settle_start(store);
}

/* ------------------------------------------------------------------------------------------------------------------
 * The other calls
 * ---------------------------------------------------------------------------------------------------------------- */

#if PERDURE_GET_UNCHECKED
/* Finds the payload of the newest full entry of `record`, which stands at `place`: `body` and `length` of `e`. The entry was
 * verified when this start or a put took it for the newest; it is not verified again. */
static bool find_payload(const perdure_config *c, const perdure_record *record, uint32_t place, entry *e) {
    uint8_t first;
    uint8_t length[2];
    e->config = c;
    e->body = address_of(c, place);
    if (!flash_read(c, e->body, &first, 1)) {
        return false;
    }
    e->body += head_bytes(record->id) + (first == TAG_RESTART ? RESTART_BYTES : 0u);
    if (!flash_read(c, e->body++, length, 1)) {
        return false;
    }
    e->length = length[0];
    if (length[0] >= 0x80u) {
        if (!flash_read(c, e->body++, length + 1, 1)) {
            return false;
        }
        e->length = (uint16_t)((((uint32_t)length[0] & 0x7Fu) << 8) | length[1]);
    }
    return true;
}
#endif

perdure_status perdure_get(const perdure_store *store, uint16_t index, void *to) {
    const perdure_config *c = store->config;
    const perdure_record *record = &c->records[index];
    entry e;
    if (c->newest[index] == 0u) {
        set_default(record, (uint8_t *)to, 0);
        return PERDURE_DEFAULT;
    }
#if PERDURE_TOTALS
    if (record->fields != NULL) {
        memcpy(to, c->totals + record->total_offset, record->bytes);
        return PERDURE_OK;
    }
#endif
#if PERDURE_GET_UNCHECKED
    const bool found = find_payload(c, record, c->newest[index], &e);
#else
    entry_forget(c, &e);
    const bool found = read_newest(store, index, &e);
#endif
    return found && fetch(&e, record, e.body, (uint8_t *)to) ? PERDURE_OK : PERDURE_FAULT;
}

/* May something be put? A lazy start puts its restart entry now. */
static bool writable(perdure_store *s) {
    return s->state == PERDURE_OK || (s->state == STATE_LAZY && settle_start(s) == PERDURE_OK);
}

/* A log's short entry rests on a full one of as many samples, and not on too old a one. */
static bool rests(const perdure_store *s, uint32_t index, const source *f) {
#if PERDURE_LOGS
    const uint8_t *state = log_state(s->config, index);
    return !is_log(f->record) || (state[5] == f->count && state[4] != LOG_SHORT_MAX);
#else
    (void)s;
    (void)index;
    (void)f;
    return true;
#endif
}

static bool append_short(perdure_store *s, uint32_t index, const source *f) {
#if PERDURE_LOGS
    if (is_log(f->record)) {
        return append_short_log(s, index, f);
    }
#else
    (void)index;
#endif
#if PERDURE_TOTALS
    return append_short_total(s, f->record, f->payload);
#else
    return append(s, index, f, NO_RESTART); /* nothing else has short entries */
#endif
}

/* Puts the new value `f` of record `index`: as a short entry of `short_bytes` bytes if the full one that it rests on stands
 * in the head, so that newest[] names it and configured widths. FULL_ONLY: never so. */
static perdure_status put(perdure_store *s, uint32_t index, const source *f, uint32_t short_bytes) {
    const perdure_config *c = s->config;
    bool failed = false;
    for (uint32_t tries = c->blocks + 2u; tries != 0u; tries--) {
        uint32_t bytes = f->bytes;
        const bool is_short = short_bytes != FULL_ONLY && c->newest[index] >> 16 == s->head && c->newest[index] != 0u &&
                              rests(s, index, f);
        if (is_short) {
            bytes = short_bytes;
        }
        if (!fits(s, entry_units(c, bytes))) {
            /* The next block becomes the head; when that takes the last spare one, tails are emptied first. But what
             * failed may read as whole at some later start, so nothing else is put before it is put again. */
            if (!advance(s) || (!failed && !clean(s, false))) {
                break;
            }
            continue;
        }
        if (is_short ? append_short(s, index, f) : append(s, index, f, NO_RESTART)) {
#if PERDURE_TOTALS
            if (f->kind == KIND_TOTAL) {
                memcpy(c->totals + f->record->total_offset, f->payload, f->length);
            }
#endif
            if (failed) {
                (void)clean(s, false);
            }
            return PERDURE_OK;
        }
        failed = true;
    }
    return s->state != PERDURE_OK ? PERDURE_READ_ONLY : PERDURE_FAULT;
}

/* Puts the value `payload`. Not a part of perdure_put, so that nothing of it is on the stack while a lazy start is settled. */
static OUT_OF_LINE perdure_status put_value(perdure_store *store, uint32_t index, const uint8_t *payload) {
    uint32_t moves = FULL_ONLY;
    source f;
    (void)find_source(store, index, payload, &f);
#if PERDURE_TOTALS
    if (f.kind == KIND_TOTAL) {
        moves = total_moves(store->config, f.record, payload);
    }
    if (moves == BACKWARD) {
        return PERDURE_BACKWARD;
    }
#endif
    return put(store, index, &f, moves);
}

perdure_status perdure_put(perdure_store *store, uint16_t index, const void *from) {
    if (is_log(&store->config->records[index])) {
        return PERDURE_CONFIG;
    }
    if (!writable(store)) {
        return PERDURE_READ_ONLY;
    }
    return put_value(store, index, (const uint8_t *)from);
}

#if PERDURE_LOGS
/* Is the first sample that `block` is known to begin with not beyond the first that is asked for? */
static bool begins_before(const perdure_store *s, uint32_t block, const walk *k, entry *e) {
    uint32_t unit = s->stamp_units;
    if (!holds_entries(s, block, e)) {
        return false;
    }
    for (uint32_t tries = 4; tries != 0u; tries--) {
        if (!read_entry(s, k, PLACE(block, unit), e)) { /* at the end of the block there is none */
            return false;
        }
        if (e->log && e->index == k->index) {
            return e->log_number <= k->next;
        }
        unit += e->units;
    }
    return false;
}

/* As put_value, of a log. */
static OUT_OF_LINE perdure_status put_samples(perdure_store *store, uint32_t index, const uint8_t *samples,
                                              uint32_t count) {
    source f;
    (void)find_source(store, index, samples, &f); /* of a whole batch; now of as many as there are */
    size_log_source(&f, count, count * f.record->bytes);
    return put(store, index, &f, head_bytes(f.id) + 1u + f.length - LOG_BYTES);
}

perdure_status perdure_append(perdure_store *store, uint16_t index, const void *samples, uint8_t count) {
    if (count == 0u || count > store->config->records[index].batch) {
        return PERDURE_CONFIG;
    }
    if (!writable(store)) {
        return PERDURE_READ_ONLY;
    }
    return put_samples(store, index, (const uint8_t *)samples, count);
}

uint32_t perdure_log_next(const perdure_store *store, uint16_t index) {
    return get_le(log_state(store->config, index));
}

void perdure_read_log(const perdure_store *store, uint16_t index, uint32_t from, perdure_visit *visit, void *context,
                      void *sample) {
    const perdure_config *c = store->config;
    perdure_store s = *store; /* what a walk notes down is not to change the store's own state */
    entry e;
    walk k;
    memset(&k, 0, sizeof k);
    entry_forget(c, &e);
    k.visit = visit;
    k.context = context;
    k.sample = (uint8_t *)sample;
    k.index = index;
    k.next = from;
    const uint32_t newest = c->newest[index];
    if (store->state == PERDURE_BLANK || store->state == PERDURE_FOREIGN || store->state == PERDURE_CONFIG) {
        return;
    }
    uint32_t block = s.head;
    uint32_t back = 0; /* to the newest block that begins with no later sample than is asked for, or the oldest */
    while (!begins_before(&s, block, &k, &e) && ++back < c->blocks) {
        block = ring_distance(c, 1, block);
    }
    back = back == c->blocks ? back - 1u : back;
    c->newest[index] = 0;
    block = ring_distance(c, back, s.head);
    for (;; block = ring_next(c, block)) {
        if (holds_entries(&s, block, &e) && block != store->pending && !k.done) {
            (void)walk_block(&s, &k, &e, block);
        }
        if (block == store->head) {
            break;
        }
    }
    while (k.count != 0u) {
        settle_oldest(&s, &k, &e);
    }
    c->newest[index] = newest;
}
#endif

bool perdure_service(perdure_store *store) {
    const perdure_config *c = store->config;
    if (store->state != PERDURE_OK || store->blanks > store->spare || room(store) > c->block_units / 2u) {
        return false;
    }
    const uint32_t tail = ring_tail(store);
    if (tail == store->head) {
        return false;
    }
    const uint32_t index = living_in(c, tail, 0);
    if (index < slots(c)) {
        return copy_out(store, index, true); /* without room for it the next put finds a fresh block */
    }
    return room(store) >= store->mark_units && release(store, tail) && store->blanks <= store->spare;
}

#if PERDURE_PUT_NOW
perdure_status perdure_put_now(perdure_store *store, uint16_t index, const void *from) {
    const perdure_config *c = store->config;
    bool ok = false;
    source f;
    if (index + 1u != c->urgent) {
        return PERDURE_CONFIG;
    }
    if (store->state != PERDURE_OK) {
        return PERDURE_READ_ONLY;
    }
    (void)find_source(store, index, (const uint8_t *)from, &f);
    /* What a call that was interrupted has begun is voided; the unit that it may be programming just now is passed over. */
    const uint32_t begun = PLACE(store->head, store->unit);
    if (store->write_place >= begun && BLOCK_OF(store->write_place) == store->head) {
        store->unit = (uint16_t)(UNIT_OF(store->write_place) + 1u);
    }
    do {
        if (store->unit < c->block_units && room(store) >= entry_units(c, RESTART_BYTES + f.bytes)) {
            ok = append(store, index, &f, age_order(store, begun));
        }
    } while (!ok && advance(store));
#if PERDURE_TOTALS
    if (ok && f.kind == KIND_TOTAL) {
        memcpy(c->totals + f.record->total_offset, from, f.length);
    }
#endif
    store->state = STATE_CLOSED;
    return ok ? PERDURE_OK : PERDURE_FAULT;
}
#endif

#if PERDURE_FORMAT_CALL
/* Puts `count` of format's marks behind those that are there, if any, beginning at `unit`. However often formats are
 * cut, the same bytes go to the same places, so what a cut left of one does the next no harm. */
static OUT_OF_LINE void append_format_marks(perdure_store *s, uint32_t count) {
    const uint32_t used = used_from(s->config, s->head, s->unit);
    while (count != 0u && room(s) >= s->mark_units) {
        if (s->unit < used) {
            s->unit = (uint16_t)(s->unit + s->mark_units);
        } else {
            (void)append_mark(s, MARK_FORMAT);
            count--;
        }
    }
}

/* Is what an earlier format put behind the stamp of `block` whole? */
static OUT_OF_LINE bool format_began(const perdure_store *s, uint32_t block) {
    entry e;
    entry_forget(s->config, &e);
    return block_has_entry(s, block, &e);
}

perdure_status perdure_format(perdure_store *store, const perdure_config *config) {
    if (!set_sizes(store, config)) {
        return PERDURE_CONFIG;
    }
    /* Where there is a log, it says first that all of it is given up. Then one block other than the head is stamped with
     * sequence number 0, which says the same while the log goes; it gets its true stamp last. A mark behind that stamp
     * says that it is whole, before any other block is touched: a format that finds none begins with that block again,
     * the log being whole, and one that finds it leaves it alone, the log being perhaps half gone. */
    (void)scan(store);
    const bool log = store->sequence != 0u && store->unit != 0u;
    bool stamped = store->sequence == 0u && store->unit != 0u;
    uint32_t begun = store->head;
    if (log) {
        /* Where a start would go on in the next block, so does the mark. */
        if (store->state == STATE_LAZY && room(store) < pad_units(store) + store->live_max) {
            (void)advance(store);
        }
        /* Behind one that a cut has weakened a reader believes two in a row. */
        append_format_marks(store, store->state == PERDURE_BLANK ? 2 : 1);
    }
    if (!stamped) {
        begun = store->head == 0u ? 1u : 0u;
    }
    store->state = PERDURE_OK;
#if PERDURE_BAD_BLOCKS
    memset(config->block_flags, 0, config->blocks);
#endif
    store->head = (uint16_t)begun;
    store->sequence = 0;
    store->unit = store->stamp_units;
    store->head_check = check_begin(config, 0);
    if (!stamped || !format_began(store, begun)) {
        (void)erase_block(store, begun, 0);
    }
    append_format_marks(store, 1);
    for (uint32_t i = config->blocks; i-- != 0u;) {
        if (i != begun) {
            (void)erase_block(store, i, i + 1u);
        }
    }
    (void)erase_block(store, begun, begun + 1u);
    forget(config, NONE);
    store->head = (uint16_t)(config->blocks - 1u);
    store->sequence = 0;
#if PERDURE_BAD_BLOCKS
    const uint32_t bad = bad_count(config);
#else
    const uint32_t bad = store->state == PERDURE_OK ? 0u : config->blocks;
#endif
    store->blanks = (uint16_t)(config->blocks - bad);
    if (store->blanks > store->spare) {
        /* An area without any entry is one whose format was not finished: its last stamp may be weak. */
        bool marked = false;
        while (!marked && advance(store)) {
            marked = append_mark(store, MARK_DONE);
        }
        if (marked && (bad == 0u || copy_out(store, config->record_count, false))) {
            return PERDURE_OK;
        }
    }
    return set_state(store, PERDURE_READ_ONLY);
}
#endif

#if PERDURE_HEALTH
void perdure_get_health(const perdure_store *store, perdure_health *health) {
    health->programs = store->programs;
    health->sequence = store->sequence;
    health->blocks_bad = (uint16_t)bad_count(store->config);
    health->faults = store->faults;
    health->recovered = store->recovered;
    health->blanks = store->blanks;
}

bool perdure_erase_count(const perdure_store *store, uint16_t block, uint32_t *count) {
    stamp at;
    entry e;
    e.config = store->config;
    const bool ok = read_stamp(&e, block, &at) == STAMP_OK;
    *count = at.erases;
    return ok;
}
#endif
