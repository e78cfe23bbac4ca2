/* explain.c: the most probable assignments of states to all suspects (design §4).
 *
 * Suspects that no chain of factors joins are independent given the findings:
 * each group is searched by itself and the groups' lists are multiplied.
 * Within a group: best first, in order of suspicion.  A partial assignment is
 * bounded by its exact probability, tightened, once it was looked at, by the
 * least favourable of the suspects still open.
 *
 * Invariant: what leaves the queue complete is the best of all that is left.
 * The search has a network of its own, in which the suspects are variables.
 */
#include "heap.h"
#include "work.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* ---- groups: union-find over expressions and helpers ---- */

typedef struct groups { int *up; int exprs; } groups;

static int root_of(groups *g, int i)
{
    while (g->up[i] != i) {
        g->up[i] = g->up[g->up[i]];
        i = g->up[i];
    }
    return i;
}

static int slot_of(const groups *g, int input)
{
    return input >= 0 ? input : g->exprs - 1 - input;
}

static void make_groups(groups *g, rl_arena *arena, const rl_bench *bench)
{
    g->exprs = bench->network.expr_count;
    int all = g->exprs + bench->draft.helpers;
    g->up = rl_many(arena, all, int);
    for (int i = 0; i < all; i++)
        g->up[i] = i;
    for (int x = 1; x < g->exprs; x++) {   /* a path hangs together with its parts */
        rl_expr e = bench->exprs.at[x];
        if (e.sort >= RL_X_FAILED)
            g->up[root_of(g, e.a)] = root_of(g, x);
        if (e.sort >= RL_X_MAX)
            g->up[root_of(g, e.b)] = root_of(g, x);
    }
    for (int f = 0; f < bench->draft.factors; f++)
        for (int i = 1; i < bench->draft.factor[f].count; i++) {
            int a = root_of(g, slot_of(g, bench->draft.factor[f].input[0]));
            int b = root_of(g, slot_of(g, bench->draft.factor[f].input[i]));
            g->up[a] = b;
        }
}

/* ---- the search in one group ---- */

typedef struct partial {
    rl_rank rank;          /* first: what waits in the heap */
    double p, bound;       /* of the states assigned so far; at most this when complete */
    int depth;
    bool seen;             /* `next` was worked out */
    double next[RL_STATES];
    unsigned char *state;
} partial;

typedef struct search {
    rl_bench *bench;
    rl_arena *arena;
    const size_t *suspect; /* of the group, the likeliest first */
    int suspects;
    rl_heap heap;
} search;

/* Greater bound first; of equals the deeper, so that ties end soon, then the first suspects' milder states. */
static void push(search *s, partial *node)
{
    node->rank = (rl_rank){rl_coarse(node->bound), node->depth, node->state, (size_t)node->depth};
    rl_heap_push(&s->heap, s->arena, &node->rank);
}

/* Conditional states of every open suspect, given the partial assignment. */
static void look_at(search *s, partial *node)
{
    rl_bench *bench = s->bench;
    for (int i = 0; i < node->depth; i++)
        rl_bench_restrict(bench, s->arena, (int)s->suspect[i], (rl_state)node->state[i]);
    rl_tree_collect(bench->tree);
    rl_tree_distribute(bench->tree);
    double least = 1;
    for (int i = node->depth; i < s->suspects; i++) {
        double state[RL_STATES], most = 0;
        rl_bench_states(bench, s->arena, (int)s->suspect[i], state);
        for (int t = 0; t < RL_STATES; t++)
            most = fmax(most, state[t]);
        least = fmin(least, most);
        if (i == node->depth)
            memcpy(node->next, state, sizeof state);
    }
    for (int i = 0; i < node->depth; i++)
        rl_bench_release(bench, (int)s->suspect[i]);
    node->bound = fmin(node->bound, node->p * least);
    node->seen = true;
}

static void branch(search *s, const partial *node)
{
    for (int t = 0; t < RL_STATES; t++) {
        if (node->next[t] <= 0)
            continue;
        partial *child = rl_new(s->arena, partial);
        child->p = node->p * node->next[t];
        child->bound = fmin(child->p, node->bound);
        child->depth = node->depth + 1;
        child->state = rl_many(s->arena, s->suspects, unsigned char);
        memcpy(child->state, node->state, (size_t)node->depth);
        child->state[node->depth] = (unsigned char)t;
        push(s, child);
    }
}

typedef struct listed {
    double p;
    unsigned char *state;   /* by suspect */
} listed;

/* The best `most` assignments of the group; returns how many there are. */
static int search_group(search *s, int most, listed *out)
{
    int found = 0;
    partial *start = rl_new(s->arena, partial);
    start->p = start->bound = 1;
    start->state = rl_many(s->arena, s->suspects, unsigned char);
    push(s, start);
    while (s->heap.count > 0 && found < most) {
        partial *node = (partial *)rl_heap_pop(&s->heap);
        if (node->depth == s->suspects) {
            out[found++] = (listed){node->p, node->state};
        } else if (!node->seen) {
            look_at(s, node);
            push(s, node);
        } else {
            branch(s, node);
        }
    }
    return found;
}

/* ---- all groups together ---- */

typedef struct merger {
    rl_arena *arena;
    int most, suspects;
    int count;
    listed *best;           /* so far, over the suspects of the groups merged */
} merger;

static void insert(merger *m, listed *list, int *count, double p, const listed *a, const listed *b,
                   const int *place, int group)
{
    if (*count == m->most && p <= list[*count - 1].p)
        return;
    listed fresh = {p, rl_many(m->arena, m->suspects + 1, unsigned char)};
    memcpy(fresh.state, a->state, (size_t)m->suspects);
    for (int i = 0; i < group; i++)
        fresh.state[place[i]] = b->state[i];
    int at = *count < m->most ? (*count)++ : *count - 1;
    for (; at > 0 && rl_coarse(list[at - 1].p) < rl_coarse(p); at--)
        list[at] = list[at - 1];
    list[at] = fresh;
}

/* place: where the group's suspects stand among all. */
static void merge(merger *m, const listed *group, int groups_count, const int *place, int group_size)
{
    listed *list = rl_many(m->arena, m->most + 1, listed);
    int count = 0;
    for (int i = 0; i < m->count; i++)
        for (int j = 0; j < groups_count; j++)
            insert(m, list, &count, m->best[i].p * group[j].p, &m->best[i], &group[j], place, group_size);
    m->best = list;
    m->count = count;
}

static void search_all(const rl_work *work, rl_bench *bench, merger *m)
{
    groups g;
    make_groups(&g, m->arena, bench);
    int *root = rl_many(m->arena, m->suspects + 1, int);
    for (int i = 0; i < m->suspects; i++) {
        int base = rl_bench_base(bench, (int)work->suspects[i]);
        root[i] = base < 0 ? -2 - i : root_of(&g, base);
    }
    for (int i = 0; i < m->suspects; i++) {
        if (root[i] == -1)
            continue;
        int *place = rl_many(m->arena, m->suspects, int), own = root[i];
        size_t *suspect = rl_many(m->arena, m->suspects, size_t);
        search s = {.bench = bench, .arena = m->arena, .suspect = suspect};
        for (int j = i; j < m->suspects; j++)
            if (root[j] == own) {
                place[s.suspects] = j;
                suspect[s.suspects++] = work->suspects[j];
                root[j] = -1;   /* taken */
            }
        listed *found = rl_many(m->arena, m->most + 1, listed);
        int count = search_group(&s, m->most, found);
        merge(m, found, count, place, s.suspects);
    }
}

static rl_explanation as_explanation(rl_arena *arena, const rl_work *work, const listed *from, int suspects)
{
    rl_fault *fault = rl_many(arena, suspects + 1, rl_fault);
    rl_explanation e = {.p = from->p, .faults = fault};
    for (int i = 0; i < suspects; i++)
        if (from->state[i] != RL_SOUND)
            fault[e.count++] = (rl_fault){work->suspects[i], (rl_state)from->state[i]};
    return e;
}

static const bool *suspect_flags(const rl_model *model, const rl_work *work, rl_arena *arena)
{
    bool *flag = rl_many(arena, model->nodes, bool);
    for (size_t i = 0; i < work->suspect_count; i++)
        flag[work->suspects[i]] = true;
    return flag;
}

typedef struct explain_question {
    size_t most;
    const rl_explanation **list;
    size_t *count;
} explain_question;

static rl_status explain(rl_case *c, void *argument)
{
    explain_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_suspects(c, &work);
    if (status != RL_OK || q->most == 0)
        return status;
    if (work->loose)
        return RL_WIDE;   /* the sets looked at are not asked for joint states */
    if (!work->bench.tree)
        return rl_bounded_explain(work, q->most, q->list, q->count);
    rl_explanation *list = rl_many(&work->arena, q->most, rl_explanation);
    merger m = {.arena = &work->arena, .most = (int)q->most, .suspects = (int)work->suspect_count, .count = 1};
    m.best = rl_many(m.arena, 1, listed);
    m.best[0] = (listed){1, rl_many(m.arena, m.suspects + 1, unsigned char)};
    rl_bench *bench = rl_new(m.arena, rl_bench);
    status = rl_bench_again(bench, m.arena, &work->bench, NULL, suspect_flags(c->model, work, m.arena));
    if (status == RL_WIDE)
        return rl_bounded_explain(work, q->most, q->list, q->count);
    if (status == RL_OK)
        status = rl_bench_collect(bench);
    if (status != RL_OK)
        return status;
    search_all(work, bench, &m);
    for (int i = 0; i < m.count; i++)
        list[i] = as_explanation(&work->arena, work, &m.best[i], m.suspects);
    *q->list = list;
    *q->count = (size_t)m.count;
    return RL_OK;
}

rl_status rl_case_explain(rl_case *c, size_t most, const rl_explanation **out, size_t *count)
{
    explain_question q = {most, out, count};
    *out = NULL;
    *count = 0;
    return rl_ask(c, explain, &q);
}
