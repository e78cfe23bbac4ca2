/* reach.h: what an expression is by itself, and how much it can tell at the most.
 *
 * A test tells no more of its causes than each of them tells by itself: the outcome is
 * drawn from what the causes bring about one by one, and these are independent given
 * the causes.  So a bound takes marginals where the bits take a joint.
 *
 * Invariant: no bound is below the truth, but for rounding.
 */
#ifndef RL_REACH_H
#define RL_REACH_H

#include "given.h"

/* Of an expression in the last occasion. */
typedef struct rl_reach {
    const double *row;         /* what it is, row by row; NULL: that would take a joint */
    double entropy, amiss;     /* of that, and P(not sound): without rows, bounds */
    double open, shut;         /* entropy of its being open (of a load: failed), and P(that) */
} rl_reach;

typedef struct rl_reaches {
    rl_arena *arena;
    rl_givens *givens;
    rl_reach *element;         /* by element: of what it is in this world */
    const rl_reach **of;       /* by expression; NULL: not asked yet */
    int room;
} rl_reaches;

/* In bits; p sums to 1. */
double rl_entropy(const double *p, int count);
double rl_entropy_of_two(double p);

/* The bench is calibrated. */
void rl_reaches_make(rl_reaches *reaches, rl_arena *arena, rl_givens *givens, const rl_world *world);
const rl_reach *rl_reach_of(rl_reaches *reaches, int expr);

/* Bits that the levels which it draws can tell of it: rows[row of the frame][level], the first
 * level for certain where it is sound; noise[row]: the entropies of these. */
double rl_reach_levels(const rl_reach *reach, int rows, const double *const *row, const double *noise, int levels);
/* The same of a cause that comes about or not: chance[row]. */
double rl_reach_fires(const rl_reach *reach, int rows, const double *chance);

#endif
