/* test_conductors.c: areas and resistances of wires against printed tables.
 *
 * Data in tests/data (each file says where each figure was read):
 *   awg.csv              diameters and areas by the ASTM B258 formula (b), a handbook's ohm per 1000 ft (a)
 *   iec60228_class5.csv  greatest resistance of stranded copper (a): the ideal conductor lies 10 to 16 % under it
 *   nec_ch9_t8.csv       resistance at 75 C (a), brought to 20 C by its own footnote (b)
 *   copper.csv           the resistivity (a), and worked circuits with rho = 1/58 (b)
 * Columns and rows of status c (from memory) are not asserted.
 */
#include "engine/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#ifndef DATA
#define DATA "tests/data"   /* tests run from the top folder */
#endif

enum { FIELDS = 16 };
#define FOOT 0.3048

/* Splits at commas outside quotes, in place; returns the number of fields. */
static int split(char *line, char **field)
{
    int count = 0, quoted = 0;
    field[count++] = line;
    for (char *c = line; *c != '\0' && *c != '\n'; c++) {
        quoted ^= *c == '"';
        if (*c != ',' || quoted || count == FIELDS)
            continue;
        *c = '\0';
        field[count++] = c + 1;
    }
    return count;
}

/* Calls `check` for each row that is no comment and not the heading. */
static int each_row(const char *path, void (*check)(char **field))
{
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    char line[1024], *field[FIELDS];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        if (line[0] == '#')
            continue;
        int count = split(line, field);
        while (count < FIELDS)
            field[count++] = line + strlen(line);
        if (rows++ > 0)
            check(field);
    }
    fclose(file);
    return rows - 1;
}

static double number(const char *text)
{
    return strtod(text, NULL);
}

static void assert_relative(double got, double want, double relative)
{
    if (!(fabs(got - want) <= relative * fabs(want)))
        fail_msg("%.9g is not %.9g within %g", got, want, relative);
}

static double gauge(const char *text)
{
    return strcmp(text, "0000") == 0 ? -3 : number(text);
}

static void check_gauge(char **field)
{
    double area = rl_awg_area(gauge(field[0]));
    assert_relative(2 * sqrt(area / acos(-1)), number(field[1]), 1e-6);
    assert_relative(area, number(field[3]), number(field[3]) > 0.1 ? 5e-6 : 5e-5);
    assert_relative(rl_conductor_ohm(area, 1000), number(field[5]), 1e-5);
    if (field[9][0] != '\0')
        assert_relative(rl_conductor_ohm(area, 1000 * FOOT), number(field[9]), 1e-3);
}

static void gauges(void **unused)
{
    (void)unused;
    assert_int_equal(each_row(DATA "/awg.csv", check_gauge), 18);
}

static void check_stranded(char **field)
{
    double ideal = rl_conductor_ohm(number(field[0]), 1000);
    assert_relative(ideal, number(field[4]), 5e-4);
    double ratio = number(field[1]) / ideal;
    assert_true(ratio > 1.10 && ratio < 1.16);
}

static void stranded(void **unused)
{
    (void)unused;
    assert_int_equal(each_row(DATA "/iec60228_class5.csv", check_stranded), 15);
}

/* Solid wire to 0.5 % (figures of three digits), stranded about 2 % above. */
static void check_building_wire(char **field)
{
    double ideal = rl_conductor_ohm(rl_awg_area(number(field[0])), 1000 * FOOT);
    double ratio = number(field[8]) / ideal;
    if (strcmp(field[2], "solid") == 0)
        assert_true(fabs(ratio - 1) < 0.005);
    else
        assert_true(ratio > 1.015 && ratio < 1.027);
}

static void building_wire(void **unused)
{
    (void)unused;
    assert_int_equal(each_row(DATA "/nec_ch9_t8.csv", check_building_wire), 14);
}

static int met;

static void check_circuit(char **field)
{
    char status = field[4][0];
    double want = number(field[1]);
    if (strcmp(field[0], "copper_resistivity_20C") == 0 && status == 'a')
        assert_relative(rl_conductor_ohm(1, 1), want, 5e-5);
    else if (strcmp(field[0], "R_1.5mm2_5m_20C") == 0 && status == 'b')
        assert_relative(rl_conductor_ohm(1.5, 5), want, 5e-6);
    else if (strncmp(field[0], "R_25mm2_0.6m_20C", 16) == 0 && status == 'b')
        assert_relative(rl_conductor_ohm(25, 0.6), want, 5e-6);
    else if (strcmp(field[0], "drop_25mm2_0.6m_at_200A") == 0 && status == 'b')
        assert_relative(200 * rl_conductor_ohm(25, 0.6), want, 5e-6);
    else
        return;
    met++;
}

static void circuits(void **unused)
{
    (void)unused;
    met = 0;
    each_row(DATA "/copper.csv", check_circuit);
    assert_int_equal(met, 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gauges),
        cmocka_unit_test(stranded),
        cmocka_unit_test(building_wire),
        cmocka_unit_test(circuits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
