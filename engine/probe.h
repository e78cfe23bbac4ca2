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

#include "work.h"

typedef struct rl_probe {
    rl_arena *arena;
    rl_bench *bench;
    rl_cells *factor;
    int factors, room;
    int helper_size[64];
    int helpers;
    int *settled;               /* expressions outside that were seen to */
    int settled_count, settled_room;
} rl_probe;

void rl_probe_make(rl_probe *probe, rl_arena *arena, rl_bench *bench);
int rl_probe_helper(rl_probe *probe, int size);
void rl_probe_add(rl_probe *probe, const rl_cells *table);
/* Expectation, value by value of `target`, of the product; `size` numbers, to
 * a common scale (the caller knows what they must sum to). */
void rl_probe_run(rl_probe *probe, int target, double *out);

/* Distribution of the input at place `at` of a law that hangs on the network;
 * its other inputs are expressions or helpers of the draft. */
void rl_probe_value(rl_bench *bench, rl_arena *arena, const rl_cells *law, int at, double *out);

#endif
