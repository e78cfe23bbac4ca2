/* test_next.c: what next, from outside: tests from the seat first, recipes, two tests ahead,
 * and when to stop; on the page, in JSON and at the prompt.
 */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700
#endif
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <ctype.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char rules[] = TEST_ROOT "/rules/small-drumlin.gnd";

static const char early[] = "case \"early\" on drumlin-2\ntail_left dim\nbrake_lamp dim\n";
static const char late[] = "case \"late\" on drumlin-2\ntail_left dim\nbrake_lamp dim\ntail_right dim\nothers work\n"
                           "drop tail_left from tail_stud to frame 2.1 V\nlook tail_stud corroded\n";

static const char *case_file(const char *name, const char *content)
{
    return run_file(name, content);
}

static const char *at(const char *whole, const char *part)
{
    const char *found = strstr(whole, part);
    if (found == NULL)
        fail_msg("`%s` is not in:\n%s", part, whole);
    return found;
}

/* ---- the page ---- */

static void the_seat_stands_first(void **state)
{
    (void)state;
    run r = run_tool("", "rank", rules, case_file("early.case", early), NULL);
    assert_int_equal(r.status, 0);
    const char *seat = at(r.out, "Next tests from the driver's seat, best first\n  1. ");
    const char *other = at(r.out, "Other tests, best first\n  4. ");
    assert_true(seat < other);
    for (const char *drop = strstr(r.out, "     drop "); drop != NULL; drop = strstr(drop + 1, "     drop "))
        assert_true(drop > other);
    assert_true(run_widest(r.out) <= 80);
    run_free(&r);
}

static void it_says_when_to_stop(void **state)
{
    (void)state;
    run r = run_tool("", "rank", rules, case_file("late.case", late), NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    run_flatten(r.out);
    const char *plans = at(r.out, "Expected minutes to a confirmed repair");
    assert_true(at(plans, "repair at once: tail stud in wheel spray (tail_stud)") < at(plans, "test first: "));
    at(plans, "Stop testing and repair tail stud in wheel spray (tail_stud)");
    run_free(&r);
    r = run_tool("", "rank", rules, case_file("early.case", early), NULL);
    run_flatten(r.out);
    plans = at(r.out, "Expected minutes to a confirmed repair");
    assert_true(at(plans, "test first: ") < at(plans, "repair at once: "));
    assert_null(strstr(plans, "Stop testing"));
    at(plans, "Best next test: ");
    run_free(&r);
}

/* A caution stands before what it is about. */
static void recipes_on_demand(void **state)
{
    (void)state;
    const char *file = case_file("early.case", early);
    run brief = run_tool("", "rank", rules, file, NULL), whole = run_tool("", "rank", rules, file, "--recipes", NULL);
    assert_int_equal(whole.status, 0);
    assert_null(strstr(brief.out, "- One lead: "));
    assert_true(run_widest(whole.out) <= 80);
    const char *drop = at(whole.out, "     drop brake_lamp from frame  (4 min");
    const char *caution = at(whole.out, "  4. Caution: battery post or main strap");
    assert_true(caution < drop);
    run_flatten(whole.out);
    drop = at(whole.out, "drop brake_lamp from frame (4 min");
    const char *step = at(drop, "- Open: ");
    step = at(step, "- Switch on: brake lamp (brake_lamp), which draws 1.7 A: a joint has to have 60 mohm or more");
    step = at(step, "- May be on too: ");
    step = at(step, "- One lead: on the ring terminal at cable to frame");
    step = at(step, "- Other lead: on the battery negative post itself");
    step = at(step, "- Shows: Healthy: ");
    step = at(step, "- Worth nothing if: the load does not draw");
    at(step, "- Then type: drop brake_lamp from frame ");
    run_free(&brief);
    run_free(&whole);
}

/* What a recipe of each sort of test says, and no other's. */
static void a_recipe_for_every_sort(void **state)
{
    static const struct { const char *line, *says; } sort[] = {
        { " drop tail_left (", "- Meter: volts of direct current" },
        { " supply tail_left (", "- Worth nothing if: the supply is not loaded" },
        { " resistance tail_left to frame (", "- Unplug: left tail lamp (tail_left); all that returns the same way is off" },
        { " continuity tail_left to frame (", "It tells open from not open, no more" },
        { " tail_left with bypass (", "- Switch off: left tail lamp (tail_left) is off while you connect." },
        { " tail_left with bypass at tail_stud (", "- Then type: tail_left normal with bypass at tail_stud, or what" },
        { " tail_left with swap (", "- Put in: one of the same kind that is known to work" },
        { " tail_left with jumper (", "- Fused lead to: left tail lamp (tail_left)'s feed terminal" },
        { " look tail_stud (", "- Do: tail stud in wheel spray (tail_stud): look" },
        { " head_left (", "- Do: Switch on and watch left headlamp (head_left)." },
        { " pull tail_right to tail_left (", "- Do: With left tail lamp (tail_left) on, switch" },
        { " backfeed tail_left to tail_right (", "- Do: Switch on only left tail lamp (tail_left)" },
    };
    (void)state;
    run r = run_tool("", "rank", rules, case_file("early.case", early), "--recipes", "--tests", "0", NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    run_flatten(r.out);
    for (size_t i = 0; i < sizeof sort / sizeof *sort; i++) {
        const char *line = at(r.out, sort[i].line), *says = at(line, sort[i].says), *next = strstr(line + 1, " bit) ");
        next = next != NULL ? strstr(next + 1, " bit) ") : NULL;
        assert_true(next == NULL || says < next);   /* in its own recipe */
    }
    run_free(&r);
}

/* The recipe that begins with a line such as "supply show (", its text up to the next one. */
static char *recipe_of(const run *r, const char *line)
{
    const char *begin = at(r->out, line), *end = strstr(begin, "- Then type: ");
    assert_non_null(end);
    size_t length = (size_t)(end - begin);
    char *copy = malloc(length + 1);
    assert_non_null(copy);
    memcpy(copy, begin, length);
    copy[length] = '\0';
    return copy;
}

static run all_of_the_cart(void)
{
    const char *file = case_file("cart.case", "case \"c\" on cart\ntail_left dim\nplate dim\nshow dim\n");
    run r = run_tool("", "rank", run_data("cart.gnd"), file, "--recipes", "--tests", "0", NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    run_flatten(r.out);
    return r;
}

/* The cart has 12 V with a spread of 4 %, and its feed is f7 alone: a sound feed of 2 mohm
 * takes nothing from what its lamps draw, so nine readings in ten are within 1.645 x 0.48 V. */
static void what_a_supply_reads(void **state)
{
    (void)state;
    run r = all_of_the_cart();
    char *recipe = recipe_of(&r, " supply show (");
    double low = 0, high = 0, bad_low = 0, bad_high = 0;
    assert_int_equal(sscanf(at(recipe, "Healthy: "), "Healthy: %lf V to %lf V. With tail lamps (f7) at fault: %lf V to %lf V; "
                            "open: 0 V.", &low, &high, &bad_low, &bad_high), 4);
    assert_true(fabs(low - (12 - 1.645 * 0.48)) < 0.06);
    assert_true(fabs(high - (12 + 1.645 * 0.48)) < 0.06);
    assert_true(bad_low > 0 && bad_low < low && bad_high < high && bad_low < bad_high);
    free(recipe);
    run_free(&r);
}

/* A lead on the battery post has its caution, once, whether the line names the post or not. */
static void a_lead_on_the_post_is_cautioned(void **state)
{
    static const char *const by_default[] = { " drop show (", " supply show (" };
    static const char on_post[] = "Caution: lead on the battery post: engine and charger off, no sparks. ";
    (void)state;
    run r = all_of_the_cart();
    for (size_t i = 0; i < sizeof by_default / sizeof *by_default; i++) {
        const char *line = at(r.out, by_default[i]) + 1;
        assert_true((size_t)(line - r.out) > strlen(on_post));
        assert_memory_equal(line - strlen(on_post), on_post, strlen(on_post));
    }
    const char *named = at(r.out, " drop plate to post (") + 1;
    static const char main_strap[] = "Caution: battery post or main strap: engine and charger off; hydrogen: no sparks. ";
    assert_memory_equal(named - strlen(main_strap), main_strap, strlen(main_strap));
    assert_memory_not_equal(named - strlen(main_strap) - strlen(on_post), on_post, strlen(on_post));
    run_free(&r);
}

/* A splice has no ring terminal: the short texts say of it what the recipes say. */
static void a_splice_has_no_ring(void **state)
{
    (void)state;
    const char *file = case_file("cart.case", "case \"c\" on cart\ntail_left dim\n");
    run r = run_tool("", "rank", run_data("cart.gnd"), file, "--tests", "0", NULL);
    run_flatten(r.out);
    assert_null(strstr(r.out, "ring terminal at tail loom splice"));
    run_free(&r);
    r = run_tool("", "round", rules, "--minutes", "40", NULL);
    assert_int_equal(r.status, 0);
    run_flatten(r.out);
    at(r.out, "the metal at headlamp loom splice (head_splice)");
    at(r.out, "the ring terminal at cable to frame, under the seat (frame)");
    assert_null(strstr(r.out, "ring terminal at headlamp loom splice"));
    run_free(&r);
}

/* Recipes of a healthy reading in numbers. */
static size_t numbers_of(const char *whole)
{
    static const char says[] = "- Shows: Healthy: ";
    size_t count = run_count(whole, "- Shows: Healthy: up to ");
    for (const char *c = strstr(whole, says); c != NULL; c = strstr(c + 1, says)) {
        const char *first = c + sizeof says - 1;
        count += isdigit((unsigned char)*first) || *first == '-';
    }
    return count;
}

/* However long the list, every drop, resistance and supply says what it should read. */
static void a_long_list_has_ranges(void **state)
{
    (void)state;
    run r = run_tool("", "rank", TEST_ROOT "/rules/demo-moraine.gnd", TEST_ROOT "/rules/demo-moraine.case", "--case", "M-04",
                     "--tests", "0", "--recipes", NULL);
    assert_int_equal(r.status, 0);
    run_flatten(r.out);
    at(at(r.out, " drop stop_right ("), "- Shows: Healthy: ");
    size_t readings = run_count(r.out, "- Meter: volts") + run_count(r.out, "- Meter: ohms");
    assert_true(readings > 100);
    assert_int_equal(numbers_of(r.out), readings);
    assert_true(run_count(r.out, "; open: the supply voltage.") > 100 && run_count(r.out, "; open: 0 V.") > 16);
    run_free(&r);
}

/* More than a thousand tests: their numbers take the room that there is. */
static void all_tests_of_a_large_case(void **state)
{
    (void)state;
    run r = run_tool("", "rank", TEST_ROOT "/rules/demo-moraine.gnd", TEST_ROOT "/docs/examples/rear-lamps.case",
                     "--tests", "0", NULL);
    assert_int_equal(r.status, 0);
    at(r.out, "\n1000.");
    assert_true(run_widest(r.out) <= 80);
    run_free(&r);
}

static void two_tests_ahead(void **state)
{
    (void)state;
    const char *file = case_file("early.case", early);
    run one = run_tool("", "rank", rules, file, NULL), two = run_tool("", "rank", rules, file, "--lookahead", "2", NULL);
    assert_int_equal(two.status, 0);
    assert_null(strstr(one.out, "Two tests ahead"));
    at(two.out, "Two tests ahead, best first\n  1. ");
    at(two.out, "     - if normal (");
    assert_true(run_widest(two.out) <= 80);
    run_free(&one);
    run_free(&two);
}

static void wrong_usage(void **state)
{
    (void)state;
    static const char *const value[] = { "0", "3", "two", "" };
    const char *file = case_file("early.case", early);
    for (size_t i = 0; i < sizeof value / sizeof *value; i++) {
        run r = run_tool("", "rank", rules, file, "--lookahead", value[i], NULL);
        assert_int_equal(r.status, 2);
        at(r.err, "`--lookahead` takes a whole number from 1 to 2");
        run_free(&r);
    }
    run r = run_tool("", "rank", rules, file, "--recipe", NULL);
    assert_int_equal(r.status, 2);
    at(r.err, "did you mean `--recipes`?");
    run_free(&r);
}

/* ---- JSON ---- */

static json_t *ranked(const char *file, const char *option, const char *value)
{
    json_error_t error;
    run r = run_tool("", "rank", rules, file, "--json", option, value, NULL);
    assert_int_equal(r.status, 0);
    json_t *object = json_loads(r.out, 0, &error);
    if (object == NULL)
        fail_msg("%s in:\n%s", error.text, r.out);
    run_free(&r);
    return object;
}

static double number_of(const json_t *object, const char *name)
{
    assert_true(json_is_number(json_object_get(object, name)));
    return json_number_value(json_object_get(object, name));
}

static void next_in_json(void **state)
{
    (void)state;
    json_t *object = ranked(case_file("early.case", early), "--tests", "60");
    const json_t *next = json_object_get(object, "next");
    size_t seats = 0;
    assert_int_equal(json_array_size(next), 60);
    double before = INFINITY;
    for (size_t i = 0; i < json_array_size(next); i++) {
        const json_t *test = json_array_get(next, i), *recipe = json_object_get(test, "recipe");
        const json_t *seat = json_object_get(test, "seat"), *opens = json_object_get(test, "opens");
        double rate = number_of(test, "bits") / number_of(test, "minutes");
        assert_true(rate <= before * (1 + 1e-12));   /* still best first: the seat is a mark, no order */
        before = rate;
        assert_true(json_is_boolean(seat) && json_is_array(opens));
        seats += json_is_true(seat);
        assert_true(!json_is_true(seat) || json_array_size(opens) == 0);
        assert_int_equal(recipe != NULL, i < 32);
        if (recipe == NULL)
            continue;
        assert_true(json_array_size(recipe) >= 1);
        assert_true(json_is_string(json_object_get(json_array_get(recipe, 0), "step")));
        assert_true(json_is_string(json_object_get(json_array_get(recipe, 0), "text")));
    }
    assert_true(seats > 0 && seats < 60);
    json_decref(object);
}

static void outlook_in_json(void **state)
{
    (void)state;
    json_t *object = ranked(case_file("late.case", late), "--tests", "3");
    const json_t *o = json_object_get(object, "outlook"), *repairs = json_object_get(o, "repairs");
    const json_t *first = json_array_get(repairs, 0), *tests = json_object_get(o, "tests_first");
    assert_true(json_is_true(json_object_get(o, "stop")));
    assert_true(json_is_null(json_object_get(o, "test")));
    assert_string_equal(json_string_value(json_object_get(first, "id")), "tail_stud");
    assert_true(json_is_false(json_object_get(first, "customary")));
    assert_true(json_array_size(tests) > 0);
    for (size_t i = 0; i < json_array_size(tests); i++)
        assert_true(number_of(json_array_get(tests, i), "minutes") >= number_of(o, "minutes"));
    assert_null(json_object_get(object, "lookahead"));
    json_decref(object);
}

static void lookahead_in_json(void **state)
{
    (void)state;
    json_t *object = ranked(case_file("early.case", early), "--lookahead", "2");
    const json_t *pairs = json_object_get(object, "lookahead");
    assert_true(json_array_size(pairs) > 1);
    for (size_t i = 0; i < json_array_size(pairs); i++) {
        const json_t *pair = json_array_get(pairs, i), *then = json_object_get(pair, "then");
        double sum = 0;
        for (size_t k = 0; k < json_array_size(then); k++)
            sum += number_of(json_array_get(then, k), "p");
        assert_true(fabs(sum - 1) < 1e-9);
        assert_true(number_of(pair, "bits") > 0 && number_of(pair, "minutes") > 0);
    }
    json_decref(object);
}

/* ---- the prompt ---- */

static run ask(const char *lines)
{
    return run_tool(lines, "ask", rules, NULL);
}

static void next_and_how(void **state)
{
    (void)state;
    run r = ask("tail_left dim\nbrake_lamp dim\nnext\nhow 4\nhow\n");
    assert_int_equal(r.status, 0);
    const char *list = at(r.out, "Next tests from the driver's seat, best first\n");
    const char *recipe = at(list, "     - Open: ");
    assert_true(at(recipe, "     - One lead: ") < at(recipe, "  1. "));
    at(at(recipe, "  1. "), "     - Do: Switch on and watch ");
    assert_null(strstr(r.out, "Two tests ahead"));
    assert_true(run_widest(r.out) <= 80);
    run_free(&r);
    r = ask("tail_left dim\nnext 2\n");
    assert_int_equal(r.status, 0);
    at(r.out, "Two tests ahead, best first\n");
    run_free(&r);
}

static void how_is_refused(void **state)
{
    (void)state;
    static const char *const line[] = { "how 6\n", "how 0\n", "how tail_left\n", "next 3\n", "next drop\n",
                                        "how 99999999999999999999999\n" };
    for (size_t i = 0; i < sizeof line / sizeof *line; i++) {
        char lines[64];
        snprintf(lines, sizeof lines, "tail_left dim\n%s", line[i]);
        run r = ask(lines);
        assert_int_equal(r.status, 1);
        at(r.err, "standard input:2:1: error: ");
        run_free(&r);
    }
}

/* The brief answer says it too. */
static void the_prompt_says_stop(void **state)
{
    (void)state;
    run r = ask("tail_left dim\nbrake_lamp dim\ntail_right dim\nothers work\n"
                "drop tail_left from tail_stud to frame 2.1 V\nlook tail_stud corroded\n");
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    run_flatten(r.out);
    at(r.out, "Stop testing and repair tail stud in wheel spray (tail_stud)");
    run_free(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_seat_stands_first),
        cmocka_unit_test(it_says_when_to_stop),
        cmocka_unit_test(recipes_on_demand),
        cmocka_unit_test(a_recipe_for_every_sort),
        cmocka_unit_test(what_a_supply_reads),
        cmocka_unit_test(a_lead_on_the_post_is_cautioned),
        cmocka_unit_test(a_splice_has_no_ring),
        cmocka_unit_test(a_long_list_has_ranges),
        cmocka_unit_test(all_tests_of_a_large_case),
        cmocka_unit_test(two_tests_ahead),
        cmocka_unit_test(wrong_usage),
        cmocka_unit_test(next_in_json),
        cmocka_unit_test(outlook_in_json),
        cmocka_unit_test(lookahead_in_json),
        cmocka_unit_test(next_and_how),
        cmocka_unit_test(how_is_refused),
        cmocka_unit_test(the_prompt_says_stop),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) > 0;
}
