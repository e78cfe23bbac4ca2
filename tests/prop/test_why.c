/* test_why.c: the weight of each finding is what two separate answers say, with it and
 * without it; and when all findings are taken back one by one the prior is left.
 *
 * The case without a line is a case of its own, made of the text of the other
 * lines, so that nothing of the asked case is used.  RANDOM_SEED and
 * RANDOM_COUNT choose other draws.
 */
#include "../held/disk.h"
#include "drawn_files.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double NEAR = 1e-7;   /* dB; a relative error of the odds below 3e-8 */
enum { NONE = -1 };

/* ---- two separate answers ---- */

/* A case of the lines that count, but one (NONE: of all). */
static rl_case *without(rl_context *context, const rl_model *model, const rl_case *c, int left_out)
{
    rl_case *fresh;
    assert_int_equal(rl_case_new(context, model, "fresh", &fresh), RL_OK);
    for (size_t i = 0; i < rl_case_lines(c); i++) {
        const rl_line *line = rl_case_line(c, i);
        if ((int)i != left_out && !line->replaced)
            assert_int_equal(rl_case_add(fresh, line->text, strlen(line->text), "fresh", i + 1), RL_OK);
    }
    return fresh;
}

static double not_sound(const double *p)
{
    return p[RL_LOOSE] + p[RL_CORRODED] + p[RL_OPEN] + p[RL_FAILED];
}

static double odds_of(rl_case *c, size_t element)
{
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    assert_false(answer->bounded);
    return not_sound(answer->belief[element].p) / answer->belief[element].p[RL_SOUND];
}

/* The weight as two answers say it. */
static double weight_of(double with, double left_out)
{
    return with > left_out || with < left_out ? 10 * log10(with / left_out) : 0;
}

static bool same(double a, double b)
{
    return a >= b && a <= b ? true : fabs(a - b) <= NEAR;   /* infinities are equal or not */
}

static int compare(const rl_model *model, const rl_case *c, size_t element, const rl_weight *weight, double want)
{
    assert_true(weight->db == weight->db);   /* never NaN */
    if (same(want, weight->db))
        return 0;
    print_error("%s, %s, %s: %.17g dB, expected %.17g\n", rl_case_name(c), rl_model_element(model, element)->id,
                rl_case_line(c, weight->line)->text, weight->db, want);
    return 1;
}

static bool is_finding(const rl_line *line)
{
    return line->sort == RL_LINE_FINDING && !line->replaced;
}

/* The weights of one line, of a row of odds without it for all suspects. */
static int check_line(const rl_model *model, const rl_case *c, const rl_why *const *why, size_t which, const size_t *suspect,
                      size_t suspects, rl_case *all, rl_case *left_out)
{
    int bad = 0;
    for (size_t s = 0; s < suspects; s++)
        bad += compare(model, c, suspect[s], &why[s]->weight[which],
                       weight_of(odds_of(all, suspect[s]), odds_of(left_out, suspect[s])));
    return bad;
}

/* All weights of the case for each of the suspects named; returns how many are wrong. */
static int check_case(rl_context *context, const rl_model *model, rl_case *c, const size_t *suspect, size_t suspects)
{
    int bad = 0;
    size_t which = 0;
    const rl_why **why = calloc(suspects, sizeof *why);
    assert_non_null(why);
    for (size_t s = 0; s < suspects; s++)
        assert_int_equal(rl_case_why(c, suspect[s], &why[s]), RL_OK);
    rl_case *all = without(context, model, c, NONE);
    for (size_t i = 0; i < rl_case_lines(c); i++) {
        if (!is_finding(rl_case_line(c, i)))
            continue;
        assert_true(which < why[0]->count);
        assert_int_equal(why[0]->weight[which].line, i);
        rl_case *left_out = without(context, model, c, (int)i);
        bad += check_line(model, c, why, which++, suspect, suspects, all, left_out);
        rl_case_free(left_out);
    }
    for (size_t s = 0; s < suspects; s++)
        assert_int_equal(why[s]->count, which);
    rl_case_free(all);
    free(why);
    return bad;
}

/* Prior and posterior are said as the model and the answer have them. */
static void check_ends(const rl_model *model, rl_case *c, size_t element)
{
    const rl_why *why;
    assert_int_equal(rl_case_why(c, element, &why), RL_OK);
    const double *prior = rl_model_element(model, element)->prior;
    assert_true(fabs(why->prior - not_sound(prior)) < 1e-12);
    assert_true(same(why->prior_db, 10 * log10(not_sound(prior) / prior[RL_SOUND])));
    assert_true(same(why->posterior_db, 10 * log10(odds_of(c, element))));
}

/* ---- all taken back ---- */

/* Takes back every line, in random order; an occasion goes when its lines have gone. */
static void withdraw_all(rl_case *c, uint64_t *random)
{
    while (rl_case_lines(c) > 0) {
        size_t left = rl_case_lines(c), pick = (size_t)(draw_next(random) % left);
        rl_line_sort sort = rl_case_line(c, pick)->sort;
        rl_status status = rl_case_withdraw(c, pick);
        assert_true(status == RL_OK || (status == RL_USAGE && sort == RL_LINE_OCCASION));
    }
}

static void prior_is_left(const rl_model *model, rl_case *c, uint64_t *random)
{
    const rl_answer *answer;
    withdraw_all(c, random);
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    for (size_t e = 0; e < rl_model_vehicle(model)->elements; e++) {
        const rl_why *why;
        const rl_element *element = rl_model_element(model, e);
        assert_int_equal(rl_case_why(c, e, &why), RL_OK);
        assert_int_equal(why->count, 0);
        assert_true(fabs(why->posterior - not_sound(element->prior)) < 1e-12);
        assert_true(same(why->posterior_db, why->prior_db));
        for (int s = 0; s < RL_STATES; s++)
            assert_true(fabs(answer->belief[e].p[s] - element->prior[s]) < 1e-12);
    }
}

/* ---- drawn vehicles ---- */

static int drawn_case(rl_context *context, const rl_model *model, rl_case *c, size_t *compared)
{
    const rl_answer *answer;
    size_t elements = rl_model_vehicle(model)->elements;
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_CONTRADICTION) {
        const rl_why *why;
        assert_int_equal(rl_case_why(c, 0, &why), RL_CONTRADICTION);
        assert_null(why);
        return 0;
    }
    assert_int_equal(status, RL_OK);
    size_t *all = calloc(elements + 1, sizeof *all);
    assert_non_null(all);
    for (size_t e = 0; e < elements; e++) {
        all[e] = e;
        check_ends(model, c, e);
    }
    int bad = check_case(context, model, c, all, elements);
    free(all);
    *compared += 1;
    return bad;
}

static void drawn_vehicles(void **state)
{
    (void)state;
    static drawn text;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 25);
    rl_context *context = disk_context(NULL);
    int bad = 0;
    size_t compared = 0;
    for (uint64_t seed = first; seed < first + count; seed++) {
        rl_model *model = NULL;
        rl_book *book = NULL;
        uint64_t random = seed;
        drawn_put(seed, &text);
        drawn_read(context, &model, &book);
        int here = 0;
        for (size_t i = 0; i < rl_book_count(book); i++) {
            here += drawn_case(context, model, rl_book_case(book, i), &compared);
            prior_is_left(model, rl_book_case(book, i), &random);
        }
        if (here > 0)
            print_error("seed %llu: %d differences\n", (unsigned long long)seed, here);
        bad += here;
        rl_book_free(book);
        rl_model_free(model);
    }
    rl_context_free(context);
    assert_int_equal(bad, 0);
    assert_true(compared > count);
}

/* ---- shipped vehicles ---- */

/* The likeliest suspect, the unlikeliest and the battery's end, if there are any. */
static size_t some_suspects(const rl_model *model, rl_case *c, size_t *out)
{
    const size_t *list;
    size_t count, n = 0;
    assert_int_equal(rl_case_suspects(c, &list, &count), RL_OK);
    int post = rl_model_find(model, "post");
    out[n++] = post >= 0 ? (size_t)post : 0;
    if (count > 0)
        out[n++] = list[0];
    if (count > 1)
        out[n++] = list[count - 1];
    return n;
}

static void shipped(const char *rules, const char *cases)
{
    rl_context *context = disk_context(TEST_ROOT "/rules");
    rl_model *model = disk_model(context, rules);
    rl_book *book;
    uint64_t random = 7;
    int bad = 0;
    assert_int_equal(rl_book_read(context, model, cases, &book), RL_OK);
    assert_true(rl_book_count(book) > 3);
    for (size_t i = 0; i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        size_t suspect[3], count = some_suspects(model, c, suspect);
        check_ends(model, c, suspect[0]);
        bad += check_case(context, model, c, suspect, count);
        prior_is_left(model, c, &random);
    }
    rl_book_free(book);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(bad, 0);
}

static void small_vehicle(void **state)
{
    (void)state;
    shipped(TEST_ROOT "/rules/small-drumlin.gnd", TEST_ROOT "/rules/small-drumlin.case");
}

static void demo_vehicle(void **state)
{
    (void)state;
    shipped(TEST_ROOT "/rules/demo-moraine.gnd", TEST_ROOT "/rules/demo-moraine.case");
}

static void large_vehicle(void **state)
{
    (void)state;
    shipped(TEST_ROOT "/rules/large-nunatak.gnd", TEST_ROOT "/rules/large-nunatak.case");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(drawn_vehicles), cmocka_unit_test(small_vehicle), cmocka_unit_test(demo_vehicle),
        cmocka_unit_test(large_vehicle),
    };
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) != 0;
}
