/* trunk.h: what counts on a way, from the battery's side, once for all loads behind it.
 *
 * Loads behind one splice share the way from there to the battery, and the spans on
 * it.  A way is read from the battery toward the load; where it stands after an element
 * is a knot, and knots form a tree, since ways that are read alike are one until they
 * part.  Of the network a knot holds only the variables that separate what was read
 * from what is yet to be read: a cell is a combination of their values.
 *
 * Invariant: given a knot's cell, what was read and what is yet to be read behind it are
 * independent; everything is exact.
 */
#ifndef RL_TRUNK_H
#define RL_TRUNK_H

#include "machine.h"
#include "spread.h"

enum { RL_TRUNK_CHEAP = 4000, RL_TRUNK_MOST = 1 << 21 };   /* cells of laws that are no burden, and at the most */

/* Reading one element: from a cell of the knot before to a cell, the element in a row. */
typedef struct rl_passage { int row, to; double p; } rl_passage;

typedef struct rl_knot {
    struct rl_knot *before;
    struct rl_branch *branch;      /* knots behind it */
    struct rl_knot *follower, *next;   /* knots made after others behind it, and the next of these */
    const int *like;               /* the passages' start of that other */
    const rl_given *own[2];        /* of one that was kept */
    int depth;                     /* knots before it */
    rl_reading reading;
    const rl_given *law;           /* of what is read here */
    int rungs;
    const rl_rung **rung;          /* laws of the variables that come in */
    int lives;                     /* variables that are needed behind it */
    const int *live, *live_size;
    int cells;                     /* that can be */
    const uint16_t *digit;         /* [cells][lives] */
    const int *number;             /* by the digits, the last changing fastest: cell + 1, 0: cannot be */
    const double *prior;           /* by cell */
    const int *start;              /* by cell of the knot before, and one more: its passages */
    const rl_passage *passage;
    rl_machine *machine;
    const double **counts[2];      /* by whether it must flow, by the depth of the span's end */
} rl_knot;

typedef struct rl_trunk {
    rl_arena *arena, *scratch;
    rl_givens *givens;
    rl_ladders *ladders;
    rl_exprs *exprs;
    rl_world *world;
    const rl_frame *frame;
    rl_machine machine;            /* nothing read */
    rl_knot root;                  /* the battery: one cell, nothing read */
} rl_trunk;

/* `exprs` and `world` are those that tests ask about. */
void rl_trunk_make(rl_trunk *trunk, rl_arena *arena, rl_givens *givens, rl_ladders *ladders, rl_exprs *exprs, rl_world *world);
/* What a knot is to hold on to. */
typedef struct rl_hold {
    const bool *later;             /* by variable of the net: whether what is yet to be read hangs on it */
    bool owns;
    rl_wanted own;                 /* those of them that what a load draws by hangs on */
    double most;                   /* cells that laws may come to */
} rl_hold;

/* The knot behind another: the one that is there, or a new one.  NULL: too large. */
rl_knot *rl_knot_behind(rl_trunk *trunk, rl_knot *before, const rl_reading *reading, const rl_hold *hold);
/* A knot behind another that reads what `like` reads and leads to its cells: `each` times, one behind the other,
 * as entries of the spread (it began with the cells of the knot before) weigh: [entry][each]. */
rl_knot *rl_knot_across(rl_trunk *trunk, rl_knot *before, const rl_knot *like, const rl_spread *spread, int each,
                        const double *weight);
/* Keeps such a knot by the laws that its entries were weighed with, and gives it back; NULL: it was not kept. */
void rl_knot_keep(rl_knot *across, const rl_knot *like, const rl_given *const own[2]);
rl_knot *rl_knot_kept(const rl_knot *before, const rl_knot *like, const rl_given *const own[2]);
/* The knot behind another with the passages of `like`, whose knot before has the same cells. */
rl_knot *rl_knot_follow(rl_trunk *trunk, rl_knot *before, const rl_knot *like);
/* [cells][states]: the probability of each at a knot, for a span from there to the knot
 * `end` (itself or before it); if it `flows`, and that the return from `end` on is not open. */
const double *rl_knot_counts(rl_trunk *trunk, rl_knot *knot, const rl_knot *end, bool flows);

#endif
