/* test_best.c: the best few tests are the first of all of them.
 *
 * They are found without working out the rest, by bounds: on shipped cases the
 * short way must give the same tests with the same numbers as the long one.
 */
#include "given_engine.h"
#include "../held/disk.h"

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

/* Asked for one test first and then for more, the same case says the same as a fresh one. */
static void compare_asked_twice(rl_case *twice, rl_case *once)
{
    const rl_test *again, *fresh;
    size_t count;
    assert_int_equal(rl_case_best_tests(twice, 1, &again, &count), RL_OK);
    assert_int_equal(count, 1);
    assert_int_equal(rl_case_best_tests(twice, BEST, &again, &count), RL_OK);
    assert_int_equal(rl_case_best_tests(once, BEST, &fresh, &count), RL_OK);
    assert_int_equal(count, BEST);
    for (size_t i = 0; i < BEST; i++) {
        assert_string_equal(again[i].text, fresh[i].text);
        assert_true(fabs(again[i].bits - fresh[i].bits) <= 1e-9);
    }
}

typedef void comparison(rl_case *one, rl_case *other);

static void book(comparison *compare_cases, const char *rules, const char *cases, const char *const *name, size_t names)
{
    rl_context *context = disk_context(NULL);
    rl_model *model;
    rl_book *one, *other;
    assert_int_equal(rl_model_read(context, rules, &model), RL_OK);
    assert_int_equal(rl_book_read(context, model, cases, &one), RL_OK);
    assert_int_equal(rl_book_read(context, model, cases, &other), RL_OK);
    size_t compared = 0;
    for (size_t i = 0; i < rl_book_count(one); i++)
        for (size_t k = 0; k < names; k++)
            if (strcmp(rl_case_name(rl_book_case(one, i)), name[k]) == 0) {
                compare_cases(rl_book_case(one, i), rl_book_case(other, i));
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
    book(compare, "rules/small-drumlin.gnd", "rules/small-drumlin.case", (const char *[]){"D-01", "D-02", "D-03", "D-07"}, 4);
}

static void demo_vehicle(void **state)
{
    (void)state;
    book(compare, "rules/demo-moraine.gnd", "rules/demo-moraine.case", (const char *[]){"M-01", "M-04"}, 2);
}

static void asked_twice_over_occasions(void **state)
{
    (void)state;
    book(compare_asked_twice, "rules/small-drumlin.gnd", "rules/small-drumlin.case",
         (const char *[]){"D-02", "D-04", "D-05", "D-06"}, 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(small_vehicle),
        cmocka_unit_test(demo_vehicle),
        cmocka_unit_test(asked_twice_over_occasions),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) ? 1 : 0;
}
