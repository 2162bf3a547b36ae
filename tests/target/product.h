/* product.h - two small areas with a record of every kind, and what each has to read as. */
#ifndef PRODUCT_H
#define PRODUCT_H

#include "flash.h"

/* Area 0 holds values and a total, area 1 a log and a value. The first value of each is saved when the supply fails. */
enum { AREAS = 2, RECORDS = 3, TOTAL = 1, LOG = 1, LOG_BATCH = 3, SAMPLE_BYTES = 6, RECORD_BYTES_MAX = 20 };

extern perdure_store stores[AREAS];
extern const perdure_config configs[AREAS];

/* Contents number `n` of a record, 0: what it reads as before the first put. */
void fill(unsigned area, unsigned record, uint32_t n, uint8_t* to);

/* Puts contents number `n`; of the log the batch that `n` such batches end with. */
perdure_status put(unsigned area, unsigned record, uint32_t n);
perdure_status put_now(unsigned area, uint32_t n);

/* Whether it reads as contents number `n`, whole; of the log whether `n` batches stand, those that are still there as
 * they were put, in order, and the next sample gets the right number. None is there only where `may_be_empty`: starts
 * take room too, and the log's samples go with the blocks that are erased for it. */
bool reads_as(unsigned area, unsigned record, uint32_t n, bool may_be_empty);

#endif
