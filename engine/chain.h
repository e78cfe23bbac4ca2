/* chain.h: all span tests of one load at once.
 *
 * The spans of a load share their elements: what counts between `from` and `to`
 * follows from what counts up to the element before, and whether the load draws
 * from whether it draws at the element before.  One walk along the return gives
 * the ends of every span; where the return forks, what counts is known for each way.
 *
 * Invariant: exact, as a probe of each span by itself would be; where a
 * chain's conditions do not hold (too many ways or too large a table) it says so
 * and nothing is answered.
 */
#ifndef RL_CHAIN_H
#define RL_CHAIN_H

#include "march.h"

/* Ends of one span: the law of each end and its probability. */
typedef struct rl_chain_ends {
    int ends;
    rl_end *end;
    const double *p;
    const rl_way *way;         /* those that an end's `way` means */
} rl_chain_ends;

typedef struct rl_chain rl_chain;

/* Prepares a load's chain; NULL: its conditions do not hold. */
rl_chain *rl_chain_make(const rl_bearings *bearings, int load);
/* [row of the worst of the elements before `to`][row of the feed path][row of the load]: the
 * probability of each, in scratch memory; NULL: `to` is not in the chain. */
const double *rl_chain_worst(rl_chain *chain, int to);
/* Ends of the span (-1: default ends); false: ask by a probe. */
bool rl_chain_ask(rl_chain *chain, int from, int to, bool dead, rl_chain_ends *out);

#endif
