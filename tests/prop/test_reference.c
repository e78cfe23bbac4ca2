/* test_reference.c: the library against the expected answers of the drawn
 * vehicles of tests/reference, which another implementation of the design made.
 *
 * A case that is in v.case and not in want.jsonl was too wide for it:
 * nothing is asked of it.
 */
#include "given_engine.h"
#include "../held/disk.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#ifndef TEST_ROOT
#define TEST_ROOT "."
#endif
#define REFERENCE TEST_ROOT "/tests/reference"

static const tolerance ALLOWED = {1e-7, 1e-6, 1e-7, 1e-6, 1e-9};

static const json_t *line_of(const json_t *lines, const char *name)
{
    for (size_t i = 0; i < json_array_size(lines); i++) {
        const json_t *line = json_array_get(lines, i);
        if (strcmp(json_string_value(json_object_get(line, "case")), name) == 0)
            return line;
    }
    return NULL;
}

static int one_case(const rl_model *model, rl_case *c, const json_t *line)
{
    unsigned what = json_object_get(line, "explanations") != NULL ? ASK_TESTS | ASK_EXPLANATIONS : ASK_TESTS;
    given *want = given_from_json(line), *got = given_from_engine(model, c, what);
    int bad = got == NULL ? 1 : given_differences(want, got, ALLOWED);
    given_free(want);
    given_free(got);
    return bad;
}

static int all_cases(const rl_model *model, const rl_book *book, const json_t *lines, size_t *compared)
{
    int bad = 0;
    for (size_t i = 0; i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        const json_t *line = line_of(lines, rl_case_name(c));
        if (line == NULL)
            continue;
        ++*compared;
        bad += one_case(model, c, line);
    }
    return bad;
}

static int folder(rl_context *context, const char *path, size_t *compared)
{
    char name[600];
    rl_model *model;
    rl_book *book;
    snprintf(name, sizeof name, "%s/v.gnd", path);
    assert_int_equal(rl_model_read(context, name, &model), RL_OK);
    snprintf(name, sizeof name, "%s/v.case", path);
    assert_int_equal(rl_book_read(context, model, name, &book), RL_OK);
    snprintf(name, sizeof name, "%s/want.jsonl", path);
    json_t *lines = given_lines(name);
    assert_non_null(lines);
    size_t before = *compared;
    int bad = all_cases(model, book, lines, compared);
    assert_int_equal(*compared - before, json_array_size(lines));
    json_decref(lines);
    rl_book_free(book);
    rl_model_free(model);
    return bad;
}

static int folders(const char *sort, size_t *compared)
{
    rl_context *context = disk_context(NULL);
    char **list = given_folders(REFERENCE);
    int bad = 0;
    for (char **at = list; *at != NULL; at++)
        if (strstr(*at, sort) != NULL)
            bad += folder(context, *at, compared);
    given_list_free(list);
    rl_context_free(context);
    return bad;
}

static void tiny_vehicles(void **state)
{
    (void)state;
    size_t compared = 0;
    assert_int_equal(folders("/tiny-", &compared), 0);
    assert_int_equal(compared, 42);
}

static void small_vehicles(void **state)
{
    (void)state;
    size_t compared = 0;
    assert_int_equal(folders("/small-", &compared), 0);
    assert_int_equal(compared, 40);
}

static void medium_vehicles(void **state)
{
    (void)state;
    size_t compared = 0;
    assert_int_equal(folders("/medium-", &compared), 0);
    assert_int_equal(compared, 9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(tiny_vehicles), cmocka_unit_test(small_vehicles),
                                       cmocka_unit_test(medium_vehicles)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
