/* test_proof.c: what proves a repair: complaints, what else is suspect, readings.
 *
 * Probabilities are added up here over the two or three things that may be at
 * fault; readings follow from Ohm's law, all joints having one value.
 */
#include "held/held.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>

static const char vehicle[] =
    "language 1\n"
    "vehicle cart supply 12 V\n"
    "class post\n"
    "class wire\n"
    "class point corroded 4%\n"
    "kind lamp behaves normal, dim  failed 2%  draws 12 W\n"
    "    when corroded dim 80%\n"
    "    when failed dim 90%\n"
    "    otherwise dim 1%\n"
    "area box access 9 min\n"
    "area nose access 2 min\n"
    "point post class post in nose\n"
    "point a in box returns through post by 4 mm2 2 m\n"
    "point c returns through post by 4 mm2 2 m\n"
    "point d returns through a or c\n"
    "load one kind lamp returns through a\n"
    "load two kind lamp returns through a do not probe\n"
    "load weak kind lamp draws 0.05 A returns through c\n"
    "load faint kind lamp draws 0.1 A returns through c\n"
    "load both kind lamp returns through d\n"
    "symptom smell from a corroded 50% otherwise 2%\n"
    "joint sound 2 mohm\n"
    "joint corroded 1 ohm\n"
    "backfeed corroded 10% otherwise 1%\n"
    "meter volts reads 1% plus 1 mV misread 2% check 2 min bands 0.1 V\n";

typedef struct bench {
    held shelf;
    rl_context *context;
    rl_model *model;
    rl_case *c;
} bench;

/* The context points into the bench: it stays where it is. */
static void begin(bench *b, const char *lines)
{
    *b = (bench){ .shelf = { .files = 0 } };
    held_put_text(&b->shelf, "v.gnd", vehicle);
    b->context = held_context(&b->shelf, 0);
    b->model = held_model(&b->shelf, b->context);
    b->c = held_case(b->context, b->model, lines);
}

static void end(bench *b)
{
    rl_case_free(b->c);
    rl_model_free(b->model);
    rl_context_free(b->context);
    assert_int_equal(b->shelf.out, 0);
}

static const rl_proof *proof_of(bench *b, const char *element)
{
    const rl_proof *proof;
    assert_int_equal(rl_case_proof(b->c, held_element(b->model, element), &proof), RL_OK);
    return proof;
}

static void near(double got, double want, double error)
{
    if (!(fabs(got - want) <= error * fabs(want)))
        fail_msg("%.17g is not %.17g", got, want);
}

/* ---- probabilities ---- */

/* P(dim) of a lamp whose return is corroded or not, and that has failed or not. */
static double dim(int corroded, int failed)
{
    return 1 - (corroded ? 0.2 : 1) * (failed ? 0.1 : 1) * 0.99;
}

/* `one` dim before the repair of a, normal `again` times after it, each in an occasion of its own. */
static void after_repair(int again, double *at_fault, double *rest)
{
    double p[2][2], sum = 0;
    for (int a = 0; a < 2; a++)
        for (int f = 0; f < 2; f++) {
            p[a][f] = (a ? 0.04 : 0.96) * (f ? 0.02 : 0.98) * dim(a, f) * pow(1 - dim(0, f), again);
            sum += p[a][f];
        }
    *at_fault = (p[1][0] + p[1][1]) / sum;
    *rest = (p[0][1] + p[1][1]) / sum;
}

static void probabilities_are_those_of_enumeration(void **state)
{
    (void)state;
    for (int again = 0; again < 4; again++) {
        bench b;
        begin(&b, "one dim\n");
        for (int i = 0; i < again; i++) {
            char line[64];
            snprintf(line, sizeof line, "occasion after-%d with repaired a\none normal\n", i + 1);
            held_say(b.c, line);
        }
        double at_fault, rest;
        after_repair(again, &at_fault, &rest);
        const rl_proof *proof = proof_of(&b, "a");
        near(proof->at_fault, at_fault, 1e-9);
        near(proof->rest, rest, 1e-9);
        near(proof->rest_before, 0.02, 1e-9);
        /* Elsewhere c, d and four lamps have their priors. */
        near(proof->none_else, (1 - rest) * 0.96 * 0.96 * pow(0.98, 4), 1e-9);
        assert_int_equal(proof->repaired_count, again > 0);
        assert_int_equal(proof->complaints, 1);
        assert_int_equal(proof->unseen, again == 0);
        end(&b);
    }
}

/* ---- complaints ---- */

static rl_verdict verdict(const char *lines, size_t complaints, size_t still, size_t unseen)
{
    bench b;
    begin(&b, lines);
    const rl_proof *proof = proof_of(&b, "a");
    assert_int_equal(proof->complaints, complaints);
    assert_int_equal(proof->still, still);
    assert_int_equal(proof->unseen, unseen);
    rl_verdict v = proof->verdict;
    end(&b);
    return v;
}

#define GOOD "drop one from a to post 11 mV\n"

static void complaints_have_to_be_gone(void **state)
{
    (void)state;
    static const char after[] = "one dim\ntwo dim\noccasion p with repaired a\n";
    char lines[256];
    assert_int_equal(verdict("one dim\ntwo dim\n", 2, 0, 2), RL_PROOF_NONE);
    assert_int_equal(verdict(after, 2, 0, 2), RL_PROOF_OPEN);
    snprintf(lines, sizeof lines, "%sone normal\n" GOOD, after);
    assert_int_equal(verdict(lines, 2, 0, 1), RL_PROOF_OPEN);
    snprintf(lines, sizeof lines, "%sone normal\ntwo dim\n" GOOD, after);
    assert_int_equal(verdict(lines, 2, 1, 0), RL_PROOF_FAILED);
    snprintf(lines, sizeof lines, "%sone normal\ntwo normal\n", after);
    assert_int_equal(verdict(lines, 2, 0, 0), RL_PROOF_OPEN);       /* a reading is possible, and missing */
    snprintf(lines, sizeof lines, "%sone normal\ntwo normal\n" GOOD, after);
    assert_int_equal(verdict(lines, 2, 0, 0), RL_PROOF_CONFIRMED);
    snprintf(lines, sizeof lines, "%sothers work\n" GOOD, after);
    assert_int_equal(verdict(lines, 2, 0, 0), RL_PROOF_CONFIRMED);
    snprintf(lines, sizeof lines, "%sothers of c work\n" GOOD, after);
    assert_int_equal(verdict(lines, 2, 0, 2), RL_PROOF_OPEN);
    snprintf(lines, sizeof lines, "%sothers of a work\ntwo dim\n", after);
    assert_int_equal(verdict(lines, 2, 1, 0), RL_PROOF_FAILED);
    /* What was amiss only after the repair is a complaint too; the last look counts. */
    snprintf(lines, sizeof lines, "%sothers work\nweak dim\n" GOOD, after);
    assert_int_equal(verdict(lines, 3, 1, 0), RL_PROOF_FAILED);
    snprintf(lines, sizeof lines, "%sothers work\nweak dim\n" GOOD "occasion q with repaired a\nweak normal\n", after);
    assert_int_equal(verdict(lines, 3, 0, 0) == RL_PROOF_FAILED, 0);
    /* What was amiss before something else was repaired has to be looked at anew. */
    snprintf(lines, sizeof lines, "%sone dim\ntwo normal\noccasion q with repaired a and repaired c\n", after);
    assert_int_equal(verdict(lines, 2, 0, 1), RL_PROOF_OPEN);
    snprintf(lines, sizeof lines, "%sothers work\ndrop one from a to post 0.5 V\n", after);
    assert_int_equal(verdict(lines, 2, 0, 0), RL_PROOF_FAILED);
    snprintf(lines, sizeof lines, "%sothers work\ndrop one from a to post 0.5 V\noccasion q with repaired a\n", after);
    assert_int_equal(verdict(lines, 2, 0, 0), RL_PROOF_OPEN);
    /* Half a milliampere shows nothing. */
    snprintf(lines, sizeof lines, "%sothers work\ndrop one from a to post 1 mV at 0.0005 A\n", after);
    assert_int_equal(verdict(lines, 2, 0, 0), RL_PROOF_OPEN);
    /* A repair may stand in the line itself; a bypass is no repair, and no complaint. */
    assert_int_equal(verdict("one dim\none normal with repaired a\n", 1, 0, 0), RL_PROOF_NONE);
    assert_int_equal(verdict("two dim with bypass\n", 0, 0, 0), RL_PROOF_NONE);
    assert_int_equal(verdict("backfeed one to two present\noccasion p with repaired a\n" GOOD, 1, 0, 1), RL_PROOF_OPEN);
}

static void a_symptom_may_be_of_the_past(void **state)
{
    (void)state;
    assert_int_equal(verdict("one dim\ntwo dim\nsmell present\noccasion p with repaired a\nothers work\n" GOOD, 3, 0, 0),
                     RL_PROOF_CONFIRMED);
    assert_int_equal(verdict("one dim\nsmell present\noccasion p with repaired a\nothers work\nsmell present\n" GOOD,
                             2, 1, 0), RL_PROOF_FAILED);
    assert_int_equal(verdict("smell present\noccasion p with repaired a\n" GOOD, 1, 0, 1), RL_PROOF_OPEN);
}

static void doubts_are_said(void **state)
{
    (void)state;
    /* One lamp dim once: the background may have done it. */
    double at_fault, rest;
    after_repair(1, &at_fault, &rest);
    assert_true(at_fault < 0.9);
    assert_int_equal(verdict("one dim\noccasion p with repaired a\none normal\n" GOOD, 1, 0, 0), RL_PROOF_DOUBTFUL);
}

/* ---- readings ---- */

/* Ohm of copper from the text books, 4 mm2 and 2 m, and what a meter shows of U on 12 V. */
static const double cable = 0.0172414 * 2 / 4, sound = 0.002, corroded = 1;
static double shown(double u, double sigmas)
{
    double v = 12 * u / (u + 12);
    return v + sigmas * (0.01 * v + 0.001);
}

static const double FIVE = 1.6448536269514722, TEN = 1.2815515655446004, THOUSANDTH = 3.0902323061678132;

static void a_reading_is_chosen_and_bounded(void **state)
{
    (void)state;
    bench b;
    begin(&b, "one dim\n");
    const rl_proof *proof = proof_of(&b, "a");
    assert_int_equal(proof->readings, 2);
    const rl_proof_reading *r = &proof->reading[0];
    assert_string_equal(r->test.text, "drop one from a to post");   /* two may not be probed, d has two ways */
    assert_int_equal(r->also_count, 0);
    assert_true(r->shows);
    near(r->current, 1, 1e-12);
    near(r->test.minutes, 2 + 2, 1e-12);            /* a is open after its repair, the nose is not */
    near(r->test.limit, 0.1, 1e-12);
    near(r->bound, 0.1, 1e-12);
    near(r->test.healthy_low, shown(cable + sound, -FIVE), 1e-5);
    near(r->test.healthy_high, shown(cable + sound, FIVE), 1e-5);
    near(r->test.suspect_low, shown(cable + sound + corroded, -FIVE), 1e-5);
    near(r->test.suspect_high, shown(cable + sound + corroded, FIVE), 1e-5);
    assert_string_equal(proof->reading[1].test.text, "drop one");
    /* wire, a and post: three joints */
    near(proof->reading[1].test.healthy_high, shown(cable + 3 * sound, FIVE), 1e-5);
    end(&b);
}

static void small_loads_are_switched_on_together(void **state)
{
    (void)state;
    assert_true(shown(0.1 * (cable + sound + corroded), -TEN) < 0.1);    /* faint alone shows nothing for certain */
    assert_true(shown(0.15 * (cable + sound + corroded), -TEN) > 0.1);   /* with weak it does */
    bench b;
    begin(&b, "faint dim\n");
    const rl_proof_reading *r = proof_of(&b, "c")->reading;
    assert_string_equal(r->test.text, "drop faint from c to post");
    assert_int_equal(r->also_count, 1);
    assert_int_equal(r->also[0], held_element(b.model, "weak"));
    near(r->current, 0.15, 1e-12);
    near(r->test.healthy_high, shown(0.15 * (cable + sound), FIVE), 1e-5);
    assert_true(r->shows);
    end(&b);
}

static void two_ways_and_loads_have_no_reading(void **state)
{
    (void)state;
    bench b;
    begin(&b, "one dim\n");
    assert_int_equal(proof_of(&b, "one")->readings, 0);
    const rl_proof *d = proof_of(&b, "d");
    for (size_t i = 0; i < d->readings; i++)
        assert_int_equal(d->reading[i].test.subject, held_element(b.model, "both"));
    assert_int_equal(proof_of(&b, "one.wire")->readings, 2);
    end(&b);
}

static rl_taken taken(const char *line)
{
    bench b;
    begin(&b, "one dim\noccasion p with repaired a\n");
    held_say(b.c, line);
    const rl_proof *proof = proof_of(&b, "a");
    rl_taken t = { .word = RL_TAKEN_GOOD };
    if (proof->takens > 0)
        t = proof->taken[0];
    assert_true(proof->takens == 0 || t.line == 2);
    t.supply = proof->takens > 0;
    end(&b);
    return t;
}

static void readings_taken_are_weighed(void **state)
{
    (void)state;
    double least = shown(cable + sound, -THOUSANDTH);
    rl_taken t = taken("drop one from a to post 99 mV\n");
    assert_true(t.supply && t.word == RL_TAKEN_GOOD);
    near(t.value, 0.099, 1e-12);
    near(t.bound, 0.1, 1e-12);
    near(t.healthy_low, shown(cable + sound, -FIVE), 1e-5);
    assert_int_equal(taken("drop one from a to post 101 mV\n").word, RL_TAKEN_BEYOND);
    assert_true(least > 0.0060 && least < 0.0075);
    assert_int_equal(taken("drop one from a to post 6.0 mV\n").word, RL_TAKEN_FAINT);
    assert_int_equal(taken("drop one from a to post 7.5 mV\n").word, RL_TAKEN_GOOD);
    /* With the current measured, V = U and the supply does not matter. */
    t = taken("drop one from a to post 40 mV at 4 A\n");
    double u = 4 * (cable + sound);
    near(t.healthy_high, u + FIVE * (0.01 * u + 0.001), 1e-5);
    /* A cable that takes more than the limit by itself. */
    t = taken("drop one from a to post 0.32 V at 30 A\n");
    u = 30 * (cable + sound);
    near(t.bound, u + FIVE * (0.01 * u + 0.001), 1e-5);
    assert_int_equal(t.word, RL_TAKEN_GOOD);
    assert_false(taken("drop one to a 1 mV\n").supply);      /* not over a: not counted */
}

static void areas_are_open_once_needed(void **state)
{
    (void)state;
    bench b;
    begin(&b, "one dim\n");
    bool open[2];
    assert_int_equal(rl_case_open_areas(b.c, open), RL_OK);
    assert_false(open[0] || open[1]);
    held_say(b.c, "occasion p with repaired a\n");
    assert_int_equal(rl_case_open_areas(b.c, open), RL_OK);
    assert_true(open[0] && !open[1]);
    held_say(b.c, GOOD);
    assert_int_equal(rl_case_open_areas(b.c, open), RL_OK);
    assert_true(open[0] && open[1]);
    end(&b);
}

static void what_cannot_be_asked(void **state)
{
    (void)state;
    bench b;
    const rl_proof *proof;
    begin(&b, "one dim\n");
    assert_int_equal(rl_case_proof(b.c, rl_model_vehicle(b.model)->elements, &proof), RL_USAGE);
    assert_null(proof);
    /* Eight occasions: there is no further one, and still an answer. */
    for (int i = 0; i < 7; i++) {
        char line[32];
        snprintf(line, sizeof line, "occasion o-%d\none dim\n", i);
        held_say(b.c, line);
    }
    assert_int_equal(proof_of(&b, "a")->verdict, RL_PROOF_NONE);
    end(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(probabilities_are_those_of_enumeration),
        cmocka_unit_test(complaints_have_to_be_gone),
        cmocka_unit_test(a_symptom_may_be_of_the_past),
        cmocka_unit_test(doubts_are_said),
        cmocka_unit_test(a_reading_is_chosen_and_bounded),
        cmocka_unit_test(small_loads_are_switched_on_together),
        cmocka_unit_test(two_ways_and_loads_have_no_reading),
        cmocka_unit_test(readings_taken_are_weighed),
        cmocka_unit_test(areas_are_open_once_needed),
        cmocka_unit_test(what_cannot_be_asked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
