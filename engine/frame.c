/* frame.c: building a frame, and the way between an element's four states and
 * the frame's values.
 *
 * Invariant: spread then gather gives back the normalised states.
 */
#include "frame.h"

#include <assert.h>
#include <string.h>

static bool bin_is_possible(const rl_model *model, int bin)
{
    for (int i = 0; i < model->nodes; i++) {
        const rl_node *node = &model->node[i];
        if (node->info.sort != RL_LOAD && node->bin_mass && node->bin_mass[bin] > 0)
            return true;
    }
    return false;
}

void rl_frame_make(rl_frame *frame, rl_arena *arena, const rl_model *model, const bool *used, int occasions)
{
    assert(occasions >= 1 && occasions <= RL_MAX_OCCASIONS);
    *frame = (rl_frame){.model = model};
    for (int i = 0; i < occasions; i++)
        frame->slot[i] = used[i] || i == occasions - 1 ? frame->occasions++ : -1;
    frame->last = frame->occasions - 1;
    frame->bin = rl_many(arena, model->bins, int);
    for (int b = 0; b < model->bins; b++)
        if (bin_is_possible(model, b))
            frame->bin[frame->bins++] = b;
    frame->rows = frame->bins + 3;
}

/* ---- from one mask to another ---- */

static int project_pattern(rl_mask from, rl_mask to, int pattern)
{
    assert((to & ~from) == 0);
    int out = 0, next = 1;
    for (rl_mask bit = 1; bit <= from; bit <<= 1) {
        if (!(from & bit))
            continue;
        if ((to & bit) && (pattern & 1))
            out |= next;
        if (to & bit)
            next <<= 1;
        pattern >>= 1;
    }
    return out;
}

int rl_frame_project(const rl_frame *frame, rl_mask from, rl_mask to, int value)
{
    int patterns = rl_frame_patterns(from);
    assert(value < rl_frame_size(frame, from));
    if (value >= patterns)
        return value - patterns + rl_frame_patterns(to);
    if (value == 0 || from == to)
        return value;
    if (from == RL_CHOSEN)
        return project_pattern(RL_CHOSEN - 1, to, (int)frame->chosen);
    return project_pattern(from, to, value);
}

/* ---- an element's states and its values ---- */

/* P(pattern | loose): each occasion active or quiet by itself. */
static double pattern_share(int patterns, double quiet, int pattern)
{
    double p = 1;
    for (int bit = 1; bit < patterns; bit <<= 1)
        p *= pattern & bit ? 1 - quiet : quiet;
    return p;
}

void rl_frame_spread(const rl_frame *frame, rl_mask mask, const rl_node *node, const double *state, double *out)
{
    int patterns = rl_frame_patterns(mask);
    for (int p = 0; p < patterns; p++)
        out[p] = state[RL_LOOSE] * pattern_share(patterns, node->quiet, p);
    out[0] += state[RL_SOUND];
    for (int b = 0; b < frame->bins; b++)
        out[patterns + b] = state[RL_CORRODED] * node->bin_mass[frame->bin[b]];
    out[patterns + frame->bins] = state[RL_OPEN];
}

/* Of value 0, the part that is sound; the rest is loose but quiet throughout. */
static double sound_part(int patterns, const rl_node *node, const double *state)
{
    double quiet = state[RL_LOOSE] * pattern_share(patterns, node->quiet, 0);
    double both = state[RL_SOUND] + quiet;
    return both > 0 ? state[RL_SOUND] / both : 1;
}

void rl_frame_gather(const rl_frame *frame, rl_mask mask, const rl_node *node, const double *state,
                     const double *value, double *out)
{
    int patterns = rl_frame_patterns(mask);
    double part = sound_part(patterns, node, state);
    memset(out, 0, RL_STATES * sizeof *out);
    out[RL_SOUND] = value[0] * part;
    out[RL_LOOSE] = value[0] * (1 - part);
    for (int p = 1; p < patterns; p++)
        out[RL_LOOSE] += value[p];
    for (int b = 0; b < frame->bins; b++)
        out[RL_CORRODED] += value[patterns + b];
    out[RL_OPEN] = value[patterns + frame->bins];
}

void rl_frame_clamp(const rl_frame *frame, rl_mask mask, const rl_node *node, const double *state, rl_state s,
                    double *out)
{
    int patterns = rl_frame_patterns(mask);
    double part = sound_part(patterns, node, state);
    memset(out, 0, (size_t)(patterns + frame->bins + 1) * sizeof *out);
    if (s == RL_SOUND)
        out[0] = part;
    if (s == RL_LOOSE) {
        out[0] = 1 - part;
        for (int p = 1; p < patterns; p++)
            out[p] = 1;
    }
    for (int b = 0; s == RL_CORRODED && b < frame->bins; b++)
        out[patterns + b] = 1;
    if (s == RL_OPEN)
        out[patterns + frame->bins] = 1;
}
