/* ways.c: every way from a load's wire to the battery, one by one, and the
 * part of them that a reading spans.
 *
 * Invariant: a way is a list of elements in the order in which the current
 * first meets them; conductor[i] lies between element i and the next.  Only a
 * connector can be met twice: it is one element, and stands where it is met first.
 */
#include "inside.h"

#include <assert.h>
#include <string.h>

enum { MOST_WAYS = 512 };

static int place(const oc_way *way, int element)
{
    for (int i = 0; i < way->count; i++)
        if (way->element[i] == element)
            return i;
    return -1;
}

static void pass_connector(oc_way *way, int connector)
{
    if (place(way, connector) >= 0)
        return;
    assert(way->count < OC_WAY);
    way->conductor[way->count] = 0;
    way->element[way->count++] = connector;
}

static void walk(oc_model *m, oc_element *load, oc_way *so_far, int at)
{
    const oc_element *e = &m->element[at];
    assert(so_far->count < OC_WAY);
    int here = so_far->count++;
    so_far->element[here] = at;
    so_far->conductor[here] = 0;
    if (e->alternatives == 0) {
        assert(load->ways < MOST_WAYS);
        load->way[load->ways++] = *so_far;
    }
    for (int a = 0; a < e->alternatives; a++) {
        const oc_alternative *alternative = &e->alternative[a];
        so_far->count = here + 1;
        so_far->conductor[here] = alternative->conductor;
        for (int v = 0; v < alternative->vias; v++)
            pass_connector(so_far, alternative->via[v]);
        walk(m, load, so_far, alternative->parent);
    }
    so_far->count = here;
}

static void fill_sets(oc_model *m, oc_element *load)
{
    load->every = rl_many(&m->arena, m->elements, bool);
    load->some = rl_many(&m->arena, m->elements, bool);
    load->chain = rl_many(&m->arena, m->elements, bool);
    for (int e = 0; e < m->elements; e++) {
        int on = 0;
        for (int w = 0; w < load->ways; w++)
            on += place(&load->way[w], e) >= 0;
        load->every[e] = on == load->ways;
        load->some[e] = on > 0;
    }
    for (const oc_alternative *f = &load->feed; f->parent >= 0; f = &m->element[f->parent].feed) {
        load->chain[f->parent] = true;
        for (int v = 0; v < f->vias; v++)
            load->chain[f->via[v]] = true;
    }
}

void oc_ways(oc_model *m)
{
    oc_way *scratch = rl_many(&m->arena, MOST_WAYS, oc_way);
    for (int i = 0; i < m->elements; i++) {
        oc_element *load = &m->element[i];
        if (load->sort != RL_LOAD)
            continue;
        oc_way way = {0};
        load->way = scratch;
        walk(m, load, &way, load->wire);
        load->way = rl_many(&m->arena, load->ways, oc_way);
        memcpy(load->way, scratch, (size_t)load->ways * sizeof *scratch);
        fill_sets(m, load);
    }
}

/* ---- spans ---- */

static int last_of(const oc_element *load)
{
    int last = -1;
    for (int w = 0; w < load->ways; w++) {
        int end = load->way[w].element[load->way[w].count - 1];
        if (w > 0 && end != last)
            return -1;
        last = end;
    }
    return last;
}

/* No element before `from` has more than one way on. */
static bool single_chain(const oc_model *m, const oc_element *load, int from)
{
    const oc_way *way = &load->way[0];
    for (int i = 0; i < way->count && way->element[i] != from; i++)
        if (m->element[way->element[i]].alternatives > 1)
            return false;
    return true;
}

static bool same_way(const oc_way *a, const oc_way *b)
{
    size_t n = (size_t)a->count;
    return a->count == b->count && memcmp(a->element, b->element, n * sizeof *a->element) == 0
        && memcmp(a->conductor, b->conductor, n * sizeof *a->conductor) == 0;
}

static void keep_way(oc_watch *w, const oc_way *way)
{
    for (int i = 0; i < w->spans; i++)
        if (same_way(&w->span[i], way))
            return;
    w->span[w->spans++] = *way;
}

static oc_way stretch(const oc_way *way, int begin, int end)
{
    oc_way out = {0};
    for (int i = begin; i < end; i++) {
        out.element[out.count] = way->element[i];
        out.conductor[out.count++] = way->conductor[i];
    }
    return out;
}

static bool ends_fit(const oc_model *m, const oc_watch *w, const oc_element *load, bool dead)
{
    int from = w->from < 0 ? load->wire : w->from;
    if (!load->every[from] || (w->to >= 0 && !load->every[w->to]))
        return false;
    if (dead && w->to < 0 && w->last < 0)
        return false;
    return single_chain(m, load, from);
}

bool oc_span(oc_model *m, oc_watch *w)
{
    const oc_element *load = &m->element[w->subject];
    bool dead = w->sort != OC_DROP;
    w->last = last_of(load);
    if (!ends_fit(m, w, load, dead))
        return false;
    int from = w->from < 0 ? load->wire : w->from;
    w->within = rl_many(&m->arena, m->elements, bool);
    w->span = rl_many(&m->arena, load->ways, oc_way);
    for (int i = 0; i < load->ways; i++) {
        const oc_way *way = &load->way[i];
        int begin = place(way, from);
        int end = w->to >= 0 ? place(way, w->to) : dead ? way->count - 1 : way->count;
        if (begin >= end)
            return false;
        oc_way part = stretch(way, begin, end);
        keep_way(w, &part);
        for (int k = 0; k < part.count; k++)
            w->within[part.element[k]] = true;
    }
    return w->spans <= 16;
}
