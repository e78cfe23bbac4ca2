/* expr.h: return paths and feed paths as expressions over elements.
 *
 * Invariant: an expression is stored once (equal expressions have equal
 * numbers), its parts have smaller numbers, and number 0 is "sound".  Values
 * are those of the frame; a load's own state has the two values sound, failed,
 * and what is never corroded (calm) has the frame's patterns and open.  Seen in
 * one occasion, all but a load's state have the frame's rows.
 */
#ifndef RL_EXPR_H
#define RL_EXPR_H

#include "frame.h"

typedef enum rl_expr_sort {
    RL_X_SOUND,
    RL_X_ELEMENT,   /* a: element that is not a load */
    RL_X_LOAD,      /* a: load; two values */
    RL_X_FAILED,    /* a: expression of a load; failed -> open */
    RL_X_CALM,      /* a: corroded -> sound, the rest as it is */
    RL_X_MAX,       /* a, b */
    RL_X_MIN        /* a, b */
} rl_expr_sort;

typedef struct rl_expr {
    rl_expr_sort sort;
    int a, b;
    bool calm;      /* never corroded */
} rl_expr;

/* Elements forced sound, ascending, and what was worked out under them. */
typedef struct rl_world {
    const int *forced;
    int count;
    int *of_return, *of_feed;   /* one for each element: expression, or -1: not yet */
} rl_world;

typedef struct rl_exprs {
    rl_arena *arena;
    const rl_frame *frame;
    rl_expr *at;
    int count, room;
    int *slot;                  /* hash table of numbers, -1 empty */
    int slots;
    rl_world **world;
    int worlds, world_room;
    int *calm_row;              /* rows: corroded counts as sound */
    int failed_row[2];
} rl_exprs;

void rl_exprs_make(rl_exprs *exprs, rl_arena *arena, const rl_frame *frame);
/* A copy that grows by itself; worlds stay shared, so what they remember must be
 * in both: work it out before copying. */
void rl_exprs_copy(rl_exprs *copy, rl_arena *arena, const rl_exprs *exprs);
/* The world in which these elements are sound; `forced` is copied. */
rl_world *rl_exprs_world(rl_exprs *exprs, const int *first, int first_count, const int *second, int second_count);
bool rl_world_forces(const rl_world *world, int element);

/* One element's effective state in the world; of a load: RL_X_LOAD or sound. */
int rl_expr_element(rl_exprs *exprs, const rl_world *world, int element);
/* R(element, world) */
int rl_expr_return(rl_exprs *exprs, rl_world *world, int element);
/* The path of what follows an element that is no load: R toward the battery, of a feed F. */
int rl_expr_behind(rl_exprs *exprs, rl_world *world, int element);
/* R(element), with `cut` and all that follows it to the battery sound (bypass at). */
int rl_expr_return_cut(rl_exprs *exprs, rl_world *world, int element, int cut);
/* The feed path of a load. */
int rl_expr_load_feed(rl_exprs *exprs, rl_world *world, int load);
/* The worst of a set of elements, given from the load toward the battery. */
int rl_expr_worst(rl_exprs *exprs, const rl_world *world, const int *element, int count);

/* Values as seen in one occasion. */
static inline int rl_expr_rows(const rl_exprs *exprs, int expr)
{
    return exprs->at[expr].sort == RL_X_LOAD ? 2 : exprs->frame->rows;
}
/* Values under a mask. */
static inline int rl_expr_size(const rl_exprs *exprs, int expr, rl_mask mask)
{
    if (exprs->at[expr].sort == RL_X_LOAD)
        return 2;
    return exprs->at[expr].calm ? rl_frame_patterns(mask) + 1 : rl_frame_size(exprs->frame, mask);
}
/* The row in one occasion (a bit of the mask) of a value under a mask. */
int rl_expr_row(const rl_exprs *exprs, int expr, rl_mask mask, int bit, int value);
static inline bool rl_expr_is_base(const rl_exprs *exprs, int expr)
{
    rl_expr_sort sort = exprs->at[expr].sort;
    return sort == RL_X_ELEMENT || sort == RL_X_LOAD;
}

#endif
