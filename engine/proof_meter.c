/* proof_meter.c: the readings that show whether a repaired element is good.
 *
 * A bad joint shows only to a current: the loads are chosen so that nine in
 * ten corroded ones would read beyond what is allowed.  Candidates are the
 * admissible tests of an occasion after the repair, so that what `do not`
 * forbids is never among them.
 *
 * Invariant: what a healthy span reads is the law of design §3 with everything
 * sound; the ways of a span are told apart by their nominal value alone.
 */
#include "proof.h"

#include "admit.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { MOST_ALSO = 3, MOST_READINGS = 2 };
static const double HEAVY = 60;   /* A: starters and winches; not if a lamp does */

typedef struct gauge {
    const rl_case *next;       /* the case with an occasion after the repair */
    const rl_model *model;
    const rl_bench *bench;
    rl_arena *keep, *scratch;
    int element;
    rl_candidates all;
} gauge;

/* What one reading is held against. */
typedef struct bench_mark {
    rl_showing showing;
    rl_end healthy, suspect;   /* suspect.element -1: the element is not on the way that counts */
    double current;            /* A through the element */
} bench_mark;

/* ---- the law of a reading ---- */

typedef struct flow {
    int load;
    double own;                /* A */
    const int *also;
    int also_count;
} flow;

static double current_at(const rl_model *m, const flow *f, int element)
{
    double sum = f->own;
    for (int i = 0; i < f->also_count; i++)
        if (rl_on_every(m, f->also[i], element))
            sum += m->node[f->also[i]].info.current;
    return sum;
}

static const double *currents(const gauge *g, const flow *f, const rl_way *way)
{
    double *current = rl_many(g->scratch, way->count, double);
    for (int i = 0; i < way->count; i++)
        current[i] = current_at(g->model, f, way->element[i]);
    return current;
}

/* The way of the smallest nominal value, everything sound. */
static const rl_way *way_that_counts(const gauge *g, const flow *f, const rl_stretch *s)
{
    int best = 0;
    double least = INFINITY;
    for (int w = 0; w < s->ways; w++) {
        double nominal = rl_way_base(g->model, &s->way[w], currents(g, f, &s->way[w]));
        if (nominal < least) {
            least = nominal;
            best = w;
        }
    }
    return &s->way[best];
}

/* False: there is no such span. */
static bool mark_drop(const gauge *g, const flow *f, int from, int to, bench_mark *out)
{
    rl_stretch s;
    if (rl_stretch_make(g->scratch, g->model, f->load, from, to, false, &s) != RL_STRETCH_OK)
        return false;
    const rl_way *way = way_that_counts(g, f, &s);
    const double *current = currents(g, f, way);
    out->healthy = rl_way_end(g->scratch, g->model, way, current, NULL);
    out->suspect = (rl_end){.element = -1};
    out->current = current_at(g->model, f, g->element);
    for (int i = 0; i < way->count; i++)
        if (way->element[i] == g->element) {
            rl_candidate bad = rl_candidate_make(&g->bench->frame, g->element, -1, current[i]);
            out->suspect = rl_way_end(g->scratch, g->model, way, current, &bad);
        }
    return true;
}

static void mark_supply(const gauge *g, int load, bench_mark *out)
{
    out->healthy = rl_observe_supply_end(g->scratch, g->model, load, 0, true);
    out->suspect = rl_observe_supply_end(g->scratch, g->model, load, 1, true);   /* the whole law, uncut */
    out->suspect.element = g->element;
    out->current = g->model->node[load].info.current;
}

static double quantile(const bench_mark *m, const rl_end *end, double p)
{
    return rl_showing_quantile(&m->showing, &end->law, p);
}

/* Whether nine in ten bad ones would read beyond the bound. */
static bool shows(const bench_mark *m, bool drop, double bound)
{
    if (m->suspect.element < 0)
        return false;
    return drop ? quantile(m, &m->suspect, 0.1) > bound : quantile(m, &m->suspect, 0.9) < bound;
}

/* ---- readings to be taken ---- */

/* Whether the element lies in the part of D(load) that a drop reads. */
static bool in_span(const rl_model *m, int load, int from, int to, int element, int *width)
{
    const rl_node *node = &m->node[load];
    int begin = 0, end = node->on_every_count, at = -1;
    for (int i = 0; i < node->on_every_count; i++) {
        if (node->on_every[i] == from)
            begin = i;
        if (node->on_every[i] == to)
            end = i;
        if (node->on_every[i] == element)
            at = i;
    }
    *width = end - begin;
    return at >= begin && at < end;
}

static bool feeds(const rl_model *m, int load, int element)
{
    const rl_node *node = &m->node[load];
    for (int i = 0; i < node->feed_chain_count; i++)
        if (node->feed_chain[i] == element)
            return true;
    return false;
}

/* Ranges, bound and whether it shows; false: it cannot be read. */
static bool fill(const gauge *g, rl_proof_reading *r, const int *also, int also_count)
{
    const rl_occasion *last = &g->next->occasion[g->next->occasions - 1];
    bool drop = r->test.sort == RL_TEST_DROP;
    flow f = {r->test.subject, g->model->node[r->test.subject].info.current, also, also_count};
    bench_mark m = {.showing = rl_showing_make(g->model, drop ? RL_SHOW_DROP : RL_SHOW_SUPPLY, last->battery, false)};
    if (!drop)
        mark_supply(g, f.load, &m);
    else if (!mark_drop(g, &f, r->test.from, r->test.to, &m) || m.suspect.element < 0)
        return false;
    assert(m.current > 0);   /* of a load of known current, over what it returns or is fed through */
    r->current = m.current;
    r->test.healthy_low = quantile(&m, &m.healthy, 0.05);
    r->test.healthy_high = quantile(&m, &m.healthy, 0.95);
    r->test.suspect_low = quantile(&m, &m.suspect, 0.05);
    r->test.suspect_high = quantile(&m, &m.suspect, 0.95);
    r->test.suspect = g->element;
    r->test.bits = -1;
    r->bound = drop ? fmax(r->test.limit, r->test.healthy_high) : quantile(&m, &m.healthy, 0.01);
    r->shows = shows(&m, drop, r->bound);
    return true;
}

/* How well a reading shows a bad joint: the higher the better. */
static double margin(const rl_proof_reading *r)
{
    return r->test.sort == RL_TEST_DROP ? r->test.suspect_low / r->bound : r->bound / r->test.suspect_high;
}

static bool better(const gauge *g, const rl_proof_reading *a, const rl_proof_reading *b)
{
    bool heavy_a = g->model->node[a->test.subject].info.current >= HEAVY;
    bool heavy_b = g->model->node[b->test.subject].info.current >= HEAVY;
    if (a->shows != b->shows)
        return a->shows;
    if (heavy_a != heavy_b && a->shows)
        return heavy_b;
    double slow_a = rl_coarse(a->test.minutes), slow_b = rl_coarse(b->test.minutes);
    if (a->shows && (slow_a < slow_b || slow_a > slow_b))
        return slow_a < slow_b;
    return rl_coarse(margin(a)) > rl_coarse(margin(b));
}

/* The tightest span of the load over the element, or NULL. */
static const rl_test *tightest(const gauge *g, int load)
{
    const rl_test *best = NULL;
    int least = 0, width;
    for (int i = 0; i < g->all.count; i++) {
        const rl_test *t = &g->all.at[i];
        if (t->sort != RL_TEST_DROP || t->subject != load
            || !in_span(g->model, load, t->from, t->to, g->element, &width))
            continue;
        if (best == NULL || width < least || (width == least && t->minutes < best->minutes)) {
            best = t;
            least = width;
        }
    }
    return best;
}

static const rl_test *supply_test(const gauge *g, int load)
{
    for (int i = 0; i < g->all.count; i++)
        if (g->all.at[i].sort == RL_TEST_SUPPLY && g->all.at[i].subject == load)
            return feeds(g->model, load, g->element) ? &g->all.at[i] : NULL;
    return NULL;
}

static bool best_reading(const gauge *g, rl_proof_reading *out)
{
    bool found = false;
    for (int load = 0; load < g->model->nodes; load++) {
        if (g->model->node[load].info.sort != RL_LOAD)
            continue;
        const rl_test *test = tightest(g, load);
        if (test == NULL)
            test = supply_test(g, load);
        if (test == NULL)
            continue;
        rl_mark mark = rl_arena_mark(g->scratch);
        rl_proof_reading r = {.test = *test};
        if (fill(g, &r, NULL, 0) && (!found || better(g, &r, out))) {
            *out = r;
            found = true;
        }
        rl_arena_rewind(g->scratch, mark);
    }
    return found;
}

/* The load of most current, of those not taken yet, whose return passes the element for certain. */
static int further_load(const gauge *g, int load, const int *also, int count)
{
    int best = -1;
    for (int e = 0; e < g->model->nodes; e++) {
        const rl_element *info = &g->model->node[e].info;
        bool taken = e == load;
        for (int i = 0; i < count; i++)
            taken = taken || also[i] == e;
        if (taken || info->sort != RL_LOAD || info->current <= 0 || info->current >= HEAVY
            || !rl_on_every(g->model, e, g->element))
            continue;
        if (best < 0 || info->current > g->model->node[best].info.current)
            best = e;
    }
    return best;
}

/* Switches further loads on until it shows, or until no more than a few would do. */
static void switch_on(const gauge *g, rl_proof_reading *r)
{
    int also[MOST_ALSO], count = 0;
    rl_proof_reading more = *r;
    while (r->test.sort == RL_TEST_DROP && !more.shows && count < MOST_ALSO) {
        int load = further_load(g, r->test.subject, also, count);
        if (load < 0)
            return;
        also[count++] = load;
        if (!fill(g, &more, also, count))
            return;
    }
    if (!more.shows || count == 0)
        return;
    size_t *list = rl_many(g->keep, count, size_t);
    for (int i = 0; i < count; i++)
        list[i] = (size_t)also[i];
    more.also = list;
    more.also_count = (size_t)count;
    *r = more;
}

/* The whole return of the first load complained of whose return passes the element. */
static bool whole_return(const gauge *g, const bool *amiss, rl_proof_reading *out)
{
    int width;
    for (int i = 0; i < g->all.count; i++) {
        const rl_test *t = &g->all.at[i];
        if (t->sort != RL_TEST_DROP || t->from >= 0 || t->to >= 0 || !amiss[t->subject]
            || !in_span(g->model, t->subject, -1, -1, g->element, &width))
            continue;
        *out = (rl_proof_reading){.test = *t};
        return fill(g, out, NULL, 0);
    }
    return false;
}

static void keep(const gauge *g, rl_proof *proof, rl_proof_reading *list, const rl_proof_reading *r)
{
    assert(proof->readings < MOST_READINGS);
    for (size_t i = 0; i < proof->readings; i++)
        if (strcmp(list[i].test.text, r->test.text) == 0)
            return;
    list[proof->readings] = *r;
    list[proof->readings++].test.text = rl_arena_copy(g->keep, r->test.text, strlen(r->test.text));
}

static void list_readings(gauge *g, rl_proof *proof)
{
    rl_proof_reading *list = rl_many(g->keep, MOST_READINGS, rl_proof_reading), r;
    bool *amiss = rl_many(g->scratch, g->model->nodes + 1, bool);
    proof->reading = list;
    rl_admit_all(&g->all, g->scratch, g->next);
    rl_proof_amiss(g->next, amiss);
    if (best_reading(g, &r)) {
        switch_on(g, &r);
        keep(g, proof, list, &r);
    }
    if (whole_return(g, amiss, &r))
        keep(g, proof, list, &r);
}

/* ---- readings taken ---- */

static bool over_element(const gauge *g, const rl_finding *f)
{
    int width;
    if (f->line.replaced || !rl_repaired_in(g->next, f->occasion, g->element))
        return false;
    if (f->sort == RL_E_SUPPLY)
        return feeds(g->model, f->subject, g->element);
    return f->sort == RL_E_DROP && in_span(g->model, f->subject, f->from, f->to, g->element, &width);
}

/* The highest customary limit of what the healthy law goes over. */
static double limit_over(const gauge *g, const rl_finding *f)
{
    const rl_node *node = &g->model->node[f->subject];
    double limit = 0;
    int width;
    for (int i = 0; i < node->on_every_count; i++)
        if (in_span(g->model, f->subject, f->from, f->to, node->on_every[i], &width))
            limit = fmax(limit, g->model->node[node->on_every[i]].info.limit);
    return limit;
}

static bool weigh_taken(const gauge *g, const rl_finding *f, rl_taken *out)
{
    bool drop = f->sort == RL_E_DROP, measured = f->at > 0;
    flow with = {f->subject, measured ? f->at : g->model->node[f->subject].info.current, f->also, f->also_count};
    bench_mark m = {.showing = rl_showing_make(g->model, drop ? RL_SHOW_DROP : RL_SHOW_SUPPLY,
                                               g->next->occasion[f->occasion].battery, measured)};
    if (!drop)
        mark_supply(g, f->subject, &m);
    else if (!mark_drop(g, &with, f->from, f->to, &m))
        return false;
    out->value = f->value;
    out->supply = !drop;
    out->healthy_low = quantile(&m, &m.healthy, 0.05);
    out->healthy_high = quantile(&m, &m.healthy, 0.95);
    out->bound = drop ? fmax(limit_over(g, f), out->healthy_high) : quantile(&m, &m.healthy, 0.01);
    out->shows = shows(&m, drop, out->bound);
    out->word = RL_TAKEN_GOOD;
    if (drop ? f->value > out->bound : f->value < out->bound)
        out->word = RL_TAKEN_BEYOND;
    else if (drop && f->value < quantile(&m, &m.healthy, 0.001))
        out->word = RL_TAKEN_FAINT;
    return true;
}

/* A reading beyond its bound that came before the last repair says nothing of that, nor
 * does what was read before it. */
static size_t first_that_counts(const gauge *g, const rl_case *c, const rl_taken *list, size_t count)
{
    size_t first = 0;
    assert(g->next->findings == c->findings);
    for (size_t i = 0; i < count; i++)
        if (list[i].word == RL_TAKEN_BEYOND && g->next->finding[list[i].line]->occasion < rl_last_repair(c))
            first = i + 1;
    return first;
}

static void list_taken(const gauge *g, const rl_case *c, rl_proof *proof)
{
    rl_taken *list = rl_many(g->keep, g->next->findings + 1, rl_taken);
    for (int i = 0; i < g->next->findings; i++) {
        rl_mark mark = rl_arena_mark(g->scratch);
        if (over_element(g, g->next->finding[i]) && weigh_taken(g, g->next->finding[i], &list[proof->takens]))
            list[proof->takens++].line = (size_t)i;
        rl_arena_rewind(g->scratch, mark);
    }
    size_t first = first_that_counts(g, c, list, proof->takens);
    proof->taken = list + first;
    proof->takens -= first;
}

/* The case as it will be in an occasion after the repair, unless it is in one. */
static rl_case after_repair(const rl_case *c, const int *element)
{
    rl_case next = *c;
    if (rl_repaired_in(c, c->occasions - 1, *element))
        return next;
    if (next.occasions < RL_MAX_OCCASIONS)
        next.occasions++;
    next.occasion[next.occasions - 1] = (rl_occasion){.said = 1, .repaired = element, .repaired_count = 1};
    return next;
}

void rl_proof_measure(rl_case *c, rl_work *work, int element, rl_proof *proof)
{
    rl_mark mark = rl_arena_mark(&work->scratch);
    rl_case next = after_repair(c, &element);
    gauge g = {.next = &next, .model = c->model, .bench = &work->bench, .keep = &work->arena,
               .scratch = &work->scratch, .element = element};
    list_readings(&g, proof);
    list_taken(&g, c, proof);
    rl_arena_rewind(&work->scratch, mark);
}
