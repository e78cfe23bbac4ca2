/* test_simulate.c: simulate from outside: the text and the JSON, that a seed is
 * kept, that the other commands read what it prints, and bad input.
 *
 * tests/data/draw/cart.case is what seed 7 draws for tests/data/cli/cart.gnd: it
 * holds drawn vehicles to one text for ever, on every machine.
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
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char RULES[] = TEST_ROOT "/rules/small-drumlin.gnd";

static void text_is_kept(void **state)
{
    (void)state;
    char *want = run_content(TEST_ROOT "/tests/data/draw/cart.case");
    assert_non_null(want);
    run r = run_tool("", "simulate", run_data("cart.gnd"), "--seed", "7", "--cases", "8", "--occasions", "2",
                     "--findings", "4", NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    assert_string_equal(r.out, want);
    run_free(&r);
    free(want);
}

/* Case 3 and 4 of a seed, whoever asks for the others. */
static void numbers_are_kept(void **state)
{
    (void)state;
    run all = run_tool("", "simulate", RULES, "--seed", "3", "--cases", "4", "--json", NULL);
    run two = run_tool("", "simulate", RULES, "--seed", "3", "--cases", "2", "--first", "3", "--json", NULL);
    run other = run_tool("", "simulate", RULES, "--seed", "4", "--cases", "4", "--json", NULL);
    assert_int_equal(all.status, 0);
    assert_int_equal(two.status, 0);
    assert_true(all.out_length > two.out_length);
    assert_string_equal(all.out + all.out_length - two.out_length, two.out);
    assert_string_not_equal(all.out, other.out);
    run_free(&all);
    run_free(&two);
    run_free(&other);
}

static const char *text_of(const json_t *object, const char *key)
{
    const char *value = json_string_value(json_object_get(object, key));
    assert_non_null(value);
    return value;
}

/* The case as text, made of its object. */
static void put_object(const json_t *object, char *out)
{
    size_t i;
    json_t *one;
    const json_t *found = json_object_get(object, "found"), *findings = json_object_get(object, "findings");
    assert_int_equal(json_object_size(object), 3);
    assert_true(json_is_array(found) && json_is_array(findings));
    sprintf(out + strlen(out), "\ncase \"%s\" on cart\n", text_of(object, "case"));
    json_array_foreach(findings, i, one)
        strcat(strcat(out, json_string_value(one)), "\n");
    json_array_foreach(found, i, one)
        sprintf(out + strlen(out), "found only %s %s\n", text_of(one, "id"), text_of(one, "state"));
    if (json_array_size(found) == 0)
        strcat(out, "found nothing\n");
}

static void json_is_the_same(void **state)
{
    (void)state;
    static char got[1 << 16];
    char *want = run_content(TEST_ROOT "/tests/data/draw/cart.case");
    run r = run_tool("", "simulate", run_data("cart.gnd"), "--seed=7", "--cases=8", "--occasions=2", "--findings=4",
                     "--json", NULL);
    assert_int_equal(r.status, 0);
    const char *line = r.out;
    size_t lines = 0;
    for (; *line != '\0'; line += strcspn(line, "\n") + 1, lines++) {
        json_t *object = json_loadb(line, strcspn(line, "\n"), 0, NULL);
        assert_non_null(object);
        put_object(object, got);
        json_decref(object);
    }
    assert_int_equal(lines, 8);
    const char *cases = strstr(want, "\ncase ");
    assert_non_null(cases);
    assert_string_equal(got, cases);
    run_free(&r);
    free(want);
}

/* check and rank read what was drawn without a word. */
static void others_read_it(void **state)
{
    (void)state;
    static const char *const rules[] = {TEST_ROOT "/rules/small-drumlin.gnd", TEST_ROOT "/rules/demo-moraine.gnd",
                                        TEST_ROOT "/rules/large-nunatak.gnd"};
    for (int i = 0; i < 3; i++) {
        run r = run_tool("", "simulate", rules[i], "--seed", "2", "--cases", i == 0 ? "60" : i == 1 ? "30" : "4",
                         "--findings", "6", NULL);
        assert_int_equal(r.status, 0);
        const char *path = run_file("drawn.case", r.out);
        run checked = run_tool("", "check", rules[i], path, NULL);
        assert_int_equal(checked.status, 0);
        assert_string_equal(checked.err, "");
        run_free(&checked);
        if (i == 0) {
            run ranked = run_tool("", "rank", rules[i], path, "--json", "--tests", "1", NULL);
            assert_int_equal(ranked.status, 0);
            assert_string_equal(ranked.err, "");
            run_free(&ranked);
        }
        run_free(&r);
    }
}

/* Its text is its own canonical layout: what was written is what is read. */
static void occasions_and_findings(void **state)
{
    (void)state;
    run r = run_tool("", "simulate", RULES, "--cases", "1", "--occasions", "8", "--findings", "0", NULL);
    assert_int_equal(r.status, 0);
    size_t occasions = 0;
    for (const char *at = strstr(r.out, "\noccasion "); at != NULL; at = strstr(at + 1, "\noccasion "))
        occasions++;
    assert_int_equal(occasions, 8);
    assert_null(strstr(r.out, "\ndrop "));
    run_free(&r);
}

static const char mute[] = "language 1\nvehicle mute \"mute\" supply 12 V\nclass point open 5%\npoint post\n";

static void bad_input(void **state)
{
    (void)state;
    run r = run_tool("", "simulate", run_file("mute.gnd", mute), "--json", NULL);
    assert_int_equal(r.status, 1);
    run_flatten(r.err);
    assert_non_null(strstr(r.err, "error: nothing of `mute` can be complained of"));
    assert_non_null(strstr(r.err, "[421]"));
    assert_string_equal(r.out, "");
    run_free(&r);
    r = run_tool("", "simulate", run_path("mute.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_string_equal(r.out, "");
    run_free(&r);
    r = run_tool("", "simulate", run_path("none.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "error: "));
    run_free(&r);
    r = run_tool("", "simulate", run_file("bad.gnd", "language 1\nvehicle x \"x\" supply 12 V\npoint post class no\n"), NULL);
    assert_int_equal(r.status, 1);
    assert_string_equal(r.out, "");
    run_free(&r);
}

static void assert_usage(const char *option, const char *value)
{
    run r = run_tool("", "simulate", RULES, option, value, NULL);
    assert_int_equal(r.status, 2);
    assert_int_equal(r.out_length, 0);
    assert_non_null(strstr(r.err, "ringlug simulate: "));
    run_free(&r);
}

static void wrong_usage(void **state)
{
    (void)state;
    assert_usage("--cases", "0");
    assert_usage("--cases", "ten");
    assert_usage("--seed", "-1");
    assert_usage("--seed", "99999999999999999999999");
    assert_usage("--occasions", "9");
    assert_usage("--occasions", "0");
    assert_usage("--first", "");
    assert_usage("second.gnd", "third.gnd");
    run r = run_tool("", "simulate", NULL);
    assert_int_equal(r.status, 2);
    run_free(&r);
    r = run_tool("", "simulate", "--help", NULL);
    assert_int_equal(r.status, 0);
    assert_non_null(strstr(r.out, "usage: ringlug simulate RULES"));
    assert_true(run_widest(r.out) <= 80);
    run_free(&r);
}

static void full_disk_is_status_3(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0)
        skip();
    run r = run_tool_into("/dev/full", "simulate", RULES, "--cases", "200000", NULL);
    assert_int_equal(r.status, 3);
    assert_non_null(strstr(r.err, "cannot write standard output"));
    run_free(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(text_is_kept), cmocka_unit_test(numbers_are_kept), cmocka_unit_test(json_is_the_same),
        cmocka_unit_test(others_read_it), cmocka_unit_test(occasions_and_findings), cmocka_unit_test(bad_input),
        cmocka_unit_test(wrong_usage), cmocka_unit_test(full_disk_is_status_3),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}
