/* posterior.c: the posterior of every element, log evidence and shares (design §4).
 *
 * Invariant: after rl_work_answer gave RL_OK the tree is calibrated with no
 * restriction on it.  A share is the evidence with a group of elements held
 * sound, over the evidence: it has a network of its own, made when asked for.
 */
#include "work.h"

#include <assert.h>
#include <math.h>


enum { GROUP_RETURN = 1, GROUP_FEED = 2, GROUP_LOAD = 4 };

static bool in_group(rl_sort sort, int group)
{
    if (sort == RL_FEED)
        return group & GROUP_FEED;
    return sort == RL_LOAD ? group & GROUP_LOAD : group & GROUP_RETURN;
}

/* P(all elements of the group are sound | findings) */
static rl_status all_sound(rl_bench *from, rl_arena *arena, int group, double *out)
{
    const rl_model *model = from->frame.model;
    rl_mark mark = rl_arena_mark(arena);
    bool *held = rl_many(arena, model->nodes, bool);
    double p = 1;
    for (int e = 0; e < model->nodes; e++) {
        held[e] = in_group(model->node[e].info.sort, group);
        if (held[e] && !rl_bench_touches(from, e))
            p *= model->node[e].info.prior[RL_SOUND];
        held[e] = held[e] && rl_bench_touches(from, e);
    }
    rl_bench *bench = rl_new(arena, rl_bench);
    rl_status status = rl_bench_again(bench, arena, from, held, NULL);
    if (status == RL_OK)
        status = rl_bench_collect(bench);
    p *= status == RL_OK ? exp(bench->log_evidence - from->log_evidence) : 0;
    rl_arena_rewind(arena, mark);
    *out = p < 1 ? p : 1;
    return status == RL_CONTRADICTION ? RL_OK : status;   /* sound throughout cannot be: 0 */
}

rl_status rl_bench_all_sound(rl_bench *bench, rl_arena *arena, double sound[4])
{
    static const int group[4] = {GROUP_RETURN, GROUP_FEED, GROUP_LOAD, GROUP_RETURN | GROUP_FEED | GROUP_LOAD};
    for (int i = 0; i < 4; i++) {
        rl_status status = all_sound(bench, arena, group[i], &sound[i]);
        if (status != RL_OK)
            return status;
    }
    return RL_OK;
}

static rl_status work_out_shares(rl_work *work)
{
    double sound[4];
    rl_status status = rl_bench_all_sound(&work->bench, &work->arena, sound);
    if (status != RL_OK)
        return status;
    work->shares = (rl_shares){1 - sound[0], 1 - sound[1], 1 - sound[2], sound[3]};
    work->shared_out = true;
    return RL_OK;
}

static void work_out_beliefs(rl_work *work)
{
    work->belief = rl_raw(&work->arena, work->bench.frame.model->nodes, rl_belief);
    rl_bench_beliefs(&work->bench, &work->arena, work->belief);
    work->answer.belief = work->belief;
}

static rl_status exact_answer(rl_work *work)
{
    rl_bench *bench = &work->bench;
    rl_status status = rl_bench_collect(bench);
    if (status != RL_OK)
        return status;
    work->answer = (rl_answer){.log_evidence = bench->log_evidence, .width = rl_plan_width(bench->plan),
                               .cells = rl_plan_cells(bench->plan)};
    rl_tree_distribute(bench->tree);
    work_out_beliefs(work);
    return RL_OK;
}

/* The network of the lines before with the further ones, planned; false: it has to be made anew. */
static bool go_on(rl_case *c, rl_work *work)
{
    const rl_plan *plan = work->bench.plan;
    const rl_tree *tree = work->bench.tree;
    if (work->known == 0 || !rl_bench_extend(&work->bench, work->known))
        return false;
    work->extended += work->known < c->findings;
    return rl_bench_grow(&work->bench, &work->passes, plan, tree) == RL_OK;
}

static rl_status make_bench(rl_case *c, rl_work *work)
{
    if (go_on(c, work))
        return RL_OK;
    rl_arena_rewind(&work->passes, (rl_mark){NULL, 0});
    rl_arena_rewind(&work->ground, (rl_mark){NULL, 0});
    work->extended = 0;
    rl_status status = rl_bench_draw(&work->bench, &work->ground, c);
    return status == RL_OK ? rl_bench_plan(&work->bench, &work->passes) : status;
}

/* Occasions make most cases wide that are. */
static rl_status wide_answer(rl_case *c, rl_work *work)
{
    rl_mark mark = rl_arena_mark(&work->arena);
    rl_status status = work->bench.frame.occasions > 1 ? rl_loose_answer(c, work) : RL_WIDE;
    if (status != RL_WIDE)
        return status;
    rl_arena_rewind(&work->arena, mark);
    return rl_bounded_answer(c, work);
}

rl_status rl_work_answer(rl_case *c, rl_work **out)
{
    rl_work *work = c->work;
    *out = work;
    if (work->status != RL_USAGE)
        return work->status;
    rl_status status = make_bench(c, work);
    work->known = c->findings;
    work->replaced = rl_work_replaced(c);
    if (status == RL_OK)
        status = exact_answer(work);
    else if (status == RL_WIDE)
        status = wide_answer(c, work);
    if (status == RL_CONTRADICTION)
        work->answer.log_evidence = -INFINITY;
    work->status = status;
    return status;
}

static rl_status answer_question(rl_case *c, void *argument)
{
    const rl_answer **out = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    *out = &work->answer;
    return status;
}

rl_status rl_case_answer(rl_case *c, const rl_answer **out)
{
    assert(c && out);
    *out = NULL;
    return rl_ask(c, answer_question, out);
}

static rl_status answer_shares(rl_case *c, void *argument)
{
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK)
        return status;
    if (!work->shared_out)
        status = work_out_shares(work);
    *(const rl_shares **)argument = &work->shares;
    return status;
}

rl_status rl_case_shares(rl_case *c, const rl_shares **out)
{
    *out = NULL;
    return rl_ask(c, answer_shares, out);
}

/* ---- suspects ---- */

static double not_sound(const rl_belief *belief)
{
    return belief->p[RL_LOOSE] + belief->p[RL_CORRODED] + belief->p[RL_OPEN] + belief->p[RL_FAILED];
}

/* Design §4: at least 1 %, and at least 1.05 times its prior. */
static bool is_suspect(const rl_model *model, const rl_belief *belief, int element)
{
    const double *prior = model->node[element].info.prior;
    double before = prior[RL_LOOSE] + prior[RL_CORRODED] + prior[RL_OPEN] + prior[RL_FAILED];
    double now = not_sound(&belief[element]);
    return now >= 0.01 && now >= 1.05 * before;
}

static void work_out_suspects(rl_work *work)
{
    const rl_model *model = work->bench.frame.model;
    size_t *list = rl_many(&work->arena, model->nodes + 1, size_t);
    size_t count = 0;
    for (int e = 0; e < model->nodes; e++) {
        if (!is_suspect(model, work->belief, e))
            continue;
        size_t at = count++;   /* insertion: the likeliest first, ties as declared */
        double p = rl_coarse(not_sound(&work->belief[e]));
        for (; at > 0 && rl_coarse(not_sound(&work->belief[list[at - 1]])) < p; at--)
            list[at] = list[at - 1];
        list[at] = (size_t)e;
    }
    work->suspect_count = count;
    work->suspects = list;
}

typedef struct list_question {
    const size_t **list;
    size_t *count;
} list_question;

rl_status rl_work_suspects(rl_case *c, rl_work **out)
{
    rl_status status = rl_work_answer(c, out);
    if (status == RL_OK && !(*out)->suspects)
        work_out_suspects(*out);
    return status;
}

static rl_status suspects_question(rl_case *c, void *argument)
{
    list_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_suspects(c, &work);
    if (status == RL_OK) {
        *q->list = work->suspects;
        *q->count = work->suspect_count;
    }
    return status;
}

rl_status rl_case_suspects(rl_case *c, const size_t **elements, size_t *count)
{
    list_question q = {elements, count};
    *elements = NULL;
    *count = 0;
    return rl_ask(c, suspects_question, &q);
}

/* ---- expect ---- */

typedef struct expect_question {
    const rl_expectation **list;
    size_t *count;
} expect_question;

/* Whether the element leads: no other is likelier to be at fault. */
static bool leads(const rl_model *model, const rl_belief *belief, int element)
{
    for (int e = 0; e < model->nodes; e++)
        if (e != element && not_sound(&belief[e]) >= not_sound(&belief[element]))
            return false;
    return true;
}

static rl_status expect_answers(rl_case *c, void *argument)
{
    expect_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK)
        return status;
    rl_expectation *list = rl_many(&work->arena, c->findings + 1, rl_expectation);
    size_t count = 0;
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->sort != RL_E_EXPECT || f->line.replaced)
            continue;
        double p = not_sound(&work->belief[f->subject]);
        bool held = f->expect > 0 ? p > f->value : f->expect < 0 ? p < f->value
                                                                 : leads(c->model, work->belief, f->subject);
        list[count++] = (rl_expectation){(size_t)i, held, p, (size_t)f->subject};
    }
    *q->list = list;
    *q->count = count;
    return RL_OK;
}

rl_status rl_case_expectations(rl_case *c, const rl_expectation **out, size_t *count)
{
    expect_question q = {out, count};
    *out = NULL;
    *count = 0;
    return rl_ask(c, expect_answers, &q);
}
