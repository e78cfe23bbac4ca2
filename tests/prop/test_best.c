/* test_best.c: the best few tests are the first of all of them.
 *
 * They are found without working out the rest, by bounds: on shipped cases the
 * short way must give the same tests with the same numbers as the long one.
 */
#include "ringlug.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { BEST = 12 };

static rl_status read_file(void *user, const char *path, char **bytes, size_t *length)
{
    FILE *file = fopen(path, "rb");
    (void)user;
    if (file == NULL)
        return RL_MISSING;
    *bytes = malloc(1 << 20);
    *length = *bytes == NULL ? 0 : fread(*bytes, 1, 1 << 20, file);
    fclose(file);
    return *bytes == NULL ? RL_MEMORY : RL_OK;
}

static void release(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

typedef struct kept { char text[200]; double bits, minutes; } kept;

static void compare(rl_case *all, rl_case *best)
{
    const rl_test *test;
    size_t count;
    kept first[BEST];
    assert_int_equal(rl_case_tests(all, &test, &count), RL_OK);
    assert_true(count > BEST);
    for (size_t i = 0; i < BEST; i++) {
        snprintf(first[i].text, sizeof first[i].text, "%s", test[i].text);
        first[i].bits = test[i].bits;
        first[i].minutes = test[i].minutes;
    }
    assert_int_equal(rl_case_best_tests(best, BEST, &test, &count), RL_OK);
    assert_int_equal(count, BEST);
    for (size_t i = 0; i < BEST; i++) {   /* equal rates may come in either order */
        assert_true(fabs(test[i].bits / test[i].minutes - first[i].bits / first[i].minutes) <= 1e-9);
        if (strcmp(test[i].text, first[i].text) == 0)
            assert_true(fabs(test[i].bits - first[i].bits) <= 1e-9);
    }
}

static void book(const char *rules, const char *cases, const char *const *name, size_t names)
{
    rl_settings settings = {.loader = {read_file, release, NULL}};
    rl_context *context;
    rl_model *model;
    rl_book *one, *other;
    assert_int_equal(rl_context_new(&settings, &context), RL_OK);
    assert_int_equal(rl_model_read(context, rules, &model), RL_OK);
    assert_int_equal(rl_book_read(context, model, cases, &one), RL_OK);
    assert_int_equal(rl_book_read(context, model, cases, &other), RL_OK);
    size_t compared = 0;
    for (size_t i = 0; i < rl_book_count(one); i++)
        for (size_t k = 0; k < names; k++)
            if (strcmp(rl_case_name(rl_book_case(one, i)), name[k]) == 0) {
                compare(rl_book_case(one, i), rl_book_case(other, i));
                compared++;
            }
    assert_int_equal(compared, names);
    rl_book_free(one);
    rl_book_free(other);
    rl_model_free(model);
    rl_context_free(context);
}

static void small_vehicle(void **state)
{
    (void)state;
    book("rules/small-drumlin.gnd", "rules/small-drumlin.case", (const char *[]){"D-01", "D-02", "D-03", "D-07"}, 4);
}

static void demo_vehicle(void **state)
{
    (void)state;
    book("rules/demo-moraine.gnd", "rules/demo-moraine.case", (const char *[]){"M-01", "M-04"}, 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(small_vehicle),
        cmocka_unit_test(demo_vehicle),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) ? 1 : 0;
}
