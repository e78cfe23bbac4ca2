/* test_oracle.c: the oracle against the expected answers of the tiny vehicles,
 * and of the small ones as far as it can enumerate them: the oracle and the
 * reference are two readings of one design, and must agree.
 */
#include "../oracle/inside.h"
#include "given_oracle.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef TEST_ROOT
#define TEST_ROOT "."
#endif
#define REFERENCE TEST_ROOT "/tests/reference"
#define QUAD TEST_ROOT "/tests/oracle/quad.csv"   /* readings through a divider, worked out to 40 digits elsewhere */

static const tolerance ALLOWED = {1e-9, 1e-8, 1e-9, 1e-8, 1e-9};

static const json_t *line_of(const json_t *lines, const char *name)
{
    for (size_t i = 0; i < json_array_size(lines); i++) {
        const json_t *line = json_array_get(lines, i);
        if (strcmp(json_string_value(json_object_get(line, "case")), name) == 0)
            return line;
    }
    return NULL;
}

/* Differences of one folder; *looked counts the cases that were small enough. */
static int folder(const char *path, double bound, size_t *looked)
{
    char name[600];
    int bad = 0;
    size_t count;
    snprintf(name, sizeof name, "%s/v.gnd", path);
    oc_model *model = oc_model_read(name);
    assert_non_null(model);
    snprintf(name, sizeof name, "%s/v.case", path);
    oc_case **cases = oc_cases_read(model, name, &count);
    snprintf(name, sizeof name, "%s/want.jsonl", path);
    json_t *lines = given_lines(name);
    assert_true(count > 0);
    for (size_t i = 0; i < count; i++) {
        const json_t *line = line_of(lines, oc_case_name(cases[i]));
        given *got = line == NULL ? NULL : given_from_oracle(model, cases[i], bound);
        if (got == NULL)
            continue;
        given *want = given_from_json(line);
        bad += given_differences(want, got, ALLOWED);
        ++*looked;
        given_free(want);
        given_free(got);
    }
    json_decref(lines);
    oc_model_free(model);
    return bad;
}

static int folders(const char *sort, double bound, size_t *looked)
{
    char **list = given_folders(REFERENCE);
    int bad = 0;
    for (char **at = list; *at != NULL; at++)
        if (strstr(*at, sort) != NULL)
            bad += folder(*at, bound, looked);
    given_list_free(list);
    return bad;
}

static void tiny_vehicles(void **state)
{
    (void)state;
    size_t looked = 0;
    assert_int_equal(folders("/tiny-", 1e9, &looked), 0);
    assert_int_equal(looked, 42);
}

static void small_vehicles(void **state)
{
    (void)state;
    size_t looked = 0;
    const char *bound = getenv("ORACLE_BOUND");
    assert_int_equal(folders("/small-", bound == NULL ? 1e5 : atof(bound), &looked), 0);
    print_message("%zu cases were small enough\n", looked);
    assert_true(looked >= 5);
}

/* One row of quad.csv: a log-normal resistance seen as a voltage drop. */
static void quad_row(oc_model *m, const char *line)
{
    double row, vs, rl, median, log_sd, sigma, v, a, b, density, ln_density, band, got[3];
    int n = sscanf(line, "%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf", &row, &vs, &rl, &median, &log_sd,
                   &sigma, &v, &a, &b, &density, &ln_density, &band);
    assert_int_equal(n, 12);
    oc_u u = {.factor = 1, .law = {median, log_sd}, .low = 0, .high = INFINITY};
    oc_show show = {OC_LOSS, vs, rl, 0, sigma, 0};
    assert_true(fabs(oc_density(m, &u, &show, v) / density - 1) < 1e-10);
    oc_bands(m, &u, &show, 2, (const double[2]){a, b}, got);
    assert_true(fabs(got[1] - band) < 1e-10 * band + 1e-16);
}

static void readings(void **state)
{
    (void)state;
    char line[1024];
    int rows = 0;
    oc_model *m = oc_model_read(REFERENCE "/tiny-01/v.gnd");
    FILE *file = fopen(QUAD, "r");
    assert_non_null(m);
    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL)
        if (line[0] >= '0' && line[0] <= '9') {
            quad_row(m, line);
            rows++;
        }
    fclose(file);
    oc_model_free(m);
    assert_int_equal(rows, 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(readings), cmocka_unit_test(tiny_vehicles), cmocka_unit_test(small_vehicles)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
