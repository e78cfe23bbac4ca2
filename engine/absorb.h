/* absorb.h: elements (and paths) that one factor alone needs, summed into it.
 *
 * Most elements of a vehicle are like that: a wire behind its point, a fuse
 * behind its feed, a point in its own return path.  Summing them at once
 * leaves a net a fraction of the size; their posterior follows from that of
 * what is left.
 *
 * Invariant: after[inputs] = sum over e of weight[e] x before[e, inputs]; an
 * element that was absorbed stands in no later table.
 */
#ifndef RL_ABSORB_H
#define RL_ABSORB_H

#include "expr.h"
#include "table.h"

typedef struct rl_absorbed {
    int expr;
    int at;               /* place of the element among the inputs of `before` */
    rl_cells before, after;
    const int *map;       /* of the definition of a path, `before`: map[first part][second] is the one value of
                           * the path where its cell is 1, all others being 0; else NULL.  A large `before` is
                           * kept as this alone: it has no cells */
} rl_absorbed;

/* Variables of the net as inputs of a probe's tables: this and below. */
enum { RL_NET_INPUT = -1000 };

/* The cells of `before`, made from the map where they were not kept. */
const double *rl_absorbed_before(rl_arena *arena, const rl_absorbed *absorbed);
/* The law of the element given the other inputs, as a table like `before`. */
rl_cells rl_absorbed_law(rl_arena *arena, const rl_absorbed *absorbed, const double *weight);

#endif
