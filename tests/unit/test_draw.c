/* test_draw.c: random streams, and drawn vehicles whose outcomes are certain.
 *
 * Frequencies are the matter of tests/prop/test_draw_law.c.  Here the rules
 * leave one outcome each, worked out by hand from design §1 and §3.
 */
#include "engine/draw_random.h"
#include "held/held.h"
#include "held/small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- streams ---- */

/* The published first outputs of xoshiro256** from the state 1, 2, 3, 4. */
static void generator_is_xoshiro(void **state)
{
    (void)state;
    static const uint64_t want[] = {11520u, 0u, 1509978240u, 1215971899390074240u, 1216172134540287360u,
                                    607988272756665600u, 16172922978634559625u, 8476171486693032832u,
                                    10595114339597558777u, 2904607092377533576u};
    rl_random random = {{1, 2, 3, 4}};
    for (size_t i = 0; i < sizeof want / sizeof *want; i++)
        assert_true(rl_random_next(&random) == want[i]);
}

static void keys_make_streams(void **state)
{
    (void)state;
    static const uint64_t key[][3] = {{1, 2, 3}, {2, 1, 3}, {1, 2, 4}, {0, 2, 3}, {1, 3, 2}, {0, 0, 0}};
    enum { KEYS = sizeof key / sizeof *key };
    uint64_t first[KEYS + 1];
    for (int i = 0; i < KEYS; i++) {
        rl_random a = rl_random_make(key[i], 3), b = rl_random_make(key[i], 3);
        first[i] = rl_random_next(&a);
        assert_true(first[i] == rl_random_next(&b));
    }
    rl_random shorter = rl_random_make(key[5], 2);
    first[KEYS] = rl_random_next(&shorter);
    for (int i = 0; i <= KEYS; i++)
        for (int j = 0; j < i; j++)
            assert_true(first[i] != first[j]);
}

/* FNV-1a of "" and of "a", as its authors list them. */
static void words_are_fnv(void **state)
{
    (void)state;
    assert_true(rl_random_word("") == 0xcbf29ce484222325u);
    assert_true(rl_random_word("a") == 0xaf63dc4c8601ec8cu);
    assert_true(rl_random_word("foobar") == 0x85944171f73967e8u);
}

static void units_are_multiples(void **state)
{
    (void)state;
    rl_random random = rl_random_make(NULL, 0);
    double sum = 0;
    for (int i = 0; i < 100000; i++) {
        double u = rl_random_unit(&random);
        assert_true(u >= 0 && u < 1 && u * 0x1p53 == floor(u * 0x1p53));
        sum += u;
    }
    assert_true(fabs(sum / 100000 - 0.5) < 4.5 * sqrt(1.0 / 12 / 100000));
}

static void picks_follow_their_row(void **state)
{
    (void)state;
    static const double p[] = {0, 0.2, 0, 0.5, 0.3, 0};
    enum { COUNT = 100000 };
    int found[6] = {0};
    rl_random random = rl_random_make((const uint64_t[]){7}, 1);
    for (int i = 0; i < COUNT; i++)
        found[rl_random_pick(&random, p, 6)]++;
    for (int i = 0; i < 6; i++)
        assert_true(fabs(found[i] - p[i] * COUNT) <= 4.5 * sqrt(COUNT * p[i] * (1 - p[i])));
}

/* A row whose sum falls short of 1 by rounding never gives what it has no part in. */
static void picks_survive_rounding(void **state)
{
    (void)state;
    static const double p[] = {0, 1e-9, 0};
    rl_random random = rl_random_make((const uint64_t[]){8}, 1);
    for (int i = 0; i < 100; i++)
        assert_int_equal(rl_random_pick(&random, p, 3), 1);
}

/* Mean and variance of the normal law cut to [low, high] are known. */
static void check_normal(double low, double high, double mean, double variance)
{
    enum { COUNT = 100000 };
    rl_random random = rl_random_make((const uint64_t[]){9}, 1);
    double sum = 0, least = INFINITY, most = -INFINITY;
    for (int i = 0; i < COUNT; i++) {
        double z = rl_random_normal(&random, low, high);
        least = fmin(least, z);
        most = fmax(most, z);
        sum += z;
    }
    assert_true(least >= low && most <= high && least < most);
    assert_true(fabs(sum / COUNT - mean) < 4.5 * sqrt(variance / COUNT));
}

static void normals_are_cut(void **state)
{
    (void)state;
    check_normal(-INFINITY, INFINITY, 0, 1);
    check_normal(0, INFINITY, sqrt(2 / acos(-1)), 1 - 2 / acos(-1));   /* the half-normal law */
    check_normal(-INFINITY, 0, -sqrt(2 / acos(-1)), 1 - 2 / acos(-1));
    /* Far out: phi(6) = 6.0758828498e-9, Q(6) = 9.8658764504e-10 (tables), their ratio 6.158482;
     * the variance is 1 + 6 x 6.158482 - 6.158482^2 = 0.0240. */
    check_normal(6, INFINITY, 6.0758828498e-9 / 9.8658764504e-10, 0.0240);
    check_normal(1, 1.000001, 1.0000005, 1e-12 / 12);   /* all but uniform */
    rl_random random = rl_random_make(NULL, 0);
    assert_true(rl_random_normal(&random, 2, 2) == 2);
}

/* ---- a vehicle of which everything is certain ---- */

static const char certain[] =
    "language 1\n"
    "vehicle sure \"sure\" supply 12 V\n"
    "class point\n"
    "class broken open 100%\n"
    "class wire\n"
    "class feed\n"
    "kind lamp behaves normal, dim, dead draws 24 W\n"
    "    when open dead 100%\n"
    "joint sound 1 mohm\n"
    "joint corroded 1 ohm\n"
    "meter volts reads 0.1% plus 1 mV\n"
    "meter ohms reads 1% plus 0.1 ohm\n"
    "meter beeper beeps below 30 ohm\n"
    "backfeed open 100%\n"
    "pull open 100%\n"
    "inspection look of point shows clean, broken\n"
    "    when open broken 100%\n"
    "point post\n"
    "point frame returns through post\n"
    "point rear class broken returns through post\n"
    "feed fuse\n"
    "load left kind lamp returns through rear fed by fuse\n"
    "load right kind lamp returns through rear fed by fuse\n"
    "load third kind lamp returns through frame fed by fuse\n"
    "symptom hum from rear open 100%\n"
    "symptom hiss from frame open 100%\n";

typedef struct bench {
    held shelf;
    rl_context *context;
    rl_model *model;
    rl_drawn *drawn;
} bench;

static void open_bench(bench *b, const char *rules, uint64_t seed, uint64_t number)
{
    *b = (bench){0};
    held_put_text(&b->shelf, "v.gnd", rules);
    held_put_text(&b->shelf, "base.gnd", small_base);
    b->context = held_context(&b->shelf, 0);
    b->model = held_model(&b->shelf, b->context);
    assert_int_equal(rl_drawn_new(b->context, b->model, seed, number, &b->drawn), RL_OK);
}

static void close_bench(bench *b)
{
    rl_drawn_free(b->drawn);
    rl_model_free(b->model);
    rl_context_free(b->context);
    assert_int_equal(b->shelf.out, 0);
}

static rl_case *complained(bench *b)
{
    rl_case *c = held_case(b->context, b->model, "");
    assert_int_equal(rl_drawn_complain(b->drawn, c), RL_OK);
    return c;
}

/* The line that the test of that text brings. */
static const char *taken(bench *b, rl_case *c, const char *text)
{
    const rl_test *tests;
    const char *line;
    size_t count;
    assert_int_equal(rl_case_tests(c, &tests, &count), RL_OK);
    const rl_test *test = held_test(tests, count, text);
    if (test == NULL)
        fail_msg("there is no test `%s`", text);
    assert_int_equal(rl_drawn_take(b->drawn, c, test, &line), RL_OK);
    return line;
}

static void assert_reads(bench *b, rl_case *c, const char *text, double value, double allowed, const char *unit)
{
    const char *line = taken(b, c, text);
    char *end;
    assert_memory_equal(line, text, strlen(text));
    double found = strtod(line + strlen(text), &end);
    assert_true(fabs(found - value) <= allowed);
    assert_string_equal(end, unit);
}

static void complaint_is_what_is_amiss(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, certain, 1, 1);
    rl_case *c = complained(&b);
    static const char *const want[] = {"left dead", "right dead", "hum present"};
    assert_int_equal(rl_case_lines(c), 3);
    for (size_t i = 0; i < 3; i++)
        assert_string_equal(rl_case_line(c, i)->text, want[i]);
    const rl_fault *fault;
    size_t count;
    assert_int_equal(rl_drawn_faults(b.drawn, &fault, &count), RL_OK);
    assert_int_equal(count, 1);
    assert_int_equal(fault->element, held_element(b.model, "rear"));
    assert_int_equal(fault->state, RL_OPEN);
    rl_case_free(c);
    close_bench(&b);
}

static void looks_are_certain(void **state)
{
    (void)state;
    static const char *const want[][2] = {
        {"third", "third normal"}, {"hiss", "hiss absent"},
        {"look rear", "look rear broken"}, {"look post", "look post clean"},
        {"left with bypass", "left normal with bypass"},
        {"left with bypass at rear", "left normal with bypass at rear"},
        {"left with bypass at post", "left dead with bypass at post"},   /* rear stays before it */
        {"left with swap", "left dead with swap"}, {"left with jumper", "left dead with jumper"},
        {"backfeed left to right", "backfeed left to right present"},    /* rear; third has another way out */
        {"pull right to left", "pull right to left present"},
        {"pull third to left", "pull third to left absent"},             /* post and fuse alone are shared */
        {"resistance left", "resistance left open"},
        {"continuity left", "continuity left silent"}, {"continuity third", "continuity third beeps"},
    };
    bench b;
    open_bench(&b, certain, 1, 2);
    rl_case *c = complained(&b);
    for (size_t i = 0; i < sizeof want / sizeof *want; i++)
        assert_string_equal(taken(&b, c, want[i][0]), want[i][1]);
    rl_case_free(c);
    close_bench(&b);
}

/* Meters without misreading: five sigma either way, 2 A through joints of 1 mohm. */
static void readings_are_near_the_truth(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, certain, 1, 3);
    rl_case *c = complained(&b);
    assert_reads(&b, c, "drop left", 12, 5 * 0.013, " V");           /* an open span: the supply */
    assert_reads(&b, c, "drop left from post", 0, 5 * 0.001, " V");  /* what is before it is open: no current */
    assert_reads(&b, c, "drop left to rear", 0, 5 * 0.001, " V");    /* R(rear) is open: nothing flows */
    assert_reads(&b, c, "drop third", 0.006, 5 * 0.0011, " V");      /* three joints */
    assert_reads(&b, c, "supply left", 12, 5 * 0.013, " V");         /* no current, the feed is whole */
    assert_reads(&b, c, "resistance left to rear", 0.001, 5 * 0.101, " ohm");
    assert_reads(&b, c, "resistance third", 0.002, 5 * 0.101, " ohm");
    rl_case_free(c);
    close_bench(&b);
}

static void repairs_mend(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, certain, 1, 4);
    rl_case *c = complained(&b);
    held_say(c, "occasion proof with repaired rear\n");
    assert_int_equal(rl_drawn_complain(b.drawn, c), RL_OK);   /* the occasion has it mended */
    assert_int_equal(rl_case_lines(c), 4);
    assert_string_equal(taken(&b, c, "left"), "left normal");
    assert_string_equal(taken(&b, c, "look rear"), "look rear clean");
    assert_reads(&b, c, "drop left", 0.006, 5 * 0.0011, " V");
    held_say(c, "occasion again\n");
    assert_string_equal(taken(&b, c, "left"), "left dead");
    rl_drawn_repair(b.drawn, held_element(b.model, "rear"));
    assert_string_equal(taken(&b, c, "left"), "left normal");
    const rl_fault *fault;
    size_t count;
    assert_int_equal(rl_drawn_faults(b.drawn, &fault, &count), RL_OK);
    assert_int_equal(count, 0);
    rl_case_free(c);
    close_bench(&b);
}

/* ---- nothing to complain of ---- */

static void assert_nothing(const char *rules)
{
    held shelf = {0};
    held_put_text(&shelf, "v.gnd", rules);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    rl_drawn *drawn;
    assert_int_equal(rl_drawn_new(context, model, 1, 1, &drawn), RL_INPUT);
    assert_null(drawn);
    assert_int_equal(shelf.errors, 1);
    assert_string_equal(shelf.first_error, "v.gnd:1:1: nothing of `mute` can be complained of: in vehicles drawn from "
                                           "these rules every load shows its first level and no symptom is present");
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

#define MUTE "language 1\nvehicle mute \"mute\" supply 12 V\nclass point open 5%\nclass wire open 5%\npoint post\n"

static void nothing_can_be_complained_of(void **state)
{
    (void)state;
    assert_nothing(MUTE);                                                            /* no load at all */
    assert_nothing(MUTE "kind lamp behaves normal, dead failed 5%\nload lamp kind lamp returns through post\n");
    assert_nothing(MUTE "kind lamp behaves normal, dead\n    when feed open dead 90%\n"
                        "load lamp kind lamp returns through post\n");               /* it has no feed */
    assert_nothing(MUTE "symptom hum from post loose 50%\n");                        /* post is never loose */
}

/* ---- lines of the small vehicle ---- */

/* Lines of the first `most` tests, asked in this order or backwards, each put in its place. */
static void ask_lines(bench *b, rl_case *c, size_t most, bool backwards, char (*out)[128])
{
    const rl_test *tests;
    size_t count;
    assert_int_equal(rl_case_tests(c, &tests, &count), RL_OK);
    assert_true(count > most);
    for (size_t i = 0; i < most; i++) {
        size_t at = backwards ? most - 1 - i : i;
        const char *line;
        assert_int_equal(rl_drawn_take(b->drawn, c, &tests[at], &line), RL_OK);
        assert_true(strlen(line) < sizeof out[at]);
        strcpy(out[at], line);
    }
}

static void order_does_not_matter(void **state)
{
    (void)state;
    enum { MOST = 40 };
    static char one[MOST][128], two[MOST][128], other[MOST][128];
    bench b, again, next;
    open_bench(&b, small_vehicle, 4, 17);
    open_bench(&again, small_vehicle, 4, 17);
    open_bench(&next, small_vehicle, 4, 17);
    rl_case *c = complained(&b), *d = complained(&again), *e = complained(&next);
    ask_lines(&b, c, MOST, false, one);
    ask_lines(&again, d, MOST, true, two);
    ask_lines(&again, d, MOST, false, two);   /* asked twice: the same */
    assert_memory_equal(one, two, sizeof one);
    held_say(e, "occasion later\n");
    ask_lines(&next, e, MOST, false, other);
    assert_memory_not_equal(one, other, sizeof one);
    rl_case_free(c);
    rl_case_free(d);
    rl_case_free(e);
    close_bench(&b);
    close_bench(&again);
    close_bench(&next);
}

/* What is asked again of a load is what was complained of. */
static void the_complaint_is_kept(void **state)
{
    (void)state;
    bench b;
    for (uint64_t number = 0; number < 50; number++) {
        open_bench(&b, small_vehicle, 6, number);
        rl_case *c = complained(&b), *empty = held_case(b.context, b.model, "");
        assert_true(rl_case_lines(c) > 0);
        for (size_t i = 0; i < rl_case_lines(c); i++) {
            char name[64];
            const char *text = rl_case_line(c, i)->text;
            snprintf(name, sizeof name, "%.*s", (int)strcspn(text, " "), text);
            assert_string_equal(taken(&b, empty, name), text);
        }
        rl_case_free(c);
        rl_case_free(empty);
        close_bench(&b);
    }
}

/* A voltage has no digit finer than a fiftieth of the meter's error, and one at least as fine as a fifth. */
static void readings_have_sensible_digits(void **state)
{
    (void)state;
    bench b;
    for (uint64_t number = 0; number < 200; number++) {
        open_bench(&b, small_vehicle, 8, number);
        rl_case *c = held_case(b.context, b.model, "");
        const char *line = taken(&b, c, "drop stop");
        double value = strtod(line + strlen("drop stop"), NULL), error = 0.005 * fabs(value) + 0.002, step = 1;
        while (step > error / 5)
            step /= 10;
        assert_true(fabs(value / step - round(value / step)) < 1e-6);
        assert_true(strlen(line) <= strlen("drop stop -0.00000 V"));
        held_say(c, line);
        rl_case_free(c);
        close_bench(&b);
    }
}

/* ---- whole cases ---- */

static size_t count_lines(const rl_case *c, rl_line_sort sort)
{
    size_t count = 0;
    for (size_t i = 0; i < rl_case_lines(c); i++)
        count += rl_case_line(c, i)->sort == sort;
    return count;
}

/* Read without a word, with what was drawn as what was found, and possible. */
static void one_case(bench *b, size_t occasions, size_t findings)
{
    const rl_fault *drawn, *found;
    size_t count, said;
    bool only;
    const rl_answer *answer;
    rl_case *c = held_case(b->context, b->model, "");
    assert_int_equal(rl_drawn_case(b->drawn, c, occasions, findings), RL_OK);
    assert_int_equal(count_lines(c, RL_LINE_OCCASION), occasions == 1 ? 0 : occasions);
    assert_int_equal(rl_drawn_faults(b->drawn, &drawn, &count), RL_OK);
    assert_int_equal(rl_case_found(c, &found, &said, &only), RL_OK);
    assert_int_equal(said, count);
    assert_true(only);
    for (size_t i = 0; i < count; i++)
        assert_true(found[i].element == drawn[i].element && found[i].state == drawn[i].state);
    assert_int_equal(count_lines(c, RL_LINE_FOUND), count > 0 ? count : 1);
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    assert_true(isfinite(answer->log_evidence));
    rl_case_free(c);
}

static void cases_are_whole(void **state)
{
    (void)state;
    bench b;
    for (uint64_t number = 0; number < 150; number++) {
        open_bench(&b, small_vehicle, 2, number);
        size_t warned = b.shelf.warnings;
        one_case(&b, 1 + number % 3, number % 7);
        assert_int_equal(b.shelf.errors, 0);
        assert_int_equal(b.shelf.warnings, warned);
        close_bench(&b);
    }
}

static void more_findings_than_there_are(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, certain, 1, 1);
    rl_case *c = held_case(b.context, b.model, "");
    assert_int_equal(rl_drawn_case(b.drawn, c, 1, 400), RL_OK);
    assert_true(rl_case_lines(c) < 200);
    assert_string_equal(rl_case_line(c, rl_case_lines(c) - 1)->text, "found only rear open");
    rl_case_free(c);
    close_bench(&b);
}

static void eight_occasions(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, small_vehicle, 2, 1);
    rl_case *c = held_case(b.context, b.model, "");
    size_t warned = b.shelf.warnings;
    assert_int_equal(rl_drawn_case(b.drawn, c, 8, 2), RL_OK);
    assert_int_equal(count_lines(c, RL_LINE_OCCASION), 8);
    assert_int_equal(rl_case_line(c, rl_case_lines(c) - 1)->occasion, 7);
    assert_int_equal(b.shelf.warnings, warned);
    rl_case_free(c);
    close_bench(&b);
}

static void misuse_is_refused(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, certain, 1, 1);
    rl_case *c = held_case(b.context, b.model, "");
    assert_int_equal(rl_drawn_case(b.drawn, c, 0, 1), RL_USAGE);
    assert_int_equal(rl_drawn_case(b.drawn, c, 9, 1), RL_USAGE);
    assert_int_equal(rl_case_lines(c), 0);
    held_say(c, "left dead\n");
    assert_int_equal(rl_drawn_case(b.drawn, c, 1, 1), RL_USAGE);
    rl_case_free(c);
    close_bench(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(generator_is_xoshiro), cmocka_unit_test(keys_make_streams), cmocka_unit_test(words_are_fnv),
        cmocka_unit_test(units_are_multiples), cmocka_unit_test(picks_follow_their_row),
        cmocka_unit_test(picks_survive_rounding), cmocka_unit_test(normals_are_cut),
        cmocka_unit_test(complaint_is_what_is_amiss), cmocka_unit_test(looks_are_certain),
        cmocka_unit_test(readings_are_near_the_truth), cmocka_unit_test(repairs_mend),
        cmocka_unit_test(nothing_can_be_complained_of), cmocka_unit_test(order_does_not_matter),
        cmocka_unit_test(the_complaint_is_kept), cmocka_unit_test(readings_have_sensible_digits),
        cmocka_unit_test(cases_are_whole), cmocka_unit_test(eight_occasions), cmocka_unit_test(more_findings_than_there_are),
        cmocka_unit_test(misuse_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
