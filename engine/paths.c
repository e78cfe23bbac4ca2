/* paths.c: what follows from the shape of returns and feeds alone.
 *
 * Invariant: the ways are free of cycles, and nothing here enumerates the
 * return paths of a load, of which there may be exponentially many.  What lies
 * on every path is an intersection made once for each element, parents first,
 * as lists that share their tails; what lies on some path is a walk that
 * crosses each fork in one step, by its `between` and `join`.
 */
#include "paths.h"

#include <assert.h>
#include <string.h>

/* D of an element, from the element toward the battery.  A connector met a
 * second time stands in the list twice; who flattens it keeps the first. */
typedef struct cell {
    int element, length;       /* cells from here on */
    const struct cell *next;
} cell;

typedef struct survey {
    rl_model *model;
    rl_arena *scratch;
    const cell **every;        /* of each element; NULL: not settled */
    int *taken;                /* alternatives looked at, while settling */
    int *stack, *open;         /* for walks; neither outgrows the elements */
    unsigned *stamp, now;      /* stamp[e] == now: e is marked */
    int *list;                 /* room for one list of elements */
    int count;
} survey;

static bool among(const int *list, int count, int element)
{
    for (int i = 0; i < count; i++)
        if (list[i] == element)
            return true;
    return false;
}

static void list_begin(survey *s)
{
    s->now++;
    s->count = 0;
}

/* Appends what is not in the list yet. */
static void list_add(survey *s, const int *element, int count)
{
    for (int i = 0; i < count; i++) {
        if (s->stamp[element[i]] == s->now)
            continue;
        s->stamp[element[i]] = s->now;
        assert(s->count < s->model->nodes);
        s->list[s->count++] = element[i];
    }
}

static const int *list_keep(survey *s, int *count)
{
    *count = s->count;
    int *kept = rl_many(&s->model->arena, s->count, int);
    if (s->count > 0)
        memcpy(kept, s->list, (size_t)s->count * sizeof *kept);
    return kept;
}

/* ---- D: what lies on every return path ---- */

static const cell *cons(survey *s, int element, const cell *next)
{
    cell *c = rl_new(s->scratch, cell);
    *c = (cell){ element, next ? next->length + 1 : 1, next };
    return c;
}

/* Connectors of one alternative, then D of its parent. */
static const cell *along(survey *s, const rl_alternative *way)
{
    assert(way->parent < 0 || s->every[way->parent] != NULL);
    const cell *list = way->parent < 0 ? NULL : s->every[way->parent];
    for (int i = way->via_count; i-- > 0;)
        list = cons(s, way->via[i], list);
    return list;
}

static const cell *drop_cells(const cell *list, int count)
{
    while (count-- > 0)
        list = list->next;
    return list;
}

/* The tail that two lists share. */
static const cell *shared_tail(const cell *a, const cell *b)
{
    int more = (a ? a->length : 0) - (b ? b->length : 0);
    a = drop_cells(a, more);
    b = drop_cells(b, -more);
    while (a != b) {
        a = a->next;
        b = b->next;
    }
    return a;
}

/* What stands in both, in the order of the first. */
static const cell *meet(survey *s, const cell *a, const cell *b)
{
    const cell *tail = shared_tail(a, b);
    s->now++;
    for (const cell *c = b; c; c = c->next)
        s->stamp[c->element] = s->now;
    int kept = 0;
    for (const cell *c = a; c != tail; c = c->next) {
        if (s->stamp[c->element] != s->now)
            continue;
        s->stamp[c->element] = 0;
        s->list[kept++] = c->element;
    }
    while (kept > 0)
        tail = cons(s, s->list[--kept], tail);
    return tail;
}

static int first_joint(const survey *s, const cell *list)
{
    while (list && s->model->node[list->element].info.sort == RL_CONNECTOR)
        list = list->next;
    return list ? list->element : -1;
}

/* All that lies on some way from the fork to its join. */
static void survey_fork(survey *s, int fork)
{
    rl_node *node = &s->model->node[fork];
    node->join = first_joint(s, s->every[fork]->next);
    list_begin(s);
    int depth = 0;
    s->open[depth++] = fork;
    while (depth > 0) {
        const rl_node *here = &s->model->node[s->open[--depth]];
        for (int w = 0; w < here->way_count; w++) {
            int parent = here->way[w].parent;
            list_add(s, here->way[w].via, here->way[w].via_count);
            if (parent < 0 || parent == node->join || s->stamp[parent] == s->now)
                continue;
            list_add(s, &parent, 1);
            s->open[depth++] = parent;
        }
    }
    node->between = list_keep(s, &node->between_count);
}

/* Every parent of the element is settled. */
static void settle(survey *s, int element)
{
    const rl_node *node = &s->model->node[element];
    const cell *list = node->way_count > 0 ? along(s, &node->way[0]) : NULL;
    for (int w = 1; w < node->way_count; w++)
        list = meet(s, list, along(s, &node->way[w]));
    assert(s->every[element] == NULL);   /* a circle would come here twice */
    s->every[element] = cons(s, element, list);
    if (node->way_count > 1)
        survey_fork(s, element);
}

/* Settles the element after all that it returns through. */
static void survey_element(survey *s, int element)
{
    int depth = 0;
    s->stack[depth++] = element;
    while (depth > 0) {
        int at = s->stack[depth - 1];
        const rl_node *node = &s->model->node[at];
        if (s->taken[at] < node->way_count) {
            int parent = node->way[s->taken[at]++].parent;
            if (parent < 0 || s->every[parent])
                continue;
            assert(depth < s->model->nodes);
            s->stack[depth++] = parent;
        } else {
            settle(s, at);
            depth--;
        }
    }
}

/* ---- loads, connectors and feeds ---- */

static void survey_load(survey *s, int load)
{
    rl_node *node = &s->model->node[load];
    list_begin(s);
    for (const cell *c = s->every[node->info.wire]; c; c = c->next)
        list_add(s, &c->element, 1);
    node->on_every = list_keep(s, &node->on_every_count);
    list_begin(s);
    const rl_alternative *way = &node->feed;
    while (way) {
        list_add(s, way->via, way->via_count);
        const rl_node *feed = way->parent < 0 ? NULL : &s->model->node[way->parent];
        if (feed)
            list_add(s, &way->parent, 1);
        way = feed && feed->way_count > 0 ? &feed->way[0] : NULL;
    }
    node->feed_chain = list_keep(s, &node->feed_chain_count);
}

static void mark_connectors(rl_model *model, const rl_alternative *way, bool feed)
{
    for (int i = 0; i < way->via_count; i++) {
        rl_node *connector = &model->node[way->via[i]];
        if (feed)
            connector->in_feed = true;
        else
            connector->in_return = true;
    }
}

static void place_connectors(rl_model *model)
{
    for (int i = 0; i < model->nodes; i++) {
        const rl_node *node = &model->node[i];
        for (int w = 0; w < node->way_count; w++)
            mark_connectors(model, &node->way[w], node->info.sort == RL_FEED);
        if (node->info.sort == RL_LOAD)
            mark_connectors(model, &node->feed, true);
    }
}

/* The list becomes what some return path of the load passes. */
static void list_returns(survey *s, int load)
{
    list_begin(s);
    int at = s->model->node[load].info.wire;
    while (at >= 0) {
        const rl_node *node = &s->model->node[at];
        list_add(s, &at, 1);
        if (node->way_count > 1)
            list_add(s, node->between, node->between_count);
        else if (node->way_count == 1)
            list_add(s, node->way[0].via, node->way[0].via_count);
        at = node->way_count > 1 ? node->join : node->way_count == 1 ? node->way[0].parent : -1;
    }
}

/* in_common of one feed.  first, next: its loads; seen: all zero, and is left so. */
static void survey_common(survey *s, rl_node *feed, int first, const int *next, int *seen)
{
    int loads = 0, count = 0;
    for (int load = first; load >= 0; load = next[load], loads++) {
        list_returns(s, load);
        for (int i = 0; i < s->count; i++)
            seen[s->list[i]]++;
    }
    for (int i = 0; i < s->count; i++)   /* the last load's list holds what all share */
        if (seen[s->list[i]] == loads)
            s->open[count++] = s->list[i];
    for (int load = first; load >= 0; load = next[load]) {
        list_returns(s, load);
        for (int i = 0; i < s->count; i++)
            seen[s->list[i]] = 0;
    }
    list_begin(s);
    list_add(s, s->open, count);
    feed->in_common = list_keep(s, &feed->in_common_count);
}

static void survey_feeds(survey *s)
{
    rl_model *model = s->model;
    int *first = rl_many(s->scratch, model->nodes, int);
    int *next = rl_many(s->scratch, model->nodes, int);
    int *seen = rl_many(s->scratch, model->nodes, int);
    for (int i = 0; i < model->nodes; i++)
        first[i] = -1;
    for (int i = 0; i < model->nodes; i++) {
        const rl_node *node = &model->node[i];
        if (node->info.sort != RL_LOAD || node->feed.parent < 0)
            continue;
        next[i] = first[node->feed.parent];
        first[node->feed.parent] = i;
    }
    for (int i = 0; i < model->nodes; i++)
        if (first[i] >= 0)
            survey_common(s, &model->node[i], first[i], next, seen);
}

static void survey_loads(survey *s)
{
    const rl_model *model = s->model;
    for (int i = 0; i < model->nodes; i++) {
        rl_sort sort = model->node[i].info.sort;
        if ((sort == RL_POINT || sort == RL_SPLICE || sort == RL_WIRE) && !s->every[i])
            survey_element(s, i);
    }
    for (int i = 0; i < model->nodes; i++)
        if (model->node[i].info.sort == RL_LOAD)
            survey_load(s, i);
}

/* False: memory ran out. */
static bool survey_all(rl_model *model, rl_arena *scratch)
{
    jmp_buf here;
    if (setjmp(here) != 0)
        return false;
    scratch->bail = model->arena.bail = &here;
    survey s = { .model = model, .scratch = scratch };
    s.every = rl_many(scratch, model->nodes, const cell *);
    s.taken = rl_many(scratch, model->nodes, int);
    s.stack = rl_many(scratch, model->nodes, int);
    s.open = rl_many(scratch, model->nodes, int);
    s.list = rl_many(scratch, model->nodes, int);
    s.stamp = rl_many(scratch, model->nodes, unsigned);
    place_connectors(model);
    survey_loads(&s);
    survey_feeds(&s);
    return true;
}

/* Scratch memory has an arena of its own, which must not be lost when the
 * model's runs out. */
void rl_paths(rl_model *model)
{
    jmp_buf *outer = model->arena.bail;
    rl_arena scratch;
    rl_arena_init(&scratch, &model->arena.allocator, 0);
    bool done = survey_all(model, &scratch);
    model->arena.bail = outer;
    rl_arena_free(&scratch);
    if (!done)
        longjmp(*outer, 1);
}

/* ---- questions to a surveyed model ---- */

bool rl_passes(const rl_model *model, int from, int through)
{
    int at = model->node[from].info.sort == RL_LOAD ? model->node[from].info.wire : from;
    while (at >= 0 && at != through) {
        const rl_node *node = &model->node[at];
        if (node->way_count == 0)
            return false;
        if (node->way_count > 1 ? among(node->between, node->between_count, through)
                                : among(node->way[0].via, node->way[0].via_count, through))
            return true;
        at = node->way_count > 1 ? node->join : node->way[0].parent;
    }
    return at >= 0;
}

bool rl_on_every(const rl_model *model, int load, int element)
{
    return among(model->node[load].on_every, model->node[load].on_every_count, element);
}

int rl_last_element(const rl_model *model, int load)
{
    const rl_node *node = &model->node[load];
    assert(node->on_every_count > 0);
    int last = node->on_every[node->on_every_count - 1];
    const rl_node *end = &model->node[last];
    return end->info.sort != RL_CONNECTOR && end->way_count == 0 ? last : -1;
}

static void mark_all(const int *list, int count, bool *mark)
{
    for (int i = 0; i < count; i++)
        mark[list[i]] = true;
}

void rl_mark_returns(const rl_model *model, int element, bool *mark)
{
    int at = model->node[element].info.sort == RL_LOAD ? model->node[element].info.wire : element;
    while (at >= 0) {
        const rl_node *node = &model->node[at];
        mark[at] = true;
        if (node->way_count == 0)
            return;
        if (node->way_count > 1)
            mark_all(node->between, node->between_count, mark);
        else
            mark_all(node->way[0].via, node->way[0].via_count, mark);
        at = node->way_count > 1 ? node->join : node->way[0].parent;
    }
}

/* Coils whose own returns and feeds are to be marked.  What others marked already says nothing of
 * what is behind a coil: it may have been marked for itself. */
typedef struct coils {
    bool *met;                 /* NULL until there is one */
    int *open, depth;
} coils;

static void meet_coil(rl_arena *arena, const rl_model *model, int coil, bool *mark, coils *c)
{
    if (c->met == NULL) {
        c->met = rl_many(arena, model->nodes, bool);
        c->open = rl_many(arena, model->nodes, int);
    }
    if (c->met[coil])
        return;
    c->met[coil] = mark[coil] = true;
    rl_mark_returns(model, coil, mark);
    c->open[c->depth++] = coil;
}

static void mark_chain(rl_arena *arena, const rl_model *model, int load, bool *mark, coils *c)
{
    const rl_node *node = &model->node[load];
    for (int i = 0; i < node->feed_chain_count; i++) {
        const rl_node *link = &model->node[node->feed_chain[i]];
        mark[node->feed_chain[i]] = true;
        if (link->info.sort == RL_FEED && link->coil >= 0)
            meet_coil(arena, model, link->coil, mark, c);
    }
}

void rl_mark_feeds(rl_arena *arena, const rl_model *model, int load, bool *mark)
{
    rl_mark before = rl_arena_mark(arena);
    coils c = { 0 };
    mark[load] = true;
    mark_chain(arena, model, load, mark, &c);
    while (c.depth > 0)
        mark_chain(arena, model, c.open[--c.depth], mark, &c);
    rl_arena_rewind(arena, before);
}

void rl_mark_load(rl_arena *arena, const rl_model *model, int load, bool *mark)
{
    rl_mark_returns(model, load, mark);
    rl_mark_feeds(arena, model, load, mark);
}

/* What of `list` stands in `other` too, or (shared false) does not. */
static const int *sift(rl_arena *arena, const int *list, int length, const int *other, int other_length,
                       bool shared, int *count)
{
    int *kept = rl_many(arena, length, int);
    *count = 0;
    for (int i = 0; i < length; i++)
        if (among(other, other_length, list[i]) == shared)
            kept[(*count)++] = list[i];
    return kept;
}

const int *rl_shared_returns(rl_arena *arena, const rl_model *model, int a, int b, int *count)
{
    const rl_node *one = &model->node[a], *two = &model->node[b];
    return sift(arena, one->on_every, one->on_every_count, two->on_every, two->on_every_count, true, count);
}

/* A shared element is passed by a and by b, so a further load on b's feed that
 * keeps clear of it exists exactly when not every load of that feed passes it. */
const int *rl_backfeed_set(rl_arena *arena, const rl_model *model, int a, int b, int *count)
{
    int feed = model->node[b].feed.parent, shared_count;
    assert(a != b);
    *count = 0;
    if (feed < 0)
        return NULL;
    const int *shared = rl_shared_returns(arena, model, a, b, &shared_count);
    const rl_node *node = &model->node[feed];
    return sift(arena, shared, shared_count, node->in_common, node->in_common_count, false, count);
}

const int *rl_shared_feeds(rl_arena *arena, const rl_model *model, int a, int b, int *count)
{
    const rl_node *one = &model->node[a], *two = &model->node[b];
    return sift(arena, one->feed_chain, one->feed_chain_count, two->feed_chain, two->feed_chain_count, true, count);
}
