/* test_limit.c: no bound on what a test may tell is below what it tells, and laws of paths that
 * were put together from those of their parts are what a probe of the whole path says.
 *
 * Both are asked of shipped cases: all their tests, all their expressions.
 */
#include "given_engine.h"
#include "../held/disk.h"

#include "advise.h"
#include "limit.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static const char *const rules[] = {"rules/small-drumlin.gnd", "rules/demo-moraine.gnd"};
static const char *const cases[] = {"rules/small-drumlin.case", "rules/demo-moraine.case"};

/* What was compared, so that a test that compares nothing fails. */
typedef struct compared { size_t tests, spans, laws, joined; } compared;

static void bounds_of(rl_limits *limits, const rl_test *test, compared *out)
{
    bool span = test->sort == RL_TEST_DROP || test->sort == RL_TEST_RESISTANCE || test->sort == RL_TEST_CONTINUITY;
    double bound = rl_limit_of(limits, test);
    assert_true(!isnan(bound) && bound >= test->bits);
    out->tests++;
    if (!span)
        return;
    double closer = rl_limit_closer(limits, test);
    assert_true(rl_limit_of_spans(limits, test->subject) >= test->bits);
    assert_true(closer >= test->bits);
    out->spans += isfinite(closer) != 0;
}

static rl_status compare_bounds(rl_case *c, void *argument)
{
    rl_work *work;
    rl_adviser *adviser;
    rl_limits limits;
    assert_int_equal(rl_work_answer(c, &work), RL_OK);
    const rl_test *test = work->tests;   /* asked for before */
    assert_non_null(test);
    assert_int_equal(rl_adviser_make(&adviser, c, work), RL_OK);
    rl_limits_make(&limits, &work->arena, &work->scratch, c, rl_adviser_bearings(adviser));
    for (size_t i = 0; i < work->test_count; i++)
        bounds_of(&limits, &test[i], argument);
    return RL_OK;
}

/* The cell of a probe's table where the law's variables have these values. */
static double cell_of(const rl_cells *cells, int target, const rl_given *law, size_t cell, int row)
{
    size_t at = 0;
    for (int i = 0; i < cells->count; i++) {
        size_t rest = cell, value = 0;
        for (int k = law->count; k-- > 0; rest /= (size_t)law->size[k])
            if (cells->input[i] == RL_NET_INPUT - law->variable[k])
                value = rest % (size_t)law->size[k];
        at = at * (size_t)cells->size[i] + (cells->input[i] == target ? (size_t)row : value);
    }
    return cells->cell[at];
}

static void same_law(const rl_given *law, const rl_cells *cells, int target)
{
    size_t all = 1;
    assert_int_equal(cells->count, law->count + 1);
    for (int k = 0; k < law->count; k++)
        all *= (size_t)law->size[k];
    for (size_t cell = 0; cell < all; cell++)
        for (int row = 0; row < law->rows; row++)
            assert_true(fabs(law->p[cell * (size_t)law->rows + (size_t)row] - cell_of(cells, target, law, cell, row)) <= 1e-9);
}

static rl_status compare_laws(rl_case *c, void *argument)
{
    compared *out = argument;
    rl_work *work;
    rl_adviser *adviser;
    rl_limits limits;
    assert_int_equal(rl_work_answer(c, &work), RL_OK);
    assert_int_equal(rl_adviser_make(&adviser, c, work), RL_OK);
    const rl_bearings *bearings = rl_adviser_bearings(adviser);
    rl_limits_make(&limits, &work->arena, &work->scratch, c, bearings);
    for (size_t i = 0; i < work->test_count; i++)   /* brings the paths in that tests ask about */
        (void)rl_limit_of(&limits, &work->tests[i]);
    rl_bench *bench = bearings->givens->bench;
    for (int expr = 1; expr < bench->exprs.count; expr++) {
        const rl_given *law = rl_given_composed(bearings->givens, expr);
        rl_cells cells;
        int target;
        rl_expr_sort sort = bench->exprs.at[expr].sort;
        if (sort == RL_X_CALM || sort == RL_X_FAILED)
            continue;   /* a probe looks behind these: its law may be over another variable */
        rl_mark mark = rl_arena_mark(&work->scratch);
        if (law && rl_probe_law(bench, &work->scratch, expr, &cells, &target)) {
            same_law(law, &cells, target);
            out->laws++;
            out->joined += law->count > 0 && sort == RL_X_MAX;
        }
        rl_arena_rewind(&work->scratch, mark);
    }
    return RL_OK;
}

static compared over_shipped_cases(rl_question *question)
{
    compared out = {0};
    for (size_t v = 0; v < sizeof rules / sizeof *rules; v++) {
        rl_context *context = disk_context(NULL);
        rl_model *model;
        rl_book *book;
        assert_int_equal(rl_model_read(context, rules[v], &model), RL_OK);
        assert_int_equal(rl_book_read(context, model, cases[v], &book), RL_OK);
        for (size_t i = 0; i < rl_book_count(book); i++) {
            rl_case *c = rl_book_case(book, i);
            const rl_test *test;
            size_t count;
            if (rl_case_tests(c, &test, &count) == RL_OK && count > 0)
                assert_int_equal(rl_ask(c, question, &out), RL_OK);
        }
        rl_book_free(book);
        rl_model_free(model);
        rl_context_free(context);
    }
    return out;
}

static void bounds_hold(void **state)
{
    (void)state;
    compared out = over_shipped_cases(compare_bounds);
    assert_true(out.tests > 5000);
    assert_true(out.spans > 500);
}

static void laws_agree(void **state)
{
    (void)state;
    compared out = over_shipped_cases(compare_laws);
    assert_true(out.laws > 500);
    assert_true(out.joined > 50);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bounds_hold),
        cmocka_unit_test(laws_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) ? 1 : 0;
}
