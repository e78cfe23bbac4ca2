/* work.c: from the lines of a case to a network, and guarded questions.
 *
 * Invariant: see work.h.
 */
#include "probe.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* A factor of a draft may always have so many cells. */
static const double LEAST_FACTOR = 1 << 22;

static size_t memory_bound(const rl_case *c)
{
    size_t bound = c->context->settings.memory_bound;
    return bound ? bound : (size_t)1 << 30;
}

/* Occasions that hold a finding. */
static void used_occasions(const rl_case *c, bool *used)
{
    for (int i = 0; i < c->findings; i++)
        if (c->finding[i]->sort <= RL_E_OTHERS && !c->finding[i]->line.replaced)
            used[c->finding[i]->occasion] = true;
}

/* From the draft on. */
static rl_status make_network(rl_bench *bench, rl_arena *arena, const bool *keep, const bool *last)
{
    bench->tree = NULL;
    bench->log_evidence = -INFINITY;
    rl_network_make(&bench->network, arena, &bench->draft, keep, last);
    if (bench->network.wide)
        return RL_WIDE;
    if (bench->network.impossible)
        return RL_CONTRADICTION;
    bench->plan = rl_plan_make(arena, bench->network.net);
    if (rl_plan_cells(bench->plan) * (double)sizeof(double) > (double)memory_bound(bench->observer.kase))
        return RL_WIDE;
    bench->tree = rl_tree_make(arena, bench->network.net, bench->plan);
    return RL_OK;
}

/* Connectors have an expression whether a finding reaches them or not: see network.c. */
static void name_connectors(rl_bench *bench)
{
    const rl_model *model = bench->frame.model;
    rl_world *world = rl_exprs_world(&bench->exprs, NULL, 0, NULL, 0);
    for (int e = 0; e < model->nodes; e++)
        if (model->node[e].info.sort == RL_CONNECTOR)
            rl_expr_element(&bench->exprs, world, e);
}

static rl_status make_bench(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out, bool forgotten,
                            const bool *keep)
{
    bool used[RL_MAX_OCCASIONS] = {false};
    used_occasions(c, used);
    rl_frame_make(&bench->frame, arena, c->model, used, c->occasions);
    rl_exprs_make(&bench->exprs, arena, &bench->frame);
    rl_draft_make(&bench->draft, arena, &bench->exprs);
    bench->draft.most_cells = fmax((double)memory_bound(c) / sizeof(double) / 4, LEAST_FACTOR);
    bench->observer = (rl_observer){arena, c, c->model, &bench->frame, &bench->exprs, &bench->draft,
                                    left_out, forgotten};
    rl_observe_all(&bench->observer);
    name_connectors(bench);
    return make_network(bench, arena, keep, NULL);
}

rl_status rl_bench_make(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out)
{
    return make_bench(bench, arena, c, left_out, false, NULL);
}

rl_status rl_bench_without(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out, const bool *keep)
{
    return make_bench(bench, arena, c, left_out, true, keep);
}

/* The factors stay shared: nothing is added to a draft once its network was made. */
static void copy_bench(rl_bench *fresh, rl_arena *arena, const rl_bench *bench)
{
    *fresh = *bench;
    rl_exprs_copy(&fresh->exprs, arena, &bench->exprs);
    rl_draft *draft = &fresh->draft;
    int nodes = bench->frame.model->nodes;
    draft->exprs = &fresh->exprs;
    draft->state = rl_arena_array(arena, (size_t)nodes, sizeof *draft->state);
    draft->inspected = rl_many(arena, nodes, bool);
    memcpy(draft->state, bench->draft.state, (size_t)nodes * sizeof *draft->state);
    memcpy(draft->inspected, bench->draft.inspected, (size_t)nodes * sizeof *draft->inspected);
}

rl_status rl_bench_again(rl_bench *fresh, rl_arena *arena, const rl_bench *bench, const bool *held, const bool *keep)
{
    copy_bench(fresh, arena, bench);
    rl_draft *draft = &fresh->draft;
    int nodes = bench->frame.model->nodes;
    for (int e = 0; held && e < nodes; e++) {
        if (!held[e])
            continue;
        draft->inspected[e] = true;
        for (int s = RL_LOOSE; s < RL_STATES; s++)
            draft->state[e][s] = 0;
    }
    return make_network(fresh, arena, keep, NULL);
}

rl_status rl_bench_for_tests(rl_bench *fresh, rl_arena *arena, rl_bench *bench, rl_world *world)
{
    const rl_model *model = bench->frame.model;
    for (int e = 0; e < model->nodes; e++) {
        rl_sort sort = model->node[e].info.sort;
        if (sort == RL_LOAD)
            rl_expr_load_feed(&bench->exprs, world, e);
        else if (sort != RL_CONNECTOR && sort != RL_FEED)
            rl_expr_return(&bench->exprs, world, e);
    }
    bool *last = rl_many(arena, bench->exprs.count, bool);
    for (int e = 0; e < model->nodes; e++) {
        if (world->of_return[e] >= 0)
            last[world->of_return[e]] = true;
        if (world->of_feed[e] >= 0)
            last[world->of_feed[e]] = true;
    }
    copy_bench(fresh, arena, bench);
    rl_status status = make_network(fresh, arena, NULL, last);
    if (status == RL_OK)
        status = rl_bench_collect(fresh);
    if (status == RL_OK)
        rl_tree_distribute(fresh->tree);
    return status;
}

rl_status rl_bench_collect(rl_bench *bench)
{
    assert(bench->tree);
    bench->log_evidence = bench->network.log_scale + rl_tree_collect(bench->tree);
    return isinf(bench->log_evidence) ? RL_CONTRADICTION : RL_OK;
}

int rl_bench_base(const rl_bench *bench, int element)
{
    return bench->network.base_of[element];
}

/* ---- posteriors of elements ---- */

/* The variable of an input of an absorbing factor, or -1: it was absorbed itself. */
static int input_variable(const rl_bench *bench, int input)
{
    if (input < 0)
        return bench->network.helper[-1 - input];
    return rl_network_variable(&bench->network, input);
}

/* Joint of the factor's other inputs, where they are variables of the net. */
static const double *other_inputs(rl_bench *bench, rl_arena *arena, const rl_cells *after)
{
    int variable[2];
    if (after->count > 2)
        return NULL;
    for (int i = 0; i < after->count; i++)
        if ((variable[i] = input_variable(bench, after->input[i])) < 0)
            return NULL;
    double *joint = rl_many(arena, rl_cells_count(after), double);
    if (after->count == 0)
        joint[0] = 1;
    else if (after->count == 1)
        rl_tree_marginal(bench->tree, variable[0], joint);
    else
        rl_tree_joint(bench->tree, arena, 2, variable, joint);
    return joint;
}

static void absorbed_values(rl_bench *bench, rl_arena *arena, const rl_absorbed *a, double *out)
{
    const double *weight = bench->network.weight[a->expr], *joint = other_inputs(bench, arena, &a->after);
    if (!joint) {
        rl_cells law = rl_absorbed_law(arena, a, weight);
        rl_probe_value(bench, arena, &law, a->at, out);
        return;
    }
    size_t inner = 1, size = (size_t)a->before.size[a->at], cells = rl_cells_count(&a->after);
    for (int i = a->at + 1; i < a->before.count; i++)
        inner *= (size_t)a->before.size[i];
    for (size_t c = 0; c < cells; c++) {   /* c: the other inputs */
        double share = a->after.cell[c] > 0 ? joint[c] / a->after.cell[c] : 0;
        const double *before = &a->before.cell[c / inner * size * inner + c % inner];
        for (size_t v = 0; v < size; v++)
            out[v] += share * before[v * inner];
    }
    double sum = 0;
    for (size_t v = 0; v < size; v++)
        sum += out[v] *= weight[v];
    for (size_t v = 0; v < size; v++)
        out[v] /= sum;   /* 1 but for rounding: what is certain is exactly 1 */
}

/* Marginal of a base expression. */
static const double *base_values(rl_bench *bench, rl_arena *arena, int base)
{
    int variable = rl_network_variable(&bench->network, base);
    int absorbed = bench->network.absorbed_of[base];
    if (variable < 0 && absorbed < 0)
        return bench->network.weight[base];
    double *value = rl_many(arena, rl_expr_size(&bench->exprs, base, bench->network.mask[base]), double);
    if (variable >= 0)
        rl_tree_marginal(bench->tree, variable, value);
    else
        absorbed_values(bench, arena, &bench->network.absorbed[absorbed], value);
    return value;
}

static void copy_load(const double *weight, double out[RL_STATES])
{
    memset(out, 0, RL_STATES * sizeof *out);
    out[RL_SOUND] = weight[0];
    out[RL_FAILED] = weight[1];
}

static void normal_states(const double *state, double out[RL_STATES])
{
    double sum = 0;
    for (int s = 0; s < RL_STATES; s++)
        sum += state[s];
    for (int s = 0; s < RL_STATES; s++)
        out[s] = state[s] / sum;
}

void rl_bench_states(rl_bench *bench, rl_arena *arena, int element, double out[RL_STATES])
{
    const rl_node *node = &bench->frame.model->node[element];
    const double *state = bench->draft.state[element];
    int base = rl_bench_base(bench, element);
    if (base < 0) {
        normal_states(state, out);
        return;
    }
    rl_mark mark = rl_arena_mark(arena);
    const double *value = base_values(bench, arena, base);
    if (node->info.sort == RL_LOAD)
        copy_load(value, out);
    else
        rl_frame_gather(&bench->frame, bench->network.mask[base], node, state, value, out);
    rl_arena_rewind(arena, mark);
}

void rl_bench_rows(rl_bench *bench, rl_arena *arena, int element, double *out)
{
    const rl_frame *frame = &bench->frame;
    const rl_node *node = &frame->model->node[element];
    int base = rl_bench_base(bench, element), rows = frame->rows;
    double state[RL_STATES];
    rl_mark mark = rl_arena_mark(arena);
    if (base < 0) {
        normal_states(bench->draft.state[element], state);
        if (node->info.sort == RL_LOAD) {
            out[0] = state[RL_SOUND];
            out[1] = state[RL_FAILED];
        } else {
            rl_frame_spread(frame, 1u << frame->last, node, state, out);
        }
    } else {
        const double *value = base_values(bench, arena, base);
        rl_mask mask = bench->network.mask[base];
        memset(out, 0, (size_t)(node->info.sort == RL_LOAD ? 2 : rows) * sizeof *out);
        for (int v = 0; v < rl_expr_size(&bench->exprs, base, mask); v++)
            out[node->info.sort == RL_LOAD ? v : rl_frame_project(frame, mask, 1u << frame->last, v)] += value[v];
    }
    rl_arena_rewind(arena, mark);
}

void rl_bench_restrict(rl_bench *bench, rl_arena *arena, int element, rl_state s)
{
    const rl_node *node = &bench->frame.model->node[element];
    int base = rl_bench_base(bench, element);
    int variable = base < 0 ? -1 : rl_network_variable(&bench->network, base);
    assert(base < 0 || bench->network.absorbed_of[base] < 0);
    if (variable < 0)
        return;
    rl_mark mark = rl_arena_mark(arena);
    double *weight = rl_many(arena, rl_expr_size(&bench->exprs, base, bench->network.mask[base]), double);
    if (node->info.sort == RL_LOAD)
        weight[s == RL_FAILED] = 1;
    else
        rl_frame_clamp(&bench->frame, bench->network.mask[base], node, bench->draft.state[element], s, weight);
    rl_tree_weigh(bench->tree, variable, weight);
    rl_arena_rewind(arena, mark);
}

void rl_bench_release(rl_bench *bench, int element)
{
    int base = rl_bench_base(bench, element);
    if (base >= 0 && rl_network_variable(&bench->network, base) >= 0)
        rl_tree_weigh(bench->tree, rl_network_variable(&bench->network, base), NULL);
}

double rl_coarse(double p)
{
    int exponent;
    double part = frexp(p, &exponent);
    return ldexp(round(ldexp(part, 40)), exponent - 40);
}

/* ---- questions ---- */

void rl_work_drop(rl_case *c)
{
    if (!c->work)
        return;
    rl_arena arena = c->work->arena;   /* the work itself lives in it */
    rl_arena_free(&c->work->scratch);
    rl_arena_free(&c->work->groups);
    c->work = NULL;
    rl_arena_free(&arena);
}

rl_status rl_ask(rl_case *c, rl_question *question, void *argument)
{
    jmp_buf bail;
    c->arena.bail = &bail;
    if (setjmp(bail)) {
        rl_work_drop(c);
        c->arena.bail = NULL;
        return RL_MEMORY;
    }
    if (!c->work) {
        rl_arena arena;
        rl_arena_init(&arena, &c->context->allocator, 0);
        arena.bail = &bail;
        rl_work *work = rl_new(&arena, rl_work);
        work->arena = arena;
        rl_arena_init(&work->scratch, &c->context->allocator, 0);
        rl_arena_init(&work->groups, &c->context->allocator, 0);
        work->status = RL_USAGE;   /* nothing asked yet */
        c->work = work;
    }
    c->work->arena.bail = &bail;
    c->work->scratch.bail = &bail;
    c->work->groups.bail = &bail;
    rl_status status = question(c, argument);
    c->arena.bail = NULL;
    if (c->work) {
        c->work->arena.bail = NULL;
        c->work->scratch.bail = NULL;
        c->work->groups.bail = NULL;
    }
    return status;
}
