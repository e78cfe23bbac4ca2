/* test_reading.c: densities, bands and quantiles of readings against an
 * integration that shares nothing with theirs.
 *
 * The oracle works in long double: it lays panels of geometrically shrinking
 * width around every place where the integrand could be sharp (cuts, the
 * crossings of reading or band edge, the highest point of a fine scan), and
 * halves each until it agrees with its halves.  Slow, and blind to shape.
 */
#include "engine/quadrature.h"
#include "engine/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

typedef long double real;
enum { POINTS = 12, MARKS = 400, SCAN = 800 };
#ifndef TRIALS
#define TRIALS 600
#endif
#define REACH 40.0L

/* ---- the oracle ---- */

typedef struct trial {
    rl_true u;
    rl_view view;
    rl_error error;
    double v;                  /* density at v, unless `banded` */
    bool banded;
    double from, to;           /* the band */
    real peak;                 /* ln of the highest integrand */
} trial;

static real value_at(const trial *t, real z)
{
    real u = t->u.base;
    if (t->u.sort == RL_TRUE_COUNTS)
        u += (real)t->u.scale * t->u.median * expl(t->u.log_spread * z);
    for (int i = 0; t->u.sort == RL_TRUE_WAY && i < t->u.terms; i++)
        u += t->u.term[i].scale * expl(t->u.term[i].log_spread * z);
    if (t->view.sort == RL_VIEW_PLAIN)
        return u;
    real top = t->view.sort == RL_VIEW_DROP ? u : (real)t->view.nominal;
    return t->view.source * top / (u + t->view.nominal);
}

static real sigma_at(const trial *t, real value)
{
    return hypotl(t->error.share * value + t->error.plus, t->error.supply_spread * value);
}

static real band_at(const trial *t, real value, real sigma)
{
    real low = (t->from - value) / sigma, high = (t->to - value) / sigma, root = sqrtl(0.5L);
    if (low > 0)
        return (erfcl(low * root) - erfcl(high * root)) / 2;
    return (erfcl(-high * root) - erfcl(-low * root)) / 2;
}

static real log_integrand(const trial *t, real z)
{
    real value = value_at(t, z), sigma = sigma_at(t, value), tau = 2 * acosl(-1);
    real normal = -z * z / 2 - logl(tau) / 2;
    if (t->banded)
        return normal + logl(band_at(t, value, sigma));
    real u = (t->v - value) / sigma;
    return normal - u * u / 2 - logl(tau) / 2 - logl(sigma);
}

static real integrand(const trial *t, real z)
{
    return expl(log_integrand(t, z) - t->peak);
}

/* Gauss-Legendre on POINTS points, made afresh: nodes by Newton on the recurrence. */
static void make_rule(real *x, real *w)
{
    for (int i = 0; i < POINTS; i++) {
        real z = cosl(acosl(-1) * (i + 0.75L) / (POINTS + 0.5L)), slope = 1;
        for (int turn = 0; turn < 30; turn++) {
            real before = 1, now = z;
            for (int k = 2; k <= POINTS; k++) {
                real next = ((2 * k - 1) * z * now - (k - 1) * before) / k;
                before = now;
                now = next;
            }
            slope = POINTS * (z * now - before) / (z * z - 1);
            z -= now / slope;
        }
        x[i] = z;
        w[i] = 2 / ((1 - z * z) * slope * slope);
    }
}

static real rule(const trial *t, real low, real high)
{
    static real x[POINTS], w[POINTS];
    if (w[0] == 0)
        make_rule(x, w);
    real sum = 0, half = (high - low) / 2;
    for (int i = 0; i < POINTS; i++)
        sum += w[i] * integrand(t, (low + high) / 2 + half * x[i]);
    return sum * half;
}

static real halve(const trial *t, real low, real high, real whole, real floor, int depth)
{
    real middle = (low + high) / 2, left = rule(t, low, middle), right = rule(t, middle, high);
    if (depth == 0 || fabsl(left + right - whole) <= 1e-11L * fabsl(whole) + floor)
        return left + right;
    return halve(t, low, middle, left, floor, depth - 1) + halve(t, middle, high, right, floor, depth - 1);
}

static int ascending(const void *a, const void *b)
{
    real x = *(const real *)a, y = *(const real *)b;
    return (x > y) - (x < y);
}

static void mark(real *marks, int *count, real low, real high, real centre)
{
    real width = 16;
    for (int k = 0; k < 20; k++, width /= 4) {
        marks[(*count)++] = fminl(fmaxl(centre - width, low), high);
        marks[(*count)++] = fminl(fmaxl(centre + width, low), high);
    }
    marks[(*count)++] = fminl(fmaxl(centre, low), high);
}

static real crossing(const trial *t, real low, real high, real v)
{
    bool falls = t->view.sort == RL_VIEW_SUPPLY;
    for (int i = 0; i < 70; i++) {
        real middle = (low + high) / 2;
        if ((value_at(t, middle) < v) != falls)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/* Highest point of the log integrand: a scan between the places that matter, then thirds. */
static real summit(trial *t, real low, real high, const real *marks, int count)
{
    real best = low, gap = (high - low) / SCAN;
    t->peak = -INFINITY;
    for (int i = 0; i <= SCAN + count; i++) {
        real z = i <= SCAN ? low + gap * i : marks[i - SCAN - 1];
        real here = log_integrand(t, z);
        if (here > t->peak) {
            t->peak = here;
            best = z;
        }
    }
    real a = fmaxl(low, best - gap), b = fminl(high, best + gap);
    for (int i = 0; i < 90; i++) {
        real left = a + (b - a) / 3, right = b - (b - a) / 3;
        if (log_integrand(t, left) < log_integrand(t, right))
            a = left;
        else
            b = right;
    }
    real fine = log_integrand(t, (a + b) / 2);
    t->peak = fmaxl(t->peak, fine);
    return fine >= t->peak ? (a + b) / 2 : best;
}

static real mass_of(real low, real high)
{
    real root = sqrtl(0.5L);
    if (low > 0)
        return (erfcl(low * root) - erfcl(high * root)) / 2;
    return (erfcl(-high * root) - erfcl(-low * root)) / 2;
}

static bool is_cut(const trial *t)
{
    return t->u.sort == RL_TRUE_COUNTS;
}

/* The expectation, by brute force; *size is ln of it. */
static real slowly(trial *t, real *size)
{
    real low = -REACH, high = REACH, mass = 1;
    if (is_cut(t)) {
        real a = logl((real)t->u.low / t->u.median) / t->u.log_spread;
        real b = logl((real)t->u.high / t->u.median) / t->u.log_spread;
        low = fmaxl(low, a);
        high = fminl(high, b);
        mass = mass_of(a, b);
    }
    real marks[MARKS];
    int count = 0;
    mark(marks, &count, low, high, low);
    mark(marks, &count, low, high, high);
    mark(marks, &count, low, high, 0);
    mark(marks, &count, low, high, crossing(t, low, high, t->banded ? t->from : t->v));
    if (t->banded)
        mark(marks, &count, low, high, crossing(t, low, high, t->to));
    mark(marks, &count, low, high, summit(t, low, high, marks, count));
    qsort(marks, (size_t)count, sizeof *marks, ascending);
    if (t->peak < -750)        /* below all doubles: its digits would drown in rounding */
        return expl(*size = t->peak);
    real sum = 0, rough = 0, whole[MARKS];
    for (int i = 1; i < count; i++)
        rough += whole[i] = marks[i] > marks[i - 1] ? rule(t, marks[i - 1], marks[i]) : 0;
    for (int i = 1; i < count; i++)
        if (whole[i] > 1e-15L * rough)
            sum += halve(t, marks[i - 1], marks[i], whole[i], 1e-13L * rough, 10);
    *size = t->peak + logl(sum / mass);
    return expl(*size);
}

/* ---- trials drawn at random, always the same ones ---- */

static double uniform(uint64_t *state)
{
    uint64_t x = *state += 0x9E3779B97F4A7C15u;
    x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9u;
    x = (x ^ (x >> 27)) * 0x94D049BB133111EBu;
    return (double)((x ^ (x >> 31)) >> 11) / 9007199254740992.0;
}

static double between(uint64_t *state, double low, double high)
{
    return low + (high - low) * uniform(state);
}

static double decades(uint64_t *state, double low, double high)
{
    return low * pow(high / low, uniform(state));
}

static bool often(uint64_t *state, double share)
{
    return uniform(state) < share;
}

static void draw_cut(uint64_t *state, rl_true *u)
{
    double z = between(state, -6, 6);
    u->low = 0;
    u->high = INFINITY;
    if (often(state, 0.3))
        return;
    u->low = u->median * exp(u->log_spread * z);
    if (often(state, 0.7))
        u->high = u->low * (often(state, 0.2) ? 1 + decades(state, 1e-5, 1) : decades(state, 1.1, 1e5));
    if (often(state, 0.2) && u->high < INFINITY)
        u->low = 0;
}

static void draw_truth(uint64_t *state, rl_true *u, rl_term *term)
{
    double current = decades(state, 1e-3, 200);
    *u = (rl_true){ .base = often(state, 0.3) ? 0 : decades(state, 1e-5, 1), .low = 0, .high = INFINITY };
    if (often(state, 0.6)) {
        u->sort = RL_TRUE_COUNTS;
        u->scale = current;
        u->median = decades(state, 1e-5, 1e5);
        u->log_spread = log(1 + decades(state, 0.003, 99));
        draw_cut(state, u);
        return;
    }
    u->sort = RL_TRUE_WAY;
    u->terms = 1 + (int)(8 * uniform(state));
    u->term = term;
    double spread = log(1 + decades(state, 0.01, 20));
    for (int i = 0; i < u->terms; i++) {
        if (often(state, 0.3))
            spread = often(state, 0.2) ? 0 : log(1 + decades(state, 0.01, 20));
        term[i] = (rl_term){ current * decades(state, 1e-5, 1), i == 0 && spread <= 0 ? 0.7 : spread };
    }
}

static void draw_meter(uint64_t *state, trial *t)
{
    t->view.sort = (rl_view_sort)(3 * uniform(state));
    t->view.source = between(state, 5, 29);
    t->view.nominal = often(state, 0.7) ? t->view.source : between(state, 5, 29);
    t->error.share = often(state, 0.2) && t->view.sort != RL_VIEW_PLAIN ? 0 : decades(state, 1e-3, 0.05);
    t->error.plus = decades(state, 1e-4, 0.5);
    t->error.supply_spread = often(state, 0.5) ? 0 : decades(state, 0.01, 0.1);
}

static double draw_reading(uint64_t *state, const trial *t)
{
    double value = (double)value_at(t, (real)between(state, -7, 7));
    if (often(state, 0.25))
        value = between(state, 0, t->view.source);
    if (often(state, 0.1))
        value = often(state, 0.5) ? 0 : t->view.source;
    double sigma = (double)sigma_at(t, value);
    return value + sigma * between(state, -1, 1) * decades(state, 1e-2, 40);
}

static trial draw(uint64_t *state, rl_term *term)
{
    trial t = { 0 };
    draw_truth(state, &t.u, term);
    draw_meter(state, &t);
    t.v = draw_reading(state, &t);
    return t;
}

/* The oracle has no word for a law cut down to nothing: that is tested apart. */
static bool has_mass(const rl_true *u)
{
    if (u->sort != RL_TRUE_COUNTS)
        return true;
    real a = logl((real)u->low / u->median) / u->log_spread, b = logl((real)u->high / u->median) / u->log_spread;
    return mass_of(a, b) > 1.1e-12L;
}

static void tell(const trial *t, int i, double got, double want)
{
    fprintf(stderr, "trial %d: sort %d view %d base %g scale %g median %g spread %g cut %g %g; source %g nominal %g; "
            "error %g %g %g; v %.17g band %g %g\n  got %.17g want %.17g\n", i, (int)t->u.sort, (int)t->view.sort,
            t->u.base, t->u.scale, t->u.median, exp(t->u.log_spread), t->u.low, t->u.high, t->view.source,
            t->view.nominal, t->error.share, t->error.plus, t->error.supply_spread, t->v, t->from, t->to, got, want);
}

static void assert_near(double got, double want, double relative)
{
    if (!(fabs(got - want) <= relative * fabs(want)))
        fail_msg("%.17g is not %.17g within %g", got, want, relative);
}

static void densities_agree(void **unused)
{
    (void)unused;
    uint64_t state = 1;
    rl_term term[8];
    int asked = 0, wrong = 0;
    double worst = 0;
    for (int i = 0; i < TRIALS; i++) {
        trial t = draw(&state, term);
        real size = 0;
        if (!has_mass(&t.u))
            continue;
        double want = (double)slowly(&t, &size);
        if (!(size > -690))
            continue;
        double got = rl_reading_density(&t.u, t.view, t.error, t.v);
        asked++;
        double off = fabs(got / want - 1);
        worst = fmax(worst, off);
        if (!(off <= 1e-8) && wrong++ < 20)
            tell(&t, i, got, want);
    }
    printf("densities: %d asked, worst %g\n", asked, worst);
    assert_int_equal(wrong, 0);
    assert_true(asked > TRIALS / 3);
}

/* Far below 0 only a large true value, with its large error, explains the reading: once 0. */
static void below_zero(void **unused)
{
    (void)unused;
    trial t = {.u = {.sort = RL_TRUE_COUNTS, .base = 0.00098444, .scale = 0.0246601, .median = 0.00494295,
                     .log_spread = log(21.2429), .low = 0, .high = INFINITY},
               .view = {RL_VIEW_DROP, 13.3868, 13.3868}, .error = {0.0302876, 0.0265946, 0.0952774},
               .v = -1.1388375039144822};
    real size = 0;
    double want = (double)slowly(&t, &size);
    assert_true(want > 0);
    assert_near(rl_reading_density(&t.u, t.view, t.error, t.v), want, 1e-8);
}

static int wrong_bands(trial *t, int i, double *worst)
{
    double edge[6], got[7], total = 0;
    for (int k = 0; k < 6; k++)
        edge[k] = k == 0 ? t->v : edge[k - 1] + fabs(t->v) * (0.02 + k * k * 0.3) + 1e-3;
    rl_reading_bands(&t->u, t->view, t->error, 6, edge, got);
    int wrong = 0;
    t->banded = true;
    for (int k = 0; k < 7; k++) {
        real size;
        t->from = k == 0 ? -INFINITY : edge[k - 1];
        t->to = k == 6 ? INFINITY : edge[k];
        double want = (double)slowly(t, &size);
        double off = fabs(got[k] - want);
        double allowed = want > 1e-6 ? fmin(1e-9, 1e-8 * want) : 1e-9;
        *worst = fmax(*worst, off / allowed);
        if (!(off <= allowed) && wrong++ < 2)
            tell(t, i, got[k], want);
        total += got[k];
    }
    return wrong + !(fabs(total - 1) <= 1e-12);
}

static void bands_agree(void **unused)
{
    (void)unused;
    uint64_t state = 2;
    rl_term term[8];
    int wrong = 0;
    double worst = 0;
    for (int i = 0; i < TRIALS / 10; i++) {
        trial t = draw(&state, term);
        if (has_mass(&t.u))
            wrong += wrong_bands(&t, i, &worst);
    }
    printf("bands: worst %g of what is allowed\n", worst);
    assert_int_equal(wrong, 0);
}

static void quantiles_agree(void **unused)
{
    (void)unused;
    uint64_t state = 3;
    rl_term term[8];
    for (int i = 0; i < TRIALS / 10; i++) {
        trial t = draw(&state, term);
        double p = often(&state, 0.5) ? between(&state, 0.01, 0.99) : 0.05;
        if (!has_mass(&t.u))
            continue;
        double q = rl_reading_quantile(&t.u, t.view, t.error, p);
        double step = 1e-6 * fabs(q) + 1e-7 * t.error.plus;
        real size;
        t.banded = true;
        t.from = -INFINITY;
        t.to = q - step;
        double under = (double)slowly(&t, &size);
        t.to = q + step;
        double over = (double)slowly(&t, &size);
        if (!(under <= p + 1e-11 && p - 1e-11 <= over)) {
            tell(&t, i, under, over);
            fail_msg("%.17g is no quantile of %g", q, p);
        }
    }
}

/* ---- what is known in closed form ---- */

static rl_pair power(const void *what, double x)
{
    return (rl_pair){ pow(x, *(const int *)what), pow(1 - x, *(const int *)what) };
}

static void panels_are_exact_to_degree_31(void **unused)
{
    (void)unused;
    for (int k = 0; k < 32; k++) {
        rl_pair sum = rl_quad_panels(power, &k, 0, 1, 1, 1e9);
        assert_near(sum.first, 1.0 / (k + 1), 1e-14);
        assert_near(sum.second, 1.0 / (k + 1), 1e-14);
        sum = rl_quad_panels(power, &k, -1, 1, 1, 1e9);
        if (k % 2 == 0)
            assert_near(sum.first, 2.0 / (k + 1), 1e-14);
        else
            assert_true(fabs(sum.first) < 1e-15);
    }
}

/* Moments of the normal law: 1, 1, 3, 15, ... for the even powers. */
static void hermite_is_exact_to_degree_23(void **unused)
{
    (void)unused;
    double moment = 1;
    for (int k = 0; k < 24; k += 2) {
        assert_near(rl_quad_normal(power, &k, 12).first, moment, 1e-13);
        moment *= k + 1;
    }
}

static rl_pair needle(const void *what, double x)
{
    double width = *(const double *)what;
    return (rl_pair){ width / (width * width + x * x), 0 };
}

static rl_pair bell_curve(const void *what, double x)
{
    (void)what;
    return (rl_pair){ exp(-x * x), 0 };
}

static void rules_refine(void **unused)
{
    (void)unused;
    double width = 1e-6;
    assert_near(rl_quad_panels(needle, &width, 0, 1, 1, 1e-8).first, atan(1e6), 1e-12);
    assert_near(rl_quad_line(bell_curve, NULL, -6.5, 7, 5).first, sqrt(acos(-1)), 1e-14);
}

static void normal_tails(void **unused)
{
    (void)unused;
    assert_near(rl_normal_below(-1), 0.158655253931457051, 1e-14);
    assert_near(rl_normal_below(-5), 2.86651571879193912e-7, 1e-13);
    assert_near(rl_normal_below(-10), 7.61985302416052607e-24, 1e-13);
    assert_near(rl_normal_below(-37), 5.72557122252457682e-300, 1e-12);
    assert_near(rl_normal_below(3), 0.998650101968369905, 1e-14);
    assert_near(rl_normal_density(7, 3, 2), -2 - log(2) - 0.5 * log(2 * acos(-1)), 1e-14);
    assert_near(rl_normal_density(1e3, 0, 1), -500000.91893853320467, 1e-14);
}

static const rl_view drop = { RL_VIEW_DROP, 12.6, 12.6 };
static const rl_error fine = { 0.005, 0.002, 0 };

static void below_is_exact(void **unused)
{
    (void)unused;
    rl_true whole = { .sort = RL_TRUE_COUNTS, .base = 0.1, .scale = 2, .median = 0.8, .log_spread = log(5),
                      .low = 0, .high = INFINITY };
    assert_near(rl_reading_below(&whole, 0.1 + 2 * 0.8), 0.5, 1e-14);
    assert_true(rl_reading_below(&whole, 0.1) <= 0);
    rl_true bare = whole;
    bare.base = 0;
    assert_near(rl_reading_below(&bare, 2 * 0.8 * pow(5, -10)), rl_normal_below(-10), 1e-12);
    rl_true cut = whole;
    cut.low = 0.8;
    cut.high = 4;
    assert_near(rl_reading_below(&cut, 0.1 + 2 * 0.8 * sqrt(5)),
                (0.691462461274013104 - 0.5) / (0.841344746068542949 - 0.5), 1e-14);
    assert_true(rl_reading_below(&cut, 1.6) <= 0 && rl_reading_below(&cut, 9) >= 1);
    rl_term term[] = { { 0.01, log(3) }, { 0.5, 0 }, { 0.02, log(3) }, { 0.004, log(2) }, { 0, log(9) } };
    rl_true way = { .sort = RL_TRUE_WAY, .base = 0.2, .terms = 5, .term = term };
    for (int z = -8; z <= 8; z++) {
        double grown = 0.03 * pow(3, z) + 0.004 * pow(2, z);
        assert_near(rl_reading_below(&way, 0.7 + grown), rl_normal_below(z), z < -4 ? 1e-9 : 1e-11);
    }
}

static void points_are_points(void **unused)
{
    (void)unused;
    rl_true fixed = { .sort = RL_TRUE_FIXED, .base = 12.6 };
    double sigma = 0.005 * 6.3 + 0.002, want = exp(-0.5) / (sigma * sqrt(2 * acos(-1)));
    assert_near(rl_reading_density(&fixed, drop, fine, 6.3 + sigma), want, 1e-12);
    rl_true still = { .sort = RL_TRUE_COUNTS, .base = 2.6, .scale = 2, .median = 5, .low = 0, .high = INFINITY };
    assert_near(rl_reading_density(&still, drop, fine, 6.3 - sigma), want, 1e-12);
    rl_true edge = { .sort = RL_TRUE_COUNTS, .base = 2.6, .scale = 2, .median = 5e-9, .log_spread = log(2),
                     .low = 5, .high = INFINITY };
    assert_near(rl_reading_density(&edge, drop, fine, 6.3 - sigma), want, 1e-12);
    rl_term term = { 12.6, 0 };
    rl_true way = { .sort = RL_TRUE_WAY, .terms = 1, .term = &term };
    assert_near(rl_reading_density(&way, drop, fine, 6.3 + sigma), want, 1e-12);
    rl_true open = { .sort = RL_TRUE_FIXED, .base = INFINITY };
    assert_near(rl_reading_quantile(&open, drop, fine, 0.5), 12.6, 1e-9);
    assert_true(rl_reading_below(&fixed, 12.6) <= 0 && rl_reading_below(&fixed, 12.7) >= 1);
    double all;
    rl_reading_bands(&fixed, drop, fine, 0, NULL, &all);
    assert_true(all >= 1 && all <= 1);
}

/* A reading so far from all that the way can show that its density is below
 * the least double: 0, and not what 0 times infinity is (tests/reference small-28, case 28-1). */
static void far_off_is_zero_not_nan(void **state)
{
    (void)state;
    rl_term term = {0.15 * 1.87e-3, 0.207};
    rl_true way = {.sort = RL_TRUE_WAY, .terms = 1, .term = &term};
    rl_view view = {RL_VIEW_SUPPLY, 12.6, 12.6};
    rl_error error = {0.005, 0.002, 0};
    for (double v = 0.01; v < 6; v *= 3)
        assert_true(rl_reading_density(&way, view, error, v) == 0);
    assert_true(rl_reading_density(&way, view, error, 12.6) > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(panels_are_exact_to_degree_31),
        cmocka_unit_test(hermite_is_exact_to_degree_23),
        cmocka_unit_test(rules_refine),
        cmocka_unit_test(normal_tails),
        cmocka_unit_test(below_is_exact),
        cmocka_unit_test(points_are_points),
        cmocka_unit_test(densities_agree),
        cmocka_unit_test(below_zero),
        cmocka_unit_test(bands_agree),
        cmocka_unit_test(quantiles_agree),
        cmocka_unit_test(far_off_is_zero_not_nan),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
