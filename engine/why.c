/* why.c: what each finding says for or against a suspect, in decibans (design §4).
 *
 * Invariant: a finding's weight compares the case with the same case without
 * that line, both worked out from scratch.  Never NaN: where both odds are
 * infinite, or both 0, the finding changes nothing.
 */
#include "bounded.h"

#include <math.h>

static double odds(const double p[RL_STATES])
{
    return (p[RL_LOOSE] + p[RL_CORRODED] + p[RL_OPEN] + p[RL_FAILED]) / p[RL_SOUND];
}

static double decibans(double with, double without)
{
    if (with == without)
        return 0;
    return 10 * log10(with / without);
}

/* Too wide for one tree: by regions, if these leave nothing out. */
static rl_status wide_odds(rl_arena *arena, const rl_bench *bench, int element, double *out)
{
    rl_bounded *b;
    int faults;
    double state[RL_STATES];
    rl_status status = rl_bounded_look(&b, arena, bench);
    if (status != RL_OK)
        return status;
    if (rl_bounded_left(b, &faults) > -INFINITY)
        return RL_WIDE;
    rl_bounded_states(b, arena, element, state);
    *out = odds(state);
    return RL_OK;
}

/* Odds of the element with one line left out. */
static rl_status odds_without(rl_case *c, rl_arena *arena, const bool *left_out, int element, double *out)
{
    rl_bench *bench = rl_new(arena, rl_bench);
    rl_status status = rl_bench_make(bench, arena, c, left_out, true);
    if (status == RL_WIDE)
        return wide_odds(arena, bench, element, out);
    if (status == RL_OK)
        status = rl_bench_collect(bench);
    if (status != RL_OK)
        return status;
    double state[RL_STATES];
    rl_tree_distribute(bench->tree);
    rl_bench_states(bench, arena, element, state);
    *out = odds(state);
    return RL_OK;
}

typedef struct why_question {
    size_t element;
    const rl_why **out;
} why_question;

static rl_status weigh_lines(rl_case *c, rl_work *work, int element, rl_why *why)
{
    double with = odds(work->belief[element].p);
    rl_weight *weight = rl_many(&work->arena, c->findings + 1, rl_weight);
    bool *left_out = rl_many(&work->arena, c->findings + 1, bool);
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        double without;
        if (f->sort > RL_E_OTHERS || f->line.replaced)
            continue;
        left_out[i] = true;
        rl_mark mark = rl_arena_mark(&work->arena);
        rl_status status = odds_without(c, &work->arena, left_out, element, &without);
        rl_arena_rewind(&work->arena, mark);
        left_out[i] = false;
        if (status != RL_OK)
            return status;
        weight[why->count++] = (rl_weight){(size_t)i, decibans(with, without)};
    }
    why->weight = weight;
    return RL_OK;
}

static rl_status answer_why(rl_case *c, void *argument)
{
    why_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK)
        return status;
    if (q->element >= (size_t)c->model->nodes)
        return RL_USAGE;
    if (work->answer.bounded)
        return RL_WIDE;   /* odds that may be off by the bound are no weight of a finding */
    int element = (int)q->element;
    rl_why *why = rl_new(&work->arena, rl_why);
    const double *prior = c->model->node[element].info.prior;
    why->prior = 1 - prior[RL_SOUND];
    why->posterior = 1 - work->belief[element].p[RL_SOUND];
    why->prior_db = 10 * log10(odds(prior));
    status = weigh_lines(c, work, element, why);
    *q->out = why;
    return status;
}

rl_status rl_case_why(rl_case *c, size_t element, const rl_why **out)
{
    why_question q = {element, out};
    *out = NULL;
    return rl_ask(c, answer_why, &q);
}
