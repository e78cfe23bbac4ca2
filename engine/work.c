/* work.c: from the lines of a case to a network, and guarded questions.
 *
 * Invariant: see work.h.
 */
#include "work.h"

#include <assert.h>
#include <math.h>
#include <string.h>

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

rl_status rl_bench_make(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out, bool forgotten)
{
    bool used[RL_MAX_OCCASIONS] = {false};
    used_occasions(c, used);
    rl_frame_make(&bench->frame, arena, c->model, used, c->occasions);
    rl_exprs_make(&bench->exprs, arena, &bench->frame);
    rl_draft_make(&bench->draft, arena, &bench->exprs);
    bench->observer = (rl_observer){arena, c, c->model, &bench->frame, &bench->exprs, &bench->draft,
                                    left_out, forgotten};
    bench->tree = NULL;
    rl_observe_all(&bench->observer);
    rl_network_make(&bench->network, arena, &bench->draft);
    bench->log_evidence = -INFINITY;
    if (bench->network.impossible)
        return RL_CONTRADICTION;
    bench->plan = rl_plan_make(arena, bench->network.net);
    if (rl_plan_cells(bench->plan) * (double)sizeof(double) > (double)memory_bound(c))
        return RL_WIDE;
    bench->tree = rl_tree_make(arena, bench->network.net, bench->plan);
    return RL_OK;
}

rl_status rl_bench_collect(rl_bench *bench)
{
    assert(bench->tree);
    bench->log_evidence = bench->network.log_scale + rl_tree_collect(bench->tree);
    return isinf(bench->log_evidence) ? RL_CONTRADICTION : RL_OK;
}

/* Looks an element's expression up without making one. */
int rl_bench_base(const rl_bench *bench, int element)
{
    const rl_exprs *exprs = &bench->exprs;
    int x = bench->network.base_of[element];
    assert(x < 0 || exprs->at[x].a == element);
    (void)exprs;
    return x;
}

static void copy_load(const double *weight, double out[RL_STATES])
{
    memset(out, 0, RL_STATES * sizeof *out);
    out[RL_SOUND] = weight[0];
    out[RL_FAILED] = weight[1];
}

void rl_bench_states(const rl_bench *bench, rl_arena *arena, int element, double out[RL_STATES])
{
    const rl_node *node = &bench->frame.model->node[element];
    const double *state = bench->draft.state[element];
    int base = rl_bench_base(bench, element);
    if (base < 0) {
        memcpy(out, state, RL_STATES * sizeof *out);
        return;
    }
    rl_mark mark = rl_arena_mark(arena);
    const double *value = bench->network.weight[base];
    int variable = rl_network_variable(&bench->network, base);
    if (variable >= 0) {
        double *marginal = rl_many(arena, rl_expr_size(&bench->exprs, base), double);
        rl_tree_marginal(bench->tree, variable, marginal);
        value = marginal;
    }
    if (node->info.sort == RL_LOAD)
        copy_load(value, out);
    else
        rl_frame_gather(&bench->frame, node, state, value, out);
    rl_arena_rewind(arena, mark);
}

static void clamp(const rl_bench *bench, int element, rl_state s, double *out)
{
    const rl_node *node = &bench->frame.model->node[element];
    if (node->info.sort == RL_LOAD) {
        out[0] = s == RL_SOUND;
        out[1] = s == RL_FAILED;
    } else {
        rl_frame_clamp(&bench->frame, node, bench->draft.state[element], s, out);
    }
}

double rl_bench_restrict(rl_bench *bench, rl_arena *arena, int element, rl_state s)
{
    int base = rl_bench_base(bench, element);
    if (base < 0)
        return log(bench->draft.state[element][s]);
    rl_mark mark = rl_arena_mark(arena);
    int size = rl_expr_size(&bench->exprs, base);
    double *weight = rl_many(arena, size, double), sum = 0;
    clamp(bench, element, s, weight);
    int variable = rl_network_variable(&bench->network, base);
    if (variable >= 0)
        rl_tree_weigh(bench->tree, variable, weight);
    for (int v = 0; v < size; v++)
        sum += weight[v] * bench->network.weight[base][v];
    rl_arena_rewind(arena, mark);
    return variable >= 0 ? 0 : log(sum);
}

void rl_bench_release(rl_bench *bench, int element)
{
    int base = rl_bench_base(bench, element);
    if (base >= 0 && rl_network_variable(&bench->network, base) >= 0)
        rl_tree_weigh(bench->tree, rl_network_variable(&bench->network, base), NULL);
}

/* ---- questions ---- */

void rl_work_drop(rl_case *c)
{
    if (!c->work)
        return;
    rl_arena arena = c->work->arena;   /* the work itself lives in it */
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
        work->status = RL_USAGE;   /* nothing asked yet */
        c->work = work;
    }
    c->work->arena.bail = &bail;
    rl_status status = question(c, argument);
    c->arena.bail = NULL;
    if (c->work)
        c->work->arena.bail = NULL;
    return status;
}
