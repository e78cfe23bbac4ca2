/* reading.c: what a meter shows: densities, bands, quantiles of one reading.
 *
 * Everything rests on one observation: U grows with its one standard normal
 * Z, and V with U (or against it), so that u(z) = (v - V(z)) / sigma(V(z)),
 * how many sigma the reading v lies above the truth, is monotone, and the z
 * with |u| < c are an interval whose ends are had without iteration (a
 * quadratic in V).  A density is the integral of phi(z) phi(u(z)) / sigma: of
 * what matters of it a box in z is cut, and the step inside it is that of its
 * narrowest feature.
 *
 * Invariant: `low` <= `high` of every law here; a law of no terms is a point.
 */
#include "reading.h"

#include "quadrature.h"

#include <assert.h>
#include <math.h>
#include <stddef.h>

#define SQRT_HALF 0.70710678118654752440
#define TWO_PI 6.28318530717958647693
#define LN_SQRT_TWO_PI 0.91893853320467274178
#define NO_MASS 1e-12      /* a cut law with less than this is its edge (design §3) */
#define FARTHEST 40.0      /* no z beyond this is looked at: phi is 1e-348 there */
#define NEGLIGIBLE 46.0    /* of -2 ln: 1e-10 of the peak */
#define CERTAIN 8.3        /* sigma beyond which a reading is on one side for sure: 5e-17 */
#define OUTSIDE 11.0       /* z that no law reaches, be it cut down to NO_MASS: 2e-28 */
#define BEYOND 8.5         /* z that a law does not reach of which there is more: 1e-17 */
#define AMPLE 0.01         /* such a mass */
#define DISTANT 40.0       /* z^2 + u^2 */
#define NOWHERE 39.0       /* sigma from all that a law reaches: phi is less than the least double */
#define SLIGHT 2.0         /* in z and in ln U: what CERTAIN sigma either way may span for several terms */
#define ENOUGH 1e-7        /* of the law's mass: last coefficients of a panel whose square is nothing */
#define SPAN 5.0           /* widths of a bell in a panel */
#define COMPARABLE 0.01    /* of phi(z): mass of a cut law that a difference near z can be taken from */
#define NARROW 0.5         /* in z: an interval whose mass is summed, not subtracted */

enum { LOOKS = 24, MOST_NODES = 24, BLOCK = RL_QUAD_MOST };

/* The law of U behind an rl_true, ready to be integrated: base + sum of
 * growing terms, Z within [low, high], which has `mass`. */
typedef struct law {
    double base;
    int terms;                 /* 0: U is base */
    const rl_term *term;       /* a term of spread 0 is in base already */
    rl_term own;
    double steepest;           /* the greatest log_spread of the terms */
    double low, high, mass;
} law;

/* A law, and all that one reading needs beside it. */
typedef struct scene {
    law law;
    rl_view view;
    rl_error error;
    double v;                  /* the reading, or the edge of a band */
    double nearest;            /* z^2 + u^2 that exponents are counted from */
} scene;

/* The truth and the meter at one z. */
typedef struct point {
    double z, value, sigma, u;
    double slope;              /* du / dz */
    double far;                /* z^2 + u^2 */
} point;

/* ---- the normal law ---- */

double rl_normal_below(double x)
{
    return 0.5 * erfc(-x * SQRT_HALF);
}

double rl_normal_density(double x, double mean, double sigma)
{
    assert(sigma > 0);
    double u = (x - mean) / sigma;
    return -0.5 * u * u - log(sigma) - LN_SQRT_TWO_PI;
}

static rl_pair bell(const void *nothing, double z)
{
    (void)nothing;
    return (rl_pair){ exp(-0.5 * z * z - LN_SQRT_TWO_PI), 0 };
}

/* P(low < Z < high), without cancellation wherever the interval lies. */
static double normal_mass(double low, double high)
{
    if (!(low < high))
        return 0;
    if (high - low < NARROW)
        return rl_quad_panels(bell, NULL, low, high, 1, 1).first;
    if (low >= 0)
        return rl_normal_below(-low) - rl_normal_below(-high);
    if (high <= 0)
        return rl_normal_below(high) - rl_normal_below(low);
    return 1 - rl_normal_below(low) - rl_normal_below(-high);
}

/* ---- the law of U ---- */

static void make_point(law *l, double base)
{
    *l = (law){ .base = base, .mass = 1, .low = -INFINITY, .high = INFINITY };
}

static void take_own(law *l, double scale, double log_spread)
{
    l->own = (rl_term){ scale, log_spread };
    l->term = &l->own;
    l->terms = 1;
    l->steepest = log_spread;
}

/* Constants go to the base; terms of one spread become a single term, whose inverse is a logarithm. */
static void make_way(law *l, const rl_true *u)
{
    double scale = 0, spread = 0, steepest = 0;
    bool alike = true;
    for (int i = 0; i < u->terms; i++) {
        rl_term t = u->term[i];
        assert(t.scale >= 0 && t.log_spread >= 0);
        if (!(t.scale > 0))
            continue;
        if (!(t.log_spread > 0)) {
            l->base += t.scale;
            continue;
        }
        alike = alike && (!(scale > 0) || t.log_spread == spread);
        spread = t.log_spread;
        steepest = fmax(steepest, spread);
        scale += t.scale;
    }
    if (!(scale > 0))
        return;
    l->term = u->term;
    l->terms = u->terms;
    l->steepest = steepest;
    if (alike)
        take_own(l, scale, spread);
}

static double z_of_ratio(double x, double median, double log_spread)
{
    return x > 0 ? log(x / median) / log_spread : -INFINITY;
}

static void make_counted(law *l, const rl_true *u)
{
    assert(u->low <= u->high && u->median > 0 && u->scale >= 0);
    double edge = u->median;
    if (u->log_spread > 0) {
        l->low = z_of_ratio(u->low, u->median, u->log_spread);
        l->high = z_of_ratio(u->high, u->median, u->log_spread);
        l->mass = normal_mass(l->low, l->high);
        if (l->mass >= NO_MASS && u->scale > 0) {
            take_own(l, u->scale * u->median, u->log_spread);
            return;
        }
        edge = fmin(fmax(edge, u->low), u->high);
    }
    make_point(l, u->base + u->scale * edge);
}

static void make_law(law *l, const rl_true *u)
{
    make_point(l, u->base);
    if (u->sort == RL_TRUE_WAY)
        make_way(l, u);
    else if (u->sort == RL_TRUE_COUNTS)
        make_counted(l, u);
}

/* The growing part of U at z; neighbours of one spread share their exponential. */
static double grown(const law *l, double z, double *slope)
{
    double sum = 0, rise = 0, power = 0, spread = 0;
    if (l->terms == 1) {
        sum = l->term->scale * exp(l->term->log_spread * z);
        *slope = l->term->log_spread * sum;
        return sum;
    }
    for (int i = 0; i < l->terms; i++) {
        rl_term t = l->term[i];
        if (!(t.log_spread > 0))
            continue;
        if (t.log_spread != spread) {
            spread = t.log_spread;
            power = exp(spread * z);
        }
        sum += t.scale * power;
        rise += t.scale * spread * power;
    }
    *slope = rise;
    return sum;
}

/* The z at which several terms come to `target`: Newton on the logarithm,
 * which is convex in z, so that after one step it falls towards the root. */
static double solve(const law *l, double target)
{
    double z = 0, goal = log(target);
    for (int i = 0; i < 200; i++) {
        double slope, sum = grown(l, z, &slope);
        double next = z - (log(sum) - goal) * sum / slope;
        next = fmin(fmax(next, -FARTHEST), FARTHEST);
        double step = fabs(next - z);
        z = next;
        if (step < 1e-9)
            break;
    }
    return z;
}

static double z_of(const law *l, double u)
{
    double target = u - l->base;
    if (!(target > 0))
        return -INFINITY;
    if (isinf(target))
        return INFINITY;
    if (l->terms == 1)
        return log(target / l->term->scale) / l->term->log_spread;
    return solve(l, target);
}

double rl_reading_below(const rl_true *u, double limit)
{
    law l;
    make_law(&l, u);
    if (l.terms == 0)
        return l.base < limit;
    double z = fmin(z_of(&l, limit), l.high);
    return normal_mass(l.low, z) / l.mass;
}

/* ---- the view and the meter ---- */

static double value_of(rl_view view, double u, double *slope)
{
    if (view.sort == RL_VIEW_PLAIN) {
        *slope = 1;
        return u;
    }
    double part = 1 / (u + view.nominal);
    double whole = view.source * part;
    bool drop = view.sort == RL_VIEW_DROP;
    *slope = (drop ? whole : -whole) * view.nominal * part;
    if (isinf(u))
        return drop ? view.source : 0;
    return whole * (drop ? u : view.nominal);
}

/* The U that shows as V; 0 or less, or infinite, where there is none. */
static double u_of(rl_view view, double v)
{
    if (view.sort == RL_VIEW_PLAIN)
        return v;
    double rest = fmax(0, view.source - v);
    if (view.sort == RL_VIEW_DROP)
        return rest > 0 ? view.nominal * v / rest : INFINITY;
    return v > 0 ? view.nominal * rest / v : INFINITY;
}

static double sigma_of(rl_error e, double value)
{
    double reads = e.share * value + e.plus, supply = e.supply_spread * value;
    return sqrt(reads * reads + supply * supply);
}

static point look_at(const scene *s, double z)
{
    double grows, turns;
    double u = s->law.base + grown(&s->law, z, &grows);
    point p = { .z = z, .value = value_of(s->view, u, &turns) };
    p.sigma = sigma_of(s->error, p.value);
    p.u = (s->v - p.value) / p.sigma;
    p.far = z * z + p.u * p.u;
    double t = s->error.supply_spread;
    double widens = (s->error.share * (s->error.share * p.value + s->error.plus) + t * t * p.value) / p.sigma;
    p.slope = -(1 + p.u * widens) / p.sigma * turns * grows;
    return p;
}

/* A of the quadratic A V^2 - 2 B V + C = 0 whose roots are the true values c sigma from v. */
static double lead_of(rl_error e, double c)
{
    return 1 - c * c * (e.share * e.share + e.supply_spread * e.supply_spread);
}

/* The root from which v is c sigma up (c > 0) or down (c < 0), where A > 0. */
static double value_beside(const scene *s, double c)
{
    rl_error e = s->error;
    double reads = e.share * s->v + e.plus, error = e.supply_spread * s->v, supply = c * e.plus * e.supply_spread;
    double root = c * sqrt(fmax(0, reads * reads + error * error - supply * supply));
    return (s->v + c * c * e.share * e.plus - root) / lead_of(e, c);
}

/* The true values within c sigma of v: the hull of A V^2 - 2 B V + C < 0 over V >= 0. */
static void values_within(const scene *s, double c, double *low, double *high)
{
    double lead = lead_of(s->error, c);
    *low = 0;
    *high = INFINITY;
    if (lead > 0) {
        *low = fmax(0, value_beside(s, c));
        *high = fmax(0, value_beside(s, -c));
    } else if (fabs(s->v) > c * s->error.plus && lead < 0) {
        *low = fmax(0, value_beside(s, c));   /* the only root above 0 */
    }
}

/* Cuts [*low, *high] of z to where the truth is within c sigma of v. */
static void cut_box(const scene *s, double c, double *low, double *high)
{
    double least, most;
    values_within(s, c, &least, &most);
    double from = z_of(&s->law, u_of(s->view, least)), to = z_of(&s->law, u_of(s->view, most));
    *low = fmax(*low, fmin(from, to));
    *high = fmin(*high, fmax(from, to));
}

static void set_scene(scene *s, const rl_true *u, rl_view view, rl_error error, double v)
{
    assert(error.plus > 0 && error.share >= 0 && error.supply_spread >= 0);
    assert(view.sort == RL_VIEW_PLAIN || (view.source >= 0 && view.nominal > 0));
    make_law(&s->law, u);
    s->view = view;
    s->error = error;
    s->v = v;
    s->nearest = 0;
}

/* ---- densities ---- */

static rl_pair product(const void *what, double z)
{
    const scene *s = what;
    double slope;
    double value = value_of(s->view, s->law.base + grown(&s->law, z, &slope), &slope);
    double sigma = sigma_of(s->error, value);
    double u = (s->v - value) / sigma;
    return (rl_pair){ exp(-0.5 * (z * z + u * u - s->nearest)) / sigma, 0 };
}

static double clip(double x, double low, double high)
{
    return fmin(fmax(x, low), high);
}

/* Walks from p towards the least z^2 + u^2 (Gauss-Newton, a step that does not
 * help being halved); any point will do, a better one makes a smaller box. */
static point descend(const scene *s, point p)
{
    double step = 1;
    for (int i = 0; i < 24; i++) {
        double pull = p.z + p.u * p.slope, bend = 1 + p.slope * p.slope;
        if (pull * pull * step < 0.5 * bend)
            break;
        point next = look_at(s, clip(p.z - step * pull / bend, s->law.low, s->law.high));
        bool helps = next.far < p.far;
        if (helps && next.far > p.far - 0.5)
            break;
        step = helps ? 1 : 0.5 * step;
        p = helps ? next : p;
    }
    return p;
}

/* Where to walk from.  Far from both law and reading the way down may not be
 * seen from either end (u is flat where sigma grows with V): look between them too,
 * and as far on the other side, where a larger V may err enough to be read below 0. */
static point nearest_of(const scene *s, point centre, point crossing)
{
    point best = crossing.far < centre.far ? crossing : centre;
    for (int i = 1 - LOOKS; i < LOOKS && best.far > DISTANT; i++) {
        point p = look_at(s, clip(centre.z + (crossing.z - centre.z) * i / LOOKS, s->law.low, s->law.high));
        best = p.far < best.far ? p : best;
    }
    return descend(s, best);
}

static double width_at(point p)
{
    return 1 / sqrt(1 + p.slope * p.slope);
}

static double narrower(double width, point p, double low, double high)
{
    return low < p.z && p.z < high ? fmin(width, width_at(p)) : width;
}

/* All z outside [*low, *high] together hold less than 1e-8 of the integral:
 * there z^2 + u^2 exceeds that of `best` so much that neither the width of
 * the peak nor a smaller sigma makes up for it. */
static void find_box(const scene *s, point best, double *low, double *high)
{
    double least = s->error.plus, bend = log(1 + best.slope * best.slope);
    for (int i = 0; i < 2; i++) {
        double margin = NEGLIGIBLE + bend + 2 * log(fmax(1, best.sigma / least));
        double most = best.far + margin;
        *low = fmax(*low, -sqrt(most));
        *high = fmin(*high, sqrt(most));
        double inner = *low > 0 ? *low : *high < 0 ? *high : 0;
        cut_box(s, sqrt(fmax(0, most - inner * inner)), low, high);
        double value, unused;
        values_within(s, sqrt(most), &value, &unused);
        least = sigma_of(s->error, value);
    }
}

/* The integral of `product` within the law's bounds. */
static double integrate(const scene *s, point best, point centre, point crossing)
{
    double low = s->law.low, high = s->law.high;
    find_box(s, best, &low, &high);
    if (!(low < high))
        return 0;
    double width = narrower(narrower(width_at(best), centre, low, high), crossing, low, high);
    double count = (high - low) / width;
    if (low > s->law.low && high < s->law.high && count < 64)
        return rl_quad_line(product, s, low, high, 0.9 * width).first;
    double steep = 1 / width_at(best) + fabs(best.z + best.u * best.slope);
    double part = 1e-6 * fmin(high - low, 1 / steep) / best.sigma;
    return rl_quad_panels(product, s, low, high, (int)ceil(clip(count / 3.5, 1, 64)), part).first;
}

double rl_reading_density(const rl_true *u, rl_view view, rl_error error, double v)
{
    scene s;
    set_scene(&s, u, view, error, v);
    if (s.law.terms == 0) {
        double slope, value = value_of(view, s.law.base, &slope);
        return exp(rl_normal_density(v, value, sigma_of(error, value)));
    }
    double edge = fmax(s.law.low, -FARTHEST), end = fmin(s.law.high, FARTHEST), low = edge, high = end;
    cut_box(&s, NOWHERE, &low, &high);
    if (!(low < high))
        return 0;
    point centre = look_at(&s, clip(0, edge, end));
    point crossing = look_at(&s, clip(z_of(&s.law, u_of(view, v)), edge, end));
    point best = nearest_of(&s, centre, crossing);
    s.nearest = best.far;
    double peak = exp(-0.5 * s.nearest);
    if (!(peak > 0))
        return 0;   /* below the least double, and too far off to integrate around */
    return peak * integrate(&s, best, centre, crossing) / (TWO_PI * s.law.mass);
}

/* ---- probabilities ---- */

static rl_pair both_sides(double u)
{
    double tail = rl_normal_below(-fabs(u));
    return u < 0 ? (rl_pair){ tail, 1 - tail } : (rl_pair){ 1 - tail, tail };
}

/* P(from < Z < to), negative where they are the other way round; as exact as the tail they are in. */
static double shift(double from, double to)
{
    if (from > 0)
        return rl_normal_below(-from) - rl_normal_below(-to);
    return rl_normal_below(to) - rl_normal_below(from);
}

/* The z within which the truth has to lie for the meter to err at all, the law's cuts aside. */
typedef struct reach { double low, high, middle; } reach;

static reach reach_of(const scene *s)
{
    reach r = { .low = -INFINITY, .high = INFINITY, .middle = z_of(&s->law, u_of(s->view, s->v)) };
    cut_box(s, CERTAIN, &r.low, &r.high);
    return r;
}

typedef struct turn { const scene *s; double sign, middle, tail; } turn;

/* The mass between the crossing and where it moves when the meter errs by
 * `error` sigma: the other order of integration. */
static rl_pair moved(const void *what, double error)
{
    const turn *t = what;
    double z = z_of(&t->s->law, u_of(t->s->view, value_beside(t->s, t->sign * error)));
    double mass = t->middle > 0 ? t->tail - rl_normal_below(-z) : rl_normal_below(z) - t->tail;   /* see shift */
    return (rl_pair){ mass, 0 };
}

/* Sigma from the crossing to where ln U has no end (U at its base, or without
 * bound): how far the Taylor series of `moved` reaches. */
static double room_of(const scene *s)
{
    double slope, base = value_of(s->view, s->law.base, &slope);
    double room = fabs(s->v - base) / sigma_of(s->error, base);
    if (s->view.sort == RL_VIEW_PLAIN)
        return fmin(room, 1 / sqrt(s->error.share * s->error.share + s->error.supply_spread * s->error.supply_spread));
    double top = value_of(s->view, INFINITY, &slope);
    return fmin(room, fabs(s->v - top) / sigma_of(s->error, top));
}

typedef struct rule { int nodes; double step, part; } rule;

/* Nodes that `moved` takes; 0: more than there are, or the law is but a sliver
 * of the reach.  The limits are where the first term that a rule is not exact
 * for comes to 1e-14, of Phi(z + step e) and of ln(1 + part e). */
static int nodes_of(const scene *s, const reach *r, bool whole)
{
    static const rule bell_whole[] = {
        { 4, 0.029, 0.0155 }, { 6, 0.12, 0.048 }, { 8, 0.2, 0.082 }, { 12, 0.39, 0.14 }, { 0, INFINITY, INFINITY }
    };
    static const rule bell_cut[] = { { 12, 0.12, 0.055 }, { 16, 0.2, 0.08 }, { 24, 0.3, 0.13 }, { 0, INFINITY, INFINITY } };
    const law *l = &s->law;
    double width = r->high - r->low;
    if (!isfinite(width) || l->mass < COMPARABLE * bell(NULL, r->middle).first)
        return 0;
    double tail = fmax(1, 0.5 * fabs(r->middle));
    if (l->terms > 1)
        return width * tail < SLIGHT && width * l->steepest < SLIGHT ? (whole ? 12 : 24) : 0;
    double step = tail / fabs(look_at(s, r->middle).slope), part = 1 / room_of(s);
    const rule *fits = whole ? bell_whole : bell_cut;
    while (step > fits->step || part > fits->part)
        fits++;
    return fits->nodes;
}

/* Errors below `least` leave the whole law under the crossing, those above `most` none of it. */
static rl_pair from_series(const turn *t, int nodes, double least, double most)
{
    const law *l = &t->s->law;
    double coefficient[MOST_NODES], within = shift(least, most);
    rl_quad_series(moved, t, nodes, coefficient);
    double moves = rl_series_over(coefficient, nodes, within, least, most);
    return (rl_pair){ l->mass * rl_normal_below(least) + within * shift(l->low, t->middle) + moves,
                      l->mass * rl_normal_below(-most) + within * shift(t->middle, l->high) - moves };
}

/* Where U changes but little within the meter's error. */
static rl_pair beside(const scene *s, const reach *r, int nodes, bool whole)
{
    const law *l = &s->law;
    bool falls = s->view.sort == RL_VIEW_SUPPLY;
    turn t = { s, falls ? -1 : 1, r->middle, rl_normal_below(-fabs(r->middle)) };
    rl_pair p;
    if (whole) {
        double moves = rl_quad_normal(moved, &t, nodes).first;
        p = (rl_pair){ shift(l->low, r->middle) + moves, shift(r->middle, l->high) - moves };
    } else {
        double least = r->high < l->high ? -INFINITY : t.sign * look_at(s, l->high).u;
        double most = l->low < r->low ? INFINITY : t.sign * look_at(s, l->low).u;
        p = from_series(&t, nodes, least, most);
    }
    return falls ? (rl_pair){ p.second, p.first } : p;
}

/* ---- several edges at once, where the meter errs by as much as U changes ---- */

/* Neighbouring edges: the z where the meter may err about one of them, within the law. */
typedef struct sheet {
    const scene *s;
    int edges, which[BLOCK];
    double edge[BLOCK];
    double low, high;
} sheet;

/* phi(z) times P(reading below an edge | z) and P(reading above it). */
static void sides(const void *what, double z, rl_pair *out)
{
    const sheet *w = what;
    const scene *s = w->s;
    double slope;
    double value = value_of(s->view, s->law.base + grown(&s->law, z, &slope), &slope);
    double sigma = sigma_of(s->error, value), weight = bell(NULL, z).first;
    for (int i = 0; i < w->edges; i++) {
        double u = (w->edge[i] - value) / sigma;
        if (fabs(u) > CERTAIN) {
            out[i] = u > 0 ? (rl_pair){ weight, 0 } : (rl_pair){ 0, weight };
            continue;
        }
        rl_pair p = both_sides(u);
        out[i] = (rl_pair){ p.first * weight, p.second * weight };
    }
}

/* In z, of what a panel may span, should u rise to its ends as it does at z. */
static double span_at(const scene *s, double z)
{
    double grows, turns;
    double value = value_of(s->view, s->law.base + grown(&s->law, z, &grows), &turns);
    double slope = turns * grows / sigma_of(s->error, value);
    return SPAN / sqrt(1 + slope * slope);
}

/* From the upper end down, where U grows the more slowly the lower z is. */
static void integrate_sheet(const sheet *w, rl_pair *sum)
{
    double top = w->high;
    while (top > w->low) {
        double span = span_at(w->s, top);
        span = fmin(span, span_at(w->s, fmax(top - span, w->low)));
        double bottom = top - w->low < 1.3 * span ? w->low : top - span;
        rl_quad_many(sides, w, w->edges, bottom, top, ENOUGH * w->s->law.mass, sum);
        top = bottom;
    }
}

/* The mass that is on one side of the edge for sure: all of z below `low`, and above `high`. */
static void add_sure(const scene *s, reach within, double low, double high, rl_pair *sum)
{
    const law *l = &s->law;
    double under = low < within.high ? normal_mass(within.low, low) : l->mass;
    double over = high > within.low ? normal_mass(high, within.high) : l->mass;
    bool falls = s->view.sort == RL_VIEW_SUPPLY;
    sum->first += falls ? over : under;
    sum->second += falls ? under : over;
}

static void finish_sheet(sheet *w, reach within, rl_pair *out)
{
    rl_pair sum[BLOCK] = { { 0, 0 } };
    if (w->edges == 0)
        return;
    integrate_sheet(w, sum);
    for (int i = 0; i < w->edges; i++) {
        add_sure(w->s, within, w->low, w->high, &sum[i]);
        out[w->which[i]] = sum[i];
    }
    w->edges = 0;
}

static void put_on_sheet(sheet *w, int which, double edge, double low, double high)
{
    w->low = w->edges == 0 ? low : fmin(w->low, low);
    w->high = w->edges == 0 ? high : fmax(w->high, high);
    w->which[w->edges] = which;
    w->edge[w->edges++] = edge;
}

/* ---- the two sides of each edge ---- */

/* The z that the law reaches. */
static reach law_reach(const law *l)
{
    double far = l->mass > AMPLE ? BEYOND : OUTSIDE;
    return (reach){ .low = fmax(l->low, -far), .high = fmin(l->high, far) };
}

/* Is an edge certainly on one side of all that the law reaches, from a to b?
 * u falls with V where v >= 0; below 0 it may turn. */
static bool is_sure(const point *a, const point *b, double v)
{
    double least = (v - a->value) / a->sigma, most = (v - b->value) / b->sigma;
    return v >= 0 && ((least > CERTAIN && most > CERTAIN) || (least < -CERTAIN && most < -CERTAIN));
}

/* Mass below and above each of up to BLOCK edges of a law with terms. */
static void masses_beside(scene *s, int edges, const double *edge, rl_pair *out)
{
    const law *l = &s->law;
    reach within = law_reach(l);
    point first = look_at(s, within.low), last = look_at(s, within.high);
    sheet w = { .s = s };
    for (int i = 0; i < edges; i++) {
        s->v = edge[i];
        if (is_sure(&first, &last, s->v)) {
            out[i] = s->v > first.value ? (rl_pair){ l->mass, 0 } : (rl_pair){ 0, l->mass };
            continue;
        }
        reach r = reach_of(s);
        double low = clip(r.low, within.low, within.high), high = clip(r.high, within.low, within.high);
        bool whole = within.low < r.low && r.high < within.high;
        int nodes = low < high ? nodes_of(s, &r, whole) : 0;
        if (nodes > 0) {
            out[i] = beside(s, &r, nodes, whole);
        } else if (!(low < high)) {
            out[i] = (rl_pair){ 0, 0 };
            add_sure(s, within, low, high, &out[i]);
        } else {
            if (w.edges > 0 && (low > w.high || high < w.low))
                finish_sheet(&w, within, out);
            put_on_sheet(&w, i, edge[i], low, high);
        }
    }
    finish_sheet(&w, within, out);
}

/* P(reading below an edge) and P(reading above it), each with its own relative
 * accuracy, of up to BLOCK edges. */
static void below_and_above(scene *s, int edges, const double *edge, rl_pair *out)
{
    const law *l = &s->law;
    assert(edges <= BLOCK);
    if (l->terms == 0) {
        double slope, value = value_of(s->view, l->base, &slope), sigma = sigma_of(s->error, value);
        for (int i = 0; i < edges; i++)
            out[i] = both_sides((edge[i] - value) / sigma);
        return;
    }
    masses_beside(s, edges, edge, out);
    for (int i = 0; i < edges; i++)
        out[i] = (rl_pair){ out[i].first / l->mass, out[i].second / l->mass };
}

/* What lies between two edges: the difference of the smaller sides. */
static double between(rl_pair lower, rl_pair upper)
{
    if (upper.first < 0.5)
        return fmax(0, upper.first - lower.first);
    if (lower.second < 0.5)
        return fmax(0, lower.second - upper.second);
    return fmax(0, 1 - lower.first - upper.second);
}

void rl_reading_bands(const rl_true *u, rl_view view, rl_error error, int edges, const double *edge, double *out)
{
    assert(edges >= 0);
    scene s;
    set_scene(&s, u, view, error, 0);
    rl_pair last = { 0, 1 }, here[BLOCK];
    for (int from = 0; from < edges; from += BLOCK) {
        int count = edges - from < BLOCK ? edges - from : BLOCK;
        below_and_above(&s, count, edge + from, here);
        for (int i = 0; i < count; i++) {
            assert(from + i == 0 || edge[from + i - 1] < edge[from + i]);
            out[from + i] = between(last, here[i]);
            last = here[i];
        }
    }
    out[edges] = last.second;
}

/* ---- quantiles ---- */

/* The z that a share p of the law lies under. */
static double law_quantile(const law *l, double p)
{
    double low = fmax(l->low, -OUTSIDE), high = fmin(l->high, OUTSIDE);
    for (int i = 0; i < 40; i++) {
        double middle = 0.5 * (low + high);
        if (normal_mass(l->low, middle) < p * l->mass)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

/* The readings between which all but 1e-16 fall. */
static void readings_range(scene *s, double *low, double *high)
{
    point a = look_at(s, fmax(s->law.low, -OUTSIDE)), b = look_at(s, fmin(s->law.high, OUTSIDE));
    *low = fmin(a.value - CERTAIN * a.sigma, b.value - CERTAIN * b.sigma);
    *high = fmax(a.value + CERTAIN * a.sigma, b.value + CERTAIN * b.sigma);
}

double rl_reading_quantile(const rl_true *u, rl_view view, rl_error error, double p)
{
    assert(0 < p && p < 1);
    scene s;
    set_scene(&s, u, view, error, 0);
    double low, high;
    readings_range(&s, &low, &high);
    double z = s.law.terms == 0 ? 0 : law_quantile(&s.law, view.sort == RL_VIEW_SUPPLY ? 1 - p : p);
    s.v = look_at(&s, z).value;
    for (int i = 0; i < 200; i++) {      /* Newton, kept in the bracket */
        rl_pair share;
        below_and_above(&s, 1, &s.v, &share);
        double over = share.first < share.second ? share.first - p : 1 - p - share.second;
        if (over > 0)
            high = s.v;
        else
            low = s.v;
        double next = s.v - over / rl_reading_density(u, view, error, s.v);
        if (!(low <= next && next <= high))
            next = 0.5 * (low + high);
        double step = fabs(next - s.v);
        s.v = next;
        if (step <= 1e-8 * (fabs(next) + 1e-2 * error.plus))
            break;
    }
    return s.v;
}

/* ---- conductors ---- */

double rl_conductor_ohm(double area, double length)
{
    assert(area > 0 && length >= 0);
    return 0.0172414 * length / area;
}

double rl_awg_area(double n)
{
    double diameter = 0.127 * pow(92, (36 - n) / 39);
    return 0.125 * TWO_PI * diameter * diameter;
}
