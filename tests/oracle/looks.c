/* looks.c: what is seen without a meter, and the states it depends on.
 *
 * Invariant: everything here is a function of one joint state and one world;
 * nothing is remembered.  The levels of a load are summed over all draws of
 * its four causes, so that no difference of nearly equal numbers is taken.
 */
#include "inside.h"

#include <math.h>
#include <string.h>

static bool forced(const oc_case *c, const oc_watch *w, int e)
{
    const oc_occasion *o = &c->occasion[w->occasion];
    return (o->repaired != NULL && o->repaired[e]) || (w->repaired != NULL && w->repaired[e]);
}

static int open_of(const oc_model *m) { return 2 + m->bins; }

int oc_effective(const oc_case *c, const oc_watch *w, const oc_joint *j, int e)
{
    if (forced(c, w, e))
        return 0;
    switch (j->state[e]) {
    case RL_LOOSE: return (int)(j->active[e] >> w->occasion & 1u);
    case RL_CORRODED: return 2 + j->bin[e];
    case RL_OPEN: case RL_FAILED: return open_of(c->model);
    default: return 0;
    }
}

rl_state oc_coarse(const oc_model *m, int effective)
{
    if (effective < 2)
        return effective == 0 ? RL_SOUND : RL_LOOSE;
    return effective == open_of(m) ? RL_OPEN : RL_CORRODED;
}

static int larger(int a, int b) { return a > b ? a : b; }

/* One way is as bad as its worst element; a bypass at E mends E and what follows. */
static int way_state(const oc_case *c, const oc_watch *w, const oc_joint *j, const oc_way *way, bool own)
{
    int worst = 0;
    for (int i = 0; i < way->count; i++) {
        if (own && w->bypass_at != NULL && w->bypass_at[way->element[i]])
            break;
        worst = larger(worst, oc_effective(c, w, j, way->element[i]));
    }
    return worst;
}

/* `own`: the load is the one looked at, so the line's bypass acts on it. */
int oc_return_state(const oc_case *c, const oc_watch *w, const oc_joint *j, int load, bool own)
{
    const oc_element *e = &c->model->element[load];
    if (own && w->bypass)
        return 0;
    int best = open_of(c->model);
    for (int i = 0; i < e->ways; i++) {
        int state = way_state(c, w, j, &e->way[i], own);
        best = state < best ? state : best;
    }
    return best;
}

/* A coil that is dead leaves its contacts open; one that chatters makes them loose. */
static int coil_word(const oc_case *c, const oc_watch *w, const oc_joint *j, int coil)
{
    int open = open_of(c->model), r = oc_return_state(c, w, j, coil, false);
    int f = oc_feed_state(c, w, j, coil, false);
    if (oc_effective(c, w, j, coil) == open || r == open || f == open)
        return open;
    return r == 1 || f == 1 ? 1 : 0;
}

static int feed_chain(const oc_case *c, const oc_watch *w, const oc_joint *j, const oc_alternative *f)
{
    int worst = 0;
    for (; f->parent >= 0; f = &c->model->element[f->parent].feed) {
        for (int v = 0; v < f->vias; v++)
            worst = larger(worst, oc_effective(c, w, j, f->via[v]));
        worst = larger(worst, oc_effective(c, w, j, f->parent));
        int coil = c->model->element[f->parent].coil;
        if (coil >= 0)
            worst = larger(worst, coil_word(c, w, j, coil));
    }
    return worst;
}

int oc_feed_state(const oc_case *c, const oc_watch *w, const oc_joint *j, int load, bool own)
{
    if (own && w->jumper)
        return 0;
    return feed_chain(c, w, j, &c->model->element[load].feed);
}

/* ---- behaviour ---- */

static void add_row(double *out, const double *row, double weight, int levels)
{
    for (int i = 0; i < levels; i++)
        out[i] += weight * row[i];
}

/* The resistance that costs `volts` of the supply; infinite where none does. */
static double resistance_for(const oc_model *m, double current, double volts)
{
    return volts >= m->supply ? INFINITY : volts * (m->supply / current) / (m->supply - volts);
}

/* A bin of no mass stands for its edge nearest to the law's median. */
static double edge_for(const oc_model *m, int bin)
{
    return m->corroded.median < m->edge[bin] ? m->edge[bin] : m->edge[bin + 1];
}

/* Mass of the default corroded law, cut to the bin, between two resistances. */
static double share_between(const oc_model *m, int bin, double low, double high)
{
    double a = m->edge[bin], b = m->edge[bin + 1], all = oc_mass(m->corroded, a, b);
    if (all < OC_NO_MASS) {
        double edge = edge_for(m, bin);
        return edge >= low && edge < high ? 1 : 0;
    }
    a = fmax(a, low);
    b = fmin(b, high);
    return a < b ? oc_mass(m->corroded, a, b) / all : 0;
}

static void shortfall_row(const oc_model *m, const oc_kind *k, double current, int bin, double *row)
{
    double low = 0;
    for (int i = 0; i <= k->shortfalls; i++) {
        double high = i == k->shortfalls ? INFINITY : resistance_for(m, current, k->shortfall[i].volts);
        double share = share_between(m, bin, low, high);
        if (i == 0)
            row[0] += share;
        else
            add_row(row, k->shortfall[i - 1].row, share, k->levels);
        low = high;
    }
}

static void path_row(const oc_model *m, int load, int side, int effective, double *row)
{
    const oc_element *e = &m->element[load];
    const oc_kind *k = &m->kind[e->kind];
    rl_state state = oc_coarse(m, effective);
    memset(row, 0, OC_LEVELS * sizeof *row);
    if (state != RL_SOUND && k->given[side][state])
        memcpy(row, k->row[side][state], OC_LEVELS * sizeof *row);
    else if (state == RL_CORRODED && k->shortfalls > 0 && e->current > 0)
        shortfall_row(m, k, e->current, effective - 2, row);
    else
        row[0] = 1;
}

/* The most severe of four independent draws. */
static void most_severe(int levels, const double *const cause[4], double *out)
{
    for (int a = 0; a < levels; a++)
        for (int b = 0; b < levels; b++) {
            double p = cause[0][a] * cause[1][b];
            for (int c = 0; p > 0 && c < levels; c++)
                for (int d = 0; d < levels; d++)
                    out[larger(larger(a, b), larger(c, d))] += p * cause[2][c] * cause[3][d];
        }
}

static void behaviour(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_model *m = c->model;
    const oc_kind *k = &m->kind[m->element[w->subject].kind];
    double back[OC_LEVELS], front[OC_LEVELS], sound[OC_LEVELS] = {1};
    path_row(m, w->subject, 0, oc_return_state(c, w, j, w->subject, true), back);
    path_row(m, w->subject, 1, oc_feed_state(c, w, j, w->subject, true), front);
    bool failed = !w->swap && oc_effective(c, w, j, w->subject) != 0;
    const double *const cause[4] = {back, front, failed ? k->failed : sound, k->otherwise};
    most_severe(k->levels, cause, out);
}

/* ---- signs ---- */

static double cause_p(const oc_case *c, const oc_watch *w, const oc_joint *j, const oc_cause *k)
{
    const oc_model *m = c->model;
    if (k->subject == OC_RETURN)
        return k->p[oc_coarse(m, oc_return_state(c, w, j, k->element, false))];
    if (k->subject == OC_FEED)
        return k->p[oc_coarse(m, oc_feed_state(c, w, j, k->element, false))];
    int effective = oc_effective(c, w, j, k->element);
    if (m->element[k->element].sort == RL_LOAD)
        return k->p[effective == 0 ? RL_SOUND : RL_FAILED];
    return k->p[oc_coarse(m, effective)];
}

static void yes_no(double absent, double *out)
{
    out[0] = absent;
    out[1] = 1 - absent;
}

static void symptom(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_symptom *y = &c->model->symptom[w->named];
    double absent = 1 - y->otherwise;
    for (int i = 0; i < y->causes; i++)
        absent *= 1 - cause_p(c, w, j, &y->cause[i]);
    yes_no(absent, out);
}

static void inspection(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_inspection *look = &c->model->inspection[w->named];
    rl_state state = forced(c, w, w->subject) ? RL_SOUND : j->state[w->subject];
    memcpy(out, look->row[state], (size_t)look->outcomes * sizeof *out);
}

/* Some third load of the same feed has a way out that avoids e. */
static bool has_way_out(const oc_model *m, int a, int b, int e)
{
    for (int x = 0; x < m->elements; x++) {
        const oc_element *third = &m->element[x];
        if (third->sort == RL_LOAD && x != a && x != b && m->element[b].feed.parent >= 0
            && third->feed.parent == m->element[b].feed.parent && !third->some[e])
            return true;
    }
    return false;
}

static bool shared(const oc_model *m, const oc_watch *w, int e)
{
    const oc_element *a = &m->element[w->subject], *b = &m->element[w->other];
    return a->every[e] && b->every[e];
}

static void backfeed(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_model *m = c->model;
    int worst = 0;
    for (int e = 0; e < m->elements; e++)
        if (shared(m, w, e) && has_way_out(m, w->subject, w->other, e))
            worst = larger(worst, oc_effective(c, w, j, e));
    yes_no((1 - m->backfeed.otherwise) * (1 - m->backfeed.p[oc_coarse(m, worst)]), out);
}

static void pull(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_model *m = c->model;
    const oc_element *a = &m->element[w->subject], *b = &m->element[w->other];
    int back = 0, front = 0;
    for (int e = 0; e < m->elements; e++) {
        if (shared(m, w, e))
            back = larger(back, oc_effective(c, w, j, e));
        if (a->chain[e] && b->chain[e])
            front = larger(front, oc_effective(c, w, j, e));
    }
    const double *p = m->pull.p;
    yes_no((1 - m->pull.otherwise) * (1 - p[oc_coarse(m, back)]) * (1 - p[oc_coarse(m, front)]), out);
}

/* ---- all of them ---- */

bool oc_is_reading(oc_sort sort) { return sort >= OC_DROP; }

int oc_outcomes(const oc_model *m, const oc_watch *w)
{
    switch (w->sort) {
    case OC_BEHAVIOUR: return m->kind[m->element[w->subject].kind].levels;
    case OC_INSPECTION: return m->inspection[w->named].outcomes;
    case OC_DROP: case OC_SUPPLY: return m->volts.bands + 1;
    case OC_RESISTANCE: return m->ohms.bands + 2;
    default: return 2;
    }
}

void oc_distribution(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    memset(out, 0, OC_OUTCOMES * sizeof *out);
    switch (w->sort) {
    case OC_BEHAVIOUR: behaviour(c, w, j, out); break;
    case OC_SYMPTOM: symptom(c, w, j, out); break;
    case OC_INSPECTION: inspection(c, w, j, out); break;
    case OC_BACKFEED: backfeed(c, w, j, out); break;
    case OC_PULL: pull(c, w, j, out); break;
    default: oc_meter_distribution(c, w, j, out); break;
    }
}

double oc_likelihood(const oc_case *c, const oc_finding *f, const oc_joint *j)
{
    if (f->quantity)
        return oc_meter_likelihood(c, f, j);
    double p[OC_OUTCOMES], sum = 0;
    oc_distribution(c, &f->watch, j, p);
    for (int i = 0; i < OC_OUTCOMES; i++)
        sum += f->weight[i] * p[i];
    return sum;
}

/* ---- on what it depends ---- */

static void join(bool *on, const bool *more, int count)
{
    for (int e = 0; e < count; e++)
        on[e] = on[e] || more[e];
}

static void needs_feed(const oc_model *m, int load, bool *on)
{
    join(on, m->element[load].chain, m->elements);
    for (const oc_alternative *f = &m->element[load].feed; f->parent >= 0; f = &m->element[f->parent].feed) {
        int coil = m->element[f->parent].coil;
        if (coil < 0)
            continue;
        on[coil] = true;
        join(on, m->element[coil].some, m->elements);
        needs_feed(m, coil, on);
    }
}

static void needs_all(const oc_model *m, int load, bool *on)
{
    on[load] = true;
    join(on, m->element[load].some, m->elements);
    needs_feed(m, load, on);
}

static void needs_symptom(const oc_model *m, const oc_symptom *y, bool *on)
{
    for (int i = 0; i < y->causes; i++) {
        int e = y->cause[i].element;
        if (y->cause[i].subject == OC_ELEMENT)
            on[e] = true;
        else if (y->cause[i].subject == OC_RETURN)
            join(on, m->element[e].some, m->elements);
        else
            needs_feed(m, e, on);
    }
}

static void needs_behaviour(const oc_model *m, const oc_watch *w, bool *on)
{
    on[w->subject] = !w->swap;
    if (!w->bypass)
        join(on, m->element[w->subject].some, m->elements);
    if (!w->jumper)
        needs_feed(m, w->subject, on);
}

static void needs_pair(const oc_model *m, const oc_watch *w, bool *on)
{
    const oc_element *a = &m->element[w->subject], *b = &m->element[w->other];
    for (int e = 0; e < m->elements; e++) {
        bool back = shared(m, w, e);
        if (w->sort == OC_BACKFEED)
            back = back && has_way_out(m, w->subject, w->other, e);
        on[e] = back || (w->sort == OC_PULL && a->chain[e] && b->chain[e]);
    }
}

/* A set that is large enough: what is outside changes nothing. */
void oc_depends(const oc_case *c, const oc_watch *w, bool *on)
{
    const oc_model *m = c->model;
    memset(on, 0, (size_t)m->elements * sizeof *on);
    switch (w->sort) {
    case OC_BEHAVIOUR: needs_behaviour(m, w, on); break;
    case OC_SYMPTOM: needs_symptom(m, &m->symptom[w->named], on); break;
    case OC_INSPECTION: on[w->subject] = true; break;
    case OC_BACKFEED: case OC_PULL: needs_pair(m, w, on); break;
    case OC_RESISTANCE: case OC_CONTINUITY: join(on, w->within, m->elements); break;
    default: needs_all(m, w->subject, on); break;
    }
    for (int e = 0; e < m->elements; e++)
        on[e] = on[e] && !forced(c, w, e);
}
