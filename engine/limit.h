/* limit.h: how many bits a test can tell at the most, cheaply.
 *
 * What a test tells is at most the entropy of what its outcome depends on, and
 * that is at most the sum of the entropies of the elements in it.  A test
 * whose bound is beaten already need not be worked out.
 *
 * Invariant: the bound is never below the bits.
 */
#ifndef RL_LIMIT_H
#define RL_LIMIT_H

#include "admit.h"

typedef struct rl_limits {
    rl_arena *arena;
    const rl_case *c;
    const rl_model *model;
    double *rows;     /* by element: entropy of what it is in the last occasion */
    double *open;     /* by element: entropy of its being open (a load: failed) */
    double *returns;  /* by load: sum over all its return paths; < 0: not worked out */
    double *feeds;    /* by load: sum over its feed path, coils and all */
    double *feeds_open;
} rl_limits;

/* In bits; p sums to 1. */
double rl_entropy(const double *p, int count);
/* `bench` is calibrated. */
void rl_limits_make(rl_limits *limits, rl_arena *arena, const rl_case *c, rl_bench *bench, const rl_world *world);
double rl_limit_of(rl_limits *limits, const rl_test *test);

#endif
