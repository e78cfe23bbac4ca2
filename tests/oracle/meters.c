/* meters.c: what the meters show in one joint state (design §3, spans).
 *
 * Invariant: a span is looked at way by way; the way of least nominal U
 * decides, and all its ways open make the span open.
 */
#include "inside.h"

#include <math.h>
#include <string.h>

/* How a span stands: its law, or no current, or open. */
typedef enum stand { STANDS, NO_FLOW, OPENED } stand;

static double current_on(const oc_model *m, const oc_watch *w, double own, int e)
{
    double sum = own;
    if (w->sort != OC_DROP)
        return 1;
    for (int l = 0; w->also != NULL && l < m->elements; l++)
        if (w->also[l] && m->element[l].every[e])
            sum += m->element[l].current;
    return sum;
}

typedef struct counting { int element; double product, current; } counting;

/* m_e: the median of the law that e would show. */
static double median_of(const oc_element *e, int effective)
{
    return effective == 1 ? e->corroded.median : e->bin_median[effective - 2];
}

/* The element that counts, or -1; open_way where current meets an open one. */
static counting find_counting(const oc_case *c, const oc_watch *w, const oc_joint *j, const oc_way *way,
                              double own, bool *open_way)
{
    const oc_model *m = c->model;
    counting best = {-1, 0, 0};
    *open_way = false;
    for (int i = 0; i < way->count; i++) {
        int e = way->element[i], effective = oc_effective(c, w, j, e);
        double current = current_on(m, w, own, e);
        if (effective == 0 || !(current > 0))
            continue;
        if (effective == 2 + m->bins) {
            *open_way = true;
            continue;
        }
        double product = current * median_of(&m->element[e], effective);
        if (best.element < 0 || product > best.product)
            best = (counting){e, product, current};
    }
    return best;
}

static void put_law(const oc_case *c, const oc_watch *w, const oc_joint *j, const counting *k, oc_u *u)
{
    const oc_model *m = c->model;
    int effective = oc_effective(c, w, j, k->element);
    u->factor = k->current;
    u->law = m->element[k->element].corroded;
    u->low = effective == 1 ? 0 : m->edge[effective - 2];
    u->high = effective == 1 ? INFINITY : m->edge[effective - 1];
}

/* Fills U of one way and its nominal value; infinite for an open way. */
static double way_law(const oc_case *c, const oc_watch *w, const oc_joint *j, const oc_way *way,
                      double own, oc_u *u)
{
    const oc_model *m = c->model;
    bool open_way;
    memset(u, 0, sizeof *u);
    counting k = find_counting(c, w, j, way, own, &open_way);
    if (open_way)
        return INFINITY;
    double nominal = k.product;
    for (int i = 0; i < way->count; i++) {
        const oc_element *e = &m->element[way->element[i]];
        double current = current_on(m, w, own, way->element[i]);
        nominal += current * (way->conductor[i] + e->sound.median);
        u->base += current * (way->conductor[i] + (k.element < 0 ? 0 : e->sound.median));
        if (k.element >= 0)
            continue;
        u->scale[u->terms] = current * e->sound.median;
        u->log_spread[u->terms++] = e->sound.log_spread;
    }
    if (k.element >= 0)
        put_law(c, w, j, &k, u);
    return nominal;
}

static stand span_law(const oc_case *c, const oc_watch *w, const oc_joint *j, double own, oc_u *u)
{
    double least = INFINITY;
    oc_u one;
    for (int i = 0; i < w->spans; i++) {
        double nominal = way_law(c, w, j, &w->span[i], own, &one);
        if (nominal < least) {
            least = nominal;
            *u = one;
        }
    }
    return least < INFINITY ? STANDS : OPENED;
}

/* ---- who draws ---- */

static bool open_before(const oc_case *c, const oc_watch *w, const oc_joint *j)
{
    const oc_element *load = &c->model->element[w->subject];
    int from = w->from < 0 ? load->wire : w->from;
    for (int i = 0; load->way[0].element[i] != from; i++)
        if (oc_effective(c, w, j, load->way[0].element[i]) == 2 + c->model->bins)
            return true;
    return false;
}

static bool draws(const oc_case *c, const oc_watch *w, const oc_joint *j)
{
    return oc_effective(c, w, j, w->subject) == 0
        && oc_feed_state(c, w, j, w->subject, false) != 2 + c->model->bins
        && !open_before(c, w, j);
}

/* R(element) is open: the element, or every alternative behind it.  A connector has no parent
 * of its own, so R of it is its own state, and an open point behind it does not count: the
 * letter of design §1, as the reference has it. */
static bool open_from(const oc_case *c, const oc_watch *w, const oc_joint *j, int element)
{
    const oc_element *e = &c->model->element[element];
    int open = 2 + c->model->bins;
    if (oc_effective(c, w, j, element) == open)
        return true;
    for (int a = 0; a < e->alternatives; a++) {
        const oc_alternative *way = &e->alternative[a];
        bool broken = open_from(c, w, j, way->parent);
        for (int v = 0; v < way->vias; v++)
            broken = broken || oc_effective(c, w, j, way->via[v]) == open;
        if (!broken)
            return false;
    }
    return e->alternatives > 0;
}

static stand drop_law(const oc_case *c, const oc_watch *w, const oc_joint *j, oc_u *u)
{
    bool d = draws(c, w, j);
    memset(u, 0, sizeof *u);
    if ((w->to >= 0 && open_from(c, w, j, w->to)) || (w->at > 0 && !d))
        return NO_FLOW;
    double own = !d ? 0 : w->at > 0 ? w->at : c->model->element[w->subject].current;
    return span_law(c, w, j, own, u);
}

static stand supply_law(const oc_case *c, const oc_watch *w, const oc_joint *j, oc_u *u)
{
    const oc_model *m = c->model;
    const oc_element *load = &m->element[w->subject];
    int f = oc_feed_state(c, w, j, w->subject, false), open = 2 + m->bins, n = 0;
    memset(u, 0, sizeof *u);
    if (load->feed.parent < 0)
        return NO_FLOW;
    if (f == open)
        return OPENED;
    if (oc_effective(c, w, j, w->subject) != 0 || oc_return_state(c, w, j, w->subject, false) == open)
        return NO_FLOW;
    for (int e = 0; e < m->elements; e++)
        n += load->chain[e];
    if (f == 0) {
        u->terms = 1;
        u->scale[0] = load->current * n * m->sound.median;
        u->log_spread[0] = m->sound.log_spread;
        return STANDS;
    }
    u->base = load->current * n * m->sound.median;
    u->factor = load->current;
    u->law = m->corroded;
    u->low = f == 1 ? 0 : m->edge[f - 2];
    u->high = f == 1 ? INFINITY : m->edge[f - 1];
    if (f >= 2 && oc_mass(m->corroded, u->low, u->high) < OC_NO_MASS) {
        u->base += u->factor * (m->corroded.median < u->low ? u->low : u->high);
        u->factor = 0;
    }
    return STANDS;
}

/* ---- volts ---- */

static oc_show volts_show(const oc_case *c, const oc_watch *w)
{
    const oc_model *m = c->model;
    double battery = c->occasion[w->occasion].battery;
    oc_show s = {OC_LOSS, battery > 0 ? battery : m->supply, m->supply, m->volts.share, m->volts.plus,
                 battery > 0 || w->at > 0 ? 0 : m->spread};
    if (w->sort == OC_SUPPLY)
        s.view = OC_REST;
    else if (w->at > 0)
        s.view = OC_PLAIN;
    return s;
}

static double sigma_at(const oc_show *s, double v) { return hypot(s->share * v + s->plus, s->spread * v); }

static stand volts_law(const oc_case *c, const oc_watch *w, const oc_joint *j, oc_u *u)
{
    return w->sort == OC_SUPPLY ? supply_law(c, w, j, u) : drop_law(c, w, j, u);
}

/* The true value where no law is needed: no current, or an open span or feed. */
static double plain_volts(const oc_watch *w, stand s, const oc_show *show)
{
    bool drop = w->sort == OC_DROP;
    return (s == OPENED) == drop ? show->source : 0;
}

static double volts_density(const oc_case *c, const oc_finding *f, const oc_joint *j)
{
    const oc_model *m = c->model;
    const oc_watch *w = &f->watch;
    oc_show show = volts_show(c, w);
    oc_u u;
    stand s = volts_law(c, w, j, &u);
    double e = 0;
    if (s == STANDS) {
        e = oc_density(c->model, &u, &show, f->value);
    } else if (!(w->at > 0)) {
        double v = plain_volts(w, s, &show);
        e = oc_normal(f->value, v, sigma_at(&show, v));
        if (s == OPENED && w->sort == OC_DROP)
            e = (1 - m->leaks) * e + m->leaks / m->supply;
    }
    return (1 - m->volts.misread - m->volts.zero) * e + m->volts.misread / m->supply
         + m->volts.zero * oc_normal(f->value, 0, m->volts.plus);
}

static void volts_bands(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_model *m = c->model;
    const oc_meter *meter = &m->volts;
    int n = meter->bands;
    oc_show show = volts_show(c, w);
    double e[OC_BANDS + 1], flat[OC_BANDS + 1], zero[OC_BANDS + 1];
    oc_u u;
    stand s = volts_law(c, w, j, &u);
    oc_length_bands(m->supply, n, meter->band, flat);
    oc_normal_bands(0, meter->plus, n, meter->band, zero);
    if (s == STANDS) {
        oc_bands(c->model, &u, &show, n, meter->band, e);
    } else {
        double v = plain_volts(w, s, &show), leak = s == OPENED && w->sort == OC_DROP ? m->leaks : 0;
        oc_normal_bands(v, sigma_at(&show, v), n, meter->band, e);
        for (int b = 0; b <= n; b++)
            e[b] = (1 - leak) * e[b] + leak * flat[b];
    }
    for (int b = 0; b <= n; b++)
        out[b] = (1 - meter->misread - meter->zero) * e[b] + meter->misread * flat[b] + meter->zero * zero[b];
}

/* ---- ohms and the beeper ---- */

static oc_show ohms_show(const oc_model *m)
{
    return (oc_show){OC_PLAIN, 0, 0, m->ohms.share, m->ohms.plus, 0};
}

static double ohms_density(const oc_case *c, const oc_finding *f, const oc_joint *j)
{
    const oc_model *m = c->model;
    double miss = m->ohms.misread, k = m->ohms.bands;
    oc_u u;
    bool open_span = span_law(c, &f->watch, j, 1, &u) == OPENED;
    if (f->open)
        return (open_span ? 1 - miss : 0) + miss / (k + 2);
    oc_show show = ohms_show(m);
    double e = open_span ? 0 : oc_density(c->model, &u, &show, f->value);
    return (1 - miss) * e + miss * (k + 1) / (k + 2) / 1000;
}

static void ohms_bands(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_model *m = c->model;
    int n = m->ohms.bands;
    double e[OC_BANDS + 1] = {0}, flat[OC_BANDS + 1], miss = m->ohms.misread;
    oc_u u;
    oc_show show = ohms_show(m);
    bool open_span = span_law(c, w, j, 1, &u) == OPENED;
    if (!open_span)
        oc_bands(c->model, &u, &show, n, m->ohms.band, e);
    oc_length_bands(1000, n, m->ohms.band, flat);
    for (int b = 0; b <= n; b++)
        out[b] = (1 - miss) * e[b] + miss * (n + 1) / (n + 2) * flat[b];
    out[n + 1] = (open_span ? 1 - miss : 0) + miss / (n + 2);
}

static void beeper(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    const oc_meter *meter = &c->model->beeper;
    oc_u u;
    double below = span_law(c, w, j, 1, &u) == OPENED ? 0 : oc_below(&u, meter->limit);
    out[1] = (1 - meter->misread) * below + meter->misread / 2;
    out[0] = 1 - out[1];
}

void oc_meter_distribution(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out)
{
    switch (w->sort) {
    case OC_RESISTANCE: ohms_bands(c, w, j, out); break;
    case OC_CONTINUITY: beeper(c, w, j, out); break;
    default: volts_bands(c, w, j, out); break;
    }
}

double oc_meter_likelihood(const oc_case *c, const oc_finding *f, const oc_joint *j)
{
    return f->watch.sort == OC_RESISTANCE ? ohms_density(c, f, j) : volts_density(c, f, j);
}
