/* given.h: what expressions are in the last occasion, given variables of the net.
 *
 * Given those, what lies outside the net is independent of all the rest of it,
 * so such a law is made once for an expression and serves every test.
 *
 * Invariant: for every value of its variables a law sums to 1.
 */
#ifndef RL_GIVEN_H
#define RL_GIVEN_H

#include "probe.h"

/* P(row | variables of the net). */
typedef struct rl_given {
    int count, variable[RL_INPUTS];   /* ascending */
    int size[RL_INPUTS];
    int rows;
    const double *p;                  /* [variables...][rows]; the last row is open (of a load: failed) */
    int outsides;                     /* elements outside the net that it hangs on, ascending; -1: not known */
    const int *outside;
} rl_given;

typedef struct rl_givens {
    rl_arena *arena, *scratch;        /* of what is kept; of what is not */
    rl_bench *bench;
    rl_given **of;                    /* by expression; NULL: not asked yet */
    int room;
} rl_givens;

void rl_givens_make(rl_givens *givens, rl_arena *arena, rl_arena *scratch, rl_bench *bench);
/* The law of an expression; NULL: it hangs on too much for one table. */
const rl_given *rl_given_of(rl_givens *givens, int expr);
/* The same, if it follows from the laws of its parts: cheap. */
const rl_given *rl_given_composed(rl_givens *givens, int expr);

#endif
