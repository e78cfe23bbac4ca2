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
    frame->patterns = 1 << frame->occasions;
    frame->bin = rl_many(arena, model->bins, int);
    frame->of_bin = rl_many(arena, model->bins, int);
    for (int b = 0; b < model->bins; b++) {
        frame->of_bin[b] = -1;
        if (!bin_is_possible(model, b))
            continue;
        frame->of_bin[b] = frame->bins;
        frame->bin[frame->bins++] = b;
    }
    frame->size = frame->patterns + frame->bins + 1;
}

/* P(pattern | loose): each occasion active or quiet by itself. */
static double pattern_share(const rl_frame *frame, double quiet, int pattern)
{
    double p = 1;
    for (int k = 0; k < frame->occasions; k++)
        p *= (pattern >> k) & 1 ? 1 - quiet : quiet;
    return p;
}

void rl_frame_spread(const rl_frame *frame, const rl_node *node, const double *state, double *out)
{
    for (int p = 0; p < frame->patterns; p++)
        out[p] = state[RL_LOOSE] * pattern_share(frame, node->quiet, p);
    out[0] += state[RL_SOUND];
    for (int b = 0; b < frame->bins; b++)
        out[frame->patterns + b] = state[RL_CORRODED] * node->bin_mass[frame->bin[b]];
    out[rl_frame_open(frame)] = state[RL_OPEN];
}

/* Of value 0, the part that is sound; the rest is loose but quiet throughout. */
static double sound_part(const rl_frame *frame, const rl_node *node, const double *state)
{
    double quiet = state[RL_LOOSE] * pattern_share(frame, node->quiet, 0);
    double both = state[RL_SOUND] + quiet;
    return both > 0 ? state[RL_SOUND] / both : 1;
}

void rl_frame_gather(const rl_frame *frame, const rl_node *node, const double *state,
                     const double *value, double *out)
{
    double part = sound_part(frame, node, state);
    memset(out, 0, RL_STATES * sizeof *out);
    out[RL_SOUND] = value[0] * part;
    out[RL_LOOSE] = value[0] * (1 - part);
    for (int p = 1; p < frame->patterns; p++)
        out[RL_LOOSE] += value[p];
    for (int b = 0; b < frame->bins; b++)
        out[RL_CORRODED] += value[frame->patterns + b];
    out[RL_OPEN] = value[rl_frame_open(frame)];
}

void rl_frame_clamp(const rl_frame *frame, const rl_node *node, const double *state, rl_state s, double *out)
{
    double part = sound_part(frame, node, state);
    memset(out, 0, (size_t)frame->size * sizeof *out);
    if (s == RL_SOUND)
        out[0] = part;
    if (s == RL_LOOSE) {
        out[0] = 1 - part;
        for (int p = 1; p < frame->patterns; p++)
            out[p] = 1;
    }
    for (int b = 0; s == RL_CORRODED && b < frame->bins; b++)
        out[frame->patterns + b] = 1;
    if (s == RL_OPEN)
        out[rl_frame_open(frame)] = 1;
}
