/* limit.h: how many bits a test can tell at the most, cheaply.
 *
 * What a behaviour, a symptom or crosstalk tells is bounded by what each of its causes
 * does by itself (reach.h); a reading by the entropies of the elements in its span.  A
 * test whose bound is beaten already need not be worked out.
 *
 * Invariant: the bound is never below the bits.
 */
#ifndef RL_LIMIT_H
#define RL_LIMIT_H

#include "admit.h"
#include "span_limit.h"

typedef struct rl_limits {
    rl_arena *scratch;
    const rl_case *c;
    const rl_model *model;
    const rl_bearings *bearings;
    rl_reaches reaches;
    rl_span_limits spans;
} rl_limits;

/* The bench that the bearings are of is calibrated.  `scratch` is given back. */
void rl_limits_make(rl_limits *limits, rl_arena *arena, rl_arena *scratch, const rl_case *c,
                    const rl_bearings *bearings);
double rl_limit_of(rl_limits *limits, const rl_test *test);
/* Of a span, by what counts in it: dearer.  INFINITY: not known. */
double rl_limit_closer(rl_limits *limits, const rl_test *test);
/* Of any reading of a span of the load. */
double rl_limit_of_spans(rl_limits *limits, int load);

#endif
