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
#include "../held/disk.h"
#include "drawn_files.h"

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

#ifndef TEST_ROOT
#define TEST_ROOT "."
#endif

static const double EXACT = 1e-9;

typedef struct counts { size_t narrow, loose, exact, bounded, useful, wide, contradictions; int bad; } counts;

/* A context whose exact inference has so many bytes. */
static rl_context *small_context(size_t bytes)
{
    rl_context *context = disk_context(NULL);
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

/* How many explanations are as likely as the comparison can see. */
static size_t visible(const rl_explanation *list, size_t count)
{
    while (count > 0 && list[count - 1].p < EXACT)
        count--;
    return count;
}

/* The same explanations in the same order, equal ones in any. */
static void compare_explanations(counts *n, const char *path, rl_case *exact, rl_case *small)
{
    const rl_explanation *want, *got;
    size_t most, count;
    assert_int_equal(rl_case_explain(exact, 5, &want, &most), RL_OK);
    assert_int_equal(rl_case_explain(small, 5, &got, &count), RL_OK);
    differs(n, "number of explanations", path, exact, (double)visible(want, most), (double)visible(got, count), 0);
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
        if (small->work->loose == NULL)
            look_at_explanations(n, path, small);
    } else {
        differs(n, "log evidence", path, exact, want->log_evidence, got->log_evidence, EXACT);
        if (small->work->loose == NULL)
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
    if (small->work->bounded == NULL && small->work->loose == NULL) {
        n->narrow++;
        return;
    }
    n->loose += small->work->loose != NULL;
    n->exact += !got->bounded;
    n->bounded += got->bounded;
    compare_answers(n, path, exact, small, want, got);
}

static void all_cases(counts *n, const char *rules, const char *cases, size_t bytes)
{
    rl_context *large = disk_context(NULL), *little = small_context(bytes);
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

static void add_counts(counts *all, const counts *n)
{
    all->narrow += n->narrow;
    all->loose += n->loose;
    all->exact += n->exact;
    all->bounded += n->bounded;
    all->useful += n->useful;
    all->wide += n->wide;
    all->contradictions += n->contradictions;
    all->bad += n->bad;
}

static void say_counts(const counts *n, size_t bytes)
{
    print_message("%zu bytes: %zu narrow enough, %zu by occasions, %zu parted and exact, %zu bounded (%zu below 1 %%), %zu too wide, "
                  "%zu contradictions\n",
                  bytes, n->narrow, n->loose, n->exact, n->bounded, n->useful, n->wide, n->contradictions);
}

/* ---- the reference vehicles ---- */

static void reference(counts *n, const char *sort, size_t bytes)
{
    char **list = given_folders(TEST_ROOT "/tests/reference");
    counts here = {0};
    for (char **at = list; *at != NULL; at++) {
        char rules[600], cases[600];
        if (strstr(*at, sort) == NULL)
            continue;
        snprintf(rules, sizeof rules, "%s/v.gnd", *at);
        snprintf(cases, sizeof cases, "%s/v.case", *at);
        all_cases(&here, rules, cases, bytes);
    }
    given_list_free(list);
    say_counts(&here, bytes);
    add_counts(n, &here);
}

static void tiny_vehicles(void **state)
{
    (void)state;
    counts n = {0};
    reference(&n, "/tiny-", 1024);
    reference(&n, "/tiny-", 4096);
    reference(&n, "/tiny-", 16384);
    assert_int_equal(n.bad, 0);
    assert_true(n.exact >= 20);
    assert_true(n.contradictions > 0);
}

static void small_vehicles(void **state)
{
    (void)state;
    counts n = {0};
    reference(&n, "/small-", 65536);
    reference(&n, "/small-22", 4096);
    reference(&n, "/medium-40", 65536);
    reference(&n, "/small-26", 2048);
    assert_int_equal(n.bad, 0);
    assert_true(n.exact > 0 && n.useful > 1);
}

/* ---- the shipped vehicles ---- */

static void shipped_vehicles(void **state)
{
    (void)state;
    static const struct { const char *name; size_t bytes; } vehicle[] = {
        {"small-drumlin", 262144}, {"large-nunatak", 4000000}};
    counts n = {0};
    for (int i = 0; i < 2; i++) {
        char rules[600], cases[600];
        counts here = {0};
        snprintf(rules, sizeof rules, "%s/rules/%s.gnd", TEST_ROOT, vehicle[i].name);
        snprintf(cases, sizeof cases, "%s/rules/%s.case", TEST_ROOT, vehicle[i].name);
        all_cases(&here, rules, cases, vehicle[i].bytes);
        say_counts(&here, vehicle[i].bytes);
        add_counts(&n, &here);
    }
    assert_int_equal(n.bad, 0);
    assert_true(n.exact > 0 && n.bounded > 0);
}

/* ---- vehicles drawn at random ---- */

static void random_vehicles(void **state)
{
    (void)state;
    static drawn text;
    static const size_t bytes[] = {4096, 12288};
    counts n = {0};
    for (uint64_t seed = 1; seed <= 24; seed++) {
        int before = n.bad;
        drawn_put(seed, &text);
        all_cases(&n, drawn_path("v.gnd"), drawn_path("v.case"), bytes[seed % 2]);
        if (n.bad != before)
            print_error("seed %llu\n", (unsigned long long)seed);
    }
    say_counts(&n, 0);
    assert_int_equal(n.bad, 0);
    assert_true(n.exact > 10);
}

/* ---- no room at all ---- */

static void hopeless_bound(void **state)
{
    (void)state;
    counts n = {0};
    reference(&n, "/medium-42", 64);
    assert_int_equal(n.bad, 0);
    assert_int_equal(n.exact + n.bounded, 0);
    assert_true(n.wide > 0);
}

/* ---- memory that fails ---- */

typedef struct supply {
    size_t taken, fails_at;   /* 0: never */
    size_t out;
} supply;

static void *take(void *user, size_t size)
{
    supply *from = user;
    if (++from->taken == from->fails_at)
        return NULL;
    from->out++;
    return malloc(size);
}

static void give(void *user, void *piece)
{
    supply *from = user;
    from->out--;
    free(piece);
}

static rl_status ask_all(rl_case *c, double *none)
{
    const rl_shares *shares;
    const rl_explanation *list;
    const rl_test *test;
    size_t count;
    rl_status status = rl_case_shares(c, &shares);
    if (status == RL_OK)
        *none = shares->none;
    if (status == RL_OK)
        status = rl_case_explain(c, 3, &list, &count);
    if (status == RL_OK)
        status = rl_case_tests(c, &test, &count);
    return status;
}

static void failing_memory(void **state)
{
    (void)state;
    supply from = {0};
    rl_context *context = small_context(4096);
    rl_allocator plain = context->allocator;
    context->allocator = (rl_allocator){take, give, &from};
    rl_model *model;
    rl_book *book;
    assert_int_equal(rl_model_read(context, TEST_ROOT "/tests/reference/tiny-03/v.gnd", &model), RL_OK);
    assert_int_equal(rl_book_read(context, model, TEST_ROOT "/tests/reference/tiny-03/v.case", &book), RL_OK);
    rl_case *c = rl_book_case(book, 0);
    double want, none;
    assert_int_equal(ask_all(c, &want), RL_OK);
    assert_non_null(c->work->bounded);
    size_t failures = 0;
    for (rl_status status = RL_MEMORY; status == RL_MEMORY; failures++) {
        rl_work_drop(c);
        from.taken = 0;
        from.fails_at = failures + 1;
        status = ask_all(c, &none);
        if (status == RL_MEMORY) {   /* the case is as it was */
            from.fails_at = 0;
            assert_int_equal(ask_all(c, &none), RL_OK);
        }
        assert_true(none == want);
    }
    assert_true(failures > 5);
    from.fails_at = 0;
    rl_book_free(book);
    rl_model_free(model);
    assert_int_equal(from.out, 0);
    context->allocator = plain;
    rl_context_free(context);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tiny_vehicles),    cmocka_unit_test(small_vehicles), cmocka_unit_test(shipped_vehicles),
        cmocka_unit_test(random_vehicles),  cmocka_unit_test(hopeless_bound), cmocka_unit_test(failing_memory),
    };
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) != 0;
}
