/* test_law.c: masses and medians of cut log-normal laws against values worked
 * out with mpmath to 30 digits.
 */
#include "../../engine/model.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

static void near(double got, double want, double relative)
{
    if (!(fabs(got - want) <= relative * fabs(want)))
        fail_msg("got %.17g, want %.17g", got, want);
}

/* ln R ~ N(0, 1): z is ln r. */
static const rl_law unit = { 1, 1 };

static void mass_in_both_tails(void **state)
{
    (void)state;
    /* mpmath.ncdf(-z) */
    const double z[] = { 1, 2, 6, 10, 20, 37 };
    const double tail[] = { 1.5865525393145705142e-1, 2.2750131948179207200e-2, 9.8658764503769814070e-10,
                            7.6198530241605260660e-24, 2.7536241186062336951e-89, 5.7255712225245768e-300 };
    for (size_t i = 0; i < sizeof z / sizeof *z; i++) {
        near(rl_law_mass(unit, 0, exp(-z[i])), tail[i], z[i] < 10 ? 1e-13 : 2e-12);
        near(rl_law_mass(unit, exp(z[i]), INFINITY), tail[i], z[i] < 10 ? 1e-13 : 2e-12);
    }
    near(rl_law_mass(unit, 0, INFINITY), 1, 1e-15);
    near(rl_law_mass(unit, exp(-1), exp(1)), 0.68268949213708589717, 1e-14);
}

/* A bin far out and narrow: mass = phi(z) dz (1 - z dz / 2 + (z^2 - 1) dz^2 / 6 - ...). */
static void mass_of_a_narrow_bin(void **state)
{
    (void)state;
    const double z = 9, dz = 1e-4;
    double phi = exp(-0.5 * z * z) / sqrt(2 * acos(-1));
    double series = 1 - z * dz / 2 + (z * z - 1) * dz * dz / 6 - (z * z * z - 3 * z) * dz * dz * dz / 24;
    near(rl_law_mass(unit, exp(z), exp(z + dz)), phi * dz * series, 1e-10);
    near(rl_law_mass(unit, exp(-z - dz), exp(-z)), phi * dz * series, 1e-10);
}

static void masses_add_up(void **state)
{
    (void)state;
    const rl_law law = { 0.8, log(5) };
    const double edge[] = { 0, 0.05, 0.5, 5, 7, 7.2, INFINITY };
    double sum = 0;
    for (int i = 0; i < 6; i++)
        sum += rl_law_mass(law, edge[i], edge[i + 1]);
    near(sum, 1, 1e-14);
}

/* The law of the design's example, joint corroded 0.8 ohm spread 5, cut at
 * 50 mohm, 0.5 ohm, 5 ohm.  Values from mpmath (ncdf, erfinv) with 30 digits. */
static void the_usual_bins(void **state)
{
    (void)state;
    const rl_law law = { 0.8, log(5) };
    const double edge[] = { 0, 0.05, 0.5, 5, INFINITY };
    const double mass[] = { 0.0424708313660602437, 0.342661136450912637, 0.487442799564816971, 0.127425232618210149 };
    const double median[] = { 0.0305468125432734659, 0.223149939474085638, 1.35807545020644914, 9.30151974829428261 };
    for (int i = 0; i < 4; i++) {
        near(rl_law_mass(law, edge[i], edge[i + 1]), mass[i], 1e-13);
        near(rl_law_cut_median(law, edge[i], edge[i + 1]), median[i], 1e-13);
    }
    near(rl_law_cut_median(law, 0, INFINITY), 0.8, 1e-14);
}

/* The median of a tail has half the tail beyond it; the two tails mirror each other. */
static void medians_far_out(void **state)
{
    (void)state;
    double median = log(rl_law_cut_median(unit, exp(10), INFINITY));
    near(erfc(median * sqrt(0.5)), 0.5 * erfc(10 * sqrt(0.5)), 1e-11);
    near(log(rl_law_cut_median(unit, 0, exp(-10))), -median, 1e-13);
}

static void a_bin_without_mass(void **state)
{
    (void)state;
    const rl_law narrow = { 1, 0.01 };
    assert_true(rl_law_mass(narrow, 5, 50) == 0);
    near(rl_law_cut_median(narrow, 5, 50), 5, 0);
    near(rl_law_cut_median(narrow, 0, 0.5), 0.5, 0);
}

static void a_point_mass(void **state)
{
    (void)state;
    const rl_law point = { 0.5, 0 };
    near(rl_law_mass(point, 0.5, 5), 1, 0);
    assert_true(rl_law_mass(point, 0.05, 0.5) == 0);
    near(rl_law_mass(point, 0, INFINITY), 1, 0);
    near(rl_law_cut_median(point, 0.1, 1), 0.5, 0);
    near(rl_law_cut_median(point, 1, INFINITY), 1, 0);
    near(rl_law_cut_median(point, 0, 0.5), 0.5, 0);
}

static void no_law(void **state)
{
    (void)state;
    assert_true(rl_law_mass((rl_law){ 0, 0 }, 0, INFINITY) == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mass_in_both_tails),        cmocka_unit_test(mass_of_a_narrow_bin),
        cmocka_unit_test(masses_add_up),             cmocka_unit_test(the_usual_bins),
        cmocka_unit_test(medians_far_out),           cmocka_unit_test(a_bin_without_mass),
        cmocka_unit_test(a_point_mass),              cmocka_unit_test(no_law),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
