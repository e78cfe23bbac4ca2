/* test_portions.c: bits of tests worked out part by part.
 *
 * What is expected is that of the reference vehicles, whose bits another implementation made,
 * and, of cases with too little memory for one tree, that of the same cases with memory enough.
 */
#include "drawn_files.h"
#include "given.h"
#include "../held/disk.h"

#include "../../engine/admit.h"
#include "../../engine/portion.h"

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

typedef struct counts { size_t tests, parted, short_of_all, lost, ranged; int bad; } counts;

static void differs(counts *n, const char *path, rl_case *c, const char *test, double want, double got)
{
    n->tests++;
    if (fabs(want - got) <= EXACT)
        return;
    n->bad++;
    print_error("%s, %s: %s: %.12g bits expected, %.12g given\n", path, rl_case_name(c), test, want, got);
}

/* ---- everything parted, though one tree could tell it ---- */

typedef struct parting { rl_test *test; int count; double share; } parting;

static rl_status tell_parted(rl_case *c, void *argument)
{
    parting *p = argument;
    rl_work *work;
    rl_candidates list;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK)
        return status;
    rl_admit_all(&list, &work->arena, c);
    rl_test **test = rl_raw(&work->arena, list.count + 1, rl_test *);
    rl_likely **likely = rl_many(&work->arena, list.count + 1, rl_likely *);
    for (int i = 0; i < list.count; i++)
        test[i] = &list.at[i];
    p->test = list.at;
    p->count = list.count;
    return rl_portions_tell(c, work, test, list.count, likely, &p->share);
}

static void compare_with_given(counts *n, const char *path, rl_case *c, const given *want)
{
    parting p;
    assert_int_equal(rl_ask(c, tell_parted, &p), RL_OK);
    assert_true(fabs(p.share - 1) <= EXACT);
    for (int i = 0; i < p.count; i++) {
        const given_test *own = given_find(want, p.test[i].text);
        assert_non_null(own);
        if (p.test[i].bits < 0)
            n->lost++;   /* there is nothing to part by */
        else if (!isnan(own->bits))
            differs(n, path, c, own->text, own->bits, p.test[i].bits);
    }
}

static void one_folder(counts *n, const char *folder)
{
    char rules[600], cases[600], wanted[600];
    rl_context *context = disk_context(NULL);
    rl_model *model;
    rl_book *book;
    snprintf(rules, sizeof rules, "%s/v.gnd", folder);
    snprintf(cases, sizeof cases, "%s/v.case", folder);
    snprintf(wanted, sizeof wanted, "%s/want.jsonl", folder);
    json_t *lines = given_lines(wanted);
    assert_int_equal(rl_model_read(context, rules, &model), RL_OK);
    assert_int_equal(rl_book_read(context, model, cases, &book), RL_OK);
    for (size_t i = 0; i < json_array_size(lines); i++) {
        given *want = given_from_json(json_array_get(lines, i));
        for (size_t k = 0; k < rl_book_count(book); k++)
            if (strcmp(rl_case_name(rl_book_case(book, k)), want->name) == 0 && !want->contradiction && want->has_tests)
                compare_with_given(n, cases, rl_book_case(book, k), want);
        given_free(want);
    }
    json_decref(lines);
    rl_book_free(book);
    rl_model_free(model);
    rl_context_free(context);
}

static void parted_like_the_reference(void **state)
{
    (void)state;
    counts n = {0};
    char **list = given_folders(TEST_ROOT "/tests/reference");
    for (char **at = list; *at != NULL; at++)
        if (strstr(*at, "/tiny-") != NULL || strstr(*at, "/small-") != NULL)
            one_folder(&n, *at);
    given_list_free(list);
    print_message("%zu tests, %zu with nothing to part by\n", n.tests, n.lost);
    assert_int_equal(n.bad, 0);
    assert_true(n.tests > 500 && n.lost < n.tests / 10);
}

/* ---- too little memory for one tree ---- */

static int by_text(const void *a, const void *b)
{
    return strcmp(((const rl_test *)a)->text, ((const rl_test *)b)->text);
}

static rl_test *tests_of(rl_case *c, size_t *count)
{
    const rl_test *list;
    assert_int_equal(rl_case_tests(c, &list, count), RL_OK);
    rl_test *copy = malloc((*count + 1) * sizeof *copy);
    assert_non_null(copy);
    if (*count > 0)
        memcpy(copy, list, *count * sizeof *copy);
    qsort(copy, *count, sizeof *copy, by_text);
    return copy;
}

static double entropy_of_two(double p)
{
    return p <= 0 || p >= 1 ? 0 : -p * log2(p) - (1 - p) * log2(1 - p);
}

/* With a part of the probability left out, bits are known within bounds: what is left out may
 * tell all that its outcomes can, and that it is not what was looked at. */
static void within_bounds(counts *n, const char *path, rl_case *c, const rl_test *want, const rl_test *got, double left)
{
    double low = (1 - left) * got->bits, high = low + left * log2(102) + entropy_of_two(fmin(left, 0.5));
    n->short_of_all++;
    differs(n, path, c, want->text, fmin(fmax(want->bits, low), high), want->bits);
}

/* The ranges that are said with the best tests. */
static void compare_ranges(counts *n, const char *path, rl_case *c, const rl_test *want, const rl_test *got)
{
    bool said = want->healthy_high > want->healthy_low && got->healthy_high > got->healthy_low;
    if (!said)
        return;
    n->ranged++;
    differs(n, path, c, want->text, want->healthy_low, got->healthy_low);
    differs(n, path, c, want->text, want->healthy_high, got->healthy_high);
}

static void compare_cases(counts *n, const char *path, rl_case *exact, rl_case *small)
{
    const rl_answer *want, *got;
    if (rl_case_answer(exact, &want) != RL_OK || rl_case_answer(small, &got) != RL_OK || !small->work->bounded)
        return;
    size_t count, others;
    rl_test *test = tests_of(exact, &count), *other = tests_of(small, &others);
    double left = 1 - rl_case_tests_share(small);
    n->parted++;
    assert_true(left >= 0 && left <= 1);
    assert_true(got->bounded || left == 0 || others == 0 || rl_case_tests_unknown(small) > 0);
    for (size_t i = 0; i < count && others > 0; i++) {
        assert_int_equal(count, others);
        assert_string_equal(test[i].text, other[i].text);
        assert_true(test[i].bits >= 0);
        if (other[i].bits < 0)
            n->lost++;
        else if (left > 0)
            within_bounds(n, path, exact, &test[i], &other[i], left);
        else
            differs(n, path, exact, test[i].text, test[i].bits, other[i].bits);
        if (left == 0 && other[i].bits >= 0)
            compare_ranges(n, path, exact, &test[i], &other[i]);
    }
    n->lost += others == 0 ? count : 0;
    free(test);
    free(other);
}

/* `only`: of this name; NULL: all. */
static void all_cases(counts *n, const char *rules, const char *cases, size_t bytes, const char *only)
{
    rl_context *large = disk_context(NULL), *little = disk_context(NULL);
    rl_model *model;
    rl_book *exact, *small;
    little->settings.memory_bound = bytes;
    assert_int_equal(rl_model_read(large, rules, &model), RL_OK);
    assert_int_equal(rl_book_read(large, model, cases, &exact), RL_OK);
    assert_int_equal(rl_book_read(little, model, cases, &small), RL_OK);
    for (size_t i = 0; i < rl_book_count(exact); i++)
        if (!only || strcmp(rl_case_name(rl_book_case(exact, i)), only) == 0)
            compare_cases(n, cases, rl_book_case(exact, i), rl_book_case(small, i));
    rl_book_free(small);
    rl_book_free(exact);
    rl_model_free(model);
    rl_context_free(little);
    rl_context_free(large);
}

static void say_counts(const counts *n)
{
    print_message("%zu cases parted: %zu numbers (%zu of a part of the probability, %zu ranges), %zu tests not told\n", n->parted,
                  n->tests, n->short_of_all, n->ranged, n->lost);
}

static void little_memory(void **state)
{
    (void)state;
    counts n = {0};
    char **list = given_folders(TEST_ROOT "/tests/reference");
    for (char **at = list; *at != NULL; at++) {
        char rules[600], cases[600];
        bool tiny = strstr(*at, "/tiny-") != NULL, small = strstr(*at, "/small-") != NULL;
        snprintf(rules, sizeof rules, "%s/v.gnd", *at);
        snprintf(cases, sizeof cases, "%s/v.case", *at);
        if (tiny || small)
            all_cases(&n, rules, cases, tiny ? 4096 : 65536, NULL);
        if (strstr(*at, "/small-22") != NULL)
            all_cases(&n, rules, cases, 4096, NULL);
    }
    given_list_free(list);
    all_cases(&n, TEST_ROOT "/rules/small-drumlin.gnd", TEST_ROOT "/rules/small-drumlin.case", 16384, "D-06");   /* not exact */
    say_counts(&n);
    assert_int_equal(n.bad, 0);
    assert_true(n.short_of_all > 0 && n.ranged > 0);
    assert_true(n.parted > 10 && n.tests > 1000 && n.lost < n.tests / 20);
}

static void random_vehicles(void **state)
{
    (void)state;
    static drawn text;
    static const size_t bytes[] = {4096, 12288};
    counts n = {0};
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 16);
    for (uint64_t seed = first; seed < first + count; seed++) {
        int before = n.bad;
        drawn_put(seed, &text);
        all_cases(&n, drawn_path("v.gnd"), drawn_path("v.case"), bytes[seed % 2], NULL);
        if (n.bad != before)
            print_error("seed %llu\n", (unsigned long long)seed);
    }
    say_counts(&n);
    assert_int_equal(n.bad, 0);
    assert_true(n.parted > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(parted_like_the_reference),
        cmocka_unit_test(little_memory),
        cmocka_unit_test(random_vehicles),
    };
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) != 0;
}
