/* frame.h: effective states over several occasions of a case at once.
 *
 * Invariant: under a mask (a set of occasions, one bit each) a value stands
 * for what an element or a path is in each of them.  The first values are
 * bit patterns: loose and active in the occasions whose bit is set, sound (or
 * quiet) in the others; then come the bins of corrosion that some element can
 * have, then open.  The set is closed under max and min of design §1, so one
 * variable for each path serves all its occasions.  Under a mask of one
 * occasion the values are "rows": sound, loose, the bins, open.
 */
#ifndef RL_FRAME_H
#define RL_FRAME_H

#include "model.h"

typedef unsigned rl_mask;

/* A mask of its own: in `chosen` occasions of a frame, loose and active in all of them or in none. */
enum { RL_CHOSEN = 1 << RL_MAX_OCCASIONS };

typedef struct rl_frame {
    const rl_model *model;
    int occasions;                     /* those with evidence, and the last */
    int slot[RL_MAX_OCCASIONS];        /* bit of an occasion of the case, or -1 */
    int last;                          /* bit of the last occasion */
    rl_mask chosen;
    int bins, rows;                    /* rows = bins + 3 */
    int *bin;                          /* frame's bin to model's bin */
} rl_frame;

void rl_frame_make(rl_frame *frame, rl_arena *arena, const rl_model *model, const bool *used, int occasions);

/* How many patterns a mask has. */
static inline int rl_frame_patterns(rl_mask mask)
{
    int patterns = 1;
    for (; mask; mask &= mask - 1)
        patterns *= 2;
    return patterns;
}

static inline int rl_frame_size(const rl_frame *frame, rl_mask mask)
{
    return rl_frame_patterns(mask) + frame->bins + 1;
}

/* The worse of two values under one mask of so many patterns, and the better. */
static inline int rl_frame_max(int patterns, int a, int b)
{
    if (a < patterns && b < patterns)
        return a | b;
    return a > b ? a : b;
}

static inline int rl_frame_min(int patterns, int a, int b)
{
    if (a < patterns && b < patterns)
        return a & b;
    return a < b ? a : b;
}

/* The state that a row stands for. */
static inline rl_state rl_frame_state(const rl_frame *frame, int row)
{
    if (row < 2)
        return row == 0 ? RL_SOUND : RL_LOOSE;
    return row == frame->rows - 1 ? RL_OPEN : RL_CORRODED;
}

/* What a value under `from` is under `to`, a part of it; `from` may be empty too (never loose and
 * active: the same in every occasion), or RL_CHOSEN. */
int rl_frame_project(const rl_frame *frame, rl_mask from, rl_mask to, int value);

/* Weights of the values of an element whose states weigh `state`
 * (RL_SOUND .. RL_OPEN): activities and bins spread over the mask. */
void rl_frame_spread(const rl_frame *frame, rl_mask mask, const rl_node *node, const double *state, double *out);
/* Back: states' shares of the normalised marginal `value`, given the same `state` weights. */
void rl_frame_gather(const rl_frame *frame, rl_mask mask, const rl_node *node, const double *state,
                     const double *value, double *out);
/* Weights on values that leave only state `s` of the element: a factor to
 * multiply on (value 0 is shared by sound and by loose but quiet). */
void rl_frame_clamp(const rl_frame *frame, rl_mask mask, const rl_node *node, const double *state, rl_state s,
                    double *out);

#endif
