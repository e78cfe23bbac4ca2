/* chain.h: all span tests of one load at once.
 *
 * The spans of a load share their elements: what counts between `from` and `to`
 * follows from what counts up to the element before, and whether the load draws
 * from whether it draws at the element before.  One walk over the joint
 * posterior of the chain's variables gives the ends of every span.
 *
 * Invariant: exact, as a probe of each span by itself would be; where the
 * walk's conditions do not hold (forks, too large a joint) it says so and
 * nothing is answered.
 */
#ifndef RL_CHAIN_H
#define RL_CHAIN_H

#include "probe.h"

/* Ends of one span: the law of each end that a code stands for. */
typedef struct rl_chain_ends {
    int ends;
    rl_end *end;
    double *p;
} rl_chain_ends;

typedef struct rl_chain rl_chain;

/* Prepares a load's chain; NULL: its conditions do not hold.  `arena` outlives
 * it; what `scratch` gives to one question is the caller's to rewind. */
rl_chain *rl_chain_make(rl_arena *arena, rl_arena *scratch, rl_observer *observer, rl_bench *bench, rl_groups *groups, rl_world *world,
                        int load);
/* Ends of the span (-1: default ends); false: ask by a probe. */
bool rl_chain_ask(rl_chain *chain, int from, int to, bool dead, rl_chain_ends *out);

#endif
