/* store.c - see store.h for the calls, README.md for the promises and why they hold, format.md for the bytes. */
#include "store.h"

#include <string.h>

#define NONE 0xFFFFu
#define GIVEN_UP 0xFFFEu /* in place of a record: the mark by which a format gives up all of them */
#define BAD_LIST_ID 0xFFFFu
#define FORMAT_VERSION 0x10u
#define STAMP_BYTES 16u
#define PADS 2u        /* constant units before a restart entry, beside one longest entry: README.md, "Restarts" */
#define PENDING_MAX 6u /* entries whose fate a later restart entry may still decide */
#define FIELDS_MAX 32u
#define FOREIGN_FIELDS 0x80000000u /* in newest[]: the entry's field widths are not the configured ones */
#define BLOCK_BAD 1u               /* set aside for good */
#define BLOCK_WORN 2u              /* a program failed: set aside once it has been emptied */
#define RESTART_PENDING 0x8000u    /* in a restart entry's distance: the last mark's block may not be erased yet */
#define MARK_DONE 0u
#define MARK_FORMAT 0xFFFFu
#define RESTARTS_HELD 3u /* failed starts that a head must have room for */

enum { TAG_RESTART = 1, TAG_RESTART_ALONE = 2, TAG_MARK = 3 };
enum { KIND_SYSTEM = 0, KIND_SHORT = 0x40, KIND_VALUE = 0x80, KIND_TOTAL = 0xC0 };

/* A place in flash: block in the upper half, unit in the lower. 0 is a stamp, so it means "nowhere". */
#define PLACE(block, unit) (((uint32_t)(block) << 16) | (uint32_t)(unit))
#define BLOCK_OF(place) ((uint16_t)(((place) >> 16) & 0x7FFFu))
#define UNIT_OF(place) ((uint16_t)((place)&0xFFFFu))

/* ------------------------------------------------------------------------------------------------------------------
 * Bytes and check codes
 * ---------------------------------------------------------------------------------------------------------------- */

static void put_le(uint8_t *to, uint32_t value, uint8_t bytes) {
    for (; bytes != 0u; bytes--) {
        *to++ = (uint8_t)value;
        value >>= 8;
    }
}

static uint32_t get_le(const uint8_t *from, uint8_t bytes) {
    uint32_t value = 0;
    while (bytes-- != 0u) {
        value = (value << 8) | from[bytes];
    }
    return value;
}

/* Generator polynomials and initial values for 8, 16, 24 and 32 bits, left-aligned: CRC-8/NRSC-5, CRC-16/IBM-3740,
 * CRC-24/OPENPGP and CRC-32/MPEG-2 of the published catalogue of parametrised CRC algorithms. */
static const uint32_t polynomials[4] = {0x31000000u, 0x10210000u, 0x864CFB00u, 0x04C11DB7u};
#define CHECK_START(check_bits) ((check_bits) == 24u ? 0xB704CE00u : 0xFFFFFFFFu << (32u - (check_bits)))

static uint32_t check_over(const perdure_config *c, uint8_t bits, uint32_t state, const uint8_t *from, uint32_t bytes) {
    if (c->port->check != NULL && bits == c->check_bits) {
        return c->port->check(c->port->context, state, from, bytes);
    }
    const uint32_t polynomial = polynomials[(bits >> 3) - 1u];
    while (bytes-- != 0u) {
        state ^= (uint32_t)*from++ << 24;
        for (uint8_t i = 0; i < 8u; i++) {
            state = (state << 1) ^ ((state >> 31) != 0u ? polynomial : 0u);
        }
    }
    return state;
}

/* Every entry's check code begins with the sequence number of its block, so that bytes of an earlier turn do not pass. */
static uint32_t check_begin(const perdure_config *c, uint32_t sequence) {
    uint8_t bytes[4];
    put_le(bytes, sequence, 4);
    return check_over(c, c->check_bits, CHECK_START(c->check_bits), bytes, 4);
}

static uint16_t units_of(const perdure_config *c, uint32_t bytes) {
    return (uint16_t)((bytes + c->unit_bytes - 1u) / c->unit_bytes);
}

/* ------------------------------------------------------------------------------------------------------------------
 * The ring
 * ---------------------------------------------------------------------------------------------------------------- */

static uint16_t ring_next(const perdure_config *c, uint16_t block) {
    return (uint16_t)(block + 1u == c->blocks ? 0u : block + 1u);
}

static uint16_t ring_next_good(const perdure_config *c, uint16_t block) {
    do {
        block = ring_next(c, block);
    } while ((c->block_flags[block] & BLOCK_BAD) != 0u);
    return block;
}

/* Steps from block `from` forward to block `to`. */
static uint16_t ring_distance(const perdure_config *c, uint16_t from, uint16_t to) {
    return (uint16_t)(to >= from ? to - from : to + c->blocks - from);
}

/* Places in order of age: block in ring order counted from the one after the head, then unit. */
static uint32_t age_order(const perdure_store *s, uint32_t place) {
    return PLACE(s->config->blocks - 1u - ring_distance(s->config, BLOCK_OF(place), s->head), UNIT_OF(place));
}

static uint16_t ring_tail(const perdure_store *s) {
    uint16_t block = s->head;
    for (uint16_t i = 0; i <= s->blanks; i++) {
        block = ring_next_good(s->config, block);
    }
    return block;
}

static uint16_t room(const perdure_store *s) {
    return (uint16_t)(s->config->block_units - s->unit);
}

/* ------------------------------------------------------------------------------------------------------------------
 * Reading an entry
 * ---------------------------------------------------------------------------------------------------------------- */

typedef struct reader {
    const perdure_config *config;
    uint32_t address;
    uint32_t left; /* bytes to the end of the block */
    uint32_t check;
} reader;

/* Reads bytes that belong to the entry; asking for no byte beyond it keeps a torn neighbour's fault out of it. */
static bool take(reader *r, uint8_t *to, uint16_t bytes) {
    const perdure_config *c = r->config;
    if (bytes > r->left || !c->port->read(c->port->context, r->address, to, bytes)) {
        return false;
    }
    r->address += bytes;
    r->left -= bytes;
    r->check = check_over(c, c->check_bits, r->check, to, bytes);
    return true;
}

static bool take_check(reader *r) {
    const uint32_t expected = r->check >> (32u - r->config->check_bits);
    const uint8_t bytes = (uint8_t)(r->config->check_bits >> 3);
    uint8_t raw[4];
    return take(r, raw, bytes) && get_le(raw, bytes) == expected;
}

typedef struct entry {
    uint32_t body;  /* address of descriptors (totals) and payload, or of a short entry's bits */
    uint32_t from;  /* restart: in age order, from where it voids */
    uint16_t index; /* record, NONE for marks and lone restarts */
    uint16_t id;
    uint16_t length; /* payload bytes; marks: the distance */
    uint16_t units;
    uint8_t kind;
    uint8_t tag;         /* system tag, or 0 */
    uint8_t field_count; /* totals and short entries */
    bool pending;        /* restart: the erase that the last mark speaks of may be unfinished */
    uint8_t fields[FIELDS_MAX];
} entry;

static uint16_t record_index(const perdure_store *s, uint16_t id) {
    const perdure_config *c = s->config;
    uint16_t low = 0;
    uint16_t high = c->record_count;
    while (low < high) {
        const uint16_t middle = (uint16_t)((low + high) >> 1);
        if (c->records[middle].id < id) {
            low = (uint16_t)(middle + 1u);
        } else {
            high = middle;
        }
    }
    if (low < c->record_count && c->records[low].id == id) {
        return low;
    }
    low = c->record_count;
    if (id == BAD_LIST_ID) {
        return low;
    }
#if PERDURE_UNKNOWN
    for (uint16_t i = 0; i < c->unknown_max; i++) {
        low++;
        if (c->unknown_ids[i] == id || c->unknown_ids[i] == 0u) {
            c->unknown_ids[i] = id;
            return low;
        }
    }
#endif
    return NONE;
}

static void read_at(const perdure_store *s, reader *r, uint32_t place, uint32_t check) {
    const perdure_config *c = s->config;
    r->config = c;
    r->left = (uint32_t)(c->block_units - UNIT_OF(place)) * c->unit_bytes;
    r->address = ((uint32_t)BLOCK_OF(place) * c->block_units + UNIT_OF(place)) * c->unit_bytes;
    r->check = check;
}

/* Reads id, length and (totals) descriptors of a full entry, whose first byte is already taken. */
static bool take_head(reader *r, entry *e, uint8_t first) {
    uint8_t raw[2];
    e->kind = first & 0xC0u;
    e->id = first & 0x3Fu;
    if (e->id == 0u) {
        if (!take(r, raw, 2)) {
            return false;
        }
        e->id = (uint16_t)get_le(raw, 2);
    }
    if (e->kind == KIND_SHORT) {
        return true;
    }
    if (!take(r, raw, 1)) {
        return false;
    }
    e->length = raw[0];
    if (e->length >= 0x80u) {
        if (!take(r, raw, 1)) {
            return false;
        }
        e->length = (uint16_t)(((e->length & 0x7Fu) << 8) | raw[0]);
    }
    e->body = r->address;
    e->field_count = 0;
    if (e->kind == KIND_TOTAL) {
        for (uint32_t bytes = 0; bytes < e->length; bytes += 1u << (e->fields[e->field_count++] >> 6)) {
            if (e->field_count == FIELDS_MAX || !take(r, &e->fields[e->field_count], 1)) {
                return false;
            }
        }
    }
    return true;
}

/* Reads the entry at `place` and verifies its check code. `base` is the full entry that a short one rests on, 0 if none. */
static bool read_entry(const perdure_store *s, uint32_t place, uint32_t check, uint32_t base, entry *e) {
    reader r;
    uint8_t raw[8];
    uint32_t left;
    read_at(s, &r, place, check);
    const uint32_t start = r.address;
    memset(e, 0, offsetof(entry, fields));
    e->index = NONE;
    if (!take(&r, raw, 1) || raw[0] == s->config->blank) {
        return false;
    }
    e->kind = raw[0] & 0xC0u;
    if (e->kind == KIND_SYSTEM) {
        e->tag = raw[0];
        if (e->tag == TAG_MARK) {
            if (!take(&r, raw, 2)) {
                return false;
            }
            e->length = (uint16_t)get_le(raw, 2);
        } else if (e->tag <= TAG_RESTART_ALONE && e->tag != 0u) {
            if (!take(&r, raw, 4)) {
                return false;
            }
            const uint32_t order = age_order(s, place) & 0xFFFF0000u;
            const uint32_t back = (get_le(raw + 2, 2) & ~RESTART_PENDING) << 16;
            e->pending = (raw[3] & 0x80u) != 0u;
            e->from = back > order ? 0u : (order - back) | get_le(raw, 2);
            if (e->tag == TAG_RESTART && (!take(&r, raw, 1) || (raw[0] & 0x80u) == 0u)) {
                return false;
            }
        } else {
            return false;
        }
    }
    left = 0;
    if (e->tag <= TAG_RESTART) {
        if (!take_head(&r, e, raw[0])) {
            return false;
        }
        e->body = e->kind == KIND_SHORT ? r.address : e->body;
        left = e->length;
    }
    if (e->kind == KIND_SHORT) {
        entry full;
        reader b;
        uint32_t bits = 7;
        if (base == 0u) {
            return false;
        }
        read_at(s, &b, base, 0);
        uint8_t skip[6];
        if (!take(&b, skip, 1) || (skip[0] == TAG_RESTART && !take(&b, skip + 1, 5))) {
            return false;
        }
        if (!take_head(&b, &full, skip[0] == TAG_RESTART ? skip[5] : skip[0]) || full.id != e->id) {
            return false;
        }
        e->field_count = full.field_count;
        e->length = full.length;
        memcpy(e->fields, full.fields, full.field_count);
        for (uint8_t i = 0; i < e->field_count; i++) {
            bits += e->fields[i] & 0x3Fu;
        }
        left = bits >> 3;
    }
    while (left != 0u) {
        const uint16_t bytes = (uint16_t)(left < sizeof raw ? left : sizeof raw);
        if (!take(&r, raw, bytes)) {
            return false;
        }
        left -= bytes;
    }
    if (!take_check(&r)) {
        return false;
    }
    e->units = units_of(s->config, r.address - start);
    return true;
}

/* Sequence number of `block`, from its distance to the head: every step round the ring counts one. */
static uint32_t sequence_of(const perdure_store *s, uint16_t block) {
    return s->sequence - ring_distance(s->config, block, s->head);
}

/* Reads the newest full entry of record `index` again; false if it cannot be read. */
static bool read_newest(const perdure_store *s, uint16_t index, entry *e) {
    const uint32_t place = s->config->newest[index] & ~FOREIGN_FIELDS;
    return read_entry(s, place, check_begin(s->config, sequence_of(s, BLOCK_OF(place))), 0, e);
}

/* ------------------------------------------------------------------------------------------------------------------
 * Programming
 * ---------------------------------------------------------------------------------------------------------------- */

typedef struct writer {
    perdure_store *store;
    uint32_t check;
    uint32_t address;
    uint16_t fill; /* bytes waiting in the unit buffer */
    bool closed;   /* the check code is complete */
    bool ok;
} writer;

static void write_begin(writer *w, perdure_store *s, uint16_t block, uint16_t unit, uint32_t check) {
    w->store = s;
    w->check = check;
    w->address = ((uint32_t)block * s->config->block_units + unit) * s->config->unit_bytes;
    w->fill = 0;
    w->closed = false;
    w->ok = true;
}

/* Programs the unit buffer and reads it back. After a failure the rest of the entry is not programmed. */
static void write_unit(writer *w) {
    const perdure_config *c = w->store->config;
    uint16_t done = 0;
    uint8_t raw[8];
    if (!w->closed) {
        w->check = check_over(c, c->check_bits, w->check, c->unit_buffer, c->unit_bytes);
    }
    if (w->ok) {
        w->ok = c->port->program(c->port->context, w->address, c->unit_buffer);
        w->store->programs++;
    }
    while (w->ok && done < c->unit_bytes) {
        const uint16_t left = (uint16_t)(c->unit_bytes - done);
        const uint16_t bytes = left < sizeof raw ? left : (uint16_t)sizeof raw;
        w->ok = c->port->read(c->port->context, w->address + done, raw, bytes) &&
                memcmp(raw, c->unit_buffer + done, bytes) == 0;
        done = (uint16_t)(done + bytes);
    }
    w->address += c->unit_bytes;
    w->fill = 0;
}

static void write_bytes(writer *w, const uint8_t *from, uint32_t bytes) {
    const perdure_config *c = w->store->config;
    while (bytes-- != 0u) {
        c->unit_buffer[w->fill++] = *from++;
        if (w->fill == c->unit_bytes) {
            write_unit(w);
        }
    }
}

static bool write_end(writer *w, uint8_t check_bits) {
    const perdure_config *c = w->store->config;
    uint8_t raw[4];
    w->check = check_over(c, check_bits, w->check, c->unit_buffer, w->fill);
    w->closed = true;
    put_le(raw, w->check >> (32u - check_bits), 4);
    write_bytes(w, raw, (uint32_t)check_bits >> 3);
    if (w->fill != 0u) {
        memset(c->unit_buffer + w->fill, c->blank, (size_t)(c->unit_bytes - w->fill));
        write_unit(w);
    }
    return w->ok;
}

static void write_head_begin(writer *w, perdure_store *s) {
    write_begin(w, s, s->head, s->unit, s->head_check);
}

/* Ends an entry at the head. A failed program is a fault of the block: nothing more is put there. */
static bool write_head_end(writer *w, uint16_t units) {
    perdure_store *s = w->store;
    s->unit = (uint16_t)(s->unit + units);
    if (write_end(w, s->config->check_bits)) {
        return true;
    }
    s->faults++;
    s->config->block_flags[s->head] |= BLOCK_WORN;
    s->unit = s->config->block_units;
    return false;
}

/* ------------------------------------------------------------------------------------------------------------------
 * Blocks: stamp, erase, advance
 * ---------------------------------------------------------------------------------------------------------------- */

enum { STAMP_NONE, STAMP_OTHER, STAMP_OK };

static uint8_t stamp_geometry(const perdure_config *c, uint8_t *raw) {
    raw[0] = (uint8_t)(FORMAT_VERSION | (c->check_bits >> 3));
    put_le(raw + 1, c->unit_bytes, 2);
    put_le(raw + 3, c->blocks, 2);
    put_le(raw + 5, c->block_units, 2);
    return 7;
}

/* The stamp's own check code is always 16 bits and has no prefix: a reader needs to know nothing to read it. */
static uint8_t read_stamp(const perdure_config *c, uint16_t block, uint32_t *sequence, uint32_t *erases) {
    uint8_t raw[STAMP_BYTES];
    uint8_t expected[7];
    const uint32_t address = (uint32_t)block * c->block_units * c->unit_bytes;
    if (!c->port->read(c->port->context, address, raw, STAMP_BYTES) ||
        check_over(c, 16, CHECK_START(16u), raw, 14) >> 16 != get_le(raw + 14, 2)) {
        return STAMP_NONE;
    }
    *sequence = get_le(raw + 7, 4);
    *erases = get_le(raw + 11, 3);
    return memcmp(raw, expected, stamp_geometry(c, expected)) == 0 ? STAMP_OK : STAMP_OTHER;
}

static void set_aside(perdure_store *s, uint16_t block) {
    s->faults++;
    s->config->block_flags[block] |= BLOCK_BAD;
}

/* Erases `block` and stamps it with the sequence number it will have as head. False: it was set aside. */
static bool erase_block(perdure_store *s, uint16_t block, uint32_t sequence) {
    const perdure_config *c = s->config;
    uint32_t erases = 0;
    uint32_t other;
    uint8_t raw[STAMP_BYTES];
    writer w;
    if (read_stamp(c, block, &other, &erases) == STAMP_NONE) {
        /* Lost with a torn erase: the highest of the others is near, as wear is level. */
        for (uint16_t i = 0; i < c->blocks; i++) {
            uint32_t count;
            if (read_stamp(c, i, &other, &count) == STAMP_OK && count > erases) {
                erases = count;
            }
        }
    }
    if ((c->block_flags[block] & BLOCK_WORN) != 0u || !c->port->erase(c->port->context, block)) {
        set_aside(s, block);
        return false;
    }
    write_begin(&w, s, block, 0, CHECK_START(16u));
    (void)stamp_geometry(c, raw);
    put_le(raw + 7, sequence, 4);
    put_le(raw + 11, erases + 1u, 3);
    put_le(raw + 14, check_over(c, 16, CHECK_START(16u), raw, 14) >> 16, 2);
    w.closed = true;
    write_bytes(&w, raw, STAMP_BYTES);
    if (w.fill != 0u) {
        memset(c->unit_buffer + w.fill, c->blank, (size_t)(c->unit_bytes - w.fill));
        write_unit(&w);
    }
    if (!w.ok) {
        set_aside(s, block);
    }
    return w.ok;
}

/* Makes the next blank block the head. False if there is none. */
static bool advance(perdure_store *s) {
    if (s->blanks == 0u) {
        return false;
    }
    const uint16_t next = ring_next_good(s->config, s->head);
    s->sequence += ring_distance(s->config, s->head, next);
    s->head = next;
    s->blanks--;
    s->unit = s->stamp_units;
    s->head_check = check_begin(s->config, s->sequence);
    return true;
}

/* ------------------------------------------------------------------------------------------------------------------
 * Appending entries
 * ---------------------------------------------------------------------------------------------------------------- */

/* What an entry is made of: descriptors and payload from RAM, or both together as they stand in flash. */
typedef struct source {
    const uint8_t *fields;
    const uint8_t *payload; /* NULL: `address` */
    uint32_t address;
    uint16_t id;
    uint16_t length;
    uint8_t field_count;
    uint8_t kind;
} source;

static uint16_t source_units(const perdure_config *c, const source *f, uint32_t extra) {
    return units_of(c, extra + (f->id > 62u ? 3u : 1u) + (f->length >= 0x80u ? 2u : 1u) + f->field_count + f->length +
                           (c->check_bits >> 3));
}

static uint16_t bad_count(const perdure_config *c) {
    uint16_t count = 0;
    for (uint16_t i = 0; i < c->blocks; i++) {
        count = (uint16_t)(count + (c->block_flags[i] & BLOCK_BAD));
    }
    return count;
}

/* Finds what record `index` consists of now; `payload` is its new value, or NULL for the stored one. */
static bool find_source(const perdure_store *s, uint16_t index, const uint8_t *payload, source *f) {
    const perdure_config *c = s->config;
    entry e;
    memset(f, 0, sizeof *f);
    f->kind = KIND_VALUE;
    if (index < c->record_count) {
        const perdure_record *record = &c->records[index];
        f->id = record->id;
        f->length = record->bytes;
#if PERDURE_TOTALS
        if (record->fields != NULL) {
            f->kind = KIND_TOTAL;
            f->fields = record->fields;
            f->field_count = record->field_count;
            payload = payload == NULL ? c->totals + record->total_offset : payload;
        }
#endif
        f->payload = payload;
    } else if (index == c->record_count) {
        f->id = BAD_LIST_ID;
        f->length = (uint16_t)(bad_count(c) * 2u);
        return true;
    }
    if (f->payload == NULL) {
        if (!read_newest(s, index, &e)) {
            return false;
        }
        f->id = e.id;
        f->kind = e.kind;
        f->length = e.length;
        f->field_count = e.field_count;
        f->address = e.body;
    }
    return true;
}

/* Appends a full entry at the head, which has room for it; with `from` (age order) it is a restart entry. */
static bool append(perdure_store *s, uint16_t index, const source *f, const uint32_t *from) {
    const perdure_config *c = s->config;
    writer w;
    uint8_t raw[8];
    uint8_t n = 0;
    const uint32_t place = PLACE(s->head, s->unit);
    write_head_begin(&w, s);
    if (from != NULL) {
        raw[0] = f == NULL ? TAG_RESTART_ALONE : TAG_RESTART;
        put_le(raw + 1, *from & 0xFFFFu, 2);
        put_le(raw + 3, ((age_order(s, place) >> 16) - (*from >> 16)) | (s->pending != NONE ? RESTART_PENDING : 0u), 2);
        write_bytes(&w, raw, 5);
        if (f == NULL) {
            return write_head_end(&w, units_of(c, 5u + (c->check_bits >> 3)));
        }
    }
    raw[n++] = (uint8_t)(f->kind | (f->id > 62u ? 0u : f->id));
    if (f->id > 62u) {
        put_le(raw + n, f->id, 2);
        n = (uint8_t)(n + 2u);
    }
    if (f->length >= 0x80u) {
        raw[n++] = (uint8_t)(0x80u | (f->length >> 8));
    }
    raw[n++] = (uint8_t)f->length;
    write_bytes(&w, raw, n);
    if (f->payload != NULL) {
        write_bytes(&w, f->fields, f->field_count);
        write_bytes(&w, f->payload, f->length);
    } else if (index == c->record_count) {
        for (uint16_t i = 0; i < c->blocks; i++) {
            put_le(raw, i, 2);
            write_bytes(&w, raw, (c->block_flags[i] & BLOCK_BAD) != 0u ? 2u : 0u);
        }
    } else {
        uint32_t address = f->address;
        for (uint32_t left = (uint32_t)f->length + f->field_count; left != 0u; left--) {
            w.ok = w.ok && c->port->read(c->port->context, address++, raw, 1);
            write_bytes(&w, raw, 1);
        }
    }
    if (!write_head_end(&w, source_units(c, f, from != NULL ? 5u : 0u))) {
        return false;
    }
    c->newest[index] = place;
    return true;
}

static bool append_mark(perdure_store *s, uint16_t distance) {
    writer w;
    uint8_t raw[3] = {TAG_MARK, 0, 0};
    put_le(raw + 1, distance, 2);
    write_head_begin(&w, s);
    write_bytes(&w, raw, 3);
    return write_head_end(&w, s->mark_units);
}

#if PERDURE_TOTALS
static uint64_t load_field(const uint8_t *from, uint8_t bytes) {
    uint64_t value = 0;
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    if (bytes == 8u) {
        memcpy(&value, from, 8); /* of a size the compiler knows: one load where the target has it */
    } else {
        memcpy(&value, from, bytes);
    }
#else
    while (bytes-- != 0u) {
        value = (value << 8) | from[bytes];
    }
#endif
    return value;
}

/* How a total moves from its current value to `payload`: may a short entry carry it? False: it would go backward.
 * A third of what the width can carry leaves room for two lost entries. */
static bool total_moves(const perdure_config *c, const perdure_record *record, const uint8_t *payload, bool *is_short) {
    const uint8_t *now = c->totals + record->total_offset;
    for (uint8_t i = 0; i < record->field_count; i++) {
        const uint8_t bytes = (uint8_t)(1u << (record->fields[i] >> 6));
        const uint64_t old_value = load_field(now, bytes);
        const uint64_t new_value = load_field(payload, bytes);
        if (new_value < old_value) {
            return false;
        }
        if (new_value - old_value > (((uint64_t)1 << (record->fields[i] & 0x3Fu)) - 1u) / 3u) {
            *is_short = false;
        }
        now += bytes;
        payload += bytes;
    }
    return true;
}

static uint16_t short_bytes(const perdure_config *c, const perdure_record *record) {
    uint16_t bits = 7;
    for (uint8_t i = 0; i < record->field_count; i++) {
        bits = (uint16_t)(bits + (record->fields[i] & 0x3Fu));
    }
    return (uint16_t)((record->id > 62u ? 3u : 1u) + (bits >> 3) + (c->check_bits >> 3));
}

static bool append_short(perdure_store *s, const perdure_record *record, const uint8_t *payload, uint16_t units) {
    writer w;
    uint64_t bits = 0;
    uint8_t count = 0;
    uint8_t raw[3];
    write_head_begin(&w, s);
    raw[0] = (uint8_t)(KIND_SHORT | (record->id > 62u ? 0u : record->id));
    put_le(raw + 1, record->id, 2);
    write_bytes(&w, raw, record->id > 62u ? 3u : 1u);
    for (uint8_t i = 0; i < record->field_count; i++) {
        const uint8_t bytes = (uint8_t)(1u << (record->fields[i] >> 6));
        const uint8_t width = record->fields[i] & 0x3Fu;
        bits |= (load_field(payload, bytes) & (((uint64_t)1 << width) - 1u)) << count;
        payload += bytes;
        for (count = (uint8_t)(count + width); count >= 8u || (i + 1u == record->field_count && count != 0u);
             count = (uint8_t)(count < 8u ? 0u : count - 8u)) {
            raw[0] = (uint8_t)bits;
            write_bytes(&w, raw, 1);
            bits >>= 8;
        }
    }
    return write_head_end(&w, units);
}

/* Carries a total's current value up to the low-order bits of the short entry `e`. */
static void apply_short(perdure_store *s, const entry *e, uint8_t *now, uint16_t bytes_max) {
    const perdure_config *c = s->config;
    uint64_t bits = 0;
    uint8_t count = 0;
    uint32_t address = e->body;
    for (uint8_t i = 0; i < e->field_count; i++) {
        const uint8_t bytes = (uint8_t)(1u << (e->fields[i] >> 6));
        const uint8_t width = e->fields[i] & 0x3Fu;
        const uint64_t mask = ((uint64_t)1 << width) - 1u;
        uint8_t raw;
        for (; count < width; count = (uint8_t)(count + 8u)) {
            (void)c->port->read(c->port->context, address++, &raw, 1); /* read with its check a moment ago */
            bits |= (uint64_t)raw << count;
        }
        if (bytes > bytes_max) {
            return; /* a field that this firmware does not have */
        }
        uint64_t value = load_field(now, bytes);
        value += (bits - value) & mask;
        bits >>= width;
        count = (uint8_t)(count - width);
        for (uint8_t b = 0; b < bytes; b++) {
            *now++ = (uint8_t)value;
            value >>= 8;
        }
        bytes_max = (uint16_t)(bytes_max - bytes);
    }
}
#endif

/* ------------------------------------------------------------------------------------------------------------------
 * Cleaning
 * ---------------------------------------------------------------------------------------------------------------- */

static uint16_t slots(const perdure_config *c) {
    return (uint16_t)(c->record_count + 1u + c->unknown_max);
}

/* Copies record `index` to the head if its newest entry lies in `block`. Advances while blank blocks are left, if allowed.
 * True when the record no longer needs the block. */
static bool copy_out(perdure_store *s, uint16_t index) {
    source f;
    if (!find_source(s, index, NULL, &f)) {
        /* Rotten where it stands: nothing can save it, and the ring must go on. */
        s->faults++;
        s->config->newest[index] = 0;
        return true;
    }
    for (uint8_t tries = 0; tries < 4u; tries++) {
        if (room(s) < source_units(s->config, &f, 0)) {
            if (!advance(s)) {
                return false;
            }
        } else if (append(s, index, &f, NULL)) {
            return true;
        }
    }
    return false;
}

static uint16_t first_living_in(const perdure_store *s, uint16_t block) {
    const perdure_config *c = s->config;
    uint16_t i;
    for (i = 0; i < slots(c); i++) {
        if (c->newest[i] != 0u && BLOCK_OF(c->newest[i]) == block) {
            break;
        }
    }
    return i;
}

/* Everything in `tail` has been copied: says so in the log, then erases and stamps it. */
static bool release(perdure_store *s, uint16_t tail) {
    const perdure_config *c = s->config;
    while (room(s) < s->mark_units || !append_mark(s, ring_distance(c, tail, s->head))) {
        if (!advance(s)) {
            return false;
        }
    }
    if (erase_block(s, tail, s->sequence + ring_distance(c, s->head, tail))) {
        s->blanks++;
        return true;
    }
    if (bad_count(c) + 2u > c->blocks - s->spare + 1u) {
        s->state = PERDURE_READ_ONLY;
        return false;
    }
    return copy_out(s, c->record_count);
}

/* Empties the tail whole. */
static bool clean(perdure_store *s) {
    const uint16_t tail = ring_tail(s);
    uint16_t i;
    if (tail == s->head) {
        return false;
    }
    for (i = 0; i < slots(s->config); i++) {
        if (s->config->newest[i] != 0u && BLOCK_OF(s->config->newest[i]) == tail && !copy_out(s, i)) {
            return false;
        }
    }
    return release(s, tail);
}

/* Makes room for `units` at the head. When that takes the last spare blank block, tails are emptied first. */
static bool next_head(perdure_store *s) {
    if (!advance(s)) {
        return false;
    }
    while (s->blanks < s->spare) {
        if (!clean(s)) {
            return false;
        }
    }
    return true;
}

/* ------------------------------------------------------------------------------------------------------------------
 * Opening
 * ---------------------------------------------------------------------------------------------------------------- */

typedef struct seen {
    uint32_t place;
    uint32_t from; /* restarts: age order from where they void; others: 0xFFFFFFFF */
    uint16_t index;
    bool is_full;
} seen;

typedef struct walk {
    seen list[PENDING_MAX];
    uint8_t count;
} walk;

/* Takes entry `e` at `place` as the newest of its record. */
static void apply(perdure_store *s, uint32_t place, uint16_t index, const entry *e) {
    const perdure_config *c = s->config;
    if (index == c->record_count) {
        for (uint16_t i = 0; i + 1u < e->length; i = (uint16_t)(i + 2u)) {
            uint8_t raw[2];
            if (c->port->read(c->port->context, e->body + i, raw, 2) && get_le(raw, 2) < c->blocks) {
                c->block_flags[get_le(raw, 2)] |= BLOCK_BAD;
            }
        }
    }
#if PERDURE_TOTALS
    if (index < c->record_count && c->records[index].fields != NULL && e->kind != KIND_VALUE) {
        const perdure_record *record = &c->records[index];
        uint8_t *now = c->totals + record->total_offset;
        if (e->kind == KIND_SHORT) {
            apply_short(s, e, now, record->bytes);
            return;
        }
        const uint16_t bytes = e->length < record->bytes ? e->length : record->bytes;
        (void)c->port->read(c->port->context, e->body + e->field_count, now, bytes);
        if (e->field_count != record->field_count || memcmp(e->fields, record->fields, e->field_count) != 0) {
            place |= FOREIGN_FIELDS;
        }
    }
#endif
    if (e->kind != KIND_SHORT) {
        c->newest[index] = place;
    }
}

/* Settles the oldest of the seen entries: newest to oldest, a void restart voids nothing, what a standing one voids is lost. */
static void settle_oldest(perdure_store *s, walk *k) {
    uint32_t limit = 0xFFFFFFFFu;
    const seen oldest = k->list[0];
    entry e;
    for (uint8_t i = k->count; i-- > 1u;) {
        if (age_order(s, k->list[i].place) < limit && k->list[i].from < limit) {
            limit = k->list[i].from;
        }
    }
    k->count--;
    memmove(k->list, k->list + 1, k->count * sizeof(seen));
    if (oldest.index == NONE || age_order(s, oldest.place) >= limit) {
        return;
    }
    if (oldest.index == GIVEN_UP) {
        /* Behind it comes nothing, unless a start could not read it and went on. That start's restart entry voids it, but where
         * the erase of this block is torn, the one may be readable without the other. */
        if (k->count == 0u) {
            s->state = PERDURE_BLANK;
        }
        return;
    }
    const uint32_t check = check_begin(s->config, sequence_of(s, BLOCK_OF(oldest.place)));
    if (read_entry(s, oldest.place, check, s->config->newest[oldest.index] & ~FOREIGN_FIELDS, &e)) {
        apply(s, oldest.place, oldest.index, &e);
    }
}

/* The full entry that a short entry of `index` in `block` rests on. */
static uint32_t base_of(const perdure_store *s, const walk *k, uint16_t id, uint16_t block) {
    const uint16_t index = record_index(s, id);
    uint32_t place = index == NONE ? 0u : s->config->newest[index] & ~FOREIGN_FIELDS;
    for (uint8_t i = 0; i < k->count; i++) {
        if (k->list[i].index == index && k->list[i].is_full) {
            place = k->list[i].place;
        }
    }
    return BLOCK_OF(place) == block ? place : 0u;
}

static bool unit_is_blank(const perdure_store *s, uint16_t block, uint16_t unit) {
    const perdure_config *c = s->config;
    uint32_t address = ((uint32_t)block * c->block_units + unit) * c->unit_bytes;
    uint8_t raw[8];
    for (uint16_t left = c->unit_bytes; left != 0u;) {
        const uint16_t bytes = left < sizeof raw ? left : (uint16_t)sizeof raw;
        if (!c->port->read(c->port->context, address, raw, bytes)) {
            return false;
        }
        for (uint16_t i = 0; i < bytes; i++) {
            if (raw[i] != c->blank) {
                return false;
            }
        }
        address += bytes;
        left = (uint16_t)(left - bytes);
    }
    return true;
}

static void note_entry(perdure_store *s, walk *k, uint32_t place, const entry *e) {
    const perdure_config *c = s->config;
    seen *at;
    if (e->units > s->live_max) {
        s->live_max = e->units;
    }
    if (e->tag == TAG_MARK && e->length != MARK_FORMAT) {
        s->pending = NONE;
        if (e->length != MARK_DONE && e->length < c->blocks) {
            const uint16_t block = BLOCK_OF(place);
            s->pending = (uint16_t)(block >= e->length ? block - e->length : block + c->blocks - e->length);
        }
        return;
    }
    if (e->tag != TAG_MARK && (!e->pending || BLOCK_OF(place) == s->pending)) {
        s->pending = NONE; /* an ordinary entry is only put once the erase and its stamp are complete */
    }
    if (k->count == PENDING_MAX) {
        settle_oldest(s, k);
    }
    at = &k->list[k->count++];
    at->place = place;
    at->from = e->tag != 0u ? e->from : 0xFFFFFFFFu;
    at->index = NONE;
    at->is_full = e->kind != KIND_SHORT;
    if (e->tag == TAG_MARK) {
        at->index = GIVEN_UP; /* unlike the other marks no fact yet: a start that did not see it voids it */
        at->from = 0xFFFFFFFFu;
    } else if (e->tag != TAG_RESTART_ALONE) {
        at->index = record_index(s, e->id);
        if (at->index == NONE) {
            s->state = PERDURE_READ_ONLY;
        }
    }
    s->newest_index = at->index;
    s->newest_from = e->tag != 0u ? e->from : age_order(s, place);
}

/* Walks one block. Returns the unit after the last one that is not blank. */
static uint16_t walk_block(perdure_store *s, walk *k, uint16_t block) {
    const perdure_config *c = s->config;
    const uint32_t check = check_begin(c, sequence_of(s, block));
    uint16_t used = s->stamp_units;
    uint16_t candidate = 0; /* unit of an entry that stands behind a bad unit; believed once a second one follows */
    uint16_t candidate_end = 0;
    bool doubt = false;
    uint16_t unit = s->stamp_units;
    while (unit < c->block_units) {
        const uint32_t place = PLACE(block, unit);
        entry e;
        uint8_t first[3] = {0, 0, 0};
        const uint32_t address = ((uint32_t)block * c->block_units + unit) * c->unit_bytes;
        uint32_t base = 0;
        const uint8_t head_bytes = c->unit_bytes < 3u ? 1u : 3u;
        if (c->port->read(c->port->context, address, first, head_bytes) && (first[0] & 0xC0u) == KIND_SHORT) {
            uint16_t id = first[0] & 0x3Fu;
            if (id == 0u) {
                if (head_bytes == 1u &&
                    (uint32_t)unit * c->unit_bytes + 3u <= (uint32_t)c->block_units * c->unit_bytes) {
                    (void)c->port->read(c->port->context, address, first, 3);
                }
                id = (uint16_t)get_le(first + 1, 2);
            }
            base = base_of(s, k, id, block);
        }
        if (!read_entry(s, place, check, base, &e)) {
            if (!unit_is_blank(s, block, unit)) {
                used = (uint16_t)(unit + 1u);
                s->recovered++;
            }
            doubt = true;
            candidate_end = 0;
            unit++;
            continue;
        }
        if (doubt && (e.tag == 0u || e.tag == TAG_MARK)) {
            if (candidate_end != unit) {
                candidate = unit;
                candidate_end = (uint16_t)(unit + e.units);
                unit = candidate_end;
                used = unit;
                continue;
            }
            unit = candidate;
            doubt = false;
            candidate_end = 0;
            continue;
        }
        doubt = false;
        candidate_end = 0;
        note_entry(s, k, place, &e);
        unit = (uint16_t)(unit + e.units);
        used = unit;
    }
    return used;
}

static bool block_has_content(const perdure_store *s, uint16_t block) {
    for (uint16_t unit = s->stamp_units; unit < s->config->block_units; unit++) {
        if (!unit_is_blank(s, block, unit)) {
            return true;
        }
    }
    return false;
}

/* A torn erase may leave a stamp and rubbish, so only a valid entry makes a block the head. */
static bool block_has_entry(const perdure_store *s, uint16_t block) {
    const uint32_t check = check_begin(s->config, s->sequence);
    entry e;
    for (uint16_t unit = s->stamp_units; unit < s->config->block_units; unit++) {
        if (read_entry(s, PLACE(block, unit), check, 0, &e)) {
            return true;
        }
    }
    return false;
}

/* Finds the head: of the stamped blocks the one with the highest sequence number that holds an entry. */
static perdure_status find_head(perdure_store *s) {
    const perdure_config *c = s->config;
    uint32_t best = 0;
    uint32_t sequence;
    uint32_t erases;
    bool foreign = false;
    for (uint16_t i = 0; i < c->blocks; i++) {
        const uint8_t stamp = read_stamp(c, i, &sequence, &erases);
        if (stamp == STAMP_OK) {
            if (sequence == 0u) {
                return PERDURE_BLANK; /* a format was begun */
            }
            if (sequence > best) {
                best = sequence;
                s->head = i;
            }
        } else if (stamp == STAMP_OTHER || !unit_is_blank(s, i, 0) || block_has_content(s, i)) {
            foreign = true;
        }
    }
    if (best == 0u) {
        return foreign ? PERDURE_FOREIGN : PERDURE_BLANK;
    }
    uint16_t block = s->head;
    for (uint16_t i = 0; i < c->blocks && i < best; i++) {
        if (read_stamp(c, block, &sequence, &erases) == STAMP_OK && sequence == best - i) {
            s->head = block;
            s->sequence = sequence;
            if (block_has_entry(s, block)) {
                return PERDURE_OK;
            }
        }
        block = (uint16_t)(block == 0u ? c->blocks - 1u : block - 1u);
    }
    return PERDURE_BLANK; /* no entry anywhere: a format was not finished */
}

static void set_default(const perdure_record *record, uint8_t *to, uint16_t from) {
    if (record->defaults != NULL) {
        memcpy(to + from, (const uint8_t *)record->defaults + from, (size_t)(record->bytes - from));
    } else {
        memset(to + from, 0, (size_t)(record->bytes - from));
    }
}

static void forget(const perdure_config *c, uint16_t index) {
    c->newest[index] = 0;
#if PERDURE_TOTALS
    if (index < c->record_count && c->records[index].fields != NULL) {
        set_default(&c->records[index], c->totals + c->records[index].total_offset, 0);
    }
#endif
}

/* Sizes that follow from the configuration; false if live data and reserves do not fit. */
static bool set_sizes(perdure_store *s) {
    const perdure_config *c = s->config;
    const uint32_t check_bytes = (uint32_t)c->check_bits >> 3;
    uint32_t live = 0;
    uint32_t largest;
    s->stamp_units = (uint8_t)units_of(c, STAMP_BYTES);
    s->mark_units = (uint8_t)units_of(c, 3u + check_bytes);
    s->live_max = s->mark_units;
    for (uint16_t i = 0; i < c->record_count; i++) {
        source f;
        (void)find_source(s, i, c->unit_buffer, &f); /* any RAM: only the sizes are used */
        const uint16_t units = source_units(c, &f, 0);
        live += units;
        if (units > s->live_max) {
            s->live_max = units;
        }
    }
    largest = s->live_max + units_of(c, 5u);
    const uint32_t reserve = s->stamp_units + 2u * s->mark_units + RESTARTS_HELD * (PADS + 2u * largest);
    if (reserve > c->block_units) {
        return false;
    }
    /* With four blocks or more a second blank one takes over where cut starts have used up the first. */
    s->spare = c->blocks < 4u ? 1u : 2u;
    return live <= (c->blocks < 4u ? 1u : c->blocks - 3u) * (c->block_units - reserve);
}

/* Reads the whole ring into RAM. */
static perdure_status scan(perdure_store *s) {
    const perdure_config *c = s->config;
    walk k;
    uint32_t sequence;
    uint32_t erases;
    s->pending = NONE;
    s->newest_index = NONE;
    s->recovered = 0;
    s->state = PERDURE_OK;
    memset(c->block_flags, 0, c->blocks);
#if PERDURE_UNKNOWN
    if (c->unknown_max != 0u) {
        memset(c->unknown_ids, 0, c->unknown_max * sizeof(uint16_t));
    }
#endif
    for (uint16_t i = 0; i < slots(c); i++) {
        forget(c, i);
    }
    const perdure_status found = find_head(s);
    if (found != PERDURE_OK) {
        return found;
    }
    s->head_check = check_begin(c, s->sequence);
    s->newest_from = PLACE(c->blocks - 1u, s->stamp_units);
    k.count = 0;
    uint16_t block = s->head;
    do {
        block = ring_next(c, block);
        /* A block that waits erased, or is set aside, has another stamp; one whose stamp is lost is read all the same. */
        if (ring_distance(c, block, s->head) < s->sequence &&
            (read_stamp(c, block, &sequence, &erases) != STAMP_OK || sequence == sequence_of(s, block))) {
            s->unit = walk_block(s, &k, block);
        }
    } while (block != s->head);
    while (k.count != 0u) {
        settle_oldest(s, &k);
    }
    if (s->pending != NONE) {
        for (uint16_t i = 0; i < slots(c); i++) {
            if (c->newest[i] != 0u && BLOCK_OF(c->newest[i]) == s->pending) {
                forget(c, i);
            }
        }
    }
    block = ring_next_good(c, s->head);
    for (s->blanks = 0; block != s->head && block != s->pending; s->blanks++) {
        if (read_stamp(c, block, &sequence, &erases) != STAMP_OK ||
            sequence != s->sequence + ring_distance(c, s->head, block)) {
            break;
        }
        block = ring_next_good(c, block);
    }
    return (perdure_status)s->state;
}

/* Puts the restart entry of this start. False if neither the head nor a blank block has room for it. */
static bool put_restart(perdure_store *s) {
    const perdure_config *c = s->config;
    source f;
    const source *what = NULL;
    uint16_t units = units_of(c, 5u + (c->check_bits >> 3));
    const uint16_t old_head = s->head;
    if (s->newest_index != NONE && find_source(s, s->newest_index, NULL, &f)) {
        what = &f;
        units = source_units(c, &f, 5u);
    }
    for (;;) {
        memset(c->unit_buffer, (uint8_t)~c->blank, c->unit_bytes);
        for (uint16_t i = (uint16_t)(PADS + s->live_max + units_of(c, 5u)); i != 0u && room(s) != 0u; i--) {
            /* Over a weak unit this may fail or read badly: it only has to leave nothing that looks like an entry. */
            (void)c->port->program(c->port->context, ((uint32_t)s->head * c->block_units + s->unit++) * c->unit_bytes,
                                   c->unit_buffer);
        }
        /* Where the longest entry does not fit, the one that was cut may have begun in the next block. Decided after the
         * pads, which stay visible, so that a start after this one decides alike. */
        if (room(s) >= units && (room(s) >= s->live_max || s->blanks == 0u)) {
            uint32_t from = s->newest_from;
            const uint32_t moved = (uint32_t)ring_distance(c, old_head, s->head) << 16;
            from = from < moved ? 0u : from - moved; /* ages are counted from the head */
            if (append(s, s->newest_index, what, &from)) {
                return true;
            }
        }
        if (!advance(s)) {
            return false;
        }
        for (uint16_t unit = s->unit; unit < c->block_units; unit++) {
            if (!unit_is_blank(s, s->head, unit)) {
                s->unit = (uint16_t)(unit + 1u); /* the entry that was cut, or an earlier start, left something here */
            }
        }
    }
}

/* Settles what a cut may have left open: restart entry, unfinished erase, unfinished cleaning. False if there is no room. */
static bool recover(perdure_store *s) {
    if (!put_restart(s)) {
        return false;
    }
    const bool unfinished = s->pending != NONE;
    bool due = unfinished;
    while (due || s->blanks < s->spare) {
        if (!clean(s)) {
            return false;
        }
        due = false;
    }
    /* Else the next start could take the erase for unfinished although entries have gone into that block since. */
    while (unfinished && (room(s) < s->mark_units || !append_mark(s, MARK_DONE))) {
        if (!next_head(s)) {
            return false;
        }
    }
    return true;
}

perdure_status perdure_open(perdure_store *store, const perdure_config *config, bool read_only) {
    memset(store, 0, sizeof *store);
    store->config = config;
    if (!set_sizes(store)) {
        return (perdure_status)(store->state = PERDURE_CONFIG);
    }
    for (uint8_t tries = 0; tries < 3u; tries++) {
        const perdure_status found = scan(store);
        store->state = (uint8_t)found;
        if (found != PERDURE_OK) {
            return found;
        }
        if (read_only) {
            return (perdure_status)(store->state = PERDURE_READ_ONLY);
        }
        if (recover(store)) {
            return PERDURE_OK;
        }
        /* Starts have used up the head and no blank block is left. If nothing lives in the tail it can go at once;
         * else it is still being emptied, so the head holds copies only and can be made again. */
        const uint16_t tail = store->pending != NONE ? store->pending : ring_next_good(config, store->head);
        if (first_living_in(store, tail) < slots(config)) {
            (void)erase_block(store, store->head, store->sequence);
        } else if (erase_block(store, tail, store->sequence + ring_distance(config, store->head, tail))) {
            store->pending = NONE;
            store->blanks = 1;
            if (recover(store)) {
                return PERDURE_OK;
            }
        }
    }
    return (perdure_status)(store->state = PERDURE_READ_ONLY);
}

/* ------------------------------------------------------------------------------------------------------------------
 * The other calls
 * ---------------------------------------------------------------------------------------------------------------- */

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
    if (!read_newest(store, index, &e)) {
        return PERDURE_FAULT;
    }
    const uint16_t bytes = e.length < record->bytes ? e.length : record->bytes;
    if (!c->port->read(c->port->context, e.body, to, bytes)) {
        return PERDURE_FAULT;
    }
    set_default(record, (uint8_t *)to, bytes);
    return PERDURE_OK;
}

perdure_status perdure_put(perdure_store *store, uint16_t index, const void *from) {
    const perdure_config *c = store->config;
    const perdure_record *record = &c->records[index];
    source f;
    if (store->state != PERDURE_OK) {
        return PERDURE_READ_ONLY;
    }
#if PERDURE_TOTALS
    bool may_be_short = record->fields != NULL;
    if (may_be_short && !total_moves(c, record, (const uint8_t *)from, &may_be_short)) {
        return PERDURE_BACKWARD;
    }
    const uint16_t short_units = may_be_short ? units_of(c, short_bytes(c, record)) : 0u;
#endif
    (void)find_source(store, index, (const uint8_t *)from, &f);
    const uint16_t full_units = source_units(c, &f, 0);
    bool failed = false;
    for (uint16_t tries = 0; tries < c->blocks + 2u; tries++) {
        bool done;
#if PERDURE_TOTALS
        /* A short entry rests on a full one in the same block (so newest[] names this block and configured widths). */
        const bool is_short = may_be_short && c->newest[index] >> 16 == store->head && c->newest[index] != 0u;
        if (room(store) < (is_short ? short_units : full_units)) {
#else
        if (room(store) < full_units) {
#endif
            /* What failed may read as whole at some later start, so nothing else is put before it is put again. */
            if (!(failed ? advance(store) : next_head(store))) {
                break;
            }
            continue;
        }
#if PERDURE_TOTALS
        done = is_short ? append_short(store, record, f.payload, short_units) : append(store, index, &f, NULL);
        if (done && record->fields != NULL) {
            memcpy(c->totals + record->total_offset, from, record->bytes);
        }
#else
        done = append(store, index, &f, NULL);
#endif
        if (done) {
            while (failed && store->blanks < store->spare && clean(store)) {
            }
            return PERDURE_OK;
        }
        failed = true;
    }
    return store->state != PERDURE_OK ? PERDURE_READ_ONLY : PERDURE_FAULT;
}

bool perdure_service(perdure_store *store) {
    const perdure_config *c = store->config;
    if (store->state != PERDURE_OK || store->blanks > store->spare || room(store) > c->block_units / 2u) {
        return false;
    }
    const uint16_t tail = ring_tail(store);
    if (tail == store->head) {
        return false;
    }
    const uint16_t index = first_living_in(store, tail);
    if (index < slots(c)) {
        source f;
        if (find_source(store, index, NULL, &f) && room(store) < source_units(c, &f, 0)) {
            return false; /* the next put finds a fresh block for it */
        }
        return copy_out(store, index);
    }
    return room(store) >= store->mark_units && release(store, tail) && store->blanks <= store->spare;
}

perdure_status perdure_format(perdure_store *store, const perdure_config *config) {
    memset(store, 0, sizeof *store);
    store->config = config;
    if (!set_sizes(store)) {
        return (perdure_status)(store->state = PERDURE_CONFIG);
    }
    /* Where there is a log, it says first that all of it is given up. Then one block other than the head is stamped with
     * sequence number 0, which says the same while the log goes; it gets its true stamp last. */
    if (scan(store) == PERDURE_OK && (room(store) >= store->mark_units || advance(store))) {
        (void)append_mark(store, MARK_FORMAT);
    }
    const uint16_t begun = store->head == 0u ? 1u : 0u;
    memset(config->block_flags, 0, config->blocks);
    (void)erase_block(store, begun, 0);
    for (uint16_t i = config->blocks; i-- != 0u;) {
        if (i != begun) {
            (void)erase_block(store, i, i + 1u);
        }
    }
    (void)erase_block(store, begun, begun + 1u);
    for (uint16_t i = 0; i < slots(config); i++) {
        forget(config, i);
    }
    store->state = PERDURE_OK;
    store->head = (uint16_t)(config->blocks - 1u);
    store->sequence = 0;
    store->blanks = (uint16_t)(config->blocks - bad_count(config));
    if (store->blanks < 1u + store->spare || !advance(store)) {
        return (perdure_status)(store->state = PERDURE_READ_ONLY);
    }
    /* An area without any entry is one whose format was not finished: its last stamp may be weak. */
    while (!append_mark(store, MARK_DONE)) {
        if (!advance(store)) {
            return (perdure_status)(store->state = PERDURE_READ_ONLY);
        }
    }
    if (bad_count(config) != 0u && !copy_out(store, config->record_count)) {
        return (perdure_status)(store->state = PERDURE_READ_ONLY);
    }
    return PERDURE_OK;
}

void perdure_get_health(const perdure_store *store, perdure_health *health) {
    health->programs = store->programs;
    health->sequence = store->sequence;
    health->blocks_bad = bad_count(store->config);
    health->faults = store->faults;
    health->recovered = store->recovered;
    health->blanks = store->blanks;
}

bool perdure_erase_count(const perdure_store *store, uint16_t block, uint32_t *count) {
    uint32_t sequence;
    return read_stamp(store->config, block, &sequence, count) == STAMP_OK;
}
