/* check_config.c - says what is wrong with a configuration, in words. For the firmware's tests on the PC, or its first
 * start on the desk: store.c takes a configuration as it is, so that this file need not be in the product. */
#include "store.h"

#define NO_RECORD 0xFFFFu
#define SHORT_BITS_MAX 56u
#define TOTAL_FIELDS_MAX 32u

static const char *check_total(const perdure_record *record) {
    uint32_t bytes = 0;
    if (record->field_count == 0u || record->field_count > TOTAL_FIELDS_MAX) {
        return "field_count: a total has 1 to 32 fields";
    }
    for (uint32_t i = 0; i < record->field_count; i++) {
        const uint32_t field_bytes = 1u << (record->fields[i] >> 6);
        const uint32_t short_bits = record->fields[i] & 0x3Fu;
        if (short_bits > SHORT_BITS_MAX || short_bits > 8u * field_bytes) {
            return "fields: a short entry carries at most 56 bits of a field, and no more than the field has";
        }
        bytes += field_bytes;
    }
    return bytes == record->bytes ? NULL : "bytes: not the sum of the total's fields";
}

static bool has_short_entries(const perdure_record *record) {
    for (uint32_t i = 0; record->fields != NULL && i < record->field_count; i++) {
        if ((record->fields[i] & 0x3Fu) != 0u) {
            return true;
        }
    }
    return false;
}

static const char *check_log(const perdure_config *config, uint32_t index) {
    const perdure_record *record = &config->records[index];
    if (record->fields != NULL) {
        return "fields: a log has none";
    }
    if (config->totals == NULL) {
        return "totals: NULL, though a record is a log";
    }
    if ((uint32_t)record->bytes * record->batch > 32767u - 5u) {
        return "batch: batch * bytes is at most 32762";
    }
    for (uint32_t i = 0; i < config->record_count; i++) {
        if (i != index && config->records[i].batch != 0u) {
            return "batch: an area has one log at most";
        }
        if (has_short_entries(&config->records[i])) {
            return "batch: an area with a log has no totals with short entries";
        }
    }
    return NULL;
}

static const char *check_record(const perdure_config *config, uint32_t index) {
    const perdure_record *record = &config->records[index];
    if (record->id == 0u || record->id == 0xFFFFu) {
        return "id: 1 to 65534";
    }
    if (index != 0u && record->id <= config->records[index - 1u].id) {
        return "id: the records must ascend by id, each id once";
    }
    if (record->bytes == 0u || record->bytes > 32767u) {
        return "bytes: 1 to 32767";
    }
    if (record->batch != 0u) {
        return check_log(config, index);
    }
    if (record->fields == NULL) {
        return NULL;
    }
    return config->totals == NULL ? "totals: NULL, though a record is a total" : check_total(record);
}

const char *perdure_check_config(const perdure_config *config, uint16_t *record) {
    *record = NO_RECORD;
    if (config->port == NULL || config->port->read == NULL || config->port->program == NULL ||
        config->port->erase == NULL) {
        return "port: read, program and erase are needed";
    }
    if (config->records == NULL || config->record_count == 0u || config->newest == NULL ||
        config->unit_buffer == NULL) {
        return "records, newest, unit_buffer: needed, for one record at least";
    }
    if (config->unknown_max != 0u && config->unknown_ids == NULL) {
        return "unknown_ids: NULL, though unknown_max is not 0";
    }
#if PERDURE_BAD_BLOCKS
    if (config->block_flags == NULL) {
        return "block_flags: needed with PERDURE_BAD_BLOCKS";
    }
#endif
    if (config->blocks < 2u || config->blocks > 32767u) {
        return "blocks: 2 to 32767";
    }
    if (config->block_units == 0u || config->unit_bytes == 0u) {
        return "block_units, unit_bytes: 1 at least";
    }
    if (config->check_bits != 8u && config->check_bits != 16u && config->check_bits != 24u &&
        config->check_bits != 32u) {
        return "check_bits: 8, 16, 24 or 32";
    }
    if (config->blank != 0xFFu && config->blank != 0x00u) {
        return "blank: 0xFF or 0x00";
    }
    if (config->urgent > config->record_count) {
        return "urgent: 1 + place of a record, or 0";
    }
    if (config->urgent != 0u && config->records[config->urgent - 1u].batch != 0u) {
        return "urgent: not for a log";
    }
    if (config->urgent != 0u && config->block_units == 0xFFFFu) { /* the unit behind a full head has to have a number */
        return "block_units: 65,534 at most with urgent";
    }
    for (uint32_t i = 0; i < config->record_count; i++) {
        const char *wrong = check_record(config, i);
        if (wrong != NULL) {
            *record = (uint16_t)i;
            return wrong;
        }
    }
    return NULL;
}
