/* network_private.h: a network while it is made; see network.c.
 *
 * Invariant: `uses` and `user` are those of the tables as they stand; an expression that was absorbed
 * stands in none of them.
 */
#ifndef RL_NETWORK_PRIVATE_H
#define RL_NETWORK_PRIVATE_H

#include "draft.h"

/* What a path is of its parts.  Paths that are alike share it. */
typedef struct rl_parts {
    rl_expr_sort sort, sort_a, sort_b;
    rl_mask whole, mask_a, mask_b;
    int size, count, part_size[2], pairs;
    const int *map;             /* [a][b]: value of the path */
    double *cell;               /* [path][a][b]: 1 where it is so; NULL: not needed yet */
} rl_parts;

/* What was made once of the same vectors and tables is not made again: many elements are alike.
 * Each kind has slots that hold the last one of its number. */
enum { SLOTS = 64 };

typedef struct rl_weighed {
    const double *state;        /* by state */
    const double *bin_mass;
    bool load;
    int looseness;
    double quiet, sum;          /* sum: of the weights before they were normalised */
    rl_mask mask;
    double *weight;
} rl_weighed;

/* What a path of two parts passes on when one of them, an element, is absorbed. */
typedef struct rl_passed {
    const double *own, *weight; /* own NULL: of the definition, without the element */
    const int *map;
    int element;
    double *before, *after;
} rl_passed;

typedef struct rl_maker {
    rl_network *network;
    const rl_draft *draft;
    const rl_exprs *exprs;
    rl_arena *arena;
    const bool *keep;
    bool peel;
    rl_cells *table;            /* on several inputs, or on helpers */
    int tables, room;
    const double **own;         /* by expression: the product of all that is on it alone, or NULL */
    int *needs;                 /* by expression: factors and paths that need it */
    int *uses, *user;           /* tables that have it as an input now, and one of them */
    bool *told;                 /* an absorbed expression's law speaks of it */
    rl_parts *parts;
    int part_count, part_room;
    int part_slot[SLOTS];       /* the last met, by a number of what it depends on */
    rl_weighed *weighed;
    rl_passed *passed;
    bool all_fit;               /* were every path one of two parts, their tables would not be too wide */
    double cells;               /* of these tables so far, unless all fit */
    double scale;               /* what constants came to, since log_scale was last set */
} rl_maker;
static inline int rl_maker_place(const rl_cells *table, int input)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] == input)
            return i;
    return -1;
}

static inline int rl_maker_size(const rl_maker *m, int expr)
{
    return rl_expr_size(m->exprs, expr, m->network->mask[expr]);
}

/* ---- network.c ---- */

void rl_maker_scale(rl_maker *m, double factor);
void rl_maker_append(rl_maker *m, const rl_cells *table);
/* A factor on one expression alone; `cell` stays as it is. */
void rl_maker_multiply_own(rl_maker *m, int expr, const double *cell);
/* Elements that are not to be absorbed. */
bool rl_maker_keeps(const rl_maker *m, int expr);
/* Input `at` of `before` was summed out under the weights of its expression; `map` as in absorb.h. */
void rl_maker_note_absorbed(rl_maker *m, const rl_cells *before, int at, const rl_cells *after, const int *map);
void rl_maker_absorb(rl_maker *m, rl_cells *table, int at);
/* A table that is left after summing: one on an expression alone joins what is known of that.
 * False: it stays a table. */
bool rl_maker_take_small(rl_maker *m, const rl_cells *table);

/* ---- network_paths.c ---- */

/* What becomes of a path whose uses are all known. */
void rl_maker_decide(rl_maker *m, int expr);

#endif
