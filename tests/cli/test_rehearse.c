/* test_rehearse.c: rehearse from outside: fields, figures that do not depend on threads, errors.
 *
 * The vehicles are written here, small enough to know what must come out.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A dead lamp is its stud or itself, each with 1 in 10 and without doubt. */
static const char twins[] =
    "vehicle twins \"Twin cart\" supply 12 V\n"
    "class wire loose 0% corroded 0% open 0%\n"
    "class point loose 0% corroded 0% open 10% repair 10 min \"clean\"\n"
    "kind lamp behaves normal, dead failed 10% check 0.5 min repair 4 min \"renew\"\n"
    "    when open dead 100%\n"
    "    when failed dead 100%\n"
    "inspection look of point shows clean, broken check 3 min\n"
    "    when open broken 100%\n"
    "area box access 5 min\n"
    "point stud in box\n"
    "load lamp1 kind lamp returns through stud do not swap, bypass, jumper\n";

static void near(double found, double expected)
{
    if (!(fabs(found - expected) <= 1e-9))
        fail_msg("found %.17g, expected %.17g", found, expected);
}

static double number_at(const json_t *object, const char *part, const char *key)
{
    const json_t *value = json_object_get(json_object_get(object, part), key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

static json_t *parse(const run *r)
{
    json_error_t error;
    json_t *root = json_loads(r->out, 0, &error);
    if (root == NULL)
        fail_msg("no JSON: %s\n%s", error.text, r->err);
    return root;
}

static void fields(void **state)
{
    (void)state;
    static const char *const name[] = {"advice", "walk", "likeliest"};
    static const char *const mean[] = {"mean", "median", "p90"};
    run r = run_tool("", "rehearse", run_file("twins.gnd", twins), "--faults", "30", "--seed", "3", "--json", NULL);
    assert_int_equal(r.status, 0);
    assert_int_equal(r.err_length, 0);
    json_t *root = parse(&r), *list = json_object_get(root, "strategies");
    assert_int_equal(json_object_size(root), 4);
    assert_int_equal(json_integer_value(json_object_get(root, "cases")), 30);
    assert_true(json_is_string(json_object_get(root, "rule")));
    near(json_real_value(json_object_get(root, "entropy_bits")), log2(1.9));   /* each 0.1 / 0.19 */
    assert_int_equal(json_array_size(list), 3);
    for (size_t i = 0; i < 3; i++) {
        const json_t *one = json_array_get(list, i);
        assert_int_equal(json_object_size(one), 4);
        assert_string_equal(json_string_value(json_object_get(one, "name")), name[i]);
        assert_true(json_is_integer(json_object_get(one, "wrong")));
        for (size_t k = 0; k < 3; k++)
            assert_true(number_at(one, "tests", mean[k]) >= 0 && number_at(one, "minutes", mean[k]) > 0);
    }
    /* the stud first: 15.5 minutes, or 20 with the lamp after it, as often as it was in vain */
    const json_t *likeliest = json_array_get(list, 2), *walk = json_array_get(list, 1);
    double wrong = (double)json_integer_value(json_object_get(likeliest, "wrong"));
    near(number_at(likeliest, "tests", "mean"), 0);
    near(number_at(likeliest, "minutes", "mean"), 15.5 + 4.5 * wrong / 30);
    /* one look, 8 minutes, and the stud in its open area or the lamp */
    near(number_at(walk, "tests", "p90"), 1);
    near(number_at(walk, "minutes", "mean"), 18.5 - 6 * wrong / 30);
    assert_int_equal(json_integer_value(json_object_get(walk, "wrong")), 0);
    json_decref(root);
    run_free(&r);
}

static run rehearse_shipped(const char *seed, const char *threads, const char *json)
{
    return run_tool("", "rehearse", run_path("small.gnd"), "--faults", "12", "--seed", seed, "--threads", threads, json, NULL);
}

static void whatever_the_threads(void **state)
{
    (void)state;
    run_file("small.gnd", "include \"small-drumlin.gnd\"\n");
    run one = rehearse_shipped("1", "1", "--json"), two = rehearse_shipped("1", "2", "--json");
    run other = rehearse_shipped("2", "2", "--json");
    assert_int_equal(one.status, 0);
    assert_string_equal(one.out, two.out);
    assert_string_not_equal(one.out, other.out);
    run_free(&one);
    run_free(&two);
    run_free(&other);
}

static void page(void **state)
{
    (void)state;
    run_file("small.gnd", "include \"small-drumlin.gnd\"\n");
    run r = rehearse_shipped("1", "2", "--no-color");
    assert_int_equal(r.status, 0);
    assert_int_equal(r.err_length, 0);   /* no progress but on a terminal */
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    assert_non_null(strstr(r.out, "advice"));
    assert_non_null(strstr(r.out, "likeliest"));
    assert_non_null(strstr(r.out, "minutes to the cure"));
    run_flatten(r.out);
    assert_non_null(strstr(r.out, "12 drawn faults, seed 1"));
    assert_non_null(strstr(r.out, "has an entropy of"));
    run_free(&r);
}

static void progress_on_a_terminal(void **state)
{
    (void)state;
    const char *rules = run_file("twins.gnd", twins);
    talk t = talk_terminal("rehearse", rules, "--faults", "50", NULL);
    talk_until(&t, "50 of 50");
    talk_until(&t, "minutes to the cure");
    assert_int_equal(talk_end(&t), 0);
}

static void no_tests_allowed(void **state)
{
    (void)state;
    run r = run_tool("", "rehearse", run_file("twins.gnd", twins), "--faults", "10", "--most-tests", "0", "--above", "50%",
                     "--json", NULL);
    assert_int_equal(r.status, 0);
    json_t *root = parse(&r);
    for (size_t i = 0; i < 3; i++)
        near(number_at(json_array_get(json_object_get(root, "strategies"), i), "tests", "mean"), 0);
    assert_non_null(strstr(json_string_value(json_object_get(root, "rule")), "more than 0.5"));
    json_decref(root);
    run_free(&r);
}

static void refuse(const char *said, int status, const char *first, const char *second, const char *third)
{
    run r = run_tool("", "rehearse", first, second, third, NULL);
    assert_int_equal(r.status, status);
    assert_int_equal(r.out_length, 0);
    if (strstr(r.err, said) == NULL)
        fail_msg("no `%s` in: %s", said, r.err);
    run_free(&r);
}

static void bad_input(void **state)
{
    (void)state;
    const char *rules = run_file("twins.gnd", twins);
    refuse("missing: `RULES`", 2, NULL, NULL, NULL);
    refuse("one argument too many", 2, rules, rules, NULL);
    refuse("`--faults` takes a whole number", 2, rules, "--faults", "0");
    refuse("`--threads` takes a whole number", 2, rules, "--threads", "-1");
    refuse("`--above` takes a probability", 2, rules, "--above", "1.5");
    refuse("`--above` takes a probability", 2, rules, "--above", "0");
    refuse("`--above` takes a probability", 2, rules, "--above", "nan");
    refuse("`--above` takes a probability", 2, rules, "--above", "\33[7m");
    refuse("did you mean `--most-tests`?", 2, rules, "--most-test", "3");
    refuse("error: ", 1, run_path("none.gnd"), NULL, NULL);
    refuse("error: ", 1, run_file("bad.gnd", "vehicle x supply 12 V\nlamp\n"), NULL, NULL);
}

static void nothing_to_look_for(void **state)
{
    (void)state;
    refuse("error: ", 1, run_file("mute.gnd", "vehicle mute supply 12 V\nclass wire loose 0% corroded 0% open 0%\n"
           "class point loose 0% corroded 0% open 10%\nkind lamp behaves normal, dead failed 10%\n"
           "point stud\nload lamp1 kind lamp returns through stud\n"), "--faults", "5");
    refuse("nothing to look for", 1, run_file("whim.gnd", "vehicle whim supply 12 V\n"
           "class wire loose 0% corroded 0% open 0%\nclass point loose 0% corroded 0% open 0%\n"
           "kind lamp behaves normal, dead failed 0%\n    otherwise dead 50%\n"
           "point stud\nload lamp1 kind lamp returns through stud\n"), "--faults", "5");
}

static void help(void **state)
{
    (void)state;
    run r = run_tool("", "rehearse", "--help", NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    assert_non_null(strstr(r.out, "--most-tests"));
    run_free(&r);
}

/* The table and the histogram are folded where they have no room. */
static void a_narrow_page(void **state)
{
    (void)state;
    static const size_t columns[] = {20, 40, 60, 80};
    const char *rules = run_file("twins.gnd", twins);
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++) {
        talk t = talk_columns(columns[i], "rehearse", rules, "--faults", "30", "--no-color", NULL);
        talk_until(&t, "average.");
        const char *page = strstr(t.heard, "Rehearsal: ");   /* behind the bar of progress */
        assert_non_null(page);
        size_t widest = run_widest(page);   /* the carriage return counts for one */
        if (widest > columns[i] + 1)
            fail_msg("%zu columns: a line of %zu in %s", columns[i], widest, page);
        assert_true((strstr(page, "strategy          mean") != NULL) == (columns[i] == 80));
        assert_true((strstr(page, "\n  likeliest ") != NULL));
        assert_int_equal(talk_end(&t), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fields), cmocka_unit_test(whatever_the_threads), cmocka_unit_test(page),
        cmocka_unit_test(progress_on_a_terminal), cmocka_unit_test(no_tests_allowed), cmocka_unit_test(bad_input),
        cmocka_unit_test(nothing_to_look_for), cmocka_unit_test(a_narrow_page), cmocka_unit_test(help),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}
