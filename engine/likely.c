/* likely.c: see likely.h. */
#include "likely.h"

#include "admit.h"

#include <string.h>

/* ---- who is suspected ---- */

/* Whether a law is that of this element, loose or corroded. */
static bool follows(const rl_frame *frame, int element, const rl_true *law)
{
    for (int bin = -1; bin < frame->bins; bin++) {
        if (bin >= 0 && frame->model->node[element].bin_mass[frame->bin[bin]] <= 0)
            continue;
        rl_candidate c = rl_candidate_make(frame, element, bin, law->scale);
        if (c.median == law->median && c.log_spread == law->log_spread && c.low == law->low && c.high == law->high)
            return true;
    }
    return false;
}

/* Of the elements of the way that share the law that counts, the likeliest not to be sound. */
static int suspect_of_way(const rl_bearings *b, const rl_way *way, const rl_end *end)
{
    int best = end->element;
    for (int i = 0; i < way->count; i++) {
        int e = way->element[i];
        if (follows(b->observer->frame, e, &end->law) && b->belief[e].p[RL_SOUND] < b->belief[best].p[RL_SOUND])
            best = e;
    }
    return best;
}

/* The likeliest of the feed chain not to be sound. */
static int suspect_of_feed(const rl_bearings *b, int load)
{
    const rl_node *node = &b->observer->model->node[load];
    int best = -1;
    for (int i = 0; i < node->feed_chain_count; i++) {
        int e = node->feed_chain[i];
        if (best < 0 || b->belief[e].p[RL_SOUND] < b->belief[best].p[RL_SOUND])
            best = e;
    }
    return best;
}

/* ---- the list ---- */

static bool same_law(const rl_true *a, const rl_true *b)
{
    bool same = a->sort == b->sort && a->base == b->base && a->terms == b->terms;
    if (a->sort == RL_TRUE_COUNTS)
        same = same && a->scale == b->scale && a->median == b->median && a->log_spread == b->log_spread &&
               a->low == b->low && a->high == b->high;
    for (int i = 0; same && a->sort == RL_TRUE_WAY && i < a->terms; i++)
        same = a->term[i].scale == b->term[i].scale && a->term[i].log_spread == b->term[i].log_spread;
    return same;
}

static rl_true copy_law(rl_arena *arena, const rl_true *law)
{
    rl_true copy = *law;
    if (law->sort == RL_TRUE_WAY && law->terms > 0) {
        rl_term *term = rl_raw(arena, law->terms, rl_term);
        memcpy(term, law->term, (size_t)law->terms * sizeof *term);
        copy.term = term;
    }
    return copy;
}

/* The place of the law in the list, which it joins if it is not there. */
static rl_likely *place_of(rl_likely **list, rl_arena *arena, const rl_end *end, bool healthy)
{
    while (*list && !(((*list)->suspect < 0) == healthy && same_law(&(*list)->law, &end->law)))
        list = &(*list)->next;
    if (!*list) {
        *list = rl_new(arena, rl_likely);
        **list = (rl_likely){.law = copy_law(arena, &end->law), .suspect = healthy ? -1 : end->element};
    }
    return *list;
}

/* Whether the end is one of a sound span or feed with a current, or (false) one in which an element counts; other
 * ends are not `told`.  Those of a supply stand by row of the feed path and whether a current flows. */
static bool is_healthy(const rl_test *test, const rl_chain_ends *ends, int i, bool *told)
{
    if (test->sort == RL_TEST_SUPPLY) {
        *told = i % 2 == 1 && i / 2 < ends->ends / 2 - 1;
        return i / 2 == 0;
    }
    rl_true_sort sort = ends->end[i].law.sort;
    *told = ends->end[i].sort == RL_END_LAW && sort != RL_TRUE_FIXED;
    return sort == RL_TRUE_WAY;
}

void rl_likely_add(rl_likely **list, rl_arena *arena, const rl_bearings *bearings, const rl_test *test,
                   const rl_chain_ends *ends, double weight)
{
    bool supply = test->sort == RL_TEST_SUPPLY;
    for (int i = 0; i < ends->ends; i++) {
        rl_end end = ends->end[i];
        bool told, healthy = is_healthy(test, ends, i, &told);
        if (!told || !(ends->p[i] > 0 || (supply && healthy)))
            continue;
        if (!healthy)
            end.element = supply ? suspect_of_feed(bearings, test->subject) : suspect_of_way(bearings, &ends->way[end.way], &end);
        place_of(list, arena, &end, healthy)->p += ends->p[i] * weight;
    }
}

/* ---- ranges ---- */

static const rl_likely *likeliest(const rl_likely *list, bool healthy)
{
    const rl_likely *best = NULL;
    for (const rl_likely *l = list; l; l = l->next)
        if ((l->suspect < 0) == healthy && (!best || l->p > best->p))
            best = l;
    return best;
}

static void set_range(const rl_showing *showing, const rl_likely *l, double *low, double *high)
{
    *low = rl_showing_quantile(showing, &l->law, 0.05);
    *high = rl_showing_quantile(showing, &l->law, 0.95);
}

void rl_likely_set(const rl_likely *list, const rl_case *c, rl_test *test)
{
    double battery = c->occasion[c->occasions - 1].battery;
    rl_showing showing = rl_showing_make(c->model, rl_observe_meter(rl_test_evidence(test->sort)), battery, false);
    const rl_likely *healthy = likeliest(list, true), *suspect = likeliest(list, false);
    if (healthy)
        set_range(&showing, healthy, &test->healthy_low, &test->healthy_high);
    if (suspect) {
        set_range(&showing, suspect, &test->suspect_low, &test->suspect_high);
        test->suspect = suspect->suspect;
    }
}
