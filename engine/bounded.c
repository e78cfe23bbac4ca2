/* bounded.c: what the regions looked at say of the case (design §4).
 *
 * Invariant: probabilities are those within the regions looked at, so none is
 * further from the truth than the rest can hold: `neglected`.
 */
#include "bounded.h"

#include <math.h>
#include <string.h>

void rl_bounded_words(const rl_bounded *b, rl_answer *answer)
{
    double left = rl_bounded_left(b, &answer->faults);
    answer->log_evidence = b->bench.network.log_scale + rl_bounded_found(b);
    answer->bounded = !isinf(left);
    answer->neglected = answer->bounded ? 1 / (1 + exp(rl_bounded_found(b) - left)) : 0;
    if (!answer->bounded)
        answer->faults = 0;
    answer->cells = b->cells;
    answer->width = b->width;
}

/* ---- the answer ---- */

static void plain_states(const double *state, double out[RL_STATES])
{
    double sum = 0;
    for (int s = 0; s < RL_STATES; s++)
        sum += state[s];
    for (int s = 0; s < RL_STATES; s++)
        out[s] = state[s] / sum;
}

void rl_bounded_states(const rl_bounded *b, rl_arena *arena, int element, double out[RL_STATES])
{
    const rl_node *node = &b->bench.frame.model->node[element];
    const double *state = b->bench.draft.state[element];
    int base = rl_bench_base(&b->bench, element), variable = rl_bounded_variable(b, element);
    if (base < 0) {
        plain_states(state, out);
        return;
    }
    rl_mark mark = rl_arena_mark(arena);
    int size = rl_expr_size(&b->bench.exprs, base, rl_bounded_mask(b, element));
    double *value = rl_many(arena, size, double);
    for (int i = 0; i < size; i++)
        value[i] = variable < 0 ? b->bench.network.weight[base][i]
                                : b->value[b->boxes.first[variable] + i] / b->total;
    memset(out, 0, RL_STATES * sizeof *out);
    if (node->info.sort == RL_LOAD) {
        out[RL_SOUND] = value[0];
        out[RL_FAILED] = value[1];
    } else {
        rl_frame_gather(&b->bench.frame, rl_bounded_mask(b, element), node, state, value, out);
    }
    rl_arena_rewind(arena, mark);
}

/* The shares of what was looked at; elements that nothing joins to others count by themselves. */
static void set_shares(rl_work *work, const rl_bounded *b)
{
    double sound[RL_OF_ALL + 1];
    for (int g = 0; g <= RL_OF_ALL; g++)
        sound[g] = b->share[g] / b->total;
    for (int e = 0; e < b->bench.frame.model->nodes; e++) {
        if (rl_bounded_variable(b, e) >= 0)
            continue;
        sound[rl_bounded_group(b->bench.frame.model->node[e].info.sort)] *= work->belief[e].p[RL_SOUND];
        sound[RL_OF_ALL] *= work->belief[e].p[RL_SOUND];
    }
    for (int g = 0; g <= RL_OF_ALL; g++)
        sound[g] = fmin(sound[g], 1);
    work->shares = (rl_shares){1 - sound[RL_OF_RETURNS], 1 - sound[RL_OF_FEEDS], 1 - sound[RL_OF_LOADS],
                               sound[RL_OF_ALL]};
    work->shared_out = true;
}

rl_status rl_bounded_answer(rl_case *c, rl_work *work)
{
    rl_bounded *b;
    rl_status status = rl_bounded_look(&b, &work->arena, &work->bench);
    if (status != RL_OK)
        return status;
    const rl_model *model = c->model;
    work->bounded = b;
    rl_bounded_words(b, &work->answer);
    work->belief = rl_many(&work->arena, model->nodes, rl_belief);
    for (int e = 0; e < model->nodes; e++) {
        rl_bounded_states(b, &work->arena, e, work->belief[e].p);
        work->belief[e].touched = rl_bench_touches(&b->bench, e);
    }
    work->answer.belief = work->belief;
    set_shares(work, b);
    return RL_OK;
}
