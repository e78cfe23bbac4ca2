/* test_alike.c: faults that an audit calls alike by looks have equal laws of
 * all looks, and others have not, on vehicles drawn at random.
 *
 * The laws are had in another way: as posteriors of cases in which all other
 * elements are repaired, P(outcome | state) = P(state | outcome) P(outcome) / P(state),
 * by the same rules with loads that never fail.  What no test tells apart is
 * asked of each admissible test in the same way: outcomes, or a few readings.
 */
#include "held/held.h"
#include "random_rules.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { VEHICLES = 40, TESTED = 40, MOST_NUMBERS = 12000, TEXT = 4096, LINE = 256 };
static const double EQUAL = 2e-12;   /* the audit says equal up to 1e-12; rounding comes to 1e-13 here */

typedef struct law { double number[RL_STATES][MOST_NUMBERS]; size_t count; } law;

typedef struct bed {
    held shelf;
    rl_context *context;
    rl_model *model, *unfailing;
    const rl_vehicle *vehicle;
    rl_audit *audit;
    const rl_audit_report *r;
    law *of;                   /* by element */
    size_t pairs, alike;       /* faults compared; of them equal */
} bed;

/* Adds P(line | state) for each state of an element, all others repaired. */
static void ask(bed *b, size_t element, const char *line)
{
    char text[TEXT];
    size_t length = (size_t)snprintf(text, sizeof text, "occasion bare with");
    const char *join = " repaired ";
    for (size_t e = 0; e < b->vehicle->elements; e++) {
        const rl_element *info = rl_model_element(b->model, e);
        if (e == element || info->sort == RL_LOAD)
            continue;
        length += (size_t)snprintf(text + length, sizeof text - length, "%s%s", join, info->id);
        join = " and repaired ";
    }
    snprintf(text + length, sizeof text - length, "\n%s\n", line);
    rl_case *c = held_case(b->context, b->unfailing, text);
    const rl_answer *answer;
    const double *prior = rl_model_element(b->model, element)->prior;
    law *l = &b->of[element];
    rl_status status = rl_case_answer(c, &answer);
    assert_true(status == RL_OK || status == RL_CONTRADICTION);
    assert_true(l->count < MOST_NUMBERS);
    for (int s = 0; s < RL_STATES; s++)
        if (prior[s] > 0 && status == RL_OK)
            l->number[s][l->count] = answer->belief[element].p[s] * exp(answer->log_evidence) / prior[s];
    l->count++;
    rl_case_free(c);
}

static void ask_two(bed *b, size_t element, const char *one, const char *two)
{
    char line[LINE];
    snprintf(line, sizeof line, "%s %s", one, two);
    ask(b, element, line);
}

static void ask_looks(bed *b, size_t element)
{
    for (size_t e = 0; e < b->vehicle->elements; e++) {
        const rl_element *info = rl_model_element(b->model, e);
        if (info->sort != RL_LOAD)
            continue;
        const rl_kind *kind = rl_model_kind(b->model, (size_t)info->kind);
        for (size_t k = 0; k < kind->levels; k++)
            ask_two(b, element, info->id, kind->level[k]);
    }
    for (size_t i = 0; i < b->vehicle->symptoms; i++)
        ask_two(b, element, rl_model_symptom(b->model, i)->id, "present");
}

/* Each level of a load under a condition. */
static void ask_condition(bed *b, size_t element, const rl_test *test)
{
    const rl_element *load = rl_model_element(b->model, (size_t)test->subject);
    const rl_kind *kind = rl_model_kind(b->model, (size_t)load->kind);
    char line[LINE];
    for (size_t k = 0; k < kind->levels; k++) {
        snprintf(line, sizeof line, "%s %s%s", load->id, kind->level[k], test->text + strlen(load->id));
        ask(b, element, line);
    }
}

static void ask_each(bed *b, size_t element, const rl_test *test, const char *const *outcome)
{
    for (; *outcome != NULL; outcome++)
        ask_two(b, element, test->text, *outcome);
}

static void ask_test(bed *b, size_t element, const rl_test *test)
{
    static const char *const volts[] = {"0.004 V", "0.06 V", "0.7 V", "5 V", "11.9 V", NULL};
    static const char *const ohms[] = {"0.3 ohm", "4 ohm", "open", NULL}, *const sound[] = {"beeps", NULL};
    static const char *const there[] = {"present", NULL};
    switch (test->sort) {
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_SYMPTOM: break;
    case RL_TEST_INSPECTION:
        for (size_t i = 0; i < rl_model_inspection(b->model, (size_t)test->named)->outcomes; i++)
            ask_two(b, element, test->text, rl_model_inspection(b->model, (size_t)test->named)->outcome[i]);
        break;
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: ask_each(b, element, test, there); break;
    case RL_TEST_DROP:
    case RL_TEST_SUPPLY: ask_each(b, element, test, volts); break;
    case RL_TEST_RESISTANCE: ask_each(b, element, test, ohms); break;
    case RL_TEST_CONTINUITY: ask_each(b, element, test, sound); break;
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER: ask_condition(b, element, test); break;
    }
}

/* Every load amiss, and nothing seen since: then every test may be done. */
static rl_case *all_amiss(bed *b)
{
    rl_case *c = held_case(b->context, b->model, "");
    char line[LINE];
    for (size_t e = 0; e < b->vehicle->elements; e++) {
        const rl_element *info = rl_model_element(b->model, e);
        if (info->sort != RL_LOAD || rl_model_kind(b->model, (size_t)info->kind)->levels < 2)
            continue;
        snprintf(line, sizeof line, "%s not %s\n", info->id, rl_model_kind(b->model, (size_t)info->kind)->level[0]);
        held_say(c, line);
    }
    held_say(c, "occasion then\n");
    return c;
}

/* The group of equal laws that holds a fault, -1: none. */
static int group_of(const bed *b, size_t element, rl_state state, bool by_all)
{
    for (size_t i = 0; i < b->r->alikes; i++) {
        const rl_alike *g = &b->r->alike[i];
        for (size_t k = 0; g->by_all == by_all && !(g->apart > 0) && k < g->count; k++)
            if (g->faults[k].element == element && g->faults[k].state == state)
                return (int)i;
    }
    return -1;
}

static bool equal(const law *a, int s, const law *b, int t)
{
    assert_int_equal(a->count, b->count);
    for (size_t i = 0; i < a->count; i++)
        if (fabs(a->number[s][i] - b->number[t][i]) > EQUAL * fmax(1, fabs(a->number[s][i])))
            return false;
    return true;
}

static void compare(bed *b, bool by_all, size_t e, int s, size_t f, int t)
{
    int group = group_of(b, e, (rl_state)s, by_all), other = group_of(b, f, (rl_state)t, by_all);
    bool together = group >= 0 && group == other, alike = equal(&b->of[e], s, &b->of[f], t);
    if (together != alike)
        fail_msg("%s %s and %s %s: the audit says %s, their laws are %s", rl_model_element(b->model, e)->id,
                 rl_state_text((rl_state)s), rl_model_element(b->model, f)->id, rl_state_text((rl_state)t),
                 together ? "alike" : "not alike", alike ? "equal" : "not equal");
    b->pairs++;
    b->alike += alike;
}

static void compare_sound(const bed *b, bool by_all, size_t e, int s)
{
    int group = group_of(b, e, (rl_state)s, by_all);
    bool said = group >= 0 && b->r->alike[group].as_sound;
    if (said != equal(&b->of[e], s, &b->of[e], RL_SOUND))
        fail_msg("%s %s: the audit says that tests %s it", rl_model_element(b->model, e)->id,
                 rl_state_text((rl_state)s), said ? "never show" : "show");
}

static bool is_fault(const bed *b, size_t e, int s)
{
    const rl_element *info = rl_model_element(b->model, e);
    return b->of[e].count > 0 && info->prior[s] > 0 && info->prior[RL_SOUND] > 0;
}

static void compare_all(bed *b, bool by_all)
{
    size_t elements = b->vehicle->elements;
    for (size_t e = 0; e < elements; e++)
        for (int s = RL_LOOSE; s <= RL_OPEN; s++) {
            if (!is_fault(b, e, s))
                continue;
            compare_sound(b, by_all, e, s);
            for (size_t f = e; f < elements; f++)
                for (int t = f == e ? s + 1 : RL_LOOSE; t <= RL_OPEN; t++)
                    if (is_fault(b, f, t))
                        compare(b, by_all, e, s, f, t);
        }
}

/* Priors of loads become 0: a number right behind `failed`.  What a symptom has
 * from a load that failed goes with them, and does not matter then. */
static void never_fail(char *text)
{
    for (char *at = text; (at = strstr(at, "failed ")) != NULL;) {
        at += strlen("failed ");
        for (char *digit = at; *digit != '%' && strchr("0123456789.", *digit) != NULL; digit++)
            if (*digit != '.')
                *digit = '0';
    }
}

static void open_bed(bed *b, uint64_t seed)
{
    static drawn d;
    *b = (bed){.pairs = 0};
    draw_vehicle(seed, &d);
    held_put_text(&b->shelf, "v.gnd", d.rules);
    held_put_text(&b->shelf, "base.gnd", d.base);
    b->context = held_context(&b->shelf, 0);
    b->model = held_model(&b->shelf, b->context);
    never_fail(d.rules);
    never_fail(d.base);
    b->unfailing = held_model(&b->shelf, b->context);
    b->vehicle = rl_model_vehicle(b->model);
    assert_int_equal(rl_audit_new(b->context, b->model, 2, seed, &b->audit), RL_OK);
    b->r = rl_audit_get(b->audit);
    b->of = calloc(b->vehicle->elements, sizeof *b->of);
    assert_non_null(b->of);
}

static void close_bed(bed *b)
{
    free(b->of);
    rl_audit_free(b->audit);
    rl_model_free(b->unfailing);
    rl_model_free(b->model);
    rl_context_free(b->context);
    assert_int_equal(b->shelf.out, 0);
}

static void looks_agree_with_posteriors(void **state)
{
    (void)state;
    size_t pairs = 0, alike = 0;
    for (uint64_t seed = 1; seed <= VEHICLES; seed++) {
        bed b;
        open_bed(&b, seed);
        assert_true(b.r->left_bits >= 0 && b.r->left_bits <= b.r->prior_bits + 1e-9);
        for (size_t e = 0; e < b.vehicle->elements; e++)
            if (rl_model_element(b.model, e)->sort != RL_LOAD)
                ask_looks(&b, e);
        compare_all(&b, false);
        pairs += b.pairs;
        alike += b.alike;
        close_bed(&b);
    }
    print_message("%zu pairs of faults, %zu of them alike by looks\n", pairs, alike);
    assert_true(alike > 100 && alike < pairs);
}

/* Whether an element is in a group of equal looks: only of those more has to be asked. */
static bool in_question(const bed *b, size_t element)
{
    for (int s = RL_LOOSE; s <= RL_OPEN; s++)
        if (group_of(b, element, (rl_state)s, false) >= 0)
            return rl_model_element(b->model, element)->sort != RL_LOAD;
    return false;
}

static void tests_agree_with_posteriors(void **state)
{
    (void)state;
    size_t pairs = 0, alike = 0;
    for (uint64_t seed = 1; seed <= TESTED; seed++) {
        bed b;
        open_bed(&b, seed);
        const rl_test *test;
        size_t tests;
        rl_case *c = all_amiss(&b);
        assert_int_equal(rl_case_tests(c, &test, &tests), RL_OK);
        for (size_t e = 0; e < b.vehicle->elements; e++) {
            if (!in_question(&b, e))
                continue;
            ask_looks(&b, e);
            for (size_t i = 0; i < tests; i++)
                ask_test(&b, e, &test[i]);
        }
        rl_case_free(c);
        compare_all(&b, true);
        pairs += b.pairs;
        alike += b.alike;
        close_bed(&b);
    }
    print_message("%zu pairs of faults, %zu of them alike by all tests\n", pairs, alike);
    assert_true(alike > 0 && alike < pairs);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(looks_agree_with_posteriors),
                                         cmocka_unit_test(tests_agree_with_posteriors) };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    return failed > 255 ? 255 : failed;
}
