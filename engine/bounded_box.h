/* bounded_box.h: parts of a net that is too wide for one tree.
 *
 * A box leaves each variable of a net some of its values.  Boxes that do not
 * overlap and together are everything cut a net's sum into parts; a part may
 * be narrow enough for a tree though the whole is not, and of a part that is
 * not looked at, a ceiling is known.  Like infer.h this knows nothing of vehicles.
 *
 * Invariant: what a box drops when it is pruned has weight 0 in it; a ceiling
 * is never below the sum it bounds.
 */
#ifndef RL_BOUNDED_BOX_H
#define RL_BOUNDED_BOX_H

#include "infer.h"

/* ---- bounded_box.c ---- */

/* What all boxes of a net share. */
typedef struct rl_boxes {
    const rl_net *net;
    int variables, factors;
    int *first;                /* by variable: where its values stand in `value` of a box */
    int *user_start, *user;    /* factors of variable v: user[user_start[v]] .. user[user_start[v + 1] - 1] */
    int *queue, queued;        /* factors to look at again */
    bool *waiting;             /* by factor: it is in the queue */
    unsigned char *supported;  /* as `value`: met in a cell above 0 */
    double steps;              /* cells met so far */
} rl_boxes;

typedef struct rl_box {
    rl_boxes *boxes;
    int *value;                /* rising, count[v] of them from first[v] on */
    int *count;
} rl_box;

void rl_boxes_make(rl_boxes *boxes, rl_arena *arena, const rl_net *net);
/* The whole net, not pruned. */
rl_box rl_box_whole(rl_arena *arena, rl_boxes *boxes);
rl_box rl_box_copy(rl_arena *arena, const rl_box *box);
/* Leaves of a variable's values those in [low, high). */
void rl_box_limit(rl_box *box, int variable, int low, int high);
/* Drops values that some factor gives weight 0 whatever the others are, until
 * there are none; false if a variable has no value left: the sum is 0. */
bool rl_box_prune(rl_box *box);
static inline const int *rl_box_values(const rl_box *box, int variable)
{
    return box->value + box->boxes->first[variable];
}
/* The net of the box: same variables, value i standing for rl_box_values()[i]. */
rl_net *rl_box_net(rl_arena *arena, const rl_box *box);
/* Cells that the tables of the whole net's order would have in the box. */
double rl_box_cells(const rl_box *box, const rl_plan *plan);

/* The variable of 2 to `most_values` values of which a single one leaves the fewest cells in the tables
 * of `plan`, one of the box's own net; -1: there is none. */
int rl_box_best_part(rl_arena *arena, const rl_box *box, const rl_plan *plan, int most_values);

/* ---- bounded_ceiling.c ---- */

/* ln of an upper bound on the sum of the net's product, by eliminating in the
 * order of `plan` (of a net with the same variables) with tables of at most
 * `most` cells; -INFINITY only if the sum is 0.  Adds to *steps. */
double rl_ceiling(rl_arena *arena, const rl_net *net, const rl_plan *plan, size_t most, double *steps);

#endif
