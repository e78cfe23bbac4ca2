/* span_limit.h: how many bits the reading of a span can tell, by what counts in the part of it
 * that other loads share.
 *
 * A reading tells whether a current flows, and what counts in the span.  Let S1 be what
 * counts in the load's own part of the span and S2 in the rest of it: it tells at most
 *   H(flows) + H(S1) + P(S1 not sound) H(S2) + I(S2; what S2 alone would show),
 * and S2 is the same for many tests.
 *
 * Invariant: the bound is never below the bits, but for rounding.
 */
#ifndef RL_SPAN_LIMIT_H
#define RL_SPAN_LIMIT_H

#include "reach.h"
#include "worst.h"

/* What counts from an element on to where a span ends. */
typedef struct rl_tail {
    int from, to;              /* as of a stretch: -1 to the battery */
    rl_codes codes;
    const rl_candidate *code;  /* [1 .. codes.count], for a current of 1 A */
    const double *p;           /* by code; NULL: not known */
    struct rl_tail *next;
} rl_tail;

typedef struct rl_span_limits {
    rl_arena *arena, *scratch;
    const rl_model *model;
    const rl_bearings *bearings;
    rl_reaches *reaches;
    double battery;            /* of the last occasion; 0: the vehicle's supply */
    int *loads;                /* by element: that have it on every way */
    rl_tail *tail;
} rl_span_limits;

void rl_span_limits_make(rl_span_limits *limits, rl_arena *arena, rl_arena *scratch, const rl_bearings *bearings,
                         rl_reaches *reaches);
/* INFINITY: not known.  `stops`: a bound on the probability that no current flows for what is
 * neither in the span nor between it and the load. */
double rl_span_limit_of(rl_span_limits *limits, const rl_test *test, double stops);

#endif
