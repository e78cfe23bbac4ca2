/* failing.h: the k-th piece of memory refused, and the numbers that answers hold.
 *
 * Invariant: between `fail_begin` and `fail_end` the pieces are counted from 1;
 * after it memory is back.
 */
#ifndef FAILING_H
#define FAILING_H

#include "held/held.h"

#include <stdbool.h>

/* From here on the k-th piece is refused; for good: and all that follow. */
void fail_begin(held *shelf, size_t k, bool for_good);
/* Ends it; whether some piece was refused. */
bool fail_end(held *shelf);

enum { MOST_NUMBERS = 4000 };

/* Every number that answers hold, one after the other. */
typedef struct numbers {
    size_t count;
    double value[MOST_NUMBERS];
} numbers;

void numbers_note(numbers *n, double value);
/* To the last bit. */
void numbers_same(const numbers *want, const numbers *got);

#endif
