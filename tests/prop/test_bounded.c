/* test_bounded.c: cases that are too wide for a small memory bound, against
 * the same cases with memory enough.
 *
 * What is expected comes from one tree over the whole net (itself held against
 * the reference and the oracle elsewhere); with little memory the same case is
 * taken apart by bounded.c, so that no table is shared.  Where it says that it
 * is exact it has to be; where not, every probability has to lie within the
 * bound that it states.
 */
#include "given.h"
#include "given_engine.h"
#include "random_rules.h"

#include "../../engine/bounded.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#ifndef TEST_ROOT
#define TEST_ROOT "."
#endif

static const double EXACT = 1e-9;

typedef struct counts { size_t narrow, exact, bounded, useful, wide, contradictions; int bad; } counts;

/* A context whose exact inference has so many bytes. */
static rl_context *small_context(size_t bytes)
{
    rl_context *context = engine_context();
    context->settings.memory_bound = bytes;
    return context;
}

static void differs(counts *n, const char *what, const char *path, rl_case *c, double want, double got, double allowed)
{
    if (fabs(want - got) <= allowed)
        return;
    n->bad++;
    print_error("%s, %s: %s: %.12g expected, %.12g given, %.3g allowed\n", path, rl_case_name(c), what, want, got,
                allowed);
}

static void compare_beliefs(counts *n, const char *path, rl_case *exact, rl_case *small, double allowed)
{
    const rl_answer *want, *got;
    const rl_shares *share, *other;
    assert_int_equal(rl_case_answer(exact, &want), RL_OK);
    assert_int_equal(rl_case_answer(small, &got), RL_OK);
    for (int e = 0; e < exact->model->nodes; e++) {
        for (int s = 0; s < RL_STATES; s++)
            differs(n, rl_model_element(exact->model, (size_t)e)->id, path, exact, want->belief[e].p[s],
                    got->belief[e].p[s], allowed);
        assert_int_equal(want->belief[e].touched, got->belief[e].touched);
    }
    assert_int_equal(rl_case_shares(exact, &share), RL_OK);
    assert_int_equal(rl_case_shares(small, &other), RL_OK);
    differs(n, "return share", path, exact, share->of_return, other->of_return, allowed);
    differs(n, "feed share", path, exact, share->of_feed, other->of_feed, allowed);
    differs(n, "load share", path, exact, share->of_load, other->of_load, allowed);
    differs(n, "nothing at fault", path, exact, share->none, other->none, allowed);
}

/* The same explanations in the same order, equal ones in any. */
static void compare_explanations(counts *n, const char *path, rl_case *exact, rl_case *small)
{
    const rl_explanation *want, *got;
    size_t most, count;
    assert_int_equal(rl_case_explain(exact, 5, &want, &most), RL_OK);
    assert_int_equal(rl_case_explain(small, 5, &got, &count), RL_OK);
    differs(n, "number of explanations", path, exact, (double)most, (double)count, 0);
    for (size_t i = 0; i < most && i < count; i++)
        differs(n, "explanation", path, exact, want[i].p, got[i].p, EXACT);
}

/* What is not exact: lists are ordered and within the bound. */
static void look_at_explanations(counts *n, const char *path, rl_case *small)
{
    const rl_explanation *e;
    size_t count;
    double sum = 0;
    assert_int_equal(rl_case_explain(small, 5, &e, &count), RL_OK);
    for (size_t i = 0; i < count; i++) {
        sum += e[i].p;
        assert_true(i == 0 || e[i].p <= e[i - 1].p);
        assert_true(e[i].p > 0);
    }
    differs(n, "explanations together", path, small, fmin(sum, 1), sum, EXACT);
}

static void compare_answers(counts *n, const char *path, rl_case *exact, rl_case *small, const rl_answer *want,
                            const rl_answer *got)
{
    assert_false(want->bounded);
    double allowed = EXACT;
    if (got->bounded) {
        assert_true(got->neglected > 0 && got->neglected <= 1 && got->faults >= 0);
        allowed += got->neglected;
        double missing = -expm1(got->log_evidence - want->log_evidence);
        if (missing < -EXACT || missing > got->neglected + EXACT) {
            n->bad++;
            print_error("%s, %s: %.3g missing, at most %.3g said\n", path, rl_case_name(exact), missing,
                        got->neglected);
        }
        n->useful += got->neglected < 0.01;
        look_at_explanations(n, path, small);
    } else {
        differs(n, "log evidence", path, exact, want->log_evidence, got->log_evidence, EXACT);
        compare_explanations(n, path, exact, small);
    }
    compare_beliefs(n, path, exact, small, allowed);
}

static void one_case(counts *n, const char *path, rl_case *exact, rl_case *small)
{
    const rl_answer *want, *got;
    rl_status wanted = rl_case_answer(exact, &want), answered = rl_case_answer(small, &got);
    if (wanted == RL_CONTRADICTION || answered == RL_CONTRADICTION || answered == RL_WIDE) {
        n->contradictions += answered == RL_CONTRADICTION;
        n->wide += answered == RL_WIDE;
        if (answered != RL_WIDE)
            assert_int_equal(answered, wanted);
        return;
    }
    assert_int_equal(answered, RL_OK);
    if (small->work->bounded == NULL) {
        n->narrow++;
        return;
    }
    n->exact += !got->bounded;
    n->bounded += got->bounded;
    compare_answers(n, path, exact, small, want, got);
}

static void all_cases(counts *n, const char *rules, const char *cases, size_t bytes)
{
    rl_context *large = engine_context(), *little = small_context(bytes);
    rl_model *model;
    rl_book *exact, *small;
    assert_int_equal(rl_model_read(large, rules, &model), RL_OK);
    assert_int_equal(rl_book_read(large, model, cases, &exact), RL_OK);
    assert_int_equal(rl_book_read(little, model, cases, &small), RL_OK);
    for (size_t i = 0; i < rl_book_count(exact); i++)
        one_case(n, cases, rl_book_case(exact, i), rl_book_case(small, i));
    rl_book_free(small);
    rl_book_free(exact);
    rl_model_free(model);
    rl_context_free(little);
    rl_context_free(large);
}

static void say_counts(const counts *n, size_t bytes)
{
    print_message("%zu bytes: %zu narrow enough, %zu parted and exact, %zu bounded (%zu below 1 %%), %zu too wide, "
                  "%zu contradictions\n",
                  bytes, n->narrow, n->exact, n->bounded, n->useful, n->wide, n->contradictions);
}

/* ---- the reference vehicles ---- */

static counts reference(const char *sort, size_t bytes)
{
    counts n = {0};
    char **list = given_folders(TEST_ROOT "/tests/reference");
    for (char **at = list; *at != NULL; at++) {
        char rules[600], cases[600];
        if (strstr(*at, sort) == NULL)
            continue;
        snprintf(rules, sizeof rules, "%s/v.gnd", *at);
        snprintf(cases, sizeof cases, "%s/v.case", *at);
        all_cases(&n, rules, cases, bytes);
    }
    given_list_free(list);
    say_counts(&n, bytes);
    return n;
}

static void several(const char *sort, int count, const size_t *bytes)
{
    int bad = 0;
    for (int i = 0; i < count; i++)
        bad += reference(sort, bytes[i]).bad;
    assert_int_equal(bad, 0);
}

static void tiny_vehicles(void **state)
{
    (void)state;
    static const size_t bytes[] = {1024, 2048, 4096, 16384, 65536};
    several("/tiny-", 5, bytes);
}

static void small_vehicles(void **state)
{
    (void)state;
    static const size_t bytes[] = {4096, 16384, 65536};
    several("/small-", 3, bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(tiny_vehicles), cmocka_unit_test(small_vehicles)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
