/* rehearse_page.h: what a rehearsal came to, as a page or as JSON. */
#ifndef REHEARSE_PAGE_H
#define REHEARSE_PAGE_H

#include "rehearse.h"
#include "tally.h"
#include "term.h"

/* One strategy over all faults. */
typedef struct strategy_sum {
    const char *name;
    tally tests, minutes;
    double *minute;             /* of each play, sorted; owned */
    size_t wrong;               /* repairs in vain, all plays together */
} strategy_sum;

typedef struct rehearsal_sum {
    size_t cases, passed_over;
    double entropy_bits, most_bits;
    strategy_sum of[RL_STRATEGIES];
} rehearsal_sum;

/* Numbers are added in the order of the faults. */
void rehearsal_add_up(rehearsal_sum *sum, const rl_played *played, size_t count, double most_bits);
void rehearsal_sum_free(rehearsal_sum *sum);
void rehearsal_page(const screen *sc, const rehearsal *r, const rehearsal_sum *sum);
void rehearsal_json(FILE *out, const rehearsal *r, const rehearsal_sum *sum);

#endif
