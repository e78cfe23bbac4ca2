/* test_why.c: `why` from outside: exit statuses, JSON, the page, and what is refused.
 *
 * Expected numbers are worked out by hand from tests/data/cli/cart.gnd.
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

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static void near(double found, double expected)
{
    if (!(fabs(found - expected) <= 1e-9))
        fail_msg("found %.17g, expected %.17g", found, expected);
}

static const char lines[] = "case \"sure\" on cart\n"
                            "tug rear off\n"
                            "case \"never\" on cart\n"
                            "scratch rear crust\n"
                            "case \"mixed\" on cart \"rear\"\n"
                            "occasion yard\n"
                            "tail_left dim\n"
                            "plate dim\n"
                            "show normal\n"
                            "look post clean\n"
                            "drop tail_left from rear 0.9 V\n"
                            "drop tail_left to rear 0.01 V\n"
                            "backfeed tail_left to plate present\n"
                            "occasion proof with repaired rear\n"
                            "plate normal\n";

static run why(const char *case_file, const char *suspect, const char *option, const char *value)
{
    return run_tool("", "why", run_data("cart.gnd"), case_file, suspect, option, value, NULL);
}

/* Line `index` of JSON Lines. */
static json_t *line_of(const char *text, size_t index)
{
    for (; index > 0; index--) {
        text = strchr(text, '\n');
        assert_non_null(text);
        text++;
    }
    json_t *object = json_loadb(text, strcspn(text, "\n"), 0, NULL);
    assert_non_null(object);
    return object;
}

static double real_of(const json_t *object, const char *key)
{
    assert_true(json_is_real(json_object_get(object, key)));
    return json_real_value(json_object_get(object, key));
}

static const char *string_of(const json_t *object, const char *key)
{
    const char *value = json_string_value(json_object_get(object, key));
    assert_non_null(value);
    return value;
}

static const json_t *finding_of(const json_t *object, const char *name)
{
    size_t i;
    json_t *f;
    json_array_foreach(json_object_get(object, "findings"), i, f)
        if (strcmp(string_of(f, "finding"), name) == 0)
            return f;
    fail_msg("no finding %s", name);
    return NULL;
}

static void is_linked(const json_t *object, const char *finding, const char *link, const char *shares)
{
    char all[200] = "";
    size_t i;
    json_t *id;
    const json_t *f = finding_of(object, finding);
    assert_string_equal(string_of(f, "link"), link);
    json_array_foreach(json_object_get(f, "shares"), i, id)
        strcat(strcat(all, i > 0 ? " " : ""), json_string_value(id));
    assert_string_equal(all, shares);
}

/* look rear corroded: 0.94 x 0.05 sound, 0.04 x 0.8 corroded; it alone speaks. */
static void json_of_one_finding(void **state)
{
    (void)state;
    run r = why(run_data("cart.case"), "rear", "--json", "--case=looked");
    assert_int_equal(r.status, 0);
    json_t *o = line_of(r.out, 0);
    assert_string_equal(string_of(o, "case"), "looked");
    assert_string_equal(string_of(o, "suspect"), "rear");
    near(real_of(o, "prior"), 0.06);
    near(real_of(o, "posterior"), 0.032 / 0.079);
    near(real_of(o, "prior_db"), 10 * log10(0.06 / 0.94));
    near(real_of(o, "posterior_db"), 10 * log10(0.032 / 0.047));
    const json_t *f = finding_of(o, "look rear corroded");
    near(real_of(f, "db"), 10 * log10(0.032 / 0.047 / (0.06 / 0.94)));
    assert_int_equal(json_integer_value(json_object_get(f, "sign")), 1);
    is_linked(o, "look rear corroded", "itself", "rear");
    const json_t *unseen = json_object_get(o, "unseen");
    assert_int_equal(json_array_size(unseen), 4);
    assert_string_equal(json_string_value(json_array_get(unseen, 0)), "tail_left");
    assert_string_equal(json_string_value(json_array_get(unseen, 3)), "pump");
    json_decref(o);
    run_free(&r);
}

/* The same finding says nothing of another element. */
static void json_of_no_weight(void **state)
{
    (void)state;
    run r = why(run_data("cart.case"), "tail_joint", "--json", "--case=looked");
    json_t *o = line_of(r.out, 0);
    near(real_of(o, "prior"), 0.017);
    near(real_of(o, "posterior"), 0.017);
    const json_t *f = finding_of(o, "look rear corroded");
    near(real_of(f, "db"), 0);
    is_linked(o, "look rear corroded", "beside", "rear");
    json_decref(o);
    run_free(&r);
}

/* Only an open joint can come off, only a corroded one has a crust. */
static void json_of_infinite_weight(void **state)
{
    (void)state;
    run r = why(run_file("w.case", lines), "rear", "--json", NULL);
    assert_int_equal(r.status, 0);
    for (size_t i = 0; i < 2; i++) {
        json_t *o = line_of(r.out, i);
        const json_t *f = json_array_get(json_object_get(o, "findings"), 0);
        assert_true(json_is_null(json_object_get(f, "db")));
        assert_int_equal(json_integer_value(json_object_get(f, "sign")), 1);
        assert_true(json_is_null(json_object_get(o, "posterior_db")));
        near(real_of(o, "posterior"), 1);
        json_decref(o);
    }
    run_free(&r);
}

static void json_of_links(void **state)
{
    (void)state;
    run r = why(run_file("w.case", lines), "rear", "--json", NULL);
    json_t *o = line_of(r.out, 2);
    assert_string_equal(string_of(o, "case"), "mixed");
    is_linked(o, "tail_left dim", "return", "rear post");
    is_linked(o, "show normal", "beside", "post");
    is_linked(o, "look post clean", "beside", "post");
    is_linked(o, "drop tail_left from rear 0.9 V", "within", "rear post");
    is_linked(o, "drop tail_left to rear 0.01 V", "outside", "");
    is_linked(o, "backfeed tail_left to plate present", "return", "rear");
    const json_t *mended = json_array_get(json_object_get(o, "findings"), 7);   /* in the second occasion */
    assert_string_equal(string_of(mended, "finding"), "plate normal");
    assert_string_equal(string_of(mended, "link"), "mended");
    assert_int_equal(json_integer_value(json_object_get(mended, "occasion")), 1);
    json_decref(o);
    run_free(&r);
}

static void contradiction_is_status_1(void **state)
{
    (void)state;
    run r = why(run_data("cart.case"), "rear", "--json", NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "cart.case:9:1: error: "));
    json_t *both = line_of(r.out, 1), *dim = line_of(r.out, 2);
    assert_true(json_is_null(json_object_get(both, "posterior")));
    assert_int_equal(json_array_size(json_object_get(both, "findings")), 0);
    const json_t *set = json_object_get(both, "contradiction");
    assert_int_equal(json_array_size(set), 2);
    assert_string_equal(json_string_value(json_array_get(set, 0)), "scratch rear crust");
    assert_int_equal(json_array_size(json_object_get(dim, "findings")), 4);
    json_decref(both);
    json_decref(dim);
    run_free(&r);
    r = why(run_data("cart.case"), "rear", "--case", "both");
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.out, "contradict each other"));
    assert_non_null(strstr(r.out, "tug rear off  ["));
    assert_null(strstr(r.out, "Case dim"));
    run_free(&r);
}

static void page_says_it(void **state)
{
    (void)state;
    run r = why(run_data("cart.case"), "rear", NULL, NULL);
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    run_has(r.out, "+10.3 dB  strongly  look rear corroded\n");   /* as in json_of_one_finding */
    run_flatten(r.out);
    run_has(r.out, "Case looked: something odd What speaks for and against rear crossmember stud (rear)");
    run_has(r.out, "At fault before any finding: 6.0% (-11.9 dB); now: 41% (-1.7 dB).");
    run_has(r.out, "Against it nothing of weight");
    run_has(r.out, "Not yet looked at, returning through rear: tail_left, tail_right, plate and pump. Look at these next.");
    run_has(r.out, "These three return through rear: a fault there would explain them:");
    run_has(r.out, "By this line pump works and depends on rear");
    run_free(&r);
    r = why(run_file("w.case", lines), "rear", NULL, NULL);
    assert_true(run_widest(r.out) <= 80);
    run_has(r.out, "+inf dB  proves it tug rear off\n");
    run_has(r.out, "(yard)");
    run_flatten(r.out);
    run_has(r.out, "This shares post with rear but not rear itself, and it works: that speaks against post, and so for rear: ");
    run_has(r.out, "now: 100%.");
    run_free(&r);
}

static void weights_are_sorted(void **state)
{
    (void)state;
    run r = why(run_file("w.case", lines), "rear", "--case", "mixed");
    double before = INFINITY;
    size_t seen = 0;
    char *end = strstr(r.out, "Against it");
    assert_non_null(end);
    *end = '\0';
    char *group = strstr(r.out, "  This"), *next;
    for (; group != NULL; group = next, seen++) {
        next = strstr(group + 6, "  This");
        char *plus = strchr(group, '+');
        assert_non_null(plus);
        double db = strtod(plus, NULL);   /* the heaviest of each group stands first */
        assert_true(db <= before);
        before = db;
    }
    assert_true(seen >= 2);
    run_free(&r);
}

/* A prior of 0 or 1 is beyond any finding. */
static void certain_before(void **state)
{
    (void)state;
    const char *rules = run_file("c.gnd", "vehicle cart supply 12 V\n"
                                          "class point loose 5%\nclass wire\nclass never\nclass always loose 50% corroded 50%\n"
                                          "kind lamp behaves normal, dim\n    when loose dim 60%\n"
                                          "    when corroded dim 30%\n    otherwise dim 1%\n"
                                          "point a\npoint b class never returns through a\npoint d class always returns through b\n"
                                          "load one kind lamp returns through d\n");
    const char *file = run_file("c.case", "case \"x\" on cart\none dim\n");
    run r = run_tool("", "why", rules, file, "b", NULL);
    assert_int_equal(r.status, 0);
    run_has(r.out, "never at fault");
    run_free(&r);
    r = run_tool("", "why", rules, file, "d", NULL);
    assert_int_equal(r.status, 0);
    run_has(r.out, "never sound");
    run_free(&r);
    r = run_tool("", "why", "--json", rules, file, "b", NULL);
    json_t *o = line_of(r.out, 0);
    assert_true(json_is_null(json_object_get(o, "prior_db")));
    near(real_of(finding_of(o, "one dim"), "db"), 0);
    json_decref(o);
    run_free(&r);
}

static void is_refused(const char *suspect, const char *said)
{
    run r = why(run_data("cart.case"), suspect, NULL, NULL);
    assert_int_equal(r.status, 1);
    assert_int_equal(r.out_length, 0);
    if (strstr(r.err, said) == NULL)
        fail_msg("not said of %s: \"%s\" in: %s", suspect, said, r.err);
    run_free(&r);
}

static void bad_suspects(void **state)
{
    (void)state;
    is_refused("raer", "nothing is called `raer`; did you mean `rear`?\n");
    is_refused("zzz", "nothing is called `zzz`\n");
    is_refused("", "nothing is called ``\n");
    is_refused("box", "`box` is no element and no load: it cannot be at fault\n");
    is_refused("look", "`look` is no element and no load: it cannot be at fault\n");
    is_refused("tail lamp", "3 suspects fit `tail lamp`: `f7`, `tail_left`, `tail_right`\n");
    is_refused("tail_", "3 suspects fit `tail_`: `tail_joint`, `tail_left`, `tail_right`\n");
    is_refused("a\033[31m", "nothing is called `a\\x1B[31m`\n");
}

static void labels_and_wires(void **state)
{
    (void)state;
    run r = why(run_data("cart.case"), "crossmember", "--case", "looked");
    assert_int_equal(r.status, 0);
    run_has(r.out, "rear crossmember stud (rear)");
    run_free(&r);
    r = why(run_data("cart.case"), "tail_j", "--case", "looked");   /* a part of a name, of no label */
    assert_int_equal(r.status, 0);
    run_has(r.out, "tail loom splice (tail_joint)");
    run_free(&r);
    r = why(run_data("cart.case"), "plate.wire", "--case", "dim");
    assert_int_equal(r.status, 0);
    run_flatten(r.out);
    run_has(r.out, "about the load of this wire");
    run_free(&r);
}

static void bad_usage_and_files(void **state)
{
    (void)state;
    run r = run_tool("", "why", run_data("cart.gnd"), run_data("cart.case"), NULL);
    assert_int_equal(r.status, 2);
    assert_non_null(strstr(r.err, "missing: `SUSPECT`"));
    run_free(&r);
    r = why(run_data("cart.case"), "rear", "--case", "diim");
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "has no case `diim`; did you mean `dim`?"));
    run_free(&r);
    r = why(run_path("none.case"), "rear", NULL, NULL);
    assert_int_equal(r.status, 1);
    run_free(&r);
    r = why(run_file("bad.case", "case \"bad\" on cart\nreaar dim\ncase \"good\" on cart\nplate dim\n"), "rear", NULL, NULL);
    assert_int_equal(r.status, 1);
    run_has(r.out, "Case bad has errors: nothing is worked out.");
    run_has(r.out, "plate dim");
    run_free(&r);
    r = run_tool("", "why", "--help", NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    run_free(&r);
}

static void at_the_prompt(void **state)
{
    (void)state;
    run r = run_tool("tail_left dim\nplate dim\nwhy rear\nwhy\n", "ask", run_data("cart.gnd"), NULL);
    assert_int_equal(r.status, 0);
    run_flatten(r.out);
    run_has(r.out, "These two return through rear: a fault there would explain them:");
    run_has(r.out, "Not yet looked at, returning through rear: tail_right and pump. Look at these next.");
    run_free(&r);
    r = run_tool("tail_left dim\nwhy tail_j\nwhere tail_j\nwhy tail_\n", "ask", run_data("cart.gnd"), NULL);
    run_flatten(r.out);
    const char *by_part = strstr(r.out, "tail loom splice (tail_joint)");
    assert_non_null(by_part);
    assert_non_null(strstr(by_part + 1, "tail loom splice (tail_joint)"));
    assert_non_null(strstr(r.err, "3 names fit `tail_`: `list tail_` shows them"));
    run_free(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(json_of_one_finding), cmocka_unit_test(json_of_no_weight),
        cmocka_unit_test(json_of_infinite_weight), cmocka_unit_test(json_of_links),
        cmocka_unit_test(contradiction_is_status_1), cmocka_unit_test(page_says_it),
        cmocka_unit_test(weights_are_sorted), cmocka_unit_test(certain_before), cmocka_unit_test(bad_suspects),
        cmocka_unit_test(labels_and_wires), cmocka_unit_test(bad_usage_and_files), cmocka_unit_test(at_the_prompt),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}
