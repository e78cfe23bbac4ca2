/* tie.c: what each finding has to do with a suspect, and which loads that
 * hang on it nobody has looked at.
 *
 * Invariant: only the shape of returns and feeds and the lines' own words
 * count here, no probability; so an answer exists for every case.
 */
#include "paths.h"
#include "work.h"

#include <assert.h>

const char *rl_link_text(rl_link link)
{
    static const char *const word[RL_LINKS] = {
        "itself", "mended", "within", "outside", "return", "may return", "feed", "coil", "beside", "none",
    };
    assert((int)link >= 0 && (int)link < RL_LINKS);
    return word[link];
}

typedef struct tier {
    rl_case *c;
    const rl_model *model;
    rl_arena *arena;
    int suspect;
    int *near;              /* the suspect and all that it hangs on, nearest first */
    int near_count;
    bool *mark;             /* what the finding at hand hangs on */
    bool *told;             /* loads that some line tells of */
} tier;

/* ---- what the suspect hangs on ---- */

static bool is_near(const tier *t, int element)
{
    for (int i = 0; i < t->near_count; i++)
        if (t->near[i] == element)
            return true;
    return false;
}

static void add_near(tier *t, int element)
{
    if (!is_near(t, element))
        t->near[t->near_count++] = element;
}

static void walk_ways(tier *t, int element)
{
    const rl_node *node = &t->model->node[element];
    if (is_near(t, element))
        return;
    add_near(t, element);
    for (int w = 0; w < node->way_count; w++) {
        for (int i = 0; i < node->way[w].via_count; i++)
            add_near(t, node->way[w].via[i]);
        if (node->way[w].parent >= 0)
            walk_ways(t, node->way[w].parent);
    }
}

/* What stands behind a connector on one way: the connectors after it, then the parent. */
static void walk_behind(tier *t, const rl_alternative *way, int connector)
{
    int i = 0;
    while (i < way->via_count && way->via[i] != connector)
        i++;
    if (i == way->via_count)
        return;
    for (; i < way->via_count; i++)
        add_near(t, way->via[i]);
    if (way->parent >= 0)
        walk_ways(t, way->parent);
}

/* A connector has no way of its own: those that it stands in. */
static void walk_connector(tier *t)
{
    add_near(t, t->suspect);
    for (int e = 0; e < t->model->nodes; e++) {
        const rl_node *node = &t->model->node[e];
        for (int w = 0; w < node->way_count; w++)
            walk_behind(t, &node->way[w], t->suspect);
        if (node->info.sort == RL_LOAD)
            walk_behind(t, &node->feed, t->suspect);
    }
}

static void walk_from_suspect(tier *t)
{
    const rl_node *node = &t->model->node[t->suspect];
    t->near = rl_many(t->arena, t->model->nodes, int);
    if (node->info.sort == RL_CONNECTOR) {
        walk_connector(t);
        return;
    }
    if (node->info.sort != RL_LOAD) {
        walk_ways(t, t->suspect);
        return;
    }
    add_near(t, t->suspect);
    walk_ways(t, node->info.wire);
    for (int i = 0; i < node->feed_chain_count; i++)
        add_near(t, node->feed_chain[i]);
}

/* ---- loads ---- */

static bool among(const int *list, int count, int element)
{
    for (int i = 0; i < count; i++)
        if (list[i] == element)
            return true;
    return false;
}

/* How a load hangs on the suspect; RL_LINK_BESIDE: not at all. */
static rl_link link_of_load(const tier *t, int load)
{
    const rl_node *node = &t->model->node[load];
    if (load == t->suspect || node->info.wire == t->suspect)
        return RL_LINK_ITSELF;
    if (rl_on_every(t->model, load, t->suspect))
        return RL_LINK_RETURN;
    if (rl_passes(t->model, node->info.wire, t->suspect))
        return RL_LINK_MAY_RETURN;
    if (among(node->feed_chain, node->feed_chain_count, t->suspect))
        return RL_LINK_FEED;
    rl_mark before = rl_arena_mark(t->arena);
    bool *mark = rl_many(t->arena, t->model->nodes, bool);
    rl_mark_load(t->arena, t->model, load, mark);
    bool hangs = mark[t->suspect];
    rl_arena_rewind(t->arena, before);
    return hangs ? RL_LINK_COIL : RL_LINK_BESIDE;
}

static void set_loads(const tier *t, rl_tie *tie, int count, int first, int second)
{
    int *load = rl_many(t->arena, 2, int);
    load[0] = first;
    load[1] = second;
    tie->load = load;
    tie->loads = (size_t)count;
    for (int i = 0; i < count; i++)
        t->told[load[i]] = true;
}

/* ---- findings ---- */

/* Whether the lead of `bypass at` makes the suspect sound. */
static bool is_cut(const tier *t, const rl_node *load, int at)
{
    int place = -1, from = load->on_every_count;
    for (int i = 0; i < load->on_every_count; i++) {
        if (load->on_every[i] == at)
            from = i;
        if (load->on_every[i] == t->suspect)
            place = i;
    }
    return place >= 0 ? place >= from : rl_passes(t->model, at, t->suspect);
}

/* Whether the suspect lies on the load's path but counts as sound in this line. */
static bool is_mended(const tier *t, const rl_finding *f, rl_link link)
{
    const rl_conditions *with = &f->with;
    const rl_node *node = &t->model->node[f->subject];
    bool back = link == RL_LINK_RETURN || link == RL_LINK_MAY_RETURN ||
                (link == RL_LINK_ITSELF && t->suspect != f->subject);
    if (among(with->repaired, with->repaired_count, t->suspect))
        return true;
    if (back && among(node->feed_chain, node->feed_chain_count, t->suspect))
        return false;   /* it stands in the feed path too, and is not mended there */
    if (back)
        return with->bypass || (with->bypass_at >= 0 && is_cut(t, node, with->bypass_at));
    return link == RL_LINK_ITSELF ? with->swap : with->jumper && link != RL_LINK_BESIDE;
}

static void tie_behaviour(tier *t, const rl_finding *f, rl_tie *tie)
{
    set_loads(t, tie, 1, f->subject, -1);
    rl_mark_load(t->arena, t->model, f->subject, t->mark);
    tie->link = link_of_load(t, f->subject);
    tie->seen = f->first_named ? RL_SEEN_RIGHT : RL_SEEN_AMISS;
    if (is_mended(t, f, tie->link))
        tie->link = RL_LINK_MENDED;
}

static void mark_cause(tier *t, const rl_cause *cause)
{
    if (cause->subject == RL_OF_RETURN)
        rl_mark_returns(t->model, cause->element, t->mark);
    else if (cause->subject == RL_OF_FEED)
        rl_mark_feeds(t->arena, t->model, cause->element, t->mark);
    else
        t->mark[cause->element] = true;
}

static void tie_symptom(tier *t, const rl_finding *f, rl_tie *tie)
{
    const rl_sign *sign = &t->model->sign[f->named];
    for (int i = 0; i < sign->causes; i++)
        mark_cause(t, &sign->cause[i]);
    tie->seen = f->first_named ? RL_SEEN_RIGHT : RL_SEEN_AMISS;
    tie->link = t->mark[t->suspect] ? RL_LINK_WITHIN : RL_LINK_BESIDE;
}

static void tie_inspection(tier *t, const rl_finding *f, rl_tie *tie)
{
    t->mark[f->subject] = true;
    tie->seen = f->first_named ? RL_SEEN_RIGHT : RL_SEEN_AMISS;
    tie->link = f->subject == t->suspect ? RL_LINK_ITSELF : RL_LINK_BESIDE;
}

static void mark_list(tier *t, const int *list, int count)
{
    for (int i = 0; i < count; i++)
        t->mark[list[i]] = true;
}

static void tie_crosstalk(tier *t, const rl_finding *f, rl_tie *tie)
{
    bool pull = f->sort == RL_E_PULL;
    int count;
    const int *set = pull ? rl_shared_returns(t->arena, t->model, f->subject, f->other, &count)
                          : rl_backfeed_set(t->arena, t->model, f->subject, f->other, &count);
    set_loads(t, tie, 2, f->subject, f->other);
    mark_list(t, set, count);
    tie->link = among(set, count, t->suspect) ? RL_LINK_RETURN : RL_LINK_BESIDE;
    if (pull) {
        set = rl_shared_feeds(t->arena, t->model, f->subject, f->other, &count);
        mark_list(t, set, count);
        if (among(set, count, t->suspect))
            tie->link = RL_LINK_FEED;
    }
    tie->seen = f->first_named ? RL_SEEN_RIGHT : RL_SEEN_AMISS;
}

/* Marks the elements of the span of a reading. */
static void mark_span(tier *t, const rl_finding *f)
{
    rl_stretch stretch;
    if (f->sort == RL_E_SUPPLY) {
        mark_list(t, t->model->node[f->subject].feed_chain, t->model->node[f->subject].feed_chain_count);
        return;
    }
    rl_stretch_fault fault = rl_stretch_make(t->arena, t->model, f->subject, f->from, f->to, f->sort != RL_E_DROP, &stretch);
    assert(fault == RL_STRETCH_OK);
    (void)fault;
    for (int w = 0; w < stretch.ways; w++)
        mark_list(t, stretch.way[w].element, stretch.way[w].count);
}

static void tie_reading(tier *t, const rl_finding *f, rl_tie *tie)
{
    set_loads(t, tie, 1, f->subject, -1);
    mark_span(t, f);
    tie->seen = RL_SEEN_READ;
    if (t->mark[t->suspect])
        tie->link = RL_LINK_WITHIN;
    else
        tie->link = link_of_load(t, f->subject) == RL_LINK_BESIDE ? RL_LINK_BESIDE : RL_LINK_OUTSIDE;
}

/* ---- others work ---- */

static bool has_own_line(const rl_case *c, int occasion, int load)
{
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->sort == RL_E_BEHAVIOUR && f->occasion == occasion && f->subject == load)
            return true;
    }
    return false;
}

static void tie_others(tier *t, const rl_finding *f, rl_tie *tie)
{
    int *load = rl_many(t->arena, t->model->nodes, int);
    tie->others = true;
    tie->seen = RL_SEEN_RIGHT;
    tie->link = RL_LINK_BESIDE;
    for (int e = 0; e < t->model->nodes; e++) {
        const rl_element *info = &t->model->node[e].info;
        if (info->sort != RL_LOAD || has_own_line(t->c, f->occasion, e)
            || (f->subject >= 0 && !rl_passes(t->model, info->wire, f->subject)))
            continue;
        rl_mark_load(t->arena, t->model, e, t->mark);
        t->told[e] = true;
        rl_link link = link_of_load(t, e);
        if (link == RL_LINK_BESIDE)
            continue;
        load[tie->loads++] = e;
        tie->link = link < tie->link ? link : tie->link;
    }
    tie->load = load;
}

/* ---- together ---- */

static void tie_finding(tier *t, const rl_finding *f, rl_tie *tie)
{
    switch (f->sort) {
    case RL_E_BEHAVIOUR: tie_behaviour(t, f, tie); break;
    case RL_E_SYMPTOM: tie_symptom(t, f, tie); break;
    case RL_E_INSPECTION: tie_inspection(t, f, tie); break;
    case RL_E_BACKFEED: case RL_E_PULL: tie_crosstalk(t, f, tie); break;
    case RL_E_OTHERS: tie_others(t, f, tie); break;
    default: tie_reading(t, f, tie); break;
    }
}

/* The finding's share of what the suspect hangs on. */
static void set_shared(const tier *t, rl_tie *tie)
{
    int *shared = rl_many(t->arena, t->near_count, int);
    for (int i = 0; i < t->near_count; i++)
        if (t->mark[t->near[i]])
            shared[tie->shared_count++] = t->near[i];
    tie->shared = shared;
    if (tie->link == RL_LINK_BESIDE && tie->shared_count == 0)
        tie->link = RL_LINK_NONE;
}

static void tie_line(tier *t, int line, rl_tie *tie)
{
    const rl_finding *f = t->c->finding[line];
    const rl_occasion *when = &t->c->occasion[f->occasion];
    t->mark = rl_many(t->arena, t->model->nodes, bool);
    *tie = (rl_tie){.line = (size_t)line};
    tie_finding(t, f, tie);
    if (tie->link < RL_LINK_BESIDE && among(when->repaired, when->repaired_count, t->suspect))
        tie->link = RL_LINK_MENDED;
    set_shared(t, tie);
}

static void list_unseen(const tier *t, rl_ties *ties)
{
    rl_unseen *list = rl_many(t->arena, t->model->nodes, rl_unseen);
    for (int e = 0; e < t->model->nodes; e++) {
        if (t->model->node[e].info.sort != RL_LOAD || t->told[e])
            continue;
        rl_link link = link_of_load(t, e);
        if (link == RL_LINK_BESIDE)
            continue;
        size_t at = ties->unseen_count++;
        for (; at > 0 && list[at - 1].link > link; at--)   /* as declared where links are equal */
            list[at] = list[at - 1];
        list[at] = (rl_unseen){e, link};
    }
    ties->unseen = list;
}

typedef struct ties_question {
    size_t element;
    const rl_ties **out;
} ties_question;

static rl_status answer_ties(rl_case *c, void *argument)
{
    ties_question *q = argument;
    if (q->element >= (size_t)c->model->nodes)
        return RL_USAGE;
    rl_arena *arena = &c->work->arena;
    tier t = {.c = c, .model = c->model, .arena = arena, .suspect = (int)q->element};
    rl_ties *ties = rl_new(arena, rl_ties);
    rl_tie *tie = rl_many(arena, c->findings + 1, rl_tie);
    t.told = rl_many(arena, c->model->nodes, bool);
    walk_from_suspect(&t);
    for (int i = 0; i < c->findings; i++)
        if (c->finding[i]->sort <= RL_E_OTHERS && !c->finding[i]->line.replaced)
            tie_line(&t, i, &tie[ties->count++]);
    ties->tie = tie;
    list_unseen(&t, ties);
    *q->out = ties;
    return RL_OK;
}

rl_status rl_case_ties(rl_case *c, size_t element, const rl_ties **out)
{
    ties_question q = {element, out};
    assert(c && out);
    *out = NULL;
    return rl_ask(c, answer_ties, &q);
}
