/* test_practice.c: common practice of the trade (tests/data/practice.csv) against the
 * shipped rules.
 *
 * Rows of status b are arithmetic and are asserted; the words of the others are only
 * asserted as an order ("leads", "far under"), never as their numbers.  What ought to
 * come out at about nine in ten does so over the cases that ship.
 */
#include "held/held.h"
#include "lang/show.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { LINE = 512 };

static const char *const vehicles[] = {"small-drumlin", "demo-moraine", "large-nunatak"};
enum { VEHICLES = sizeof vehicles / sizeof *vehicles };

/* ---- files ---- */

static rl_status read_rules(void *user, const char *path, char **bytes, size_t *length)
{
    (void)user;
    *bytes = show_file(path, length);
    return *bytes == NULL ? RL_MISSING : RL_OK;
}

static void release(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

typedef struct setting {
    rl_context *context;
    rl_model *model;
} setting;

static void open_setting(setting *s, const char *vehicle)
{
    rl_settings settings = {.loader = {read_rules, release, NULL}};
    char path[LINE];
    snprintf(path, sizeof path, "%s/rules/%s.gnd", TEST_ROOT, vehicle);
    assert_int_equal(rl_context_new(&settings, &s->context), RL_OK);
    assert_int_equal(rl_model_read(s->context, path, &s->model), RL_OK);
}

static void close_setting(setting *s)
{
    rl_model_free(s->model);
    rl_context_free(s->context);
}

static rl_book *book_of(const setting *s, const char *vehicle)
{
    char path[LINE];
    rl_book *book = NULL;
    snprintf(path, sizeof path, "%s/rules/%s.case", TEST_ROOT, vehicle);
    assert_int_equal(rl_book_read(s->context, s->model, path, &book), RL_OK);
    return book;
}

/* ---- continuity passes and the load still misbehaves ---- */

/* Two lamps on one stud, by wires or splices of their own, and the next point on. */
typedef struct complaint {
    const char *vehicle, *one, *two, *stud, *beyond;
} complaint;

static const complaint complaints[] = {
    {"small-drumlin", "floor_lamp", "tail_left", "tail_stud", "frame"},
    {"demo-moraine", "ind_rear_left", "stop_left", "rear_left", NULL},
    {"large-nunatak", "plate_lamp", "stop_left", "rear_left", NULL},
    {"large-nunatak", "work_right", "stop_right", "rear_right", NULL},
};
enum { COMPLAINTS = sizeof complaints / sizeof *complaints, TESTED = 2 };   /* all tests of a large vehicle take long */

static const char *beyond(const rl_model *model, const complaint *k)
{
    int parent = -1;
    const int *via;
    size_t via_count;
    if (k->beyond != NULL)
        return k->beyond;
    assert_true(rl_model_way(model, held_element(model, k->stud), 0, &parent, &via, &via_count));
    assert_true(parent >= 0);
    return rl_model_element(model, (size_t)parent)->id;
}

static rl_case *complain(const setting *s, const complaint *k)
{
    char lines[2 * LINE];
    snprintf(lines, sizeof lines, "%s dim\n%s dim\n", k->one, k->two);
    return held_case(s->context, s->model, lines);
}

static void prove_continuity(rl_case *c, const rl_model *model, const complaint *k)
{
    char lines[4 * LINE];
    const char *to = beyond(model, k);
    snprintf(lines, sizeof lines, "continuity %s to %s beeps\ncontinuity %s to %s beeps\n", k->one, to, k->two, to);
    held_say(c, lines);
}

static void assert_leads(const rl_answer *answer, const rl_model *model, size_t stud)
{
    double p = held_fault(answer, stud);
    for (size_t e = 0; e < rl_model_vehicle(model)->elements; e++)
        if (e != stud && held_fault(answer, e) >= p)
            fail_msg("%s (%.3g) stands before %s (%.3g)", rl_model_element(model, e)->id, held_fault(answer, e),
                     rl_model_element(model, stud)->id, p);
}

/* Bits of the best test of that sort over the stud alone, whatever the load. */
static double bits_over_stud(const setting *s, const rl_test *tests, size_t count, rl_test_sort sort, const complaint *k)
{
    int from = (int)held_element(s->model, k->stud), to = (int)held_element(s->model, beyond(s->model, k));
    double best = -1;
    for (size_t i = 0; i < count; i++)
        if (tests[i].sort == sort && tests[i].from == from && tests[i].to == to)
            best = fmax(best, tests[i].bits);
    if (best < 0)
        fail_msg("no such test over %s", k->stud);
    return best;
}

static void ground_point_leads(void **state)
{
    (void)state;
    for (size_t i = 0; i < COMPLAINTS; i++) {
        setting s;
        open_setting(&s, complaints[i].vehicle);
        rl_case *c = complain(&s, &complaints[i]);
        prove_continuity(c, s.model, &complaints[i]);
        const rl_answer *answer;
        assert_int_equal(rl_case_answer(c, &answer), RL_OK);
        assert_leads(answer, s.model, held_element(s.model, complaints[i].stud));
        rl_case_free(c);
        close_setting(&s);
    }
}

/* With the stud under suspicion (all else on it works), continuity over it tells far less than
 * its drop under load. */
static void continuity_tells_little(void **state)
{
    (void)state;
    for (size_t i = 0; i < TESTED; i++) {
        setting s;
        open_setting(&s, complaints[i].vehicle);
        rl_case *c = complain(&s, &complaints[i]);
        held_say(c, "others work");
        const rl_test *tests;
        size_t count;
        assert_int_equal(rl_case_tests(c, &tests, &count), RL_OK);
        double beeper = bits_over_stud(&s, tests, count, RL_TEST_CONTINUITY, &complaints[i]);
        double drop = bits_over_stud(&s, tests, count, RL_TEST_DROP, &complaints[i]);
        print_message("%s: continuity %.4f bits, drop %.4f bits\n", complaints[i].stud, beeper, drop);
        if (!(drop > 0 && beeper < drop / 5))
            fail_msg("%s: continuity %.4f bits, drop %.4f bits", complaints[i].stud, beeper, drop);
        rl_case_free(c);
        close_setting(&s);
    }
}

/* ---- arithmetic: 0.05 ohm drops 0.1 V at 2 A, 0.01 ohm at 10 A, and a beeper passes both ---- */

static double log_evidence(rl_context *context, const rl_model *model, const char *line)
{
    rl_case *c = held_case(context, model, line);
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    double value = answer->log_evidence;
    rl_case_free(c);
    return value;
}

/* A stud that is corroded for certain, of exactly that resistance: the reading at `amperes`
 * that is likeliest is 0.1 V, and the normal law about it falls off by half a sigma squared. */
static void check_drop(double ohm, double amperes)
{
    char rules[4 * LINE], line[LINE];
    snprintf(rules, sizeof rules,
             "vehicle v supply 12 V\nclass point corroded 100%%\nclass wire open 0\n"
             "joint sound 1e-9 ohm spread 1\njoint corroded %.17g ohm spread 1\nmeter volts reads 0%% plus 1 mV misread 0\n"
             "meter beeper beeps below 30 ohm misread 0\nkind k behaves normal, dead failed 0\npoint post class clean\n"
             "class clean open 0\npoint p returns through post\nload l kind k draws 1 A returns through p\n", ohm);
    held shelf = {0};
    held_put_text(&shelf, "v.gnd", rules);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    double at[3];
    for (int i = 0; i < 3; i++) {
        snprintf(line, sizeof line, "drop l from p to post %.17g V at %.17g A", 0.099 + 0.001 * i, amperes);
        at[i] = log_evidence(context, model, line);
    }
    assert_true(fabs(at[1] - at[0] - 0.5) < 1e-4 && fabs(at[1] - at[2] - 0.5) < 1e-4);
    assert_true(fabs(log_evidence(context, model, "continuity l to post beeps")) < 1e-12);
    rl_model_free(model);
    rl_context_free(context);
}

static void what_a_beeper_passes(void **state)
{
    (void)state;
    check_drop(0.05, 2);
    check_drop(0.01, 10);
}

/* ---- nine in ten end at a ground or a lamp ---- */

/* A ground is what returns: point, splice, connector, wire. */
static bool ground_or_lamp(const rl_model *model, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    if (e->sort == RL_LOAD)
        return strcmp(e->class_name, "lamp") == 0 || strcmp(e->class_name, "led") == 0;
    return e->sort != RL_FEED;
}

static void count_found(const setting *s, const char *vehicle, size_t *found, size_t *so)
{
    rl_book *book = book_of(s, vehicle);
    for (size_t i = 0; i < rl_book_count(book); i++) {
        const rl_fault *fault;
        size_t count;
        bool only;
        assert_int_equal(rl_case_found(rl_book_case(book, i), &fault, &count, &only), RL_OK);
        for (size_t f = 0; f < count; f++) {
            if (fault[f].state == RL_SOUND)
                continue;
            *found += 1;
            *so += ground_or_lamp(s->model, fault[f].element);
        }
    }
    rl_book_free(book);
}

static void nine_in_ten(void **state)
{
    (void)state;
    size_t found = 0, so = 0;
    for (size_t v = 0; v < VEHICLES; v++) {
        setting s;
        open_setting(&s, vehicles[v]);
        count_found(&s, vehicles[v], &found, &so);
        close_setting(&s);
    }
    double share = (double)so / (double)found;
    print_message("%zu of %zu found faults are a ground or a lamp\n", so, found);
    assert_true(found >= 30);
    assert_true(share > 0.85 && share < 0.95);
}

/* What the rules themselves say before anything is seen: of the faults to be expected. */
static void expected_of_the_rules(void **state)
{
    (void)state;
    for (size_t v = 0; v < VEHICLES; v++) {
        setting s;
        open_setting(&s, vehicles[v]);
        double all = 0, so = 0;
        for (size_t e = 0; e < rl_model_vehicle(s.model)->elements; e++) {
            double p = 1 - rl_model_element(s.model, e)->prior[RL_SOUND];
            all += p;
            so += ground_or_lamp(s.model, e) ? p : 0;
        }
        print_message("%s: %.0f%% of the faults to be expected are a ground or a lamp\n", vehicles[v], 100 * so / all);
        assert_true(so / all > 0.5);
        close_setting(&s);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ground_point_leads), cmocka_unit_test(continuity_tells_little),
        cmocka_unit_test(what_a_beeper_passes), cmocka_unit_test(nine_in_ten), cmocka_unit_test(expected_of_the_rules),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
