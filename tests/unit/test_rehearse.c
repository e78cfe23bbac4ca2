/* test_rehearse.c: plays whose every number can be worked out by hand, and the
 * tool's arithmetic on them.
 */
#include "../../src/pool.c"
#include "../../src/tally.c"
#include "../held/held.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void near(double found, double expected)
{
    if (!(fabs(found - expected) <= 1e-9))
        fail_msg("found %.17g, expected %.17g", found, expected);
}

/* ---- tally.c ---- */

static void tallies(void **state)
{
    (void)state;
    double one[] = {7}, odd[] = {3, 1, 2}, ten[] = {10, 9, 8, 7, 6, 5, 4, 3, 2, 1};
    double eleven[] = {11, 1, 10, 2, 9, 3, 8, 4, 7, 5, 6};
    tally t = tally_of(one, 1);
    near(t.mean, 7);
    near(t.median, 7);
    near(t.p90, 7);
    t = tally_of(odd, 3);
    near(t.mean, 2);
    near(t.median, 2);
    near(t.p90, 3);     /* 2 of 3 are less than nine tenths */
    t = tally_of(ten, 10);
    near(t.mean, 5.5);
    near(t.median, 5.5);
    near(t.p90, 9);     /* 9 of 10 are nine tenths */
    near(ten[0], 1);
    near(ten[9], 10);
    t = tally_of(eleven, 11);
    near(t.median, 6);
    near(t.p90, 10);    /* 9 of 11 are less than nine tenths */
}

static void bins(void **state)
{
    (void)state;
    const double value[] = {0, 0.5, 1, 1.5, 2};
    near(tally_bin(0, 10), 1);
    near(tally_bin(10, 10), 1);
    near(tally_bin(10.5, 10), 2);
    near(tally_bin(50, 10), 5);
    near(tally_bin(51, 10), 10);
    near(tally_bin(1500, 10), 200);
    assert_int_equal(tally_within(value, 5, 0, 1), 2);
    assert_int_equal(tally_within(value, 5, 1, INFINITY), 3);
}

/* ---- pool.c ---- */

static void pool_keeps(void **state)
{
    (void)state;
    pool p = {{NULL}};
    void *first = pool_take(&p, 1000);
    assert_non_null(first);
    assert_int_equal((uintptr_t)first % _Alignof(max_align_t), 0);
    memset(first, 7, 1000);
    pool_give(&p, first);
    assert_ptr_equal(pool_take(&p, 1500), first);   /* of the same power of two */
    void *other = pool_take(&p, 900);
    assert_ptr_not_equal(other, first);
    void *large = pool_take(&p, (size_t)20 << 20);
    assert_non_null(large);
    memset(large, 1, (size_t)20 << 20);
    pool_give(&p, large);
    pool_give(&p, other);
    pool_give(&p, first);
    pool_give(&p, NULL);
    assert_null(pool_take(&p, SIZE_MAX));
    pool_free(&p);
}

/* ---- plays ---- */

/* A dead lamp is its point or itself, each with 1 in 10 and without doubt; a look at the
 * point tells which.  Given the complaint each is at fault with 0.1 / 0.19. */
static const char twins[] =
    "vehicle twins supply 12 V\n"
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

typedef struct stage {
    held shelf;
    rl_context *context;
    rl_model *model;
} stage;

static void stage_open(stage *s, const char *rules)
{
    memset(s, 0, sizeof *s);
    held_put_text(&s->shelf, "v.gnd", rules);
    s->context = held_context(&s->shelf, 0);
    s->model = held_model(&s->shelf, s->context);
}

static void stage_close(stage *s)
{
    rl_model_free(s->model);
    rl_context_free(s->context);
    assert_int_equal(s->shelf.out, 0);
}

static rl_rehearsal *rehearsal_of(stage *s, double above, size_t most_tests)
{
    rl_rehearsal *r;
    assert_int_equal(rl_rehearsal_new(s->context, s->model, &(rl_play_rule){above, most_tests}, 5, &r), RL_OK);
    return r;
}

static void by_hand(void **state)
{
    (void)state;
    enum { PLAYS = 60 };
    stage s;
    int at_point = 0;
    stage_open(&s, twins);
    rl_rehearsal *r = rehearsal_of(&s, 0.9, 40);
    near(rl_rehearsal_most_bits(r), 1);
    for (uint64_t n = 0; n < PLAYS; n++) {
        rl_played p;
        assert_int_equal(rl_rehearsal_play(r, n, &p), RL_OK);
        assert_int_equal(p.passed_over, 0);
        near(p.bits, log2(0.19 / 0.1));
        /* equally likely: the stud, declared first, is mended first: 5 + 10 minutes and half a
         * minute to see the lamp burn; the lamp then takes 4 and as much again */
        const rl_play *likeliest = &p.of[RL_LIKELIEST], *walk = &p.of[RL_WALK], *advice = &p.of[RL_ADVICE];
        bool point = likeliest->wrong == 0;
        at_point += point;
        assert_int_equal(likeliest->tests, 0);
        near(likeliest->minutes, point ? 15.5 : 20);
        /* the look, 5 + 3 minutes, leaves no doubt */
        assert_int_equal(walk->tests, 1);
        assert_int_equal(walk->wrong, 0);
        near(walk->minutes, point ? 18.5 : 12.5);
        /* the lamp first: 4.5 minutes, and 15.5 more if in vain, 0.9 / 1.9 of all; nothing is quicker */
        assert_int_equal(advice->tests, 0);
        assert_true(advice->wrong <= 1);
        near(advice->minutes, advice->wrong == 0 ? 4.5 : 20);
    }
    assert_true(at_point > PLAYS / 4 && at_point < PLAYS * 3 / 4);
    rl_rehearsal_free(r);
    stage_close(&s);
}

/* With a lamp that takes two hours, the stud first is 15.5 minutes and 0.9 / 1.9 of 120.5: 72.6
 * in all; the look first is 8 and the one that it shows, 10.5 or 120.5: 70.6. */
static void dear_repairs(void **state)
{
    (void)state;
    char rules[sizeof twins + 16];
    stage s;
    const char *cheap = strstr(twins, "repair 4 min");
    memset(rules, 0, sizeof rules);
    memcpy(rules, twins, (size_t)(cheap - twins));
    strcat(strcat(rules, "repair 120 min"), cheap + strlen("repair 4 min"));
    stage_open(&s, rules);
    rl_rehearsal *r = rehearsal_of(&s, 0.9, 40), *no_tests = rehearsal_of(&s, 0.9, 0);
    for (uint64_t n = 0; n < 20; n++) {
        rl_played p, q;
        assert_int_equal(rl_rehearsal_play(r, n, &p), RL_OK);
        assert_int_equal(rl_rehearsal_play(no_tests, n, &q), RL_OK);
        bool point = p.of[RL_LIKELIEST].wrong == 0;
        assert_int_equal(p.of[RL_ADVICE].tests, 1);
        assert_int_equal(p.of[RL_ADVICE].wrong, 0);
        near(p.of[RL_ADVICE].minutes, point ? 18.5 : 128.5);
        assert_int_equal(q.of[RL_ADVICE].tests + q.of[RL_WALK].tests, 0);
        near(q.of[RL_WALK].minutes, p.of[RL_LIKELIEST].minutes);
    }
    rl_rehearsal_free(no_tests);
    rl_rehearsal_free(r);
    stage_close(&s);
}

static bool same(const rl_played *a, const rl_played *b)
{
    bool equal = a->bits == b->bits && a->passed_over == b->passed_over;
    for (int s = 0; s < RL_STRATEGIES; s++)
        equal = equal && a->of[s].tests == b->of[s].tests && a->of[s].wrong == b->of[s].wrong
                && a->of[s].minutes == b->of[s].minutes;
    return equal;
}

/* Whatever was played before, and by whom. */
static void by_number_alone(void **state)
{
    (void)state;
    enum { PLAYS = 8 };
    stage s;
    rl_played up[PLAYS], down;
    stage_open(&s, twins);
    rl_rehearsal *one = rehearsal_of(&s, 0.9, 40), *other = rehearsal_of(&s, 0.9, 40);
    for (uint64_t n = 0; n < PLAYS; n++)
        assert_int_equal(rl_rehearsal_play(one, n, &up[n]), RL_OK);
    for (uint64_t n = PLAYS; n-- > 0;) {
        assert_int_equal(rl_rehearsal_play(other, n, &down), RL_OK);
        assert_true(same(&up[n], &down));
    }
    rl_rehearsal_free(one);
    rl_rehearsal_free(other);
    stage_close(&s);
}

/* Only whims are complained of: no element is ever at fault. */
static void nothing_to_find(void **state)
{
    (void)state;
    stage s;
    rl_played p;
    rl_rehearsal *none;
    stage_open(&s, "vehicle whim supply 12 V\n"
                   "class wire loose 0% corroded 0% open 0%\nclass point loose 0% corroded 0% open 0%\n"
                   "kind lamp behaves normal, dead failed 0%\n    otherwise dead 50%\n"
                   "point stud\nload lamp1 kind lamp returns through stud\n");
    rl_rehearsal *r = rehearsal_of(&s, 0.9, 40);
    assert_int_equal(rl_rehearsal_play(r, 0, &p), RL_MISSING);
    assert_int_equal(rl_rehearsal_play(r, 1, &p), RL_MISSING);
    rl_rehearsal_free(r);
    assert_int_equal(rl_rehearsal_new(s.context, s.model, &(rl_play_rule){0, 1}, 1, &none), RL_USAGE);
    assert_null(none);
    assert_int_equal(rl_rehearsal_new(s.context, s.model, &(rl_play_rule){NAN, 1}, 1, &none), RL_USAGE);
    stage_close(&s);
}

static void no_complaint(void **state)
{
    (void)state;
    stage s;
    rl_played p;
    stage_open(&s, "vehicle mute supply 12 V\nclass wire loose 0% corroded 0% open 0%\n"
                   "class point loose 0% corroded 0% open 10%\n"
                   "kind lamp behaves normal, dead failed 10%\npoint stud\nload lamp1 kind lamp returns through stud\n");
    rl_rehearsal *r = rehearsal_of(&s, 0.9, 40);
    assert_int_equal(rl_rehearsal_play(r, 0, &p), RL_INPUT);
    assert_int_equal(s.shelf.errors, 1);
    rl_rehearsal_free(r);
    stage_close(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tallies), cmocka_unit_test(bins), cmocka_unit_test(pool_keeps), cmocka_unit_test(by_hand),
        cmocka_unit_test(dear_repairs), cmocka_unit_test(by_number_alone), cmocka_unit_test(nothing_to_find),
        cmocka_unit_test(no_complaint),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}
