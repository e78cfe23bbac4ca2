/* frame.h: effective states over all occasions of a case at once.
 *
 * Invariant: a value stands for what an element or a path is in each of the
 * frame's occasions.  Values 0 .. patterns-1 are bit patterns: loose and
 * active in the occasions whose bit is set, sound (or quiet) in the others;
 * then come the bins of corrosion that some element can have, then open.  The
 * set is closed under max and min of design §1, so one variable for each path
 * serves every occasion.
 */
#ifndef RL_FRAME_H
#define RL_FRAME_H

#include "model.h"

typedef struct rl_frame {
    const rl_model *model;
    int occasions;                     /* those with evidence, and the last */
    int slot[RL_MAX_OCCASIONS];        /* bit of an occasion of the case, or -1 */
    int last;                          /* bit of the last occasion */
    int patterns, bins, size;          /* size = patterns + bins + 1 */
    int *bin;                          /* frame's bin to model's bin */
    int *of_bin;                       /* model's bin to frame's, or -1 */
} rl_frame;

void rl_frame_make(rl_frame *frame, rl_arena *arena, const rl_model *model, const bool *used, int occasions);

/* Rows: what a value is in one occasion, as an index: sound, loose, the bins
 * of the frame, open.  rl_frame_rows of them. */
static inline int rl_frame_rows(const rl_frame *frame) { return frame->bins + 3; }

static inline int rl_frame_row(const rl_frame *frame, int value, int bit)
{
    if (value < frame->patterns)
        return (value >> bit) & 1;
    return value - frame->patterns + 2;
}

static inline int rl_frame_open(const rl_frame *frame) { return frame->size - 1; }

static inline int rl_frame_max(const rl_frame *frame, int a, int b)
{
    if (a < frame->patterns && b < frame->patterns)
        return a | b;
    return a > b ? a : b;
}

static inline int rl_frame_min(const rl_frame *frame, int a, int b)
{
    if (a < frame->patterns && b < frame->patterns)
        return a & b;
    return a < b ? a : b;
}

/* The coil's word: corrosion does not keep a relay from closing. */
static inline int rl_frame_calm(const rl_frame *frame, int value)
{
    bool corroded = value >= frame->patterns && value < frame->size - 1;
    return corroded ? 0 : value;
}

/* The state that a row index stands for. */
static inline rl_state rl_frame_state(const rl_frame *frame, int row)
{
    if (row < 2)
        return row == 0 ? RL_SOUND : RL_LOOSE;
    return row == frame->bins + 2 ? RL_OPEN : RL_CORRODED;
}

/* Weights of the values of an element whose states weigh `state`
 * (RL_SOUND .. RL_OPEN): activities and bins spread, `size` numbers. */
void rl_frame_spread(const rl_frame *frame, const rl_node *node, const double *state, double *out);
/* Back: states' shares of the normalised marginal `value`, given the same `state` weights. */
void rl_frame_gather(const rl_frame *frame, const rl_node *node, const double *state,
                     const double *value, double *out);
/* Weights on values that leave only state `s` of the element: a factor to
 * multiply on (value 0 is shared by sound and by loose but quiet). */
void rl_frame_clamp(const rl_frame *frame, const rl_node *node, const double *state, rl_state s, double *out);

#endif
