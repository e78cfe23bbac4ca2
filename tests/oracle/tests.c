/* tests.c: which tests are admissible after a case, and their minutes (design §4).
 *
 * Invariant: every test stands in the case's last occasion and has a key that
 * no other test of the list has.
 */
#include "inside.h"

#include <assert.h>
#include <string.h>

enum { MOST_TESTS = 2048 };
enum { NO_PROBE = 1, NO_BYPASS = 2, NO_JUMPER = 4, NO_SWAP = 8, NO_DISCONNECT = 16 };

typedef struct list { oc_case *c; oc_watch *test; int count; } list;

static oc_watch blank(const oc_case *c, oc_sort sort, int subject)
{
    return (oc_watch){.sort = sort, .occasion = c->occasions - 1, .subject = subject, .other = -1,
                      .named = -1, .from = -1, .to = -1};
}

static bool same_within(const oc_model *m, const oc_watch *a, const oc_watch *b)
{
    return memcmp(a->within, b->within, (size_t)m->elements * sizeof *a->within) == 0;
}

/* Held by a line of the last occasion; an inspection by one of any. */
static bool held(const oc_case *c, const oc_watch *w)
{
    for (int i = 0; i < c->findings; i++) {
        const oc_watch *old = &c->finding[i].watch;
        if (old->sort != w->sort || (old->occasion != w->occasion && w->sort != OC_INSPECTION))
            continue;
        if (w->sort == OC_RESISTANCE || w->sort == OC_CONTINUITY ? same_within(c->model, old, w)
                                                                 : strcmp(old->key, w->key) == 0)
            return true;
    }
    return false;
}

static void put(list *l, oc_watch w)
{
    w.key = oc_key(l->c->model, &w);
    if (held(l->c, &w))
        return;
    assert(l->count < MOST_TESTS);
    l->test[l->count++] = w;
}

static bool may(const oc_model *m, int element, unsigned what)
{
    return (m->element[element].forbidden & what) == 0;
}

/* ---- without a meter ---- */

static void looks(list *l)
{
    const oc_model *m = l->c->model;
    for (int e = 0; e < m->elements; e++)
        if (m->element[e].sort == RL_LOAD)
            put(l, blank(l->c, OC_BEHAVIOUR, e));
    for (int y = 0; y < m->symptoms; y++) {
        oc_watch w = blank(l->c, OC_SYMPTOM, -1);
        w.named = y;
        put(l, w);
    }
    for (int k = 0; k < m->inspections; k++)
        for (int e = 0; e < m->elements; e++) {
            if ((m->inspection[k].sorts >> m->element[e].sort & 1u) == 0 || !may(m, e, NO_PROBE))
                continue;
            oc_watch w = blank(l->c, OC_INSPECTION, e);
            w.named = k;
            put(l, w);
        }
}

/* ---- with a meter ---- */

static bool span_allowed(const oc_model *m, const oc_watch *w, bool dead)
{
    unsigned load = NO_PROBE | (dead ? NO_DISCONNECT : 0u);
    if (!may(m, w->subject, load))
        return false;
    if (w->from >= 0 && !may(m, w->from, NO_PROBE))
        return false;
    if (w->to >= 0)
        return may(m, w->to, NO_PROBE);
    return !dead || may(m, w->last, NO_PROBE);
}

static bool span_known(const list *l, const oc_watch *w)
{
    for (int i = 0; i < l->count; i++)
        if (l->test[i].sort == w->sort && same_within(l->c->model, &l->test[i], w))
            return true;
    return false;
}

static void span(list *l, oc_sort sort, int load, int from, int to)
{
    oc_model *m = l->c->model;
    bool dead = sort != OC_DROP;
    oc_watch w = blank(l->c, sort, load);
    w.from = from == m->element[load].wire ? -1 : from;
    w.to = to;
    if (!oc_span(m, &w) || !span_allowed(m, &w, dead))
        return;
    if (dead && (w.to == w.last || span_known(l, &w)))
        return;
    put(l, w);
}

static void spans(list *l, oc_sort sort, int load)
{
    const oc_model *m = l->c->model;
    for (int from = 0; from < m->elements; from++) {
        if (!m->element[load].every[from])
            continue;
        span(l, sort, load, from, -1);
        for (int to = 0; to < m->elements; to++)
            if (m->element[load].every[to])
                span(l, sort, load, from, to);
    }
}

static void readings(list *l)
{
    const oc_model *m = l->c->model;
    bool joints = m->sound.median > 0 && m->corroded.median > 0;
    for (int e = 0; joints && e < m->elements; e++) {
        const oc_element *load = &m->element[e];
        if (load->sort != RL_LOAD)
            continue;
        if (m->volts.given && load->current > 0)
            spans(l, OC_DROP, e);
        if (m->ohms.given)
            spans(l, OC_RESISTANCE, e);
        if (m->beeper.given)
            spans(l, OC_CONTINUITY, e);
        if (m->volts.given && load->current > 0 && load->feed.parent >= 0 && may(m, e, NO_PROBE))
            put(l, blank(l->c, OC_SUPPLY, e));
    }
}

/* ---- on loads that are amiss ---- */

static bool amiss(const oc_case *c, int load)
{
    const oc_finding *last = NULL;
    for (int i = 0; i < c->findings; i++) {
        const oc_finding *f = &c->finding[i];
        if (f->watch.sort == OC_BEHAVIOUR && f->watch.subject == load && f->plain)
            last = f;
    }
    return last != NULL && !last->names_first;
}

static void tries(list *l, int load)
{
    const oc_model *m = l->c->model;
    const oc_element *e = &m->element[load];
    oc_watch w = blank(l->c, OC_BEHAVIOUR, load);
    bool bypass = e->current > 0 && e->current <= m->bypass.up_to && may(m, load, NO_BYPASS);
    for (int at = 0; bypass && at < m->elements; at++) {
        w.bypass_at = rl_many(&l->c->model->arena, m->elements, bool);
        w.bypass_at[at] = true;
        if (e->every[at] && at != e->wire && may(m, at, NO_BYPASS))
            put(l, w);
    }
    w = blank(l->c, OC_BEHAVIOUR, load);
    w.bypass = true;
    if (bypass)
        put(l, w);
    w = blank(l->c, OC_BEHAVIOUR, load);
    w.swap = true;
    if (may(m, load, NO_SWAP | NO_DISCONNECT))
        put(l, w);
    w = blank(l->c, OC_BEHAVIOUR, load);
    w.jumper = true;
    if (e->feed.parent >= 0 && e->current > 0 && e->current <= m->jumper.up_to && may(m, load, NO_JUMPER))
        put(l, w);
}

/* Shares an element of D other than the last of `load`'s return. */
static bool near_by(const oc_model *m, int load, int other)
{
    oc_watch w = {.sort = OC_DROP, .subject = load, .from = -1, .to = -1};
    oc_span((oc_model *)m, &w);
    for (int e = 0; e < m->elements; e++)
        if (e != w.last && m->element[load].every[e] && m->element[other].every[e])
            return true;
    return false;
}

static void pairs(list *l, int load)
{
    const oc_model *m = l->c->model;
    for (int other = 0; other < m->elements; other++) {
        if (other == load || m->element[other].sort != RL_LOAD)
            continue;
        bool near = near_by(m, load, other);
        int feed = m->element[load].feed.parent;
        oc_watch w = blank(l->c, OC_BACKFEED, load);
        w.other = other;
        if (m->backfeed.given && near)
            put(l, w);
        w = blank(l->c, OC_PULL, other);
        w.other = load;
        if (m->pull.given && (near || (feed >= 0 && feed == m->element[other].feed.parent)))
            put(l, w);
    }
}

oc_watch *oc_tests(oc_case *c, int *count)
{
    list l = {c, rl_many(&c->model->arena, MOST_TESTS, oc_watch), 0};
    looks(&l);
    readings(&l);
    for (int e = 0; e < c->model->elements; e++)
        if (c->model->element[e].sort == RL_LOAD && amiss(c, e)) {
            tries(&l, e);
            pairs(&l, e);
        }
    *count = l.count;
    return l.test;
}

/* ---- minutes ---- */

static void need(const oc_model *m, int element, bool *area)
{
    if (element >= 0 && m->element[element].area >= 0)
        area[m->element[element].area] = true;
}

static void need_conditions(const oc_model *m, const oc_watch *w, bool *area)
{
    if (w->bypass || w->swap || w->jumper)
        need(m, w->subject, area);
    for (int e = 0; e < m->elements; e++)
        if ((w->bypass_at != NULL && w->bypass_at[e]) || (w->repaired != NULL && w->repaired[e]))
            need(m, e, area);
}

static void needed(const oc_model *m, const oc_watch *w, bool *area)
{
    switch (w->sort) {
    case OC_BEHAVIOUR: need_conditions(m, w, area); break;
    case OC_INSPECTION: case OC_SUPPLY: need(m, w->subject, area); break;
    case OC_DROP: case OC_RESISTANCE: case OC_CONTINUITY:
        need(m, w->from >= 0 ? w->from : w->subject, area);
        need(m, w->to >= 0 ? w->to : w->last, area);
        break;
    default: break;
    }
}

static void open_areas(const oc_case *c, bool *area)
{
    const oc_model *m = c->model;
    memcpy(area, c->opened, (size_t)m->areas * sizeof *area);
    for (int i = 0; i < c->findings; i++)
        needed(m, &c->finding[i].watch, area);
    for (int o = 0; o < c->occasions; o++)
        for (int e = 0; c->occasion[o].repaired != NULL && e < m->elements; e++)
            if (c->occasion[o].repaired[e])
                need(m, e, area);
}

static double check_of(const oc_model *m, const oc_watch *w)
{
    switch (w->sort) {
    case OC_BEHAVIOUR:
        return w->bypass || w->bypass_at != NULL ? m->bypass.check : w->swap ? m->swap.check
             : w->jumper ? m->jumper.check : m->kind[m->element[w->subject].kind].check;
    case OC_SYMPTOM: return m->symptom[w->named].check;
    case OC_INSPECTION: return m->inspection[w->named].check;
    case OC_BACKFEED: return m->backfeed.check;
    case OC_PULL: return m->pull.check;
    case OC_RESISTANCE: return m->ohms.check;
    case OC_CONTINUITY: return m->beeper.check;
    default: return m->volts.check;
    }
}

double oc_minutes(oc_case *c, const oc_watch *w)
{
    const oc_model *m = c->model;
    bool *opened = rl_many(&c->model->arena, m->areas + 1, bool);
    bool *wanted = rl_many(&c->model->arena, m->areas + 1, bool);
    open_areas(c, opened);
    needed(m, w, wanted);
    double sum = check_of(m, w);
    for (int a = 0; a < m->areas; a++)
        if (wanted[a] && !opened[a])
            sum += m->area[a].access;
    return sum;
}
