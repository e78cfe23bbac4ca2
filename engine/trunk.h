/* trunk.h: what counts on a way, from the battery's side, once for all loads behind it.
 *
 * Loads behind one splice share the way from there to the battery, and the spans on
 * it.  A way is read from the battery toward the load; where it stands after an element
 * is a knot, and knots form a tree, since ways that are read alike are one until they
 * part.  Of the network a knot holds only the variables that separate what was read
 * from what is yet to be read: a cell is a combination of their values.
 *
 * Invariant: given a knot's cell, what lies toward the battery and what lies toward the
 * loads are independent; everything is exact.
 */
#ifndef RL_TRUNK_H
#define RL_TRUNK_H

#include "ladder.h"

#include <stdint.h>

/* What counts so far in each way of the return: 0 nothing, RL_CODE_OPEN, or a candidate. */
typedef struct rl_tuple { uint8_t code[RL_MAX_WAYS]; } rl_tuple;
enum { RL_CODE_OPEN = 255 };

/* Whether every one of the ways is open. */
static inline bool rl_tuple_open(const rl_tuple *tuple, uint32_t ways)
{
    for (int w = 0; ways >> w; w++)
        if ((ways >> w & 1u) && tuple->code[w] != RL_CODE_OPEN)
            return false;
    return true;
}

/* Reading one element: from a cell of the knot before to a cell, the element in a row. */
typedef struct rl_passage { int row, to; double p; } rl_passage;

/* How one element is read. */
typedef struct rl_turn {
    int element;
    bool gate;                     /* the return from there on: only whether it is open matters */
    uint32_t ways, all;            /* those that it is in, and all */
    const rl_given *law;
    int rungs, lives;
    const rl_rung *rung[RL_LADDER_MOST];   /* variables that come in, parents first */
    int live[RL_LADDER_MOST], live_size[RL_LADDER_MOST];   /* variables that are needed behind it */
} rl_turn;

typedef struct rl_knot {
    rl_turn turn;
    struct rl_knot *before, *child, *sibling;
    int depth;                     /* knots before it */
    int cells;                     /* that can be */
    const uint16_t *digit;         /* [cells][lives] */
    const double *prior;           /* by cell */
    const int *start;              /* by cell of the knot before, and one more: its passages */
    const rl_passage *passage;
    int codes;
    const rl_candidate *code;      /* [1 .. codes], for a current of 1 A: what is greater is so for any */
    const int *code_of;            /* by row */
    int states;
    const rl_tuple *state;         /* the first: nothing counts */
    const int *next;               /* [row][state of the knot before] */
    const double **counts[2];      /* by whether it must flow, by the depth of the span's end */
} rl_knot;

typedef struct rl_trunk {
    rl_arena *arena, *scratch;
    const rl_frame *frame;
    rl_knot root;                  /* the battery: one cell, nothing read */
} rl_trunk;

void rl_trunk_make(rl_trunk *trunk, rl_arena *arena, rl_arena *scratch, const rl_frame *frame);
/* The knot behind another: the one that is there, or a new one.  NULL: too large. */
rl_knot *rl_knot_behind(rl_trunk *trunk, rl_knot *before, const rl_turn *turn);
/* [cells][states]: the probability of each at a knot, for a span from there to the knot
 * `end` (itself or before it); if it `flows`, and that the return from `end` on is not open. */
const double *rl_knot_counts(rl_trunk *trunk, rl_knot *knot, const rl_knot *end, bool flows);

/* Combinations of values of a knot's variables and of those that come in behind it. */
typedef struct rl_spread {
    rl_arena *arena;
    int names, name[2 * RL_LADDER_MOST];
    int entries;
    int *cell;                     /* of the knot; never falls */
    uint16_t *value;               /* [entries][names] */
    double *p;                     /* given the cell */
} rl_spread;

void rl_spread_start(rl_spread *spread, rl_arena *arena, const rl_knot *knot);
/* Brings a variable in.  False: too many combinations. */
bool rl_spread_bring(rl_spread *spread, const rl_rung *rung);
/* Where the cells of a table over these variables stand, entry by entry. */
typedef struct rl_strides { int count, place[2 * RL_LADDER_MOST]; size_t step[2 * RL_LADDER_MOST]; } rl_strides;
rl_strides rl_spread_strides(const rl_spread *spread, int count, const int *variable, const int *size, size_t last);
static inline size_t rl_strides_at(const rl_strides *reach, const rl_spread *spread, int entry)
{
    const uint16_t *value = &spread->value[(size_t)entry * (size_t)spread->names];
    size_t at = 0;
    for (int i = 0; i < reach->count; i++)
        at += reach->step[i] * value[reach->place[i]];
    return at;
}

#endif
