/* why.c: what each finding says for or against a suspect, in decibans (design §4).
 *
 * Most lines are weighed in one network of them all (unsaid.h).  For the rest the
 * case without the line has a network of its own, which is summed with the
 * element not sound and once more with it sound: that changes what is above that
 * variable alone, and there is no way down.
 * Invariant: a finding's weight compares the case with the same case without
 * that line.  Never NaN: where both odds are infinite, or both 0, the finding
 * changes nothing.
 */
#include "bounded.h"
#include "unsaid.h"

#include <assert.h>
#include <math.h>

static double odds(const double p[RL_STATES])
{
    return (p[RL_LOOSE] + p[RL_CORRODED] + p[RL_OPEN] + p[RL_FAILED]) / p[RL_SOUND];
}

/* Odds that differ by less are the same. */
static const double ROUNDING = 1e-12;

static double decibans(double with, double without)
{
    if (with == without || fabs(with / without - 1) < ROUNDING)
        return 0;
    return 10 * log10(with / without);
}

/* ---- the odds of one element ---- */

/* Of an element that is a variable of the net. */
static rl_status odds_of_variable(rl_bench *bench, rl_arena *arena, int element, int variable, double *out)
{
    double sum[2];
    for (int sound = 0; sound < 2; sound++) {
        rl_tree_weigh(bench->tree, variable, rl_bench_held(bench, arena, element, sound));
        sum[sound] = rl_tree_collect(bench->tree);
    }
    if (isinf(sum[0]) && isinf(sum[1]))
        return RL_CONTRADICTION;
    *out = isinf(sum[1]) ? INFINITY : exp(sum[0] - sum[1]);
    return RL_OK;
}

/* The element was kept: it is a variable, or nothing else hangs on what is known of it. */
static rl_status odds_of(rl_bench *bench, rl_arena *arena, int element, double *out)
{
    double state[RL_STATES];
    int base = rl_bench_base(bench, element);
    int variable = base < 0 ? -1 : rl_network_variable(&bench->network, base);
    assert(base < 0 || bench->network.absorbed_of[base] < 0);
    if (variable >= 0)
        return odds_of_variable(bench, arena, element, variable, out);
    rl_status status = rl_bench_collect(bench);
    rl_bench_states(bench, arena, element, state);
    *out = odds(state);
    return status;
}

/* Too wide for one tree: by regions, if these leave nothing out. */
static rl_status wide_odds(rl_arena *arena, rl_bench *bench, int element, double *out)
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
static rl_status odds_without(const rl_case *c, rl_arena *arena, const bool *left_out, int element, double *out)
{
    rl_bench *bench = rl_new(arena, rl_bench);
    bool *keep = rl_many(arena, c->model->nodes, bool);
    keep[element] = true;
    rl_status status = rl_bench_without(bench, arena, c, left_out, keep);
    if (status == RL_WIDE)
        return wide_odds(arena, bench, element, out);
    return status == RL_OK ? odds_of(bench, arena, element, out) : status;
}

/* ---- all lines ---- */

typedef struct why_question {
    size_t element;
    const rl_why **out;
} why_question;

/* Odds without a line, in a network of its own. */
static rl_status odds_by_itself(const rl_case *c, rl_work *work, int element, int line, double *out)
{
    rl_mark mark = rl_arena_mark(&work->arena);
    bool *left_out = rl_many(&work->arena, c->findings, bool);
    left_out[line] = true;
    rl_status status = odds_without(c, &work->arena, left_out, element, out);
    rl_arena_rewind(&work->arena, mark);
    return status;
}

static rl_status weigh_lines(rl_case *c, rl_work *work, int element, rl_why *why)
{
    double with = odds(work->belief[element].p);
    rl_weight *weight = rl_many(&work->arena, c->findings + 1, rl_weight);
    double *without = rl_many(&work->arena, c->findings + 1, double);
    rl_unsaid_odds(work, c, element, without);
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        rl_status status = RL_OK;
        if (f->sort > RL_E_OTHERS || f->line.replaced)
            continue;
        if (isnan(without[i]))
            status = odds_by_itself(c, work, element, i, &without[i]);
        if (status != RL_OK)
            return status;
        weight[why->count++] = (rl_weight){(size_t)i, decibans(with, without[i])};
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
    why->posterior_db = 10 * log10(odds(work->belief[element].p));
    status = weigh_lines(c, work, element, why);
    *q->out = status == RL_OK ? why : NULL;
    return status;
}

rl_status rl_case_why(rl_case *c, size_t element, const rl_why **out)
{
    why_question q = {element, out};
    *out = NULL;
    return rl_ask(c, answer_why, &q);
}
