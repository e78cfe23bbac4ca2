/* probe.h: the distribution of something that hangs on a case's network.
 *
 * A probe is a small product of factors over paths and helpers; what of it
 * lies outside the network is summed out by its own weights before the
 * network is asked (design §3, "collapses exactly").
 *
 * Invariant: the network's tree is calibrated and is not changed.
 */
#ifndef RL_PROBE_H
#define RL_PROBE_H

#include "group.h"

typedef struct rl_probe {
    rl_arena *arena;
    rl_bench *bench;
    rl_groups *groups;          /* NULL: ask the network itself */
    rl_cells *factor;
    int factors, room;
    int helper_size[64];
    int helpers;
    int *settled;               /* expressions outside that were seen to */
    int settled_count, settled_room;
} rl_probe;

void rl_probe_make(rl_probe *probe, rl_arena *arena, rl_bench *bench, rl_groups *groups);
/* The net's variables that these expressions (seen in the last occasion) hang
 * on, ascending; for a hint. */
const int *rl_probe_variables(rl_bench *bench, rl_arena *arena, const int *expr, int exprs, int *count);
int rl_probe_helper(rl_probe *probe, int size);
void rl_probe_add(rl_probe *probe, const rl_cells *table);
/* Expectation, value by value of `target`, of the product; `size` numbers, to
 * a common scale (the caller knows what they must sum to).  False: with groups,
 * a table would pass RL_GROUP_CELLS; without them it is always answered. */
bool rl_probe_run(rl_probe *probe, int target, double *out);

/* P(row | variables of the net) of an expression in the last occasion, as a
 * table whose inputs are the net's variables and *target; false: it hangs on
 * too much for one table. */
bool rl_probe_law(rl_bench *bench, rl_arena *arena, int expr, rl_cells *out, int *target);
/* Marks the elements outside the net that an expression hangs on.  False if one was
 * marked already: else, given the net's variables, it is independent of what was. */
bool rl_probe_apart(rl_bench *bench, rl_arena *arena, int expr, bool *marked);

#endif
