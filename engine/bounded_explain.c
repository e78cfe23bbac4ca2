/* bounded_explain.c: explanations (design §4) from the regions looked at.
 *
 * Best first, as in explain.c, but the probability of a partial assignment is
 * the sum over the regions of what it has there; a region that is of no account
 * to it is not asked again by its children.
 *
 * Invariant: what leaves the queue complete is the best of all that is left.
 * Should the work allowed be done first, the list is shorter, never wrong.
 */
#include "bounded.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const double MOST_STEPS = 3e9;
/* What a region costs for each variable, whatever its tables. */
static const double HANDLING = 200;
/* So much of the probability may be left in regions that are not asked. */
static const double NO_ACCOUNT = 1e-11;

typedef struct share { const rl_region *region; double p; } share;

typedef struct partial {
    rl_rank rank;           /* first: what waits in the heap */
    double p;               /* of the states assigned so far */
    int depth;
    unsigned char *state;   /* by joined suspect */
    const share *share;     /* regions of account, greatest first */
    int shares;
} partial;

typedef struct search {
    rl_bounded *b;
    rl_arena *arena;
    const rl_work *work;
    size_t *joined;         /* suspects that are variables of the net; the others are independent */
    int joins;
    rl_heap heap;
} search;

/* Greater probability first; of equals the deeper. */
static void push(search *s, partial *node)
{
    node->rank = (rl_rank){.first = node->p, .second = node->depth};
    rl_heap_push(&s->heap, s->arena, &node->rank);
}

/* ---- regions of account ---- */

static int compare_shares(const void *left, const void *right)
{
    const share *a = left, *b = right;
    return (a->p < b->p) - (a->p > b->p);
}

static void sift_down(share *list, int at, int count)
{
    for (int child = 2 * at + 1; child < count; child = 2 * at + 1) {
        if (child + 1 < count && compare_shares(&list[child], &list[child + 1]) < 0)
            child++;
        if (compare_shares(&list[at], &list[child]) >= 0)
            break;
        share swap = list[at];
        list[at] = list[child];
        list[child] = swap;
        at = child;
    }
}

/* Sorts by falling share and returns how many are of account.  (No qsort of
 * the C library here: it may take memory that is not ours.) */
static int of_account(share *list, int count)
{
    for (int i = count / 2; i-- > 0;)
        sift_down(list, i, count);
    for (int i = count - 1; i > 0; i--) {
        share swap = list[0];
        list[0] = list[i];
        list[i] = swap;
        sift_down(list, 0, i);
    }
    double small = 0;
    while (count > 0 && small + list[count - 1].p < NO_ACCOUNT)
        small += list[--count].p;
    return count;
}

static void start(search *s)
{
    const rl_bounded *b = s->b;
    share *list = rl_many(s->arena, b->done.count + 1, share);
    partial *whole = rl_new(s->arena, partial);
    for (int i = 0; i < b->done.count; i++)
        list[i] = (share){b->done.at[i], exp(b->done.at[i]->log_sum - b->log_unit) / b->total};
    whole->p = 1;
    whole->state = rl_many(s->arena, s->joins + 1, unsigned char);
    whole->shares = of_account(list, b->done.count);
    whole->share = list;
    push(s, whole);
}

/* ---- one step ---- */

/* What each state of the next suspect has in one region, with what was assigned before it. */
static void ask_region(search *s, const partial *node, const rl_region *region, double out[RL_STATES])
{
    rl_bounded *b = s->b;
    rl_box box;
    bool holds = rl_region_box(b, s->arena, region, &box);
    assert(holds);
    (void)holds;
    rl_net *net = rl_box_net(s->arena, &box);
    rl_plan *plan = rl_plan_make(s->arena, net);
    rl_tree *tree = rl_tree_make(s->arena, net, plan);
    b->boxes.steps += HANDLING * b->boxes.variables + (1 + RL_STATES) * rl_plan_cells(plan);
    for (int i = 0; i < node->depth; i++)
        rl_region_restrict(b, s->arena, tree, &box, (int)s->joined[i], (rl_state)node->state[i]);
    for (int t = 0; t < RL_STATES; t++) {
        rl_region_restrict(b, s->arena, tree, &box, (int)s->joined[node->depth], (rl_state)t);
        double log_sum = rl_tree_collect(tree);
        out[t] = isinf(log_sum) ? 0 : exp(log_sum - b->log_unit) / b->total;
    }
}

static void add_child(search *s, const partial *node, int t, share *list)
{
    partial *child = rl_new(s->arena, partial);
    for (int i = 0; i < node->shares; i++)
        child->p += list[i].p;
    if (!(child->p > 0))
        return;
    child->depth = node->depth + 1;
    child->state = rl_many(s->arena, s->joins + 1, unsigned char);
    memcpy(child->state, node->state, (size_t)node->depth);
    child->state[node->depth] = (unsigned char)t;
    child->shares = of_account(list, node->shares);
    child->share = list;
    push(s, child);
}

static void branch(search *s, const partial *node)
{
    share *list[RL_STATES];
    for (int t = 0; t < RL_STATES; t++)
        list[t] = rl_many(s->arena, node->shares + 1, share);
    for (int i = 0; i < node->shares; i++) {
        double p[RL_STATES];
        rl_mark mark = rl_arena_mark(s->arena);
        ask_region(s, node, node->share[i].region, p);
        rl_arena_rewind(s->arena, mark);
        for (int t = 0; t < RL_STATES; t++)
            list[t][i] = (share){node->share[i].region, p[t]};
    }
    for (int t = 0; t < RL_STATES; t++)
        add_child(s, node, t, list[t]);
}

/* ---- all suspects ---- */

typedef struct listed {
    double p;
    unsigned char *state;   /* by suspect of the work */
} listed;

static void insert(rl_arena *arena, listed *list, size_t *count, size_t most, const listed *from, double p, size_t at,
                   int state, size_t suspects)
{
    if (*count == most && p <= list[most - 1].p)
        return;
    listed fresh = {p, rl_many(arena, suspects + 1, unsigned char)};
    memcpy(fresh.state, from->state, suspects);
    fresh.state[at] = (unsigned char)state;
    size_t place = *count < most ? (*count)++ : most - 1;
    for (; place > 0 && list[place - 1].p < p; place--)
        list[place] = list[place - 1];
    list[place] = fresh;
}

/* Multiplies on the suspects that nothing joins to others. */
static listed *with_others(search *s, listed *best, size_t *count, size_t most)
{
    const rl_work *work = s->work;
    for (size_t i = 0; i < work->suspect_count; i++) {
        int element = (int)work->suspects[i];
        if (rl_bounded_variable(s->b, element) >= 0)
            continue;
        listed *list = rl_many(s->arena, most + 1, listed);
        size_t length = 0;
        for (size_t j = 0; j < *count; j++)
            for (int t = 0; t < RL_STATES; t++)
                if (work->belief[element].p[t] > 0)
                    insert(s->arena, list, &length, most, &best[j], best[j].p * work->belief[element].p[t], i, t,
                           work->suspect_count);
        best = list;
        *count = length;
    }
    return best;
}

/* A complete assignment of the joined suspects, in the order of all suspects. */
static listed spread_out(search *s, const partial *node)
{
    listed out = {node->p, rl_many(s->arena, s->work->suspect_count + 1, unsigned char)};
    for (size_t i = 0, j = 0; i < s->work->suspect_count; i++)
        if (rl_bounded_variable(s->b, (int)s->work->suspects[i]) >= 0)
            out.state[i] = node->state[j++];
    return out;
}

static void say_all(const search *s, const listed *best, size_t count, rl_explanation *out)
{
    for (size_t i = 0; i < count; i++) {
        rl_fault *fault = rl_many(s->arena, s->work->suspect_count + 1, rl_fault);
        out[i] = (rl_explanation){.p = best[i].p, .faults = fault};
        for (size_t j = 0; j < s->work->suspect_count; j++)
            if (best[i].state[j] != RL_SOUND)
                fault[out[i].count++] = (rl_fault){s->work->suspects[j], (rl_state)best[i].state[j]};
    }
}

/* The answer was exact, but the suspects' own net is too wide for one tree. */
static rl_status look_for_exact(rl_work *work, rl_bounded **out)
{
    int faults;
    rl_status status = rl_bounded_look(out, &work->arena, &work->bench);
    if (status == RL_OK && !isinf(rl_bounded_left(*out, &faults)))
        return RL_WIDE;
    return status;
}

rl_status rl_bounded_explain(rl_work *work, size_t most, const rl_explanation **list, size_t *count)
{
    assert(most > 0);
    rl_bounded *b = work->bounded;
    rl_status status = b ? RL_OK : look_for_exact(work, &b);
    if (status != RL_OK)
        return status;
    search s = {.b = b, .arena = &work->arena, .work = work};
    s.joined = rl_many(s.arena, work->suspect_count + 1, size_t);
    for (size_t i = 0; i < work->suspect_count; i++)
        if (rl_bounded_variable(s.b, (int)work->suspects[i]) >= 0)
            s.joined[s.joins++] = work->suspects[i];
    listed *best = rl_many(s.arena, most + 1, listed);
    size_t found = 0;
    start(&s);
    b->boxes.steps = 0;
    while (s.heap.count > 0 && found < most && b->boxes.steps < MOST_STEPS) {
        const partial *node = (const partial *)rl_heap_pop(&s.heap);
        if (node->depth == s.joins)
            best[found++] = spread_out(&s, node);
        else
            branch(&s, node);
    }
    bool short_list = s.heap.count > 0 && found < most;
    best = with_others(&s, best, &found, most);
    while (short_list && found > 0 && best[found - 1].p < s.heap.at[0]->first)
        found--;   /* something not found might come before it */
    rl_explanation *out = rl_many(s.arena, found + 1, rl_explanation);
    say_all(&s, best, found, out);
    *list = out;
    *count = found;
    return RL_OK;
}
