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
#define DISTANT 40.0       /* z^2 + u^2 */
#define SLIGHT 2.0         /* in z and in ln U: what CERTAIN sigma either way may span for 12 nodes to do */
#define NARROW 0.5         /* in z: an interval whose mass is summed, not subtracted */

enum { LOOKS = 24 };

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
    double sigma = sigma_of(e, s->v), supply = c * e.plus * e.supply_spread;
    double root = c * sqrt(fmax(0, sigma * sigma - supply * supply));
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
 * seen from either end (u is flat where sigma grows with V): look between them too. */
static point nearest_of(const scene *s, point centre, point crossing)
{
    point best = crossing.far < centre.far ? crossing : centre;
    for (int i = 1; i < LOOKS && best.far > DISTANT; i++) {
        point p = look_at(s, centre.z + (crossing.z - centre.z) * i / LOOKS);
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
        return rl_quad_line(product, s, low, high, 0.97 * width).first;
    double steep = 1 / width_at(best) + fabs(best.z + best.u * best.slope);
    double part = 1e-6 * fmin(high - low, 1 / steep) / best.sigma;
    return rl_quad_panels(product, s, low, high, (int)ceil(clip(count / 5, 1, 64)), part).first;
}

double rl_reading_density(const rl_true *u, rl_view view, rl_error error, double v)
{
    scene s;
    set_scene(&s, u, view, error, v);
    if (s.law.terms == 0) {
        double slope, value = value_of(view, s.law.base, &slope);
        return exp(rl_normal_density(v, value, sigma_of(error, value)));
    }
    double edge = fmax(s.law.low, -FARTHEST), end = fmin(s.law.high, FARTHEST);
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

/* phi(z) times P(reading below v | z) and P(reading above v | z). */
static rl_pair sides(const void *what, double z)
{
    const scene *s = what;
    double slope;
    double value = value_of(s->view, s->law.base + grown(&s->law, z, &slope), &slope);
    rl_pair p = both_sides((s->v - value) / sigma_of(s->error, value));
    double weight = bell(NULL, z).first;
    return (rl_pair){ p.first * weight, p.second * weight };
}

/* Adds the mass of [low, high], all on the side of v that z = `at` is on. */
static void add_sure(const scene *s, rl_pair *sum, double low, double high, double at)
{
    double mass = normal_mass(low, high);
    if (!(mass > 0))
        return;
    if (look_at(s, at).u > 0)
        sum->first += mass;
    else
        sum->second += mass;
}

/* Which z come under the reading, and which above, when the meter errs by
 * `error` sigma: the other order of integration. */
static rl_pair split(const void *what, double error)
{
    const scene *s = what;
    const law *l = &s->law;
    double z = z_of(l, u_of(s->view, value_beside(s, error)));
    rl_pair p = isinf(l->low) && isinf(l->high) ? both_sides(z)
        : (rl_pair){ normal_mass(l->low, z), normal_mass(z, l->high) };
    return s->view.sort == RL_VIEW_SUPPLY ? (rl_pair){ p.second, p.first } : p;
}

/* Does U change so little within the meter's error that `split` hardly bends, away from any cut? */
static bool is_narrow(const law *l, double low, double high)
{
    double width = high - low;
    return width < SLIGHT && width * l->steepest < SLIGHT
        && low > fmax(l->low, -OUTSIDE) && high < fmin(l->high, OUTSIDE);
}

/* Only the z where the meter can err are integrated; the rest is on one side for sure. */
static rl_pair add_sides(const scene *s, double first, double low, double high, double last)
{
    rl_pair sum = { 0, 0 };
    if (low < high) {
        point middle = look_at(s, clip(z_of(&s->law, u_of(s->view, s->v)), low, high));
        double count = (high - low) / width_at(middle);
        sum = rl_quad_panels(sides, s, low, high, (int)ceil(clip(count / 8, 1, 64)), 1e-9 * s->law.mass);
    }
    add_sure(s, &sum, first, low, fmax(low - 1e-9, first));
    add_sure(s, &sum, high, last, fmin(high + 1e-9, last));
    return sum;
}

/* P(reading below s->v) and P(reading above it), each with its own relative accuracy. */
static rl_pair below_and_above(const scene *s)
{
    const law *l = &s->law;
    if (l->terms == 0) {
        double slope, value = value_of(s->view, l->base, &slope);
        return both_sides((s->v - value) / sigma_of(s->error, value));
    }
    double first = fmax(l->low, -OUTSIDE), last = fmin(l->high, OUTSIDE);
    double low = first, high = last;
    cut_box(s, CERTAIN, &low, &high);
    rl_pair sum = is_narrow(l, low, high) && low < high ? rl_quad_normal(split, s)
        : add_sides(s, first, fmin(low, last), fmax(high, first), last);
    return (rl_pair){ sum.first / l->mass, sum.second / l->mass };
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
    rl_pair last = { 0, 1 };
    for (int i = 0; i < edges; i++) {
        assert(i == 0 || edge[i - 1] < edge[i]);
        s.v = edge[i];
        rl_pair here = below_and_above(&s);
        out[i] = between(last, here);
        last = here;
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
        rl_pair share = below_and_above(&s);
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
