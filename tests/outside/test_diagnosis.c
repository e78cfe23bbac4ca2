/* test_diagnosis.c: bits of tests against tests/data/diagnosis.json, through rule files.
 *
 * What is compared, and where the language can say it:
 * - information_gain: one point whose states are the faults, one inspection whose rows
 *   are the likelihoods; all entries (at most four faults).
 * - chain, noisy_chain: exactly one fault among up to four, again the states of one
 *   point; a probe is an inspection that tells the states before it from those behind.
 *   Entries with more faults cannot be said: elements are independent in this language.
 * - cascade_multifault: a chain of points, each open with the entry's p, complained of by
 *   a load at its far end.  The marginals are the entry's.  Its probe is a coin toss when
 *   faults lie on both sides, which no test of this language is: so the bits of the tests
 *   that see the first k points (continuity) or the last m (a load further on), being
 *   certain, are compared with the binary entropy of 1 - (1 - p)^k over 1 - (1 - p)^n, and
 *   the entry's own probe is put together from the engine's P(findings) of both sides.
 * - gain_per_cost: two inspections with its minutes; the order of the tests is checked.
 */
#include "held/held.h"
#include "held/published.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

enum { TEXT = 8192, LINE = 128, MOST_FAULTS = 4 };

static const char *const states[MOST_FAULTS] = {"sound", "loose", "corroded", "open"};

static void near(double got, double want)
{
    if (!(fabs(got - want) <= 1e-9))
        fail_msg("got %.17g, expected %.17g", got, want);
}

typedef struct text {
    char bytes[TEXT];
    size_t length;
} text;

static void put(text *out, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    int n = vsnprintf(out->bytes + out->length, TEXT - out->length, format, list);
    va_end(list);
    assert_true(n >= 0 && out->length + (size_t)n < TEXT);
    out->length += (size_t)n;
}

/* A vehicle, its case and its tests. */
typedef struct setting {
    held shelf;
    rl_context *context;
    rl_model *model;
    rl_case *c;
    const rl_test *tests;
    size_t count;
} setting;

static void open_setting(setting *s, const text *rules, const char *lines)
{
    *s = (setting){0};
    held_put(&s->shelf, "v.gnd", rules->bytes, rules->length);
    s->context = held_context(&s->shelf, 0);
    s->model = held_model(&s->shelf, s->context);
    s->c = held_case(s->context, s->model, lines);
    assert_int_equal(rl_case_tests(s->c, &s->tests, &s->count), RL_OK);
}

static void close_setting(setting *s)
{
    rl_case_free(s->c);
    rl_model_free(s->model);
    rl_context_free(s->context);
}

static const rl_test *test_called(const setting *s, const char *called)
{
    const rl_test *test = held_test(s->tests, s->count, called);
    if (test == NULL)
        fail_msg("no test %s", called);
    return test;
}

/* ---- one point, its states the faults ---- */

static void put_point(text *rules, const json_t *prior)
{
    put(rules, "vehicle v supply 12 V\nclass point");
    for (size_t i = 1; i < json_array_size(prior); i++)
        put(rules, " %s %.17g", states[i], published_at(prior, i));
    put(rules, "\npoint p\n");
}

static void put_row(text *rules, const char *state, const json_t *row)
{
    put(rules, "    when %s", state);
    for (size_t i = 1; i < json_array_size(row); i++)
        put(rules, " o%zu %.17g", i, published_at(row, i));
    put(rules, "\n");
}

static void information_gain(const json_t *entry)
{
    static text rules;
    rules.length = 0;
    const json_t *prior = json_object_get(entry, "prior"), *likelihood = json_object_get(entry, "likelihood");
    assert_true(json_array_size(prior) <= MOST_FAULTS);
    put_point(&rules, prior);
    put(&rules, "inspection look of point shows o0");
    for (size_t i = 1; i < json_array_size(json_array_get(likelihood, 0)); i++)
        put(&rules, ", o%zu", i);
    put(&rules, "\n");
    for (size_t f = 0; f < json_array_size(prior); f++)
        put_row(&rules, states[f], json_array_get(likelihood, f));
    setting s;
    open_setting(&s, &rules, "");
    near(test_called(&s, "look p")->bits, published_number(entry, "gain"));
    /* and what each outcome leaves, in the posteriors of the entry */
    const json_t *left = json_object_get(entry, "posteriors");
    for (size_t o = 0; o < json_array_size(left); o++) {
        char line[LINE];
        snprintf(line, sizeof line, "look p o%zu", o);
        rl_case *c = held_case(s.context, s.model, line);
        const rl_answer *answer;
        double p_outcome = published_at(json_object_get(entry, "p_outcome"), o);
        assert_int_equal(rl_case_answer(c, &answer), p_outcome > 0 ? RL_OK : RL_CONTRADICTION);
        for (size_t f = 0; p_outcome > 0 && f < json_array_size(prior); f++)
            near(answer->belief[0].p[f], published_at(json_array_get(left, o), f));
        rl_case_free(c);
    }
    close_setting(&s);
}

/* Inspections `afterK`: shows `bad` if the fault is among the first K, off by `error`. */
static void chain(const json_t *entry, double error)
{
    static text rules;
    rules.length = 0;
    const json_t *prior = json_object_get(entry, "prior"), *probes = json_object_get(entry, "probes");
    put_point(&rules, prior);
    for (size_t k = 1; k <= json_array_size(probes); k++) {
        put(&rules, "inspection after%zu of point shows good, bad\n", k);
        for (size_t f = 0; f < json_array_size(prior); f++)
            put(&rules, "    when %s bad %.17g\n", states[f], f < k ? 1 - error : error);
    }
    setting s;
    open_setting(&s, &rules, "");
    for (size_t k = 1; k <= json_array_size(probes); k++) {
        char called[LINE];
        snprintf(called, sizeof called, "after%zu p", k);
        near(test_called(&s, called)->bits, published_number(json_array_get(probes, k - 1), "gain"));
    }
    close_setting(&s);
}

static size_t chains(const json_t *list)
{
    size_t said = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *entry = json_array_get(list, i), *error = json_object_get(entry, "error");
        if (json_array_size(json_object_get(entry, "prior")) > MOST_FAULTS)
            continue;
        chain(entry, error == NULL ? 0 : json_number_value(error));
        said++;
    }
    return said;
}

/* ---- a chain of points ---- */

static double fraction(const char *written)
{
    double above = 0, below = 1;
    assert_int_equal(sscanf(written, "%lf/%lf", &above, &below), 2);
    return above / below;
}

static void put_cascade(text *rules, size_t n, double p)
{
    put(rules, "vehicle v supply 12 V\nclass point open %.17g\nclass wire open 0\n"
               "kind k behaves normal, dead failed 0\n    when open dead 100%%\n"
               "joint sound 2 mohm spread 2\njoint corroded 1 ohm spread 2\n"
               "meter beeper beeps below 30 ohm misread 0\npoint end class fixed\nclass fixed open 0\n", p);
    for (size_t i = 1; i <= n; i++) {
        put(rules, "point p%zu returns through ", i);
        put(rules, i < n ? "p%zu\n" : "end\n", i + 1);
        put(rules, "load l%zu kind k returns through p%zu\n", i, i);
    }
}

static double entropy(double p)
{
    return -(p * log2(p) + (1 - p) * log2(1 - p));
}

/* P(these lines | l1 is dead) */
static double p_given_dead(const setting *s, const char *lines)
{
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(s->c, &answer), RL_OK);
    double dead = answer->log_evidence;
    rl_case *c = held_case(s->context, s->model, "l1 dead\n");
    held_say(c, lines);
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    double p = exp(answer->log_evidence - dead);
    rl_case_free(c);
    return p;
}

/* The entry's probe after `k`, which is a coin toss when both sides are at fault. */
static void cascade_probe(const setting *s, size_t k, const json_t *probe)
{
    char first[LINE], both[2 * LINE];
    snprintf(first, sizeof first, "continuity l1 to p%zu silent\n", k + 1);
    snprintf(both, sizeof both, "%sl%zu dead\n", first, k + 1);
    double p_both = p_given_dead(s, both), p_wrong = p_given_dead(s, first) - p_both / 2;
    near(p_wrong, published_number(probe, "p_wrong"));
    near(entropy(p_wrong) - p_both, published_number(probe, "gain"));
}

static void cascade(const json_t *entry)
{
    static text rules;
    rules.length = 0;
    size_t n = (size_t)published_number(entry, "n");
    double p = fraction(json_string_value(json_object_get(entry, "p"))), any = 1 - pow(1 - p, (double)n);
    put_cascade(&rules, n, p);
    setting s;
    open_setting(&s, &rules, "l1 dead\n");
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(s.c, &answer), RL_OK);
    for (size_t i = 1; i <= n; i++) {
        char id[LINE];
        snprintf(id, sizeof id, "p%zu", i);
        near(held_fault(answer, held_element(s.model, id)), published_at(json_object_get(entry, "marginal"), i - 1));
    }
    for (size_t k = 1; k < n; k++) {
        char called[LINE];
        double bits = entropy((1 - pow(1 - p, (double)k)) / any);
        snprintf(called, sizeof called, "continuity l1 to p%zu", k + 1);
        near(test_called(&s, called)->bits, bits);
        snprintf(called, sizeof called, "l%zu", n - k + 1);
        near(test_called(&s, called)->bits, bits);
        cascade_probe(&s, k, json_array_get(json_object_get(entry, "probes"), k - 1));
    }
    close_setting(&s);
}

/* ---- minutes ---- */

static void gain_per_cost(const json_t *entry)
{
    static text rules;
    rules.length = 0;
    put_point(&rules, json_object_get(entry, "prior"));
    const json_t *two = json_object_get(entry, "tests");
    static const size_t split[] = {2, 1};      /* 2|2 and 1|3 */
    for (size_t t = 0; t < 2; t++) {
        put(&rules, "inspection split%zu of point shows good, bad check %g min\n", split[t],
            published_number(json_array_get(two, t), "cost"));
        for (size_t f = 0; f < split[t]; f++)
            put(&rules, "    when %s bad 100%%\n", states[f]);
    }
    setting s;
    open_setting(&s, &rules, "");
    for (size_t t = 0; t < 2; t++) {
        char called[LINE];
        snprintf(called, sizeof called, "split%zu p", split[t]);
        const rl_test *test = test_called(&s, called);
        near(test->bits, published_number(json_array_get(two, t), "gain"));
        near(test->bits / test->minutes, published_number(json_array_get(two, t), "per_cost"));
    }
    assert_string_equal(s.tests[0].text, "split1 p");   /* less gain, but more for its minutes */
    close_setting(&s);
}

/* ---- the file ---- */

static void single_tests(void **state)
{
    (void)state;
    json_t *root = published("diagnosis.json");
    const json_t *list = published_list(root, "information_gain", 7);
    for (size_t i = 0; i < json_array_size(list); i++)
        information_gain(json_array_get(list, i));
    gain_per_cost(json_object_get(root, "gain_per_cost"));
    json_decref(root);
}

static void one_fault_in_a_chain(void **state)
{
    (void)state;
    json_t *root = published("diagnosis.json");
    assert_int_equal(chains(published_list(root, "chain", 6)), 3);
    assert_int_equal(chains(published_list(root, "noisy_chain", 3)), 2);
    json_decref(root);
}

static void several_faults_in_a_chain(void **state)
{
    (void)state;
    json_t *root = published("diagnosis.json");
    const json_t *list = published_list(root, "cascade_multifault", 3);
    for (size_t i = 0; i < json_array_size(list); i++)
        cascade(json_array_get(list, i));
    json_decref(root);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(single_tests), cmocka_unit_test(one_fault_in_a_chain),
                                       cmocka_unit_test(several_faults_in_a_chain)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
