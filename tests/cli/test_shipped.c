/* test_shipped.c: what the shipped cases promise of themselves: each ends in `found`,
 * expects something of the ranking, and that holds.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATH = 512 };

static const char *const vehicle[] = {"small-drumlin", "demo-moraine", "large-nunatak"};
enum { VEHICLES = sizeof vehicle / sizeof *vehicle, CASES = 30 };

static void path_of(char *out, const char *name, const char *suffix)
{
    snprintf(out, PATH, "%s/rules/%s.%s", TEST_ROOT, name, suffix);
}

/* The checked files' object, of a run that found nothing wrong. */
static json_t *checked(const char *name)
{
    char rules[PATH], cases[PATH];
    path_of(rules, name, "gnd");
    path_of(cases, name, "case");
    run r = run_tool("", "check", "--json", rules, cases, NULL);
    if (r.status != 0)
        fail_msg("%s", r.err);
    json_error_t error;
    json_t *object = json_loads(r.out, 0, &error);
    assert_non_null(object);
    run_free(&r);
    return object;
}

static long long number(const json_t *object, const char *key)
{
    json_t *value = json_object_get(object, key);
    assert_true(json_is_integer(value));
    return json_integer_value(value);
}

static void expectations_hold(void **state)
{
    (void)state;
    size_t cases = 0;
    for (int i = 0; i < VEHICLES; i++) {
        json_t *object = checked(vehicle[i]), *list = json_object_get(object, "cases"), *c;
        size_t at;
        assert_int_equal(number(object, "errors"), 0);
        assert_int_equal(number(object, "warnings"), 0);
        assert_int_equal(number(object, "held"), number(object, "expected"));
        json_array_foreach(list, at, c)
            assert_true(json_array_size(json_object_get(c, "expect")) > 0);
        cases += json_array_size(list);
        json_decref(object);
    }
    assert_true(cases >= CASES);
}

/* Lines of a file that start so. */
static int lines_with(const char *text, const char *start)
{
    int count = strncmp(text, start, strlen(start)) == 0;
    char first[32];
    snprintf(first, sizeof first, "\n%s", start);
    for (const char *at = text; (at = strstr(at, first)) != NULL; at++)
        count++;
    return count;
}

static void each_has_an_end(void **state)
{
    (void)state;
    for (int i = 0; i < VEHICLES; i++) {
        char path[PATH];
        path_of(path, vehicle[i], "case");
        char *text = run_content(path);
        assert_non_null(text);
        int cases = 0, ended = 0;
        for (char *at = strstr(text, "\ncase "); at != NULL; cases++) {
            char *next = strstr(at + 1, "\ncase ");
            if (next != NULL)
                *next = '\0';
            ended += lines_with(at, "found ") > 0;
            if (next != NULL)
                *next = '\n';
            at = next;
        }
        assert_true(cases > 0);
        assert_int_equal(ended, cases);
        free(text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(expectations_hold),
        cmocka_unit_test(each_has_an_end),
    };
    return cmocka_run_group_tests_name("shipped", tests, run_setup, run_teardown);
}
