/* test_golden.c: whole outputs of the tool against those that were kept.
 *
 * tests/golden/cases names the runs; see there.  Text is compared to the letter.
 * JSON is compared value by value: the same fields, the same texts in the same
 * order, numbers within 1e-9 of the greater of 1 and the number expected.
 */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700
#endif
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "cli/run.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_RUNS = 100, MOST_WORDS = 12 };
static const double TOLERANCE = 1e-9;

typedef struct golden {
    char *line;                       /* cut into words */
    char *word[MOST_WORDS + 1];       /* name, then the arguments, then NULL */
} golden;

static char *want_of(const char *name)
{
    char path[256];
    snprintf(path, sizeof path, TEST_ROOT "/tests/golden/want/%.100s", name);
    char *want = run_content(path);
    if (want == NULL)
        fail_msg("want/%s is missing: make golden NAMES=%s", name, name);
    return want;
}

static run run_golden(const golden *g)
{
    char *const *w = g->word + 1;
    return run_tool("", w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7], w[8], w[9], w[10], NULL);
}

/* ---- text ---- */

/* The first line that differs, for whoever reads the failure. */
static void say_difference(const char *name, const char *got, const char *want)
{
    size_t line = 1;
    while (*got != '\0' && *got == *want) {
        line += *got == '\n';
        got++;
        want++;
    }
    print_error("want/%s line %zu: …%.*s, wanted …%.*s\n", name, line, (int)strcspn(got, "\n"), got,
                (int)strcspn(want, "\n"), want);
}

static void test_text(void **state)
{
    const golden *g = *state;
    char *want = want_of(g->word[0]);
    run r = run_golden(g);
    size_t room = r.out_length + r.err_length + 100;
    char *got = malloc(room);
    assert_non_null(got);
    snprintf(got, room, "%s---- standard error\n%s---- status %d\n", r.out, r.err, r.status);
    if (strcmp(got, want) != 0) {
        say_difference(g->word[0], got, want);
        fail_msg("%s is not what was kept", g->word[0]);
    }
    free(got);
    free(want);
    run_free(&r);
}

/* ---- JSON ---- */

static void same(const json_t *got, const json_t *want, const char *where);

static void same_object(const json_t *got, const json_t *want, const char *where)
{
    const char *key;
    json_t *value;
    if (json_object_size(got) != json_object_size(want))
        fail_msg("%s has %zu fields, wanted %zu", where, json_object_size(got), json_object_size(want));
    json_object_foreach((json_t *)(uintptr_t)want, key, value)
    {
        char deeper[256];
        snprintf(deeper, sizeof deeper, "%.180s.%.60s", where, key);
        same(json_object_get(got, key), value, deeper);
    }
}

static void same_array(const json_t *got, const json_t *want, const char *where)
{
    size_t count = json_array_size(want);
    if (json_array_size(got) != count)
        fail_msg("%s has %zu items, wanted %zu", where, json_array_size(got), count);
    for (size_t i = 0; i < count; i++) {
        char deeper[256];
        snprintf(deeper, sizeof deeper, "%.200s[%zu]", where, i);
        same(json_array_get(got, i), json_array_get(want, i), deeper);
    }
}

static void same_number(double got, double want, const char *where)
{
    double scale = fabs(want) > 1 ? fabs(want) : 1;
    if (!(fabs(got - want) <= TOLERANCE * scale))
        fail_msg("%s is %.17g, wanted %.17g", where, got, want);
}

static void same(const json_t *got, const json_t *want, const char *where)
{
    if (got == NULL)
        fail_msg("%s is missing", where);
    if (json_is_number(want) && json_is_number(got))
        same_number(json_number_value(got), json_number_value(want), where);
    else if (json_typeof(got) != json_typeof(want))
        fail_msg("%s is of another type", where);
    else if (json_is_object(want))
        same_object(got, want, where);
    else if (json_is_array(want))
        same_array(got, want, where);
    else if (json_is_string(want) && strcmp(json_string_value(got), json_string_value(want)) != 0)
        fail_msg("%s is \"%s\", wanted \"%s\"", where, json_string_value(got), json_string_value(want));
}

static json_t *line_of(char **text)
{
    json_error_t error;
    char *line = *text;
    *text += strcspn(*text, "\n");
    if (**text == '\n')
        *(*text)++ = '\0';
    json_t *value = json_loads(line, JSON_REJECT_DUPLICATES, &error);
    if (value == NULL)
        fail_msg("no JSON (%s): %.60s", error.text, line);
    return value;
}

static void test_json(void **state)
{
    const golden *g = *state;
    char *kept = want_of(g->word[0]);
    run r = run_golden(g);
    char *want = kept, *got = r.out;
    for (size_t line = 1; *want != '\0'; line++) {
        char where[140];
        if (*got == '\0')
            fail_msg("%s ends before line %zu", g->word[0], line);
        snprintf(where, sizeof where, "%.100s line %zu", g->word[0], line);
        json_t *a = line_of(&got), *b = line_of(&want);
        same(a, b, where);
        json_decref(a);
        json_decref(b);
    }
    assert_string_equal(got, "");
    free(kept);
    run_free(&r);
}

/* ---- the runs ---- */

static bool read_run(char *line, golden *g)
{
    size_t count = 0;
    for (char *word = strtok(line, " \t\n"); word != NULL && count < MOST_WORDS; word = strtok(NULL, " \t\n"))
        g->word[count++] = word;
    return count > 1 && g->word[0][0] != '#';
}

static size_t list(golden *runs, struct CMUnitTest *tests)
{
    size_t count = 0;
    char line[512];
    FILE *file = fopen("tests/golden/cases", "r");
    if (file == NULL)
        return 0;
    while (count < MOST_RUNS && fgets(line, sizeof line, file) != NULL) {
        golden *g = &runs[count];
        *g = (golden){.line = strdup(line)};
        if (g->line == NULL || !read_run(g->line, g)) {
            free(g->line);
            continue;
        }
        bool json = strstr(g->word[0], ".json") != NULL;
        tests[count++] = (struct CMUnitTest){.name = g->word[0], .test_func = json ? test_json : test_text, .initial_state = g};
    }
    fclose(file);
    return count;
}

int main(void)
{
    static struct CMUnitTest tests[MOST_RUNS];
    static golden runs[MOST_RUNS];
    if (chdir(TEST_ROOT) != 0 || setenv("TEST_PATIENCE", "120", 0) != 0)
        return 1;
    size_t count = list(runs, tests);
    if (count == 0)
        return 1;
    int failed = _cmocka_run_group_tests("golden", tests, count, run_setup, run_teardown);
    for (size_t i = 0; i < count; i++)
        free(runs[i].line);
    return failed != 0;
}
