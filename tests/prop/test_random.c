/* test_random.c: vehicles drawn at random: the library against the oracle's
 * enumeration, and a case changed line by line, in any order, against one made from scratch.
 *
 * RANDOM_SEED and RANDOM_COUNT choose other draws; a difference is said with
 * its seed, and `RANDOM_COUNT=1 RANDOM_SEED=n` draws that vehicle again.
 */
#include "../held/disk.h"
#include "drawn_files.h"
#include "given_engine.h"
#include "given_oracle.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

static const tolerance ORACLE = {1e-9, 1e-9, 1e-9, 1e-9, 1e-9};
static const tolerance SCRATCH = {1e-12, 1e-12, 1e-12, 1e-12, 1e-12};
static const double BOUND = 1e6;       /* joint states that the oracle looks at */

/* ---- against the oracle ---- */

typedef struct counts { size_t compared, wide, contradictions; int bad; } counts;

/* The oracle multiplies plain numbers: what is rarer than this it does not hold to 1e-9. */
static const double FAINTEST = -600;

static bool is_faint(const given *g) { return !g->contradiction && g->log_evidence < FAINTEST; }

/* By bits per minute, ties by text; what rounding could turn round is not looked at. */
static int order(const given *want, const given *got)
{
    int bad = 0;
    for (size_t i = 1; i < got->tests; i++) {
        const given_test *a = given_find(want, got->test[i - 1].text), *b = given_find(want, got->test[i].text);
        if (a == NULL || b == NULL)
            continue;   /* said before */
        double left = a->bits / a->minutes, right = b->bits / b->minutes;
        bool same = fabs(left - right) <= 1e-11 * left + 1e-11;
        if (left > right || (same && (fabs(left - right) > 0 || strcmp(a->text, b->text) < 0)))
            continue;
        print_error("%s: `%s` (%.17g) before `%s` (%.17g)\n", want->name, a->text, left, b->text, right);
        bad++;
    }
    return bad;
}

/* ---- smallest contradictions ---- */

enum { MOST_LINES = 32 };

/* Whether some `left` of the lines from `next` on contradict each other and the `n` chosen before. */
static bool some_contradict(oc_case *c, const size_t *line, size_t lines, size_t next, size_t left, size_t *chosen, size_t n)
{
    if (left == 0)
        return isinf(oc_log_evidence_of(c, BOUND, chosen, n));
    for (; next + left <= lines; next++) {
        chosen[n] = line[next];
        if (some_contradict(c, line, lines, next + 1, left - 1, chosen, n + 1))
            return true;
    }
    return false;
}

/* The set named contradicts itself, and none of fewer lines does. */
static int contradiction(rl_case *got, oc_case *want)
{
    const size_t *index;
    size_t count, line[MOST_LINES], chosen[MOST_LINES];
    assert_int_equal(rl_case_contradiction(got, &index, &count), RL_OK);
    assert_true(count > 0 && count <= MOST_LINES);
    for (size_t i = 0; i < count; i++)
        chosen[i] = rl_case_line(got, index[i])->line;
    int bad = !isinf(oc_log_evidence_of(want, BOUND, chosen, count));
    size_t lines = oc_case_lines(want, line, MOST_LINES);
    bad += some_contradict(want, line, lines, 0, count - 1, chosen, 0);
    if (bad > 0)
        print_error("%s: %zu lines are no smallest contradiction\n", oc_case_name(want), count);
    return bad;
}

/* All answers to one case. */
static void compare(const rl_model *model, rl_case *c, const oc_model *oracle, oc_case *case_of_oracle, counts *n)
{
    given *want = given_from_oracle(oracle, case_of_oracle, BOUND), *got = NULL;
    if (want != NULL)
        got = given_from_engine(model, c, ASK_TESTS | ASK_EXPLANATIONS);
    if (want == NULL || (got != NULL && is_faint(got))) {
        n->wide++;
    } else if (got == NULL) {
        n->bad++;
    } else {
        n->compared++;
        n->contradictions += want->contradiction;
        n->bad += given_differences(want, got, ORACLE) + order(want, got);
        if (want->contradiction && got->contradiction)
            n->bad += contradiction(c, case_of_oracle);
    }
    given_free(want);
    given_free(got);
}

static void against_oracle(const rl_model *model, const rl_book *book, counts *n)
{
    size_t cases;
    oc_model *oracle = oc_model_read(drawn_path("v.gnd"));
    assert_non_null(oracle);
    oc_case **list = oc_cases_read(oracle, drawn_path("v.case"), &cases);
    assert_int_equal(cases, rl_book_count(book));
    for (size_t i = 0; i < cases; i++)
        compare(model, rl_book_case(book, i), oracle, list[i], n);
    oc_model_free(oracle);
}

static void one_vehicle(rl_context *context, uint64_t seed, counts *n)
{
    static drawn text;
    rl_model *model = NULL;
    rl_book *book = NULL;
    int before = n->bad;
    drawn_put(seed, &text);
    drawn_read(context, &model, &book);
    against_oracle(model, book, n);
    rl_book_free(book);
    rl_model_free(model);
    if (n->bad != before)
        print_error("seed %llu: %d differences\n", (unsigned long long)seed, n->bad - before);
}

static void enumeration(void **state)
{
    (void)state;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 60);
    rl_context *context = disk_context(NULL);
    counts n = {0};
    for (uint64_t seed = first; seed < first + count; seed++)
        one_vehicle(context, seed, &n);
    rl_context_free(context);
    print_message("%zu cases compared, %zu of them contradictions; %zu too wide to enumerate\n", n.compared,
                  n.contradictions, n.wide);
    assert_int_equal(n.bad, 0);
    assert_true(n.compared >= n.wide);
}

/* ---- line by line ---- */

typedef struct lines { size_t count; const char *text[64]; } lines;

/* Lines of the `number`th case, without its `case` line. */
static lines lines_of(char *cases, int number)
{
    lines out = {0};
    int at = -1;
    for (char *line = strtok(cases, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        if (strncmp(line, "case ", 5) == 0)
            at++;
        else if (at == number && out.count < 64)
            out.text[out.count++] = line;
    }
    return out;
}

static rl_case *fresh(rl_context *context, const rl_model *model, const lines *l, size_t count, size_t without)
{
    rl_case *c = NULL;
    assert_int_equal(rl_case_new(context, model, "line by line", &c), RL_OK);
    for (size_t i = 0; i < count; i++)
        if (i != without)
            assert_int_equal(rl_case_add(c, l->text[i], strlen(l->text[i]), "drawn", i + 1), RL_OK);
    return c;
}

static int same(const rl_model *model, rl_case *changed, rl_case *scratch, unsigned what)
{
    given *want = given_from_engine(model, scratch, what), *got = given_from_engine(model, changed, what);
    int bad = want == NULL || got == NULL ? 1 : given_differences(want, got, SCRATCH);
    given_free(want);
    given_free(got);
    return bad;
}

/* Adds line after line, asking after each; then takes each finding away and says it again. */
static int change(rl_context *context, const rl_model *model, const lines *l)
{
    int bad = 0;
    rl_case *c = fresh(context, model, l, 0, SIZE_MAX);
    for (size_t n = 1; n <= l->count; n++) {
        const char *text = l->text[n - 1];
        assert_int_equal(rl_case_add(c, text, strlen(text), "drawn", n), RL_OK);
        rl_case *scratch = fresh(context, model, l, n, SIZE_MAX);
        bad += same(model, c, scratch, n == l->count ? ASK_TESTS | ASK_EXPLANATIONS : 0);
        rl_case_free(scratch);
    }
    for (size_t i = l->count; i-- > 0;) {
        if (strncmp(l->text[i], "occasion", 8) == 0)
            continue;
        rl_case *whole = fresh(context, model, l, l->count, SIZE_MAX);
        rl_case *scratch = fresh(context, model, l, l->count, i);
        bad += same(model, whole, c, 0);
        assert_int_equal(rl_case_withdraw(whole, i), RL_OK);
        bad += same(model, whole, scratch, i == 0 ? ASK_TESTS : 0);
        rl_case_free(whole);
        rl_case_free(scratch);
    }
    rl_case_free(c);
    return bad;
}

static void added_and_withdrawn(void **state)
{
    (void)state;
    static drawn text;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 20);
    rl_context *context = disk_context(NULL);
    int bad = 0;
    for (uint64_t seed = first; seed < first + count; seed++) {
        rl_model *model = NULL;
        drawn_put(seed, &text);
        drawn_read(context, &model, NULL);
        lines l = lines_of(text.cases, (int)(seed % 3));
        int here = change(context, model, &l);
        if (here > 0)
            print_error("seed %llu: %d differences\n", (unsigned long long)seed, here);
        bad += here;
        rl_model_free(model);
    }
    rl_context_free(context);
    assert_int_equal(bad, 0);
}

/* ---- lines in any order ---- */

/* All lines of all cases but those that start occasions. */
static lines pool_of(char *cases)
{
    lines out = {0};
    for (char *line = strtok(cases, "\n"); line != NULL; line = strtok(NULL, "\n"))
        if (strncmp(line, "case ", 5) != 0 && strncmp(line, "occasion", 8) != 0 && out.count < 64)
            out.text[out.count++] = line;
    return out;
}

static void say_one(rl_case *c, const lines *pool, lines *said, uint64_t *random)
{
    const char *text = pool->text[draw_next(random) % pool->count];
    if (said->count < 64 && rl_case_add(c, text, strlen(text), "drawn", 1) == RL_OK)
        said->text[said->count++] = text;
}

static void withdraw_one(rl_case *c, lines *said, uint64_t *random)
{
    size_t at = draw_next(random) % said->count;
    assert_int_equal(rl_case_withdraw(c, at), RL_OK);
    said->count--;
    memmove(&said->text[at], &said->text[at + 1], (said->count - at) * sizeof *said->text);
}

/* Says and takes back, asking now and then, so that answers go on from one, from several or from no line before. */
static int stir(rl_context *context, const rl_model *model, const lines *pool, uint64_t random)
{
    lines said = {0};
    int bad = 0;
    rl_case *c = fresh(context, model, &said, 0, SIZE_MAX);
    for (int step = 0; step < 24; step++) {
        if (said.count > 0 && draw_next(&random) % 5 == 0)
            withdraw_one(c, &said, &random);
        else
            say_one(c, pool, &said, &random);
        if (said.count == 0 || draw_next(&random) % 3 == 0)
            continue;
        rl_case *scratch = fresh(context, model, &said, said.count, SIZE_MAX);
        bad += same(model, c, scratch, draw_next(&random) % 6 == 0 ? ASK_TESTS | ASK_EXPLANATIONS : 0);
        rl_case_free(scratch);
    }
    rl_case_free(c);
    return bad;
}

static void in_any_order(void **state)
{
    (void)state;
    static drawn text;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 20);
    rl_context *context = disk_context(NULL);
    int bad = 0;
    for (uint64_t seed = first; seed < first + count; seed++) {
        rl_model *model = NULL;
        drawn_put(seed, &text);
        drawn_read(context, &model, NULL);
        lines pool = pool_of(text.cases);
        int here = pool.count > 0 ? stir(context, model, &pool, seed) : 0;
        if (here > 0)
            print_error("seed %llu: %d differences\n", (unsigned long long)seed, here);
        bad += here;
        rl_model_free(model);
    }
    rl_context_free(context);
    assert_int_equal(bad, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(enumeration), cmocka_unit_test(added_and_withdrawn),
                                       cmocka_unit_test(in_any_order)};
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) != 0;
}
