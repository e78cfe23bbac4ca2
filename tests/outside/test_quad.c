/* test_quad.c: densities and bands against outside figures of 40 digits.
 *
 * Data: tests/data/quad.csv, status b (computed: two runs of differing
 * resolution in many digits, a second formulation, and a count of 4e6
 * simulated readings agree; its own columns say how well).  The model there:
 * V = Vs R / (R + RL), R log-normal, the meter's sigma fixed.
 */
#include "engine/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#ifndef DATA
#define DATA "tests/data"   /* tests run from the top folder */
#endif

enum { COLUMNS = 12, ROWS = 20 };
enum { ROW, SUPPLY, LOAD, MEDIAN, SPREAD, SIGMA, READING, FROM, TO, DENSITY, LN_DENSITY, BAND };

static void assert_relative(int row, double got, double want, double relative)
{
    if (!(fabs(got - want) <= relative * fabs(want)))
        fail_msg("row %d: %.17g is not %.17g within %g", row, got, want, relative);
}

static int next_row(FILE *file, double *field)
{
    char line[1024];
    while (fgets(line, sizeof line, file) != NULL) {
        int at = 0, used = 0, count = 0;
        while (count < COLUMNS && sscanf(line + at, "%lf%n", &field[count], &used) == 1) {
            count++;
            at += used + 1;
        }
        if (count == COLUMNS)
            return 1;
    }
    return 0;
}

/* The row's law, once as an element that counts and once as a sound way. */
static rl_true truth(const double *field, int as_way, const rl_term *term)
{
    if (as_way)
        return (rl_true){ .sort = RL_TRUE_WAY, .terms = 1, .term = term };
    return (rl_true){ .sort = RL_TRUE_COUNTS, .scale = 1, .median = field[MEDIAN], .log_spread = field[SPREAD],
                      .low = 0, .high = INFINITY };
}

static void check_row(const double *field, int as_way)
{
    rl_term term = { field[MEDIAN], field[SPREAD] };
    rl_true u = truth(field, as_way, &term);
    rl_view view = { RL_VIEW_DROP, field[SUPPLY], field[LOAD] };
    rl_error error = { 0, field[SIGMA], 0 };
    int row = (int)field[ROW];
    double density = rl_reading_density(&u, view, error, field[READING]);
    assert_relative(row, density, field[DENSITY], 1e-9);
    assert_true(fabs(log(density) - field[LN_DENSITY]) <= 1e-9);
    double band[3];
    rl_reading_bands(&u, view, error, 2, &field[FROM], band);
    assert_relative(row, band[1], field[BAND], field[BAND] > 1e-6 ? 1e-9 : 1e-5);
    assert_true(fabs(band[0] + band[1] + band[2] - 1) <= 1e-12);
}

static void figures_hold(void **unused)
{
    (void)unused;
    FILE *file = fopen(DATA "/quad.csv", "r");
    assert_non_null(file);
    double field[COLUMNS];
    int rows = 0;
    while (next_row(file, field)) {
        check_row(field, 0);
        check_row(field, 1);
        rows++;
    }
    fclose(file);
    assert_int_equal(rows, ROWS);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(figures_hold) };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
