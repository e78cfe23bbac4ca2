/* work.c: from the lines of a case to a network, and guarded questions.
 *
 * Invariant: see work.h.
 */
#include "work.h"

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

rl_status rl_bench_plan(rl_bench *bench, rl_arena *arena)
{
    bench->plan = rl_plan_make(arena, bench->network.net);
    if (rl_plan_cells(bench->plan) * (double)sizeof(double) > (double)memory_bound(bench->observer.kase))
        return RL_WIDE;
    bench->tree = rl_tree_make(arena, bench->network.net, bench->plan);
    return RL_OK;
}

rl_status rl_bench_grow(rl_bench *bench, rl_arena *arena, const rl_plan *plan, const rl_tree *tree)
{
    bench->plan = rl_plan_grow(arena, bench->network.net, plan);
    if (rl_plan_cells(bench->plan) * (double)sizeof(double) > (double)memory_bound(bench->observer.kase))
        return RL_WIDE;
    bench->tree = rl_tree_grow(arena, bench->network.net, bench->plan, tree);
    return bench->tree ? RL_OK : rl_bench_plan(bench, arena);
}

/* From the draft on, without a plan. */
static rl_status draw_network(rl_bench *bench, rl_arena *arena, const bool *keep, const bool *last)
{
    bench->tree = NULL;
    bench->log_evidence = -INFINITY;
    rl_network_make(&bench->network, arena, &bench->draft, keep, last);
    return bench->network.wide ? RL_WIDE : bench->network.impossible ? RL_CONTRADICTION : RL_OK;
}

static rl_status make_network(rl_bench *bench, rl_arena *arena, const bool *keep, const bool *last)
{
    rl_status status = draw_network(bench, arena, keep, last);
    return status == RL_OK ? rl_bench_plan(bench, arena) : status;
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

/* What the lines would have named, had each load of the crowd been said by itself. */
static void name_crowd(rl_bench *bench)
{
    const rl_crowd *crowd = bench->draft.crowd;
    if (!crowd)
        return;
    rl_world *world = rl_observe_world(&bench->observer, crowd->occasion, NULL);
    for (int w = 0; w < crowd->book->workers; w++)
        if (!crowd->absent[w])
            rl_observe_sides(&bench->observer, world, crowd->book->worker[w].load, NULL);
}

static void draft_lines(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out, bool forgotten, bool crowded)
{
    bool used[RL_MAX_OCCASIONS] = {false};
    used_occasions(c, used);
    rl_frame_make(&bench->frame, arena, c->model, used, c->occasions);
    rl_exprs_make(&bench->exprs, arena, &bench->frame);
    rl_draft_make(&bench->draft, arena, &bench->exprs);
    bench->draft.most_cells = fmax((double)memory_bound(c) / sizeof(double) / 4, LEAST_FACTOR);
    bench->whole = NULL;
    bench->observer = (rl_observer){.arena = arena, .kase = c, .model = c->model, .frame = &bench->frame,
                                    .exprs = &bench->exprs, .draft = &bench->draft, .left_out = left_out,
                                    .forgotten = forgotten, .crowded = crowded,
                                    .up_to = rl_many(arena, RL_UP_TO_SLOTS, rl_up_to)};
    rl_observe_all(&bench->observer);
    bench->draft.peel = true;
}

rl_status rl_bench_draw(rl_bench *bench, rl_arena *arena, const rl_case *c)
{
    draft_lines(bench, arena, c, NULL, false, true);
    return draw_network(bench, arena, NULL, NULL);
}

rl_status rl_bench_make(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out)
{
    draft_lines(bench, arena, c, left_out, false, false);
    return make_network(bench, arena, NULL, NULL);
}

rl_status rl_bench_without(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out, const bool *keep)
{
    draft_lines(bench, arena, c, left_out, true, false);
    return make_network(bench, arena, keep, NULL);
}

/* The draft in which every load says by itself what it says. */
static const rl_draft *whole_draft(rl_bench *bench)
{
    if (!bench->draft.crowd)
        return &bench->draft;
    if (!bench->whole) {
        rl_arena *arena = bench->draft.arena;
        rl_draft *whole = rl_new(arena, rl_draft);
        rl_observer o = bench->observer;
        rl_draft_make(whole, arena, &bench->exprs);
        whole->most_cells = bench->draft.most_cells;
        o.draft = whole;
        o.crowded = false;
        rl_observe_all(&o);
        bench->whole = whole;
    }
    return bench->whole;
}

/* The factors stay shared: nothing is added to a draft once its network was made. */
static void copy_bench(rl_bench *fresh, rl_arena *arena, const rl_bench *bench, const rl_draft *whole)
{
    *fresh = *bench;
    rl_exprs_copy(&fresh->exprs, arena, &bench->exprs);
    rl_draft *draft = &fresh->draft;
    int nodes = bench->frame.model->nodes;
    *draft = *whole;
    fresh->whole = NULL;
    fresh->observer.crowded = false;
    draft->exprs = &fresh->exprs;
    draft->state = rl_arena_array(arena, (size_t)nodes, sizeof *draft->state);
    draft->inspected = rl_many(arena, nodes, bool);
    memcpy(draft->state, whole->state, (size_t)nodes * sizeof *draft->state);
    memcpy(draft->inspected, whole->inspected, (size_t)nodes * sizeof *draft->inspected);
}

rl_status rl_bench_again(rl_bench *fresh, rl_arena *arena, rl_bench *bench, const bool *held, const bool *keep)
{
    copy_bench(fresh, arena, bench, whole_draft(bench));
    rl_draft *draft = &fresh->draft;
    int nodes = bench->frame.model->nodes;
    for (int e = 0; held && e < nodes; e++) {
        if (!held[e])
            continue;
        draft->inspected[e] = true;
        for (int s = RL_LOOSE; s < RL_STATES; s++)
            draft->state[e][s] = 0;
    }
    draft->peel = keep == NULL;
    return make_network(fresh, arena, keep, NULL);
}

void rl_bench_whole(rl_bench *fresh, rl_arena *arena, rl_bench *bench)
{
    copy_bench(fresh, arena, bench, whole_draft(bench));
}

rl_status rl_bench_part(rl_bench *fresh, rl_arena *arena, rl_bench *bench, const unsigned char *looseness,
                        double (*state)[RL_STATES], rl_mask chosen, double most_cells)
{
    copy_bench(fresh, arena, bench, whole_draft(bench));
    fresh->frame.chosen = chosen;
    fresh->exprs.frame = &fresh->frame;
    fresh->draft.looseness = looseness;
    fresh->draft.state = state;
    fresh->draft.most_cells = most_cells;
    fresh->draft.peel = true;
    rl_status status = draw_network(fresh, arena, NULL, NULL);
    if (status != RL_OK)
        return status;
    fresh->plan = rl_plan_make(arena, fresh->network.net);
    return rl_plan_cells(fresh->plan) > most_cells ? RL_WIDE : RL_OK;
}

/* The draft of a copy once more, its readings apart.  Every expression is known by now: worlds are shared. */
static void say_apart(rl_bench *fresh, rl_arena *arena)
{
    int known = fresh->exprs.count;
    double most_cells = fresh->draft.most_cells;
    rl_draft_make(&fresh->draft, arena, &fresh->exprs);
    fresh->draft.most_cells = most_cells;
    fresh->observer.arena = arena;
    fresh->observer.exprs = &fresh->exprs;
    fresh->observer.draft = &fresh->draft;
    fresh->observer.frame = &fresh->frame;
    fresh->observer.apart = true;
    fresh->observer.up_to = NULL;   /* what it would keep does not last as long */
    rl_observe_all(&fresh->observer);
    assert(fresh->exprs.count == known);
    (void)known;
}

rl_status rl_bench_draw_for_tests(rl_bench *fresh, rl_arena *arena, rl_bench *bench, rl_world *world, const bool *keep)
{
    const rl_model *model = bench->frame.model;
    name_connectors(bench);
    name_crowd(bench);
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
    copy_bench(fresh, arena, bench, &bench->draft);
    say_apart(fresh, arena);
    return draw_network(fresh, arena, keep, last);
}

rl_status rl_bench_for_tests(rl_bench *fresh, rl_arena *arena, rl_bench *bench, rl_world *world)
{
    rl_status status = rl_bench_draw_for_tests(fresh, arena, bench, world, NULL);
    if (status == RL_OK)
        status = rl_bench_plan(fresh, arena);
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

bool rl_bench_touches(const rl_bench *bench, int element)
{
    return bench->draft.inspected[element] || rl_bench_base(bench, element) >= 0 ||
           rl_crowd_has(bench->draft.crowd, element);
}

/* ---- what is held against an element ---- */

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

bool rl_work_parted(const rl_work *work)
{
    return work->bounded || work->loose;
}

/* ---- questions ---- */

/* A bench that goes on from line to line is not as small as one made of all of them at once. */
enum { MOST_EXTENDED = 3 };

static void free_questions(rl_work *work)
{
    rl_arena_free(&work->scratch);
    rl_arena_free(&work->groups);
}

void rl_work_drop(rl_case *c)
{
    if (!c->work)
        return;
    rl_arena arena = c->work->arena;   /* the work itself lives in it */
    free_questions(c->work);
    rl_arena_free(&c->work->ground);
    rl_arena_free(&c->work->passes);
    c->work = NULL;
    rl_arena_free(&arena);
}

int rl_work_replaced(const rl_case *c)
{
    int replaced = 0;
    for (int i = 0; i < c->findings; i++)
        replaced += c->finding[i]->line.replaced;
    return replaced;
}

void rl_work_outdate(rl_case *c)
{
    rl_work *work = c->work;
    if (!work)
        return;
    bool answered = work->status == RL_OK && work->bench.tree, waiting = work->status == RL_USAGE && work->known > 0;
    if (!(answered || waiting) || work->extended == MOST_EXTENDED || rl_work_replaced(c) != work->replaced ||
        !rl_bench_may_extend(&work->bench, c->finding[c->findings - 1])) {
        rl_work_drop(c);
        return;
    }
    free_questions(work);
    rl_arena_rewind(&work->arena, work->start);
    *work = (rl_work){.arena = work->arena, .start = work->start, .ground = work->ground, .passes = work->passes,
                      .scratch = work->scratch, .groups = work->groups, .bench = work->bench, .known = work->known,
                      .replaced = work->replaced, .extended = work->extended, .status = RL_USAGE};
}

static rl_work *new_work(const rl_case *c, jmp_buf *bail)
{
    const rl_allocator *memory = &c->context->allocator;
    rl_arena arena;
    rl_arena_init(&arena, memory, 0);
    arena.bail = bail;
    rl_work *work = rl_new(&arena, rl_work);
    work->start = rl_arena_mark(&arena);
    work->arena = arena;
    rl_arena_init(&work->ground, memory, 0);
    rl_arena_init(&work->passes, memory, 0);
    rl_arena_init(&work->scratch, memory, 0);
    rl_arena_init(&work->groups, memory, 0);
    work->status = RL_USAGE;   /* nothing asked yet */
    return work;
}

static void set_bails(rl_work *work, jmp_buf *bail)
{
    work->arena.bail = work->ground.bail = work->passes.bail = work->scratch.bail = work->groups.bail = bail;
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
    if (!c->work)
        c->work = new_work(c, &bail);
    set_bails(c->work, &bail);
    rl_status status = question(c, argument);
    c->arena.bail = NULL;
    if (c->work)
        set_bails(c->work, NULL);
    return status;
}
