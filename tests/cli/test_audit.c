/* test_audit.c: audit and round from outside: pages, JSON, wrong usage, bad input.
 *
 * What is expected of a vehicle follows from its few lines; the numbers are
 * worked out beside the test.
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

/* Two points in series; load b returns through the inner one alone, by a way that makes the other never count. */
static const char twins[] =
    "vehicle v \"Test cart\" supply 12 V\n"
    "class point loose 1% corroded 2%\n"
    "class wire\n"
    "kind lamp behaves normal, dim failed 0%\n"
    "    when loose dim 50%\n"
    "    when corroded dim 80%\n"
    "    when open dim 40%\n"
    "point frame \"frame stud\"\n"
    "point rear returns through frame\n"
    "point spare\n"
    "load a kind lamp returns through rear\n"
    "load b kind lamp returns through rear or frame\n";

static const char silent[] = "vehicle v supply 12 V\nclass point loose 1%\npoint frame\n";
/* There is a load, and a symptom, but whatever is at fault neither shows it. */
static const char patient[] =
    "vehicle v supply 12 V\n"
    "class point loose 1%\n"
    "class wire\n"
    "kind lamp behaves normal, dim failed 0%\n"
    "point frame\n"
    "symptom hum\n"
    "    from frame loose 0%\n"
    "load a kind lamp returns through frame\n";

static json_t *json_of(run *r)
{
    json_error_t error;
    json_t *object = json_loads(r->out, 0, &error);
    if (object == NULL)
        fail_msg("no JSON: %s", error.text);
    return object;
}

static const char *word(const json_t *object, const char *key)
{
    const char *value = json_string_value(json_object_get(object, key));
    assert_non_null(value);
    return value;
}

static bool has_word(const json_t *list, const char *wanted)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strcmp(json_string_value(json_array_get(list, i)), wanted) == 0)
            return true;
    return false;
}

static bool holds_both(const json_t *group)
{
    const json_t *elements = json_object_get(group, "elements");
    return json_array_size(elements) == 2 && has_word(elements, "frame") && has_word(elements, "rear");
}

static void audit_as_json(void **state)
{
    (void)state;
    run r = run_tool("", "audit", run_file("twins.gnd", twins), "--json", NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    json_t *object = json_of(&r), *alike = json_object_get(object, "alike");
    size_t looks = 0, all = 0;
    for (size_t i = 0; i < json_array_size(alike); i++) {
        const json_t *group = json_array_get(alike, i);
        const char *by = word(group, "by");
        assert_true(strcmp(by, "looks") == 0 || strcmp(by, "all") == 0);
        assert_true(strlen(word(group, "separated_by")) > 0);
        assert_int_equal(json_array_size(json_object_get(group, "faults")) >= 1, 1);
        if (!holds_both(group))
            continue;
        looks += strcmp(by, "looks") == 0;
        all += strcmp(by, "all") == 0;
        /* load b returns through frame and not rear, by the second of its ways */
        assert_null(strstr(word(group, "separated_by"), "nothing observed returns through frame"));
    }
    assert_int_equal(looks, 0);   /* b shows frame alone */
    assert_int_equal(all, 0);
    assert_int_equal(json_array_size(json_object_get(object, "unseen")), 1);
    assert_true(has_word(json_object_get(object, "unseen"), "spare"));
    /* three points of 97 %, 1 % and 2 %; wires and loads are sound */
    double each = -(0.97 * log2(0.97) + 0.01 * log2(0.01) + 0.02 * log2(0.02));
    assert_true(fabs(json_number_value(json_object_get(object, "prior_bits")) - 3 * each) < 1e-12);
    double left = json_number_value(json_object_get(object, "left_bits"));
    assert_true(left > each && left < 3 * each);
    assert_string_equal(word(object, "left_by"), "exact");
    const json_t *row = json_array_get(json_object_get(object, "rows"), 0);
    assert_string_equal(word(row, "kind"), "lamp");
    assert_string_equal(word(row, "row"), "when open");
    assert_non_null(strstr(word(row, "problem"), "60%"));   /* normal in 60 %, corroded in 20 % */
    const json_t *cover = json_array_get(json_object_get(object, "covered"), 0);
    assert_string_equal(word(cover, "id"), "b.wire");
    assert_true(json_is_true(json_object_get(cover, "always")));
    assert_int_equal(json_integer_value(json_object_get(cover, "line")), 12);
    assert_true(json_is_array(json_object_get(object, "missing")));
    json_decref(object);
    run_free(&r);
}

static void audit_says_what_is_missed(void **state)
{
    (void)state;
    static char rules[sizeof twins];
    strcpy(rules, twins);
    *strstr(rules, "load b") = '\0';
    run r = run_tool("", "audit", run_file("one.gnd", rules), NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    run_flatten(r.out);
    assert_non_null(strstr(r.out, "Faults that no test tells apart"));
    assert_non_null(strstr(r.out, "nothing observed returns through frame but not rear: a load of its own at frame would "
                                  "tell, or an inspection there"));
    assert_non_null(strstr(r.out, "spare, one.gnd:10"));
    assert_non_null(strstr(r.out, "one.gnd:4 kind lamp: `when open` leaves it normal in 60%, `when corroded` only in 20%"));
    run_free(&r);
}

static const char chain[] =
    "vehicle v supply 12 V\n"
    "class point corroded 2%\n"
    "class wire\n"
    "kind lamp behaves normal, dim failed 0%\n"
    "    when corroded dim 80%\n"
    "    when open dim 90%\n"
    "point frame\n"
    "point mid returns through frame\n"
    "point rear returns through mid\n"
    "load a kind lamp returns through rear\n";
static const char chain_look[] = "inspection look of point shows good, bad check 2 min\n    when corroded bad 60%\n";

static double bits(double p)
{
    return p > 0 ? -p * log2(p) : 0;
}

/* H(states | lamp, three looks): dim in 80 % where any point is corroded, a look bad in 60 % where its own is. */
static double chain_left(void)
{
    double left = 0;
    for (int seen = 0; seen < 16; seen++) {
        double all = 0;
        for (int at = 0; at < 8; at++) {
            double dim = at > 0 ? 0.8 : 0, p = seen & 8 ? dim : 1 - dim;
            for (int i = 0; i < 3; i++) {
                double bad = at >> i & 1 ? 0.6 : 0;
                p *= (at >> i & 1 ? 0.02 : 0.98) * (seen >> i & 1 ? bad : 1 - bad);
            }
            left += bits(p);
            all += p;
        }
        left -= bits(all);
    }
    return left;
}

/* Three in a row are told apart by looking at two of them. */
static void a_group_is_told_apart(void **state)
{
    (void)state;
    char rules[sizeof chain + sizeof chain_look];
    static const char *const told[] = { "frame from mid and rear", "mid from rear" };
    snprintf(rules, sizeof rules, "%s%s", chain, chain_look);
    const char *path = run_file("chain.gnd", rules);
    run r = run_tool("", "audit", path, "--json", NULL);
    assert_int_equal(r.status, 0);
    json_t *object = json_of(&r), *alike = json_object_get(object, "alike"), *group = json_array_get(alike, 0);
    assert_int_equal(json_array_size(alike), 1);
    assert_string_equal(word(group, "separated_by"), "`look frame` (2 min) tells frame from mid and rear; `look mid` (2 min) "
                                                     "tells mid from rear");
    assert_string_equal(word(group, "test"), "look frame");
    assert_int_equal(json_array_size(json_object_get(group, "together")), 0);
    const json_t *steps = json_object_get(group, "steps");
    assert_int_equal(json_array_size(steps), 2);
    for (size_t i = 0; i < 2; i++) {
        assert_string_equal(word(json_array_get(steps, i), "tells"), told[i]);
        assert_int_equal(json_array_size(json_object_get(json_array_get(steps, i), "classes")), 3);
    }
    assert_string_equal(word(object, "left_by"), "exact");
    assert_int_equal(json_integer_value(json_object_get(object, "inspections")), 3);
    assert_int_equal(json_integer_value(json_object_get(object, "readings")), 0);
    assert_true(fabs(json_number_value(json_object_get(object, "left_bits")) - chain_left()) < 1e-12);
    json_decref(object);
    run_free(&r);
    r = run_tool("", "audit", path, NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    run_flatten(r.out);
    assert_non_null(strstr(r.out, "`look frame` (2 min) tells frame from mid and rear; `look mid` (2 min) tells mid from rear."));
    assert_non_null(strstr(r.out, "and making 3 inspections that need nothing opened, once leaves"));
    run_free(&r);
}

/* Without the looks each pair stays together, and it is said what would tell it. */
static void each_pair_is_said(void **state)
{
    (void)state;
    const char *path = run_file("chain.gnd", chain);
    run r = run_tool("", "audit", path, "--json", NULL);
    assert_int_equal(r.status, 0);
    json_t *object = json_of(&r), *group = json_array_get(json_object_get(object, "alike"), 0);
    const json_t *pairs = json_object_get(group, "together");
    static const char *const pair[][2] = { { "frame", "mid" }, { "frame", "rear" }, { "mid", "rear" } };
    assert_string_equal(word(group, "by"), "all");
    assert_int_equal(json_array_size(pairs), 3);
    for (size_t i = 0; i < 3; i++) {
        const json_t *now = json_array_get(pairs, i), *faults = json_object_get(now, "faults");
        char lacks[200];
        snprintf(lacks, sizeof lacks, "nothing observed returns through %s but not %s: a load of its own at %s would tell, "
                 "or an inspection there", pair[i][0], pair[i][1], pair[i][0]);
        assert_string_equal(word(now, "lacks"), lacks);
        for (size_t k = 0; k < 2; k++)
            assert_string_equal(word(json_array_get(faults, k), "id"), pair[i][k]);
    }
    json_decref(object);
    run_free(&r);
    r = run_tool("", "audit", path, NULL);
    assert_int_equal(r.status, 0);
    run_flatten(r.out);
    assert_non_null(strstr(r.out, "nothing observed returns through frame but not mid or rear: a load of its own at frame "
                                  "would tell, or an inspection there; nothing observed returns through mid but not rear: "));
    run_free(&r);
}

static void shipped_rules_are_audited(void **state)
{
    (void)state;
    static const char *const rules[] = { "small-drumlin", "demo-moraine", "large-nunatak" };
    for (size_t i = 0; i < sizeof rules / sizeof *rules; i++) {
        char path[400];
        snprintf(path, sizeof path, "%s/rules/%s.gnd", TEST_ROOT, rules[i]);
        run r = run_tool("", "audit", path, "--draws", "20", "--json", NULL);
        assert_int_equal(r.status, 0);
        json_t *object = json_of(&r);
        double prior = json_number_value(json_object_get(object, "prior_bits"));
        double left = json_number_value(json_object_get(object, "left_bits"));
        assert_true(left > 0 && left <= prior);
        assert_string_equal(word(object, "left_by"), "drawn");
        json_decref(object);
        run again = run_tool("", "audit", path, "--draws", "20", "--json", NULL);
        assert_string_equal(r.out, again.out);
        run_free(&again);
        run_free(&r);
        r = run_tool("", "audit", path, "--draws", "2", "--groups", "0", NULL);
        assert_int_equal(r.status, 0);
        assert_true(run_widest(r.out) <= 80);
        assert_false(run_has_controls(r.out, r.out_length));
        run_free(&r);
    }
}

static void a_round_keeps_to_its_minutes(void **state)
{
    (void)state;
    char path[400];
    snprintf(path, sizeof path, "%s/rules/small-drumlin.gnd", TEST_ROOT);
    run r = run_tool("", "round", path, "--minutes", "20", "--json", NULL);
    assert_int_equal(r.status, 0);
    json_t *object = json_of(&r), *stops = json_object_get(object, "stops");
    double minutes = 0, gain = 0, share = json_number_value(json_object_get(object, "share"));
    assert_true(json_array_size(stops) > 1);
    for (size_t i = 0; i < json_array_size(stops); i++) {
        const json_t *stop = json_array_get(stops, i);
        minutes += json_number_value(json_object_get(stop, "minutes"));
        gain += json_number_value(json_object_get(stop, "gain"));
        bool drop = strncmp(word(stop, "test"), "drop ", 5) == 0;
        assert_int_equal(json_object_get(stop, "healthy") != NULL, drop);
        assert_int_equal(json_object_get(stop, "limit") != NULL, drop);
        assert_true(json_is_array(json_object_get(stop, "covers")) && json_is_array(json_object_get(stop, "opens")));
    }
    assert_true(minutes <= 20 && fabs(minutes - json_number_value(json_object_get(object, "minutes"))) < 1e-9);
    assert_true(fabs(gain - json_number_value(json_object_get(object, "covered"))) < 1e-9);
    assert_true(share > 0 && share < 1);
    json_decref(object);
    run_free(&r);
    r = run_tool("", "round", path, NULL);
    assert_int_equal(r.status, 0);
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    const char *caution = strstr(r.out, "Caution: "), *stop = strstr(r.out, "\n   1  ");
    assert_true(caution != NULL && stop != NULL && caution < stop);
    assert_non_null(strstr(r.out, "customary limit"));
    assert_non_null(strstr(r.out, "Found: ____"));
    run_free(&r);
}

static void says_nothing_can_be_complained_of(const char *command, const char *rules)
{
    run r = run_tool("", command, run_path(rules), "--json", NULL);
    assert_int_equal(r.status, 1);
    assert_int_equal(r.out_length, 0);
    run_flatten(r.err);
    assert_non_null(strstr(r.err, rules));
    assert_non_null(strstr(r.err, "error: nothing of `v` can be complained of"));
    assert_non_null(strstr(r.err, "[421]"));
    run_free(&r);
}

static void nothing_to_complain_of_is_status_1(void **state)
{
    (void)state;
    run_file("silent.gnd", silent);
    run_file("patient.gnd", patient);
    static const char *const command[] = { "audit", "round" };
    for (size_t i = 0; i < sizeof command / sizeof *command; i++) {
        says_nothing_can_be_complained_of(command[i], "silent.gnd");
        says_nothing_can_be_complained_of(command[i], "patient.gnd");
        run r = run_tool("", command[i], run_path("none.gnd"), NULL);
        assert_int_equal(r.status, 1);
        assert_true(r.err_length > 0);
        run_free(&r);
        r = run_tool("", command[i], run_file("bad.gnd", "vehicle v\npoint frame class nowhere\n"), NULL);
        assert_int_equal(r.status, 1);
        assert_non_null(strstr(r.err, "bad.gnd:2:"));
        run_free(&r);
    }
}

static void usage_is_status_2(void **state)
{
    (void)state;
    static const char *const arguments[][4] = {
        { "audit", NULL }, { "round", NULL }, { "audit", "a.gnd", "b.gnd", NULL }, { "audit", "a.gnd", "--draws=1", NULL },
        { "round", "a.gnd", "--minutes=soon", NULL }, { "round", "a.gnd", "--minuets=3", NULL },
    };
    for (size_t i = 0; i < sizeof arguments / sizeof *arguments; i++) {
        const char *const *a = arguments[i];
        run r = a[1] == NULL ? run_tool("", a[0], NULL)
                : a[2] == NULL ? run_tool("", a[0], a[1], NULL) : run_tool("", a[0], a[1], a[2], NULL);
        assert_int_equal(r.status, 2);
        assert_int_equal(r.out_length, 0);
        assert_true(r.err_length > 0);
        run_free(&r);
    }
    run r = run_tool("", "audit", "--help", NULL);
    assert_int_equal(r.status, 0);
    assert_non_null(strstr(r.out, "usage: ringlug audit RULES"));
    run_free(&r);
    r = run_tool("", "round", "--help", NULL);
    assert_int_equal(r.status, 0);
    assert_non_null(strstr(r.out, "usage: ringlug round RULES"));
    run_free(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(audit_as_json), cmocka_unit_test(audit_says_what_is_missed),
        cmocka_unit_test(a_group_is_told_apart), cmocka_unit_test(each_pair_is_said),
        cmocka_unit_test(shipped_rules_are_audited), cmocka_unit_test(a_round_keeps_to_its_minutes),
        cmocka_unit_test(nothing_to_complain_of_is_status_1), cmocka_unit_test(usage_is_status_2),
    };
    int failed = cmocka_run_group_tests(tests, run_setup, run_teardown);
    return failed > 255 ? 255 : failed;
}
