/* audit_cross.c: the backfeeds and pulls that tell one thing each.
 *
 * Pairs of loads are many, what they share is little: loads that return and are
 * fed alike but for their own wires share the same with all others, and of the
 * pairs that show the same expressions one is enough.
 *
 * Invariant: every pair that design §4 admits, were every load amiss, has the
 * law of a test that is added here, or shows nothing.
 */
#include "audit.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* Loads alike but for their wires: the first two of them. */
typedef struct class { int load[2], count; } class;

/* What was added: by its first expression. */
typedef struct known { bool pull; int second; struct known *next; } known;

typedef struct crosser {
    rl_lab *lab;
    const rl_model *model;
    rl_arena *arena;
    rl_candidates *tests;
    class *at;
    int count;
    known **shown;             /* by first expression */
    int room;
} crosser;

/* ---- classes ---- */

static int compare_lists(const int *a, int count, const int *b, int other)
{
    if (count != other)
        return count < other ? -1 : 1;
    for (int i = 0; i < count; i++)
        if (a[i] != b[i])
            return a[i] < b[i] ? -1 : 1;
    return 0;
}

static bool can_be_amiss(const rl_model *m, int load)
{
    return m->kind[m->node[load].info.kind].info.levels > 1;
}

/* By all that crosstalk asks of a load: 0 where they are of one class. */
static int compare_kin(const rl_model *m, int a, int b)
{
    const rl_node *x = &m->node[a], *y = &m->node[b];
    bool of_a = can_be_amiss(m, a), of_b = can_be_amiss(m, b);
    assert(x->on_every_count > 0 && y->on_every_count > 0);
    int order = compare_lists(x->on_every + 1, x->on_every_count - 1, y->on_every + 1, y->on_every_count - 1);
    if (order == 0)
        order = compare_lists(&x->feed.parent, 1, &y->feed.parent, 1);
    if (order == 0)
        order = compare_lists(x->feed_chain, x->feed_chain_count, y->feed_chain, y->feed_chain_count);
    return order != 0 ? order : (of_a > of_b) - (of_a < of_b);
}

/* Merges two sorted halves: qsort has no room for the model. */
static void sort_loads(const rl_model *m, int *load, int *room, int count)
{
    int half = count / 2, a = 0, b = half;
    if (count < 2)
        return;
    sort_loads(m, load, room, half);
    sort_loads(m, load + half, room, count - half);
    for (int i = 0; i < count; i++)
        room[i] = a < half && (b == count || compare_kin(m, load[a], load[b]) <= 0) ? load[a++] : load[b++];
    memcpy(load, room, (size_t)count * sizeof *load);
}

static void make_classes(crosser *c)
{
    const rl_model *m = c->model;
    int *load = rl_many(c->arena, m->nodes, int), *room = rl_many(c->arena, m->nodes, int), loads = 0;
    for (int e = 0; e < m->nodes; e++)
        if (m->node[e].info.sort == RL_LOAD)
            load[loads++] = e;
    sort_loads(m, load, room, loads);
    c->at = rl_many(c->arena, loads + 1, class);
    for (int i = 0; i < loads; i++) {
        class *last = i > 0 && compare_kin(m, load[i - 1], load[i]) == 0 ? &c->at[c->count - 1] : &c->at[c->count++];
        if (last->count < 2)
            last->load[last->count++] = load[i];
    }
}

/* ---- pairs ---- */

/* Whether nothing was added yet that shows these expressions; notes them. */
static bool is_new(crosser *c, bool pull, const int *expr, int count)
{
    int first = count > 0 ? expr[0] : 0, second = count > 1 ? expr[1] : 0;
    if (first == 0 && second == 0)
        return false;   /* shows nothing */
    if (first >= c->room) {
        int room = 2 * c->lab->exprs.count;
        known **more = rl_many(c->arena, room, known *);
        if (c->room > 0)
            memcpy(more, c->shown, (size_t)c->room * sizeof(known *));
        c->shown = more;
        c->room = room;
    }
    for (const known *k = c->shown[first]; k; k = k->next)
        if (k->pull == pull && k->second == second)
            return false;
    known *fresh = rl_new(c->arena, known);
    *fresh = (known){pull, second, c->shown[first]};
    c->shown[first] = fresh;
    return true;
}

static rl_test *room_for_one(crosser *c)
{
    rl_candidates *list = c->tests;
    if (list->count == list->room) {
        int room = 2 * list->room + 64;
        rl_test *more = rl_many(list->arena, room, rl_test);
        if (list->count > 0)
            memcpy(more, list->at, (size_t)list->count * sizeof *more);
        list->at = more;
        list->room = room;
    }
    return &list->at[list->count++];
}

static void try_pair(crosser *c, bool pull, int from, int to)
{
    int expr[2];
    int count = rl_observe_crosstalk(&c->lab->observer, c->lab->world, pull, from, to, expr);
    if (!is_new(c, pull, expr, count))
        return;
    rl_text text = {.arena = c->tests->arena};
    rl_put(&text, pull ? "pull " : "backfeed ");
    rl_put(&text, c->model->node[from].info.id);
    rl_put(&text, " to ");
    rl_put(&text, c->model->node[to].info.id);
    double check = pull ? c->model->pull.check : c->model->backfeed.check;
    *room_for_one(c) = (rl_test){.sort = pull ? RL_TEST_PULL : RL_TEST_BACKFEED, .text = text.bytes, .minutes = check,
                                 .check_minutes = check, .subject = from, .other = to, .named = -1, .from = -1,
                                 .to = -1, .areas = {-1, -1}, .suspect = -1};
}

/* Whether two loads share an element of D but the last of a's return. */
static bool share_return(const rl_model *m, int a, int b)
{
    const rl_node *node = &m->node[a];
    int last = rl_last_element(m, a);
    for (int i = 1; i < node->on_every_count; i++)   /* its wire is its own */
        if (node->on_every[i] != last && rl_on_every(m, b, node->on_every[i]))
            return true;
    return false;
}

/* Both tests on a load that is amiss and another one. */
static void try_both(crosser *c, int amiss, int other)
{
    const rl_model *m = c->model;
    rl_mark before = rl_arena_mark(c->lab->scratch);
    bool shares = share_return(m, amiss, other);
    bool feeds = m->node[amiss].feed.parent >= 0 && m->node[amiss].feed.parent == m->node[other].feed.parent;
    if (m->backfeed.given && shares)
        try_pair(c, false, amiss, other);
    if (m->pull.given && (shares || feeds))
        try_pair(c, true, other, amiss);
    rl_arena_rewind(c->lab->scratch, before);
}

void rl_audit_crosstalk(rl_lab *lab, const rl_model *model, rl_candidates *tests)
{
    crosser c = {.lab = lab, .model = model, .arena = lab->arena, .tests = tests};
    if (!model->backfeed.given && !model->pull.given)
        return;
    make_classes(&c);
    for (int i = 0; i < c.count; i++) {
        if (!can_be_amiss(model, c.at[i].load[0]))
            continue;
        for (int k = 0; k < c.count; k++)
            if (i != k)
                try_both(&c, c.at[i].load[0], c.at[k].load[0]);
            else if (c.at[i].count > 1)
                try_both(&c, c.at[i].load[0], c.at[i].load[1]);
    }
}
