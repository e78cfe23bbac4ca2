/* quad.c: the laws of resistances and readings, by plain numeric integration.
 *
 * Invariant: an expectation is a sum over panels of 16 Gauss-Legendre nodes
 * in z, 400 on each side of a reading's peak and 400 within it, divided by the
 * same sum of the weight alone: no closed form of the integrals is trusted.
 * What was worked out is kept in the model's memo.
 */
#include "inside.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;
/* How far the laws are followed: for a band's share of 1; for a density, which may be that of the far
 * tail alone where a meter never misreads, as far as the weight is a number at all. */
static const double NEAR = 12, FAR = 37;
enum { PANELS = 400, NODES = 16, MEMO = 1 << 15 };

double oc_between(double low, double high)
{
    if (low > 0)
        return 0.5 * (erfc(low / sqrt(2)) - erfc(high / sqrt(2)));
    return 0.5 * (erfc(-high / sqrt(2)) - erfc(-low / sqrt(2)));
}

static double z_of(oc_law law, double x)
{
    if (x <= 0)
        return -INFINITY;
    if (!(x < INFINITY))
        return INFINITY;
    return (log(x) - log(law.median)) / law.log_spread;
}

double oc_mass(oc_law law, double low, double high)
{
    if (law.log_spread > 0)
        return oc_between(z_of(law, low), z_of(law, high));
    return law.median >= low && law.median < high ? 1 : 0;
}

double oc_cut_median(oc_law law, double low, double high)
{
    if (!(law.log_spread > 0) || (low <= 0 && !(high < INFINITY)))
        return law.median;
    double a = z_of(law, low), b = z_of(law, high), left = fmax(a, -40), right = fmin(b, 40);
    for (int i = 0; i < 200; i++) {
        double mid = 0.5 * (left + right);
        if (oc_between(a, mid) < oc_between(mid, b))
            left = mid;
        else
            right = mid;
    }
    return law.median * exp(law.log_spread * 0.5 * (left + right));
}

double oc_normal(double v, double mean, double sigma)
{
    double x = (v - mean) / sigma;
    return exp(-0.5 * x * x) / (sigma * sqrt(2 * PI));
}

static double at_most(double x)
{
    return x < -38 ? 0 : x > 9 ? 1 : 0.5 * erfc(-x / sqrt(2));
}

void oc_normal_bands(double mean, double sigma, int bands, const double *edge, double *out)
{
    for (int b = 0; b <= bands; b++) {
        double low = b == 0 ? -INFINITY : (edge[b - 1] - mean) / sigma;
        double high = b == bands ? INFINITY : (edge[b] - mean) / sigma;
        out[b] = low > 0 ? at_most(-low) - at_most(-high) : at_most(high) - at_most(low);
    }
}

void oc_length_bands(double length, int bands, const double *edge, double *out)
{
    for (int b = 0; b <= bands; b++) {
        double low = b == 0 ? 0 : fmax(0, edge[b - 1]);
        double high = b == bands ? length : fmin(length, edge[b]);
        out[b] = high > low ? (high - low) / length : 0;
    }
}

/* ---- what a law integrates to ---- */

static void legendre(double *x, double *w)
{
    for (int i = 0; i < NODES; i++) {
        double t = cos(PI * (i + 0.75) / (NODES + 0.5)), slope = 0;
        for (int step = 0; step < 100; step++) {
            double p = 1, before = 0;
            for (int k = 1; k <= NODES; k++) {
                double next = ((2 * k - 1) * t * p - (k - 1) * before) / k;
                before = p;
                p = next;
            }
            slope = NODES * (t * p - before) / (t * t - 1);
            t -= p / slope;
        }
        x[i] = t;
        w[i] = 2 / ((1 - t * t) * slope * slope);
    }
}

static double resistance_drop(const oc_u *u, double z)
{
    double sum = u->base;
    for (int i = 0; i < u->terms; i++)
        sum += u->scale[i] * exp(u->log_spread[i] * z);
    if (u->factor > 0)
        sum += u->factor * u->law.median * exp(u->law.log_spread * z);
    return sum;
}

static double shown(const oc_show *s, double u)
{
    switch (s->view) {
    case OC_LOSS: return s->source * u / (u + s->nominal);
    case OC_REST: return s->source * s->nominal / (u + s->nominal);
    default: return u;
    }
}

/* Adds weight x what the meter would show at U = u: its density at v, or its bands. */
static void add_node(const oc_show *show, double u, double weight, int bands, const double *edge,
                     double v, double *out)
{
    double mean = shown(show, u), part[OC_BANDS + 1];
    double sigma = hypot(show->share * mean + show->plus, show->spread * mean);
    if (edge == NULL) {
        out[0] += weight * oc_normal(v, mean, sigma);
        return;
    }
    oc_normal_bands(mean, sigma, bands, edge, part);
    for (int b = 0; b <= bands; b++)
        out[b] += weight * part[b];
}

/* `reach`: z beyond which nothing counts. */
static void limits(const oc_u *u, double reach, double *a, double *b)
{
    *a = -reach;
    *b = reach;
    if (u->factor > 0) {
        *a = fmax(*a, z_of(u->law, u->low));
        *b = fmin(*b, z_of(u->law, u->high));
    }
}

static bool is_point(const oc_u *u)
{
    for (int i = 0; i < u->terms; i++)
        if (u->scale[i] > 0 && u->log_spread[i] > 0)
            return false;
    return !(u->factor > 0 && u->law.log_spread > 0);
}

/* Cuts [a, b] where the density at v rises and falls: 15 widths on either side
 * of the z that shows v. */
static void middle(const oc_u *u, const oc_show *show, double v, double *cut)
{
    double left = cut[0], right = cut[3], step = 1e-5;
    bool rises = show->view != OC_REST;
    for (int i = 0; i < 100; i++) {
        double mid = 0.5 * (left + right);
        if ((shown(show, resistance_drop(u, mid)) < v) == rises)
            left = mid;
        else
            right = mid;
    }
    double here = shown(show, resistance_drop(u, left)), after = shown(show, resistance_drop(u, left + step));
    double sigma = hypot(show->share * here + show->plus, show->spread * here);
    double width = 15 * sigma * step / fabs(after - here);
    cut[1] = fmax(cut[0], left - width);
    cut[2] = fmin(cut[3], left + width);
}

/* Adds the integral over [a, b] and returns that of the weight alone. */
static double add_panels(const oc_u *u, const oc_show *show, double a, double b, int bands,
                         const double *edge, double v, double *out)
{
    double x[NODES], w[NODES], total = 0, half = (b - a) / PANELS / 2;
    legendre(x, w);
    for (int p = 0; p < PANELS; p++)
        for (int i = 0; i < NODES; i++) {
            double z = a + (2 * p + 1 + x[i]) * half, weight = half * w[i] * exp(-0.5 * z * z);
            total += weight;
            add_node(show, resistance_drop(u, z), weight, bands, edge, v, out);
        }
    return total;
}

static void integrate(const oc_u *u, const oc_show *show, int bands, const double *edge, double v, double *out)
{
    int count = edge == NULL ? 1 : bands + 1;
    memset(out, 0, (size_t)count * sizeof *out);
    if (is_point(u)) {
        add_node(show, resistance_drop(u, 0), 1, bands, edge, v, out);
        return;
    }
    double cut[4], total = 0;
    limits(u, edge == NULL ? FAR : NEAR, &cut[0], &cut[3]);
    cut[1] = cut[2] = 0.5 * (cut[0] + cut[3]);
    if (edge == NULL)
        middle(u, show, v, cut);
    for (int i = 0; i < 3; i++)
        if (cut[i + 1] > cut[i])
            total += add_panels(u, show, cut[i], cut[i + 1], bands, edge, v, out);
    for (int i = 0; i < count; i++)
        out[i] /= total;
}

/* ---- memo ---- */

typedef struct question { oc_u u; oc_show show; double v; int bands; } question;
typedef struct entry { const question *asked; double *answer; } entry;
struct oc_memo { entry slot[MEMO]; size_t filled; };

/* Only what counts is copied onto zeroed bytes, so that equal questions are equal bytes. */
static void clean(question *q, const oc_u *u, const oc_show *show, int bands, double v)
{
    memset(q, 0, sizeof *q);
    q->u.base = u->base;
    q->u.terms = u->terms;
    memcpy(q->u.scale, u->scale, (size_t)u->terms * sizeof *u->scale);
    memcpy(q->u.log_spread, u->log_spread, (size_t)u->terms * sizeof *u->log_spread);
    q->u.factor = u->factor;
    if (u->factor > 0) {
        q->u.law = u->law;
        q->u.low = u->low;
        q->u.high = u->high;
    }
    q->show.view = show->view;
    q->show.source = show->source;
    q->show.nominal = show->nominal;
    q->show.share = show->share;
    q->show.plus = show->plus;
    q->show.spread = show->spread;
    q->v = v;
    q->bands = bands;
}

static size_t hash(const question *q)
{
    uint64_t words[sizeof *q / 8], h = 1469598103u;
    memcpy(words, q, sizeof words);
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        h = ((h ^ words[i]) * 0x9E3779B97F4A7C15u) ^ (h >> 29);
    return (size_t)(h ^ h >> 32);
}

static const double *ask(oc_model *m, const oc_u *u, const oc_show *show, int bands, const double *edge, double v)
{
    if (m->memo == NULL)
        m->memo = rl_new(&m->arena, oc_memo);
    question q;
    clean(&q, u, show, edge == NULL ? -1 : bands, v);
    size_t i = hash(&q) % MEMO;
    for (; m->memo->slot[i].asked != NULL; i = (i + 1) % MEMO)
        if (memcmp(m->memo->slot[i].asked, &q, sizeof q) == 0)
            return m->memo->slot[i].answer;
    assert(m->memo->filled < MEMO / 2);
    m->memo->filled++;
    question *kept = rl_new(&m->arena, question);
    memcpy(kept, &q, sizeof q);
    double *answer = rl_many(&m->arena, OC_BANDS + 1, double);
    integrate(u, show, bands, edge, v, answer);
    m->memo->slot[i] = (entry){kept, answer};
    return answer;
}

double oc_density(oc_model *m, const oc_u *u, const oc_show *show, double v)
{
    return *ask(m, u, show, 0, NULL, v);
}

void oc_bands(oc_model *m, const oc_u *u, const oc_show *show, int bands, const double *edge, double *out)
{
    double first = bands > 0 ? edge[0] : 0;   /* tells other bands of as many edges */
    memcpy(out, ask(m, u, show, bands, edge, first), (size_t)(bands + 1) * sizeof *out);
}

/* U grows with z: P(U < limit) is the mass below the z where it passes the limit. */
double oc_below(const oc_u *u, double limit)
{
    if (is_point(u))
        return resistance_drop(u, 0) < limit ? 1 : 0;
    double a = -INFINITY, b = INFINITY;
    if (u->factor > 0) {
        a = z_of(u->law, u->low);
        b = z_of(u->law, u->high);
    }
    double left = fmax(a, -40), right = fmin(b, 40);
    if (resistance_drop(u, left) >= limit)
        return 0;
    if (resistance_drop(u, right) <= limit)
        return 1;
    for (int i = 0; i < 200; i++) {
        double mid = 0.5 * (left + right);
        if (resistance_drop(u, mid) < limit)
            left = mid;
        else
            right = mid;
    }
    return oc_between(a, left) / oc_between(a, b);
}
