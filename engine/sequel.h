/* sequel.h: a case as it would be after a test had come out in one way.
 *
 * A reading comes out in a band of its meter (design §3), which no line of a
 * case can say: the finding of such an outcome has a weight for each band.
 *
 * Invariant: the case that it follows is neither changed nor outlived; all
 * memory is the sequel's own and given back by rl_sequel_close, whatever
 * happened in between.
 */
#ifndef RL_SEQUEL_H
#define RL_SEQUEL_H

#include "work.h"

typedef struct rl_sequel {
    rl_case c;                 /* questions may be asked of it */
    rl_finding *finding;       /* the outcome: the last line of c */
    double *weight;
    bool open;
} rl_sequel;

/* Begins a sequel; `bail` is where to go when memory runs out. */
void rl_sequel_open(rl_sequel *s, const rl_case *base, jmp_buf *bail);
/* In how many ways a test may come out. */
int rl_test_outcomes(const rl_model *model, const rl_test *test);
/* The case after this outcome; drops what was worked out for the one before. */
void rl_sequel_take(rl_sequel *s, const rl_test *test, int outcome);
/* Safe on one that is zeroed or closed. */
void rl_sequel_close(rl_sequel *s);

#endif
