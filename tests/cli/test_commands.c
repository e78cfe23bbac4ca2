/* test_commands.c: check and rank from outside: exit statuses, JSON, pages, errors.
 *
 * Expected probabilities are worked out by hand from tests/data/cli/cart.gnd.
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
#include <sys/stat.h>
#include <unistd.h>

static void near(double found, double expected)
{
    if (!(fabs(found - expected) <= 1e-12))
        fail_msg("found %.17g, expected %.17g", found, expected);
}

static void usage_is_status_2(void **state)
{
    (void)state;
    run r = run_tool("", "rnak", NULL);
    assert_int_equal(r.status, 2);
    assert_non_null(strstr(r.err, "did you mean `rank`?"));
    assert_int_equal(r.out_length, 0);
    run_free(&r);
    r = run_tool("", NULL);
    assert_int_equal(r.status, 2);
    run_free(&r);
    r = run_tool("", "rank", "--tets", "3", "a", "b", NULL);
    assert_int_equal(r.status, 2);
    assert_non_null(strstr(r.err, "did you mean `--tests`?"));
    run_free(&r);
    r = run_tool("", "rank", "--tests", "many", "a", "b", NULL);
    assert_int_equal(r.status, 2);
    run_free(&r);
    r = run_tool("", "rank", "only-rules", NULL);
    assert_int_equal(r.status, 2);
    assert_non_null(strstr(r.err, "missing: `CASEFILE`"));
    run_free(&r);
}

static void help_and_version(void **state)
{
    static const char *const command[] = { "ask", "check", "rank" };
    (void)state;
    run r = run_tool("", "--version", NULL);
    assert_int_equal(r.status, 0);
    assert_memory_equal(r.out, "ringlug ", 8);
    run_free(&r);
    r = run_tool("", "--help", NULL);
    assert_int_equal(r.status, 0);
    for (size_t i = 0; i < 3; i++) {
        run h = run_tool("", command[i], "--help", NULL);
        assert_int_equal(h.status, 0);
        assert_non_null(strstr(h.out, command[i]));
        assert_non_null(strstr(r.out, command[i]));
        assert_true(run_widest(h.out) <= 80);
        run_free(&h);
    }
    run_free(&r);
}

static void missing_rules(void **state)
{
    (void)state;
    run r = run_tool("", "check", run_path("none.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "error: "));
    run_free(&r);
}

static void full_disk_is_status_3(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0)
        skip();
    run r = run_tool_into("/dev/full", "rank", run_data("cart.gnd"), run_data("cart.case"), NULL);
    assert_int_equal(r.status, 3);
    assert_non_null(strstr(r.err, "cannot write standard output"));
    run_free(&r);
    r = run_tool_into("/dev/full", "--help", NULL);
    assert_int_equal(r.status, 3);
    run_free(&r);
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

static const json_t *element_of(const json_t *object, const char *id)
{
    size_t i;
    json_t *e;
    json_array_foreach(json_object_get(object, "elements"), i, e)
        if (strcmp(json_string_value(json_object_get(e, "id")), id) == 0)
            return e;
    fail_msg("no element %s", id);
    return NULL;
}

static double state_of(const json_t *object, const char *id, const char *state)
{
    const json_t *p = json_object_get(json_object_get(element_of(object, id), "p"), state);
    assert_true(json_is_real(p));
    return json_real_value(p);
}

/* look rear corroded: P = 0.94 x 0.05 (sound), 0.04 x 0.8 (corroded), 0 else. */
static void rank_json_looked(void **state)
{
    (void)state;
    run r = run_tool("", "rank", "--json", "--tests", "0", run_data("cart.gnd"), run_data("cart.case"), NULL);
    json_t *looked = line_of(r.out, 0);
    assert_string_equal(json_string_value(json_object_get(looked, "case")), "looked");
    near(json_real_value(json_object_get(looked, "log_evidence")), log(0.94 * 0.05 + 0.04 * 0.8));
    near(state_of(looked, "rear", "corroded"), 0.032 / 0.079);
    near(state_of(looked, "rear", "sound"), 0.047 / 0.079);
    near(state_of(looked, "rear", "loose"), 0);
    near(state_of(looked, "post", "open"), 0.01);
    near(state_of(looked, "pump", "failed"), 0.01);
    near(state_of(looked, "pump.wire", "corroded"), 0.003);
    const json_t *first = json_array_get(json_object_get(looked, "elements"), 0);
    assert_string_equal(json_string_value(json_object_get(first, "id")), "post");
    assert_string_equal(json_string_value(json_object_get(first, "sort")), "point");
    const json_t *best = json_array_get(json_object_get(looked, "explanations"), 0);
    near(json_real_value(json_object_get(best, "p")), 0.047 / 0.079);
    assert_int_equal(json_array_size(json_object_get(best, "faults")), 0);
    size_t i;
    json_t *test;
    double before = INFINITY;
    json_array_foreach(json_object_get(looked, "next"), i, test) {
        double rate = json_number_value(json_object_get(test, "bits")) / json_number_value(json_object_get(test, "minutes"));
        assert_true(rate <= before * (1 + 1e-9));
        before = rate;
        assert_null(strstr(json_string_value(json_object_get(test, "test")), "pump with jumper"));
    }
    assert_true(i > 10);
    json_decref(looked);
    run_free(&r);
}

static void rank_json_contradiction(void **state)
{
    (void)state;
    run r = run_tool("", "rank", "--json", run_data("cart.gnd"), run_data("cart.case"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "cart.case:9:1: error: "));
    json_t *both = line_of(r.out, 1), *dim = line_of(r.out, 2);
    assert_true(json_is_null(json_object_get(both, "log_evidence")));
    assert_int_equal(json_array_size(json_object_get(both, "elements")), 0);
    assert_int_equal(json_array_size(json_object_get(both, "next")), 0);
    const json_t *lines = json_object_get(both, "contradiction");
    assert_int_equal(json_array_size(lines), 2);
    assert_string_equal(json_string_value(json_array_get(lines, 0)), "scratch rear crust");
    assert_string_equal(json_string_value(json_array_get(lines, 1)), "tug rear off");
    assert_string_equal(json_string_value(json_object_get(dim, "case")), "dim");
    assert_true(json_is_real(json_object_get(dim, "log_evidence")));
    assert_int_equal(json_array_size(json_object_get(dim, "next")), 10);
    json_decref(both);
    json_decref(dim);
    run_free(&r);
}

static void rank_page(void **state)
{
    (void)state;
    run r = run_tool("", "rank", "--tests", "0", run_data("cart.gnd"), run_data("cart.case"), NULL);
    assert_int_equal(r.status, 1);
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    assert_true(strstr(r.out, "Ground points") < strstr(r.out, "Other suspects"));
    assert_non_null(strstr(r.out, "41%  corroded"));   /* 0.032 / 0.079 */
    assert_non_null(strstr(r.out, "contradict each other"));
    assert_non_null(strstr(r.out, "scratch rear crust  [" ));
    run_flatten(r.out);
    const char *bypass = strstr(r.out, "plate with bypass");
    assert_non_null(bypass);
    const char *caution = strstr(r.out, "fused lead, battery end");
    assert_true(caution != NULL && caution < bypass);
    assert_non_null(strstr(r.out, "hot exhaust beside the bracket"));
    run_free(&r);
}

/* Readings over the same elements are one line: the drop from rear to the end
 * can be taken with four loads, and is shown once a case. */
static void rank_page_groups_tests(void **state)
{
    (void)state;
    const char *one = run_file("one.case", "case \"one\" on cart\nplate dim\n");
    run r = run_tool("", "rank", "--tests", "0", run_data("cart.gnd"), one, NULL);
    assert_int_equal(r.status, 0);
    size_t drops = run_count(r.out, "drop tail_left from rear  (") + run_count(r.out, "drop tail_right from rear  (")
                   + run_count(r.out, "drop plate from rear  (") + run_count(r.out, "drop pump from rear  (");
    assert_int_equal(drops, 1);
    run_free(&r);
}

static void bad_case_stops_no_other(void **state)
{
    (void)state;
    run r = run_tool("", "rank", "--json", run_data("cart.gnd"), run_data("bad.case"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "bad.case:2:1: error: "));
    assert_non_null(strstr(r.err, "tail_left"));
    assert_non_null(strstr(r.err, "\n  tial_left dim\n  ^^^^^^^^^\n"));
    json_t *bad = line_of(r.out, 0), *good = line_of(r.out, 1);
    assert_true(json_is_true(json_object_get(bad, "damaged")));
    near(state_of(good, "rear", "corroded"), 0.032 / 0.079);
    json_decref(bad);
    json_decref(good);
    run_free(&r);
}

static void check_expectations(void **state)
{
    (void)state;
    run r = run_tool("", "check", run_data("cart.gnd"), run_data("cart.case"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.out, "holds  expect rear above 40%: the probability is 41%"));
    assert_null(strstr(r.out, "FAILS"));
    assert_non_null(strstr(r.err, "contradicts"));
    assert_true(run_widest(r.out) <= 80);
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), run_data("bad.case"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.out, "FAILS  expect post leads"));
    assert_non_null(strstr(r.out, "Not touched by any case:"));
    assert_non_null(strstr(r.out, "cart.gnd:28: "));   /* tail_right: its good case has no word on it */
    assert_non_null(strstr(r.err, "bad.case:6:1: error: this expectation does not hold"));
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), run_path("none.case"), NULL);   /* not read: nothing could touch anything */
    assert_int_equal(r.status, 1);
    assert_null(strstr(r.out, "Not touched"));
    assert_non_null(strstr(r.out, "0 cases;"));
    assert_non_null(strstr(r.err, "none.case:1:1: error: there is no file"));
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    run_free(&r);
}

static void an_include_stays_in_its_folders(void **state)
{
    (void)state;
    assert_int_equal(mkdir(run_path("in"), 0700), 0);
    run_file("outside.gnd", "class point \"x\"  loose 1%\n");
    assert_int_equal(symlink(run_path("outside.gnd"), run_path("in/link.gnd")), 0);
    run_file("in/by_link.gnd", "include \"link.gnd\"\nvehicle v \"V\"  supply 12 V\npoint p \"p\"\n");
    run r = run_tool("", "check", run_path("in/by_link.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "by_link.gnd:1:"));
    run_free(&r);
    run_file("in/by_dots.gnd", "include \"../outside.gnd\"\nvehicle v \"V\"  supply 12 V\npoint p \"p\"\n");
    r = run_tool("", "check", run_path("in/by_dots.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "by_dots.gnd:1:"));
    run_free(&r);
    run_file("in/inside.gnd", "class point \"x\"  loose 1%\n");
    run_file("in/good.gnd", "include \"inside.gnd\"\nvehicle v \"V\"  supply 12 V\npoint p \"p\"\n");
    r = run_tool("", "check", run_path("in/good.gnd"), NULL);
    assert_string_equal(r.err, "");
    assert_int_equal(r.status, 0);
    run_free(&r);
}

/* Escapes, marks that turn the line round, and a line far wider than the screen. */
static void nothing_raw_reaches_the_terminal(void **state)
{
    (void)state;
    char content[3000] = "vehicle v \"V\\\\ \x1b[2J\x9b \xe2\x80\xae\"  supply 12 V\nclass point \"x\"  loose 1%\npoint p \"";
    memset(content + strlen(content), 'w', 2000);
    strcat(content, "\x07\"  nonsense 3\n");
    const char *path = run_file("raw.gnd", content);
    run r = run_tool("", "check", path, NULL);
    assert_int_equal(r.status, 1);
    assert_false(run_has_controls(r.err, r.err_length));
    assert_false(run_has_controls(r.out, r.out_length));
    assert_null(strstr(r.err, "\x9b"));
    assert_null(strstr(r.err, "\xe2\x80\xae"));
    for (const char *line = strstr(r.err, "\n  "); line != NULL; line = strstr(line + 1, "\n  "))
        assert_true(strcspn(line + 1, "\n") <= 90);
    run_free(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(usage_is_status_2),
        cmocka_unit_test(help_and_version),
        cmocka_unit_test(missing_rules),
        cmocka_unit_test(full_disk_is_status_3),
        cmocka_unit_test(rank_json_looked),
        cmocka_unit_test(rank_json_contradiction),
        cmocka_unit_test(rank_page),
        cmocka_unit_test(rank_page_groups_tests),
        cmocka_unit_test(bad_case_stops_no_other),
        cmocka_unit_test(check_expectations),
        cmocka_unit_test(an_include_stays_in_its_folders),
        cmocka_unit_test(nothing_raw_reaches_the_terminal),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}
