/* test_audit.c: audits of small rules, through ringlug.h.
 *
 * Invariant: every vehicle here is small enough that what is expected can be
 * said, or worked out, from its few lines by hand.
 */
#include "held/held.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

enum { DRAWS = 2000, MANY = 14, RULES = 8192 };

static void near(double got, double want, double allowed)
{
    if (!(fabs(got - want) <= allowed))
        fail_msg("got %.17g, expected %.17g", got, want);
}

typedef struct setting {
    held shelf;
    rl_context *context;
    rl_model *model;
    rl_audit *audit;
    const rl_audit_report *r;
} setting;

static void open_setting(setting *s, const char *rules)
{
    *s = (setting){0};
    held_put_text(&s->shelf, "v.gnd", rules);
    s->context = held_context(&s->shelf, 0);
    assert_non_null(s->context);
    s->model = held_model(&s->shelf, s->context);
    assert_int_equal(rl_audit_new(s->context, s->model, DRAWS, 7, &s->audit), RL_OK);
    s->r = rl_audit_get(s->audit);
}

static void close_setting(setting *s)
{
    rl_audit_free(s->audit);
    rl_model_free(s->model);
    rl_context_free(s->context);
    assert_int_equal(s->shelf.out, 0);
}

static bool holds(const setting *s, const rl_alike *g, const char *id, rl_state state)
{
    size_t element = held_element(s->model, id);
    for (size_t i = 0; i < g->count; i++)
        if (g->faults[i].element == element && g->faults[i].state == state)
            return true;
    return false;
}

/* The group of equal laws that holds a fault; NULL: it is alone. */
static const rl_alike *group_of(const setting *s, const char *id, rl_state state, bool by_all)
{
    for (size_t i = 0; i < s->r->alikes; i++)
        if (s->r->alike[i].by_all == by_all && !(s->r->alike[i].apart > 0) && holds(s, &s->r->alike[i], id, state))
            return &s->r->alike[i];
    return NULL;
}

/* ---- what is alike ---- */

/* Of unknown current: nothing can be read at the lamp, nothing bypassed. */
#define HEAD \
    "vehicle v supply 12 V\n" \
    "class point loose 1% corroded 2% open 1%\n" \
    "class wire corroded 1%\n" \
    "class feed open 1%\n" \
    "kind lamp behaves normal, dim, dead failed 1%\n" \
    "    when loose dim 50% when corroded dim 80% when open dead 90% when failed dead 70% dim 10%\n" \
    "    otherwise dim 1%\n"
#define SERIES_WITH(draws) \
    HEAD \
    "point frame\n" \
    "point rear returns through frame\n" \
    "feed f\n" \
    "load a kind lamp " draws " returns through rear fed by f\n" \
    "load b kind lamp " draws " returns through rear fed by f\n"
#define SERIES SERIES_WITH("")
#define LAWS "joint sound 2 mohm spread 3\njoint corroded 0.8 ohm spread 5\n"

static void points_in_series_are_alike(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, SERIES);
    for (int by_all = 0; by_all < 2; by_all++)
        for (rl_state f = RL_LOOSE; f <= RL_OPEN; f++) {
            const rl_alike *g = group_of(&s, "frame", f, by_all);
            assert_non_null(g);
            assert_true(holds(&s, g, "rear", f));
            assert_false(g->as_sound);
            assert_int_equal(g->remedy, RL_REMEDY_RETURN);
            assert_int_equal(g->element, held_element(s.model, "frame"));
            assert_int_equal(g->other, held_element(s.model, "rear"));
            assert_true(g->uninspected);
        }
    const rl_alike *open = group_of(&s, "frame", RL_OPEN, true);
    assert_int_equal(open->count, 3);   /* the feed of both loads too: open is one row for both sides */
    assert_true(holds(&s, open, "f", RL_OPEN));
    near(open->p, 0.03, 1e-15);
    assert_null(group_of(&s, "a.wire", RL_CORRODED, false));
    assert_null(group_of(&s, "a", RL_FAILED, false));
    assert_int_equal(s.r->unseens, 0);
    close_setting(&s);
}

static void a_load_between_tells(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, SERIES "load c kind lamp returns through frame\n");
    assert_null(group_of(&s, "frame", RL_CORRODED, false));
    assert_null(group_of(&s, "frame", RL_CORRODED, true));
    const rl_alike *open = group_of(&s, "rear", RL_OPEN, true);
    assert_non_null(open);
    assert_true(holds(&s, open, "f", RL_OPEN));
    close_setting(&s);
}

static void a_reading_tells(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, SERIES_WITH("draws 1 A") "joint sound 2 mohm spread 3\njoint corroded 0.8 ohm spread 5\n"
                            "meter volts reads 1% plus 2 mV check 2 min bands 0.1 V\n"
                            "meter beeper beeps below 30 ohm check 3 min\n");
    assert_null(group_of(&s, "frame", RL_CORRODED, true));
    const rl_alike *g = group_of(&s, "frame", RL_CORRODED, false);
    assert_non_null(g);
    assert_int_equal(g->count, 2);
    assert_int_equal(g->remedy, RL_REMEDY_TEST);
    /* the span of load a that ends between the two; bypasses take 1 min and come first */
    assert_string_equal(g->test, "a with bypass at frame");
    near(g->minutes, 1, 0);
    close_setting(&s);
}

static void only_a_reading_tells(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, SERIES_WITH("draws 1 A") "area box access 3 min\npoint last in box\n"
                            "joint sound 2 mohm spread 3\njoint corroded 0.8 ohm spread 5\n"
                            "meter volts reads 1% plus 2 mV check 2 min bands 0.1 V\nbypass up to 0.5 A\n");
    const rl_alike *g = group_of(&s, "frame", RL_CORRODED, false);
    assert_non_null(g);
    assert_int_equal(g->remedy, RL_REMEDY_TEST);
    assert_string_equal(g->test, "drop a from frame");
    near(g->minutes, 2, 0);
    close_setting(&s);
}

static void an_inspection_is_missed(void **state)
{
    (void)state;
    setting s;
    /* One load: its wire and its point are always hit together; nothing can hang on a wire. */
    open_setting(&s, HEAD "class holder loose 1% corroded 2% open 1%\npoint p\n"
                          "load a kind lamp wire class holder returns through p\n");
    const rl_alike *g = group_of(&s, "p", RL_LOOSE, true);
    assert_non_null(g);
    assert_true(holds(&s, g, "a.wire", RL_LOOSE));
    assert_int_equal(g->remedy, RL_REMEDY_RETURN);
    assert_int_equal(g->element, held_element(s.model, "p"));
    assert_true(g->uninspected);
    close_setting(&s);
    open_setting(&s, HEAD "class holder loose 1% corroded 2% open 1%\npoint p\n"
                          "load a kind lamp wire class holder returns through p\n"
                          "inspection look of point, wire shows good, bad check 2 min\n"
                          "    when loose bad 60% when open bad 60%\n");
    assert_null(group_of(&s, "p", RL_LOOSE, true));
    /* corrosion looks good: the inspection is there, and does not tell */
    g = group_of(&s, "p", RL_CORRODED, true);
    assert_non_null(g);
    assert_false(g->uninspected);
    g = group_of(&s, "p", RL_LOOSE, false);
    assert_non_null(g);
    assert_string_equal(g->test, "look a.wire");
    close_setting(&s);
}

static void what_hardly_differs_is_close(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, HEAD "class q loose 1% quiet 4%\nclass r loose 1%\n"
                          "point frame class q\npoint rear class r returns through frame\n"
                          "load a kind lamp returns through rear\n");
    assert_null(group_of(&s, "frame", RL_LOOSE, false));
    const rl_alike *g = NULL;
    for (size_t i = 0; i < s.r->alikes; i++)
        if (s.r->alike[i].apart > 0)
            g = &s.r->alike[i];
    assert_non_null(g);
    assert_true(holds(&s, g, "frame", RL_LOOSE) && holds(&s, g, "rear", RL_LOOSE));
    /* normal: 99 % x (4 % + 96 % x 50 %) against 99 % x 50 % */
    near(g->apart, 0.99 * 0.02, 1e-12);
    close_setting(&s);
}

static void what_no_load_shows_is_unseen(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, SERIES "point spare\nfeed idle\n"
                            "inspection look of point shows good, bad check 2 min\n    when corroded bad 90%\n");
    assert_int_equal(s.r->unseens, 2);
    assert_int_equal(s.r->unseen[0], held_element(s.model, "spare"));
    assert_int_equal(s.r->unseen[1], held_element(s.model, "idle"));
    const rl_alike *g = group_of(&s, "spare", RL_CORRODED, false);
    assert_non_null(g);
    assert_true(g->as_sound);
    assert_string_equal(g->test, "look spare");
    g = group_of(&s, "spare", RL_OPEN, true);   /* the inspection has no row for it */
    assert_non_null(g);
    assert_true(g->as_sound);
    assert_int_equal(g->remedy, RL_REMEDY_RETURN);
    assert_int_equal(g->element, held_element(s.model, "spare"));
    assert_int_equal(g->other, -1);
    close_setting(&s);
}

/* ---- all of a group ---- */

static const rl_teller *teller_of(const rl_alike *g, const char *test)
{
    for (size_t i = 0; i < g->tellers; i++)
        if (strcmp(g->teller[i].test, test) == 0)
            return &g->teller[i];
    return NULL;
}

#define THREE \
    HEAD \
    "point frame\npoint mid returns through frame\npoint rear returns through mid\n" \
    "load a kind lamp returns through rear\n"

static void all_of_a_group_are_told_apart(void **state)
{
    (void)state;
    setting s;
    /* looking at one of three points tells it from the other two, and it takes two looks */
    open_setting(&s, THREE "inspection look of point shows good, bad check 2 min\n    when corroded bad 60%\n");
    const rl_alike *g = group_of(&s, "frame", RL_CORRODED, false);
    assert_non_null(g);
    assert_int_equal(g->count, 4);   /* the wire of a too: nothing looks at it */
    assert_true(holds(&s, g, "a.wire", RL_CORRODED));
    assert_int_equal(g->tellers, 3);
    assert_non_null(teller_of(g, "look frame"));
    assert_non_null(teller_of(g, "look mid"));
    assert_non_null(teller_of(g, "look rear"));
    assert_int_equal(g->pairs, 0);
    for (size_t i = 0; i < 4; i++)
        for (size_t k = 0; k < i; k++)
            assert_true(g->teller[2].part[i] != g->teller[2].part[k]);
    /* of equals the first by name */
    assert_string_equal(g->teller[0].test, "look frame");
    assert_string_equal(g->test, "look frame");
    close_setting(&s);
}

static void a_test_that_halves_comes_first(void **state)
{
    (void)state;
    setting s;
    /* a bypass at mid makes frame and mid as if sound; then one more for each half */
    open_setting(&s, HEAD "area box access 3 min\npoint p1 in box\npoint p2 in box returns through p1\n"
                          "point p3 in box returns through p2\npoint p4 in box returns through p3\n"
                          "bypass up to 5 A check 1 min\n"
                          "load a kind lamp draws 1 A wire class none returns through p4\nclass none\n");
    const rl_alike *g = group_of(&s, "p1", RL_CORRODED, false);
    assert_non_null(g);
    assert_int_equal(g->count, 4);
    assert_int_equal(g->tellers, 3);
    assert_string_equal(g->teller[0].test, "a with bypass at p2");
    const size_t *part = g->teller[0].part;
    assert_true(part[0] == part[1] && part[2] == part[3] && part[0] != part[2]);
    assert_int_equal(g->pairs, 0);
    close_setting(&s);
}

static void what_stays_together_is_paired(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, THREE);
    const rl_alike *g = group_of(&s, "frame", RL_LOOSE, true);
    assert_non_null(g);
    assert_int_equal(g->count, 3);
    assert_int_equal(g->tellers, 0);
    assert_int_equal(g->pairs, 3);
    static const char *const id[] = {"frame", "mid", "rear"};
    static const size_t pair[][2] = {{0, 1}, {0, 2}, {1, 2}};
    for (size_t i = 0; i < 3; i++) {   /* the one nearer to the battery wants a load that returns there alone */
        assert_int_equal(g->pair[i].first, pair[i][0]);
        assert_int_equal(g->pair[i].second, pair[i][1]);
        assert_int_equal(g->pair[i].remedy, RL_REMEDY_RETURN);
        assert_int_equal(g->pair[i].element, held_element(s.model, id[pair[i][0]]));
        assert_int_equal(g->pair[i].other, held_element(s.model, id[pair[i][1]]));
    }
    close_setting(&s);
    open_setting(&s, SERIES "point spare\n");
    g = group_of(&s, "spare", RL_OPEN, true);
    assert_non_null(g);
    assert_true(g->as_sound);
    assert_int_equal(g->pairs, g->count);
    for (size_t i = 0; i < g->pairs; i++)
        assert_true(g->pair[i].second == g->count && g->pair[i].other == -1);
    close_setting(&s);
}

/* ---- entropies ---- */

static double bits(double p)
{
    return p > 0 ? -p * log2(p) : 0;
}

/* One point; open makes the lamp dead half of the time, loose is active half of the time
 * and then makes it dim for certain. */
#define ONE_CLASSES \
    "vehicle v supply 12 V\n" \
    "class point loose 10% open 20% quiet 50%\nclass wire\n" \
    "kind lamp behaves normal, dim, dead when loose dim 100% when open dead 50%\n"

static double one_prior(void)
{
    return bits(0.7) + bits(0.1) + bits(0.2);
}

static double one_left(void)
{
    /* P(state, outcome): normal 0.7, 0.05 (quiet), 0.1 (open); dim 0.05; dead 0.1 */
    double normal = 0.85, joint = bits(0.7) + bits(0.05) + bits(0.1) + bits(0.05) + bits(0.1);
    return joint - bits(normal) - bits(0.05) - bits(0.1);
}

static void small_rules_are_gone_through(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, ONE_CLASSES "point p\nload a kind lamp returns through p\n");
    assert_int_equal(s.r->left, RL_LEFT_EXACT);
    near(s.r->prior_bits, one_prior(), 1e-12);
    near(s.r->left_bits, one_left(), 1e-12);
    near(s.r->left_error, 0, 0);
    close_setting(&s);
}

/* Vehicles side by side hold and leave as many times as much. */
static void larger_ones_are_drawn(void **state)
{
    (void)state;
    static char rules[RULES];
    setting s;
    size_t length = (size_t)snprintf(rules, sizeof rules, "%s", ONE_CLASSES);
    for (int i = 0; i < MANY; i++)
        length += (size_t)snprintf(rules + length, sizeof rules - length,
                                   "point p%d\nload a%d kind lamp returns through p%d\n", i, i, i);
    open_setting(&s, rules);
    assert_int_equal(s.r->left, RL_LEFT_DRAWN);
    assert_int_equal(s.r->drawn, DRAWS);
    near(s.r->prior_bits, MANY * one_prior(), 1e-9);
    assert_true(s.r->left_error > 0 && s.r->left_error < 0.2);
    near(s.r->left_bits, MANY * one_left(), 4 * s.r->left_error);
    close_setting(&s);
}

/* Detail that several loads share is summed out for them together: two loads on one
 * loose point are quiet at the same time. */
static void shared_detail_is_drawn_as_one(void **state)
{
    (void)state;
    static char rules[RULES];
    setting s;
    size_t length = (size_t)snprintf(rules, sizeof rules, "%s", ONE_CLASSES);
    for (int i = 0; i < MANY; i++)
        length += (size_t)snprintf(rules + length, sizeof rules - length,
                                   "point p%d\nload a%d kind lamp returns through p%d\n"
                                   "load b%d kind lamp returns through p%d\n", i, i, i, i, i);
    open_setting(&s, rules);
    assert_int_equal(s.r->left, RL_LEFT_DRAWN);
    /* Both normal: 0.7, 0.05, 0.2 / 4 open; both dim: 0.05; else open for certain */
    double normal = 0.8, joint = bits(0.7) + bits(0.05) + bits(0.05) + bits(0.05) + 3 * bits(0.05);
    double left = joint - bits(normal) - bits(0.05) - 3 * bits(0.05);
    near(s.r->left_bits, MANY * left, 4 * s.r->left_error);
    close_setting(&s);
    open_setting(&s, ONE_CLASSES "point p\nload a kind lamp returns through p\nload b kind lamp returns through p\n");
    assert_int_equal(s.r->left, RL_LEFT_EXACT);
    near(s.r->left_bits, left, 1e-12);
    close_setting(&s);
}

/* An inspection that needs nothing opened is done too; of one in an area only looks are. */
static void what_needs_no_access_is_done(void **state)
{
    (void)state;
    static const char look[] = "inspection look of point shows good, bad check 2 min\n"
                               "    when loose bad 60% when open bad 60%\n";
    char rules[1024];
    setting s;
    snprintf(rules, sizeof rules, "%s%s%s", ONE_CLASSES, "point p\nload a kind lamp returns through p\n", look);
    open_setting(&s, rules);
    /* P(state, outcome, look) of sound 0.7, loose 0.1 (half quiet), open 0.2 (half normal, half dead) */
    double loose = bits(0.05 * 0.4) + bits(0.05 * 0.6), joint = bits(0.7) + 2 * loose + 2 * (bits(0.1 * 0.4) + bits(0.1 * 0.6));
    double seen = bits(0.7 + 0.05 * 0.4 + 0.1 * 0.4) + bits(0.05 * 0.6 + 0.1 * 0.6) + loose + bits(0.1 * 0.4) + bits(0.1 * 0.6);
    assert_int_equal(s.r->left, RL_LEFT_EXACT);
    assert_int_equal(s.r->inspections, 1);
    near(s.r->left_bits, joint - seen, 1e-12);
    close_setting(&s);
    snprintf(rules, sizeof rules, "%s%s%s", ONE_CLASSES,
             "area box access 3 min\npoint p in box\nload a kind lamp returns through p\n", look);
    open_setting(&s, rules);
    assert_int_equal(s.r->inspections, 0);
    near(s.r->left_bits, one_left(), 1e-12);
    close_setting(&s);
}

/* What the lamp below leaves alone: normal with 0.8 sound and 0.1 open. */
static double one_look_left(void)
{
    return bits(0.8) + bits(0.1) - bits(0.9);
}

/* A beeper that lies in a tenth each way: what is open is silent, all else beeps.  Three spans: the
 * wire; q; both.  p is where they end. */
static void readings_are_drawn(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, "vehicle v supply 12 V\nclass point\nclass bad open 20%\nclass wire\n"
                     "kind lamp behaves normal, dead when open dead 50%\n"
                     LAWS "meter beeper beeps below 30 ohm misread 20% check 1 min\n"
                     "point p\npoint q class bad returns through p\nload a kind lamp returns through q\n");
    assert_int_equal(s.r->left, RL_LEFT_DRAWN);
    assert_int_equal(s.r->readings, 3);
    assert_int_equal(s.r->left_out, 0);
    double left = 0;
    for (int outcome = 0; outcome < 8; outcome++) {   /* dead or not; each span with q silent or not */
        double sound = outcome & 1 ? 0 : 0.8, open = 0.2 * 0.5;
        for (int span = 1; span < 3; span++) {
            sound *= outcome >> span & 1 ? 0.1 : 0.9;
            open *= outcome >> span & 1 ? 0.9 : 0.1;
        }
        left += bits(sound) + bits(open) - bits(sound + open);
    }
    assert_true(s.r->left_error > 0 && s.r->left_error < 0.05);
    near(s.r->left_bits, left, 4 * s.r->left_error);
    assert_true(left < one_look_left() - 6 * s.r->left_error);
    close_setting(&s);
}

/* A drop under load shows for certain what is open.  Across the same elements one is read: {q}, {p} and
 * {q, p} of either load, and from each load's own wire {w}, {w, q} and {w, q, p}. */
static void the_strongest_drop_is_read(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, "vehicle v supply 12 V\nclass point open 20%\nclass wire\n"
                     "kind lamp behaves normal, dead\n" LAWS
                     "meter volts reads 1% plus 2 mV check 2 min bands 0.1 V\n"
                     "point p\npoint q returns through p\n"
                     "load a kind lamp draws 1 A returns through q\nload b kind lamp draws 2 A returns through q\n");
    assert_int_equal(s.r->left, RL_LEFT_DRAWN);
    assert_int_equal(s.r->readings, 9);
    near(s.r->left_bits, 0, 4 * s.r->left_error);
    close_setting(&s);
}

/* Eight loads with a point each have 3 spans each of their own, and that from the frame is of all. */
static void too_many_readings_are_thinned(void **state)
{
    (void)state;
    static char rules[RULES];
    setting s;
    size_t length = (size_t)snprintf(rules, sizeof rules, "%s",
                                     "vehicle v supply 12 V\nclass point open 20%\nclass wire\n"
                                     "kind lamp behaves normal, dead\n" LAWS
                                     "meter volts reads 1% plus 2 mV check 2 min bands 0.1 V\npoint frame\n");
    for (int i = 0; i < 8; i++)
        length += (size_t)snprintf(rules + length, sizeof rules - length,
                                   "point p%d returns through frame\nload a%d kind lamp draws 1 A returns through p%d\n",
                                   i, i, i);
    open_setting(&s, rules);
    assert_int_equal(s.r->readings, 32);
    assert_int_equal(s.r->left_out, 8 * 5 + 1 - 32);   /* {w}, {w, p}, {w, p, frame}, {p}, {p, frame}; {frame} */
    assert_int_equal(s.r->left, RL_LEFT_DRAWN);
    assert_true(s.r->left_bits < s.r->prior_bits / 2);
    close_setting(&s);
}

/* ---- rows ---- */

static const rl_row_problem *problem_of(const setting *s, const char *row)
{
    for (size_t i = 0; i < s->r->problems; i++)
        if (strcmp(s->r->problem[i].row, row) == 0)
            return &s->r->problem[i];
    return NULL;
}

#define ONE_LOAD "point p\nload a kind x returns through p\n"

static void a_larger_loss_may_not_be_milder(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, "vehicle v supply 12 V\nclass point corroded 1%\nclass wire\n" LAWS
                     "kind x behaves normal, dim, dead draws 2 A\n"
                     "    short of 7 V dim 95%\n    short of 2 V dim 80% dead 10%\n    when open dead 99%\n" ONE_LOAD);
    assert_int_equal(s.r->problems, 1);
    const rl_row_problem *p = problem_of(&s, "short of 7 V");
    assert_non_null(p);
    assert_int_equal(p->sort, RL_ROW_MILDER);
    assert_string_equal(p->than, "short of 2 V");
    assert_int_equal(p->level, 1);   /* dim or milder: all, against 90 % */
    near(p->p, 1, 1e-12);
    near(p->other, 0.9, 1e-12);
    assert_int_equal(p->line, 6);
    assert_string_equal(p->path, "v.gnd");
    close_setting(&s);
}

static void a_graver_state_may_not_be_milder(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, "vehicle v supply 12 V\nclass point corroded 1%\nclass wire\n"
                     "kind x behaves normal, jumps, dead\n"
                     "    when loose jumps 60% dead 10%  when corroded jumps 20%  when return open dead 20%\n" ONE_LOAD);
    const rl_row_problem *p = problem_of(&s, "when corroded");
    assert_non_null(p);   /* milder than loose at every level */
    assert_string_equal(p->than, "when loose");
    near(p->p, 0.8, 1e-12);
    near(p->other, 0.3, 1e-12);
    p = problem_of(&s, "when return open");
    assert_non_null(p);
    near(p->p, 0.8, 1e-12);
    p = problem_of(&s, "when feed open");   /* has no row: nothing is seen of it */
    assert_non_null(p);
    near(p->p, 1, 1e-12);
    close_setting(&s);
}

/* Corrosion that is graded, looseness that comes and goes: neither is milder throughout. */
static void crossing_rows_of_loose_and_corroded_pass(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, "vehicle v supply 12 V\nclass point corroded 1%\nclass wire\n"
                     "kind x behaves normal, jumps, wrong, dead\n"
                     "    when loose jumps 70% wrong 10%  when corroded jumps 10% wrong 60%  when open wrong 70% dead 25%\n"
                     ONE_LOAD);
    assert_int_equal(s.r->problems, 0);
    close_setting(&s);
}

static void rows_given_outright_are_weighed(void **state)
{
    (void)state;
    setting s;
    /* 0.1 V of 12 V at 0.1 A: R / (R + 120) = 1 / 120 */
    open_setting(&s, "vehicle v supply 12 V\nclass point corroded 1%\nclass wire\n" LAWS
                     "kind x behaves normal, wrong draws 0.1 A\n    when corroded wrong 70%  when open wrong 99%\n"
                     ONE_LOAD);
    double below = 0.5 * erfc(-log(120.0 / 119 / 0.8) / log(5) / sqrt(2));
    assert_int_equal(s.r->problems, 1);
    assert_int_equal(s.r->problem[0].sort, RL_ROW_HARSH);
    assert_int_equal(s.r->problem[0].load, held_element(s.model, "a"));
    near(s.r->problem[0].p, 0.3, 1e-12);
    near(s.r->problem[0].other, below, 1e-9);
    close_setting(&s);
    /* 100 A: more than half of 12 V is lost from 0.12 ohm up */
    open_setting(&s, "vehicle v supply 12 V\nclass point corroded 1%\nclass wire\n" LAWS
                     "kind x behaves normal, dead draws 100 A\n    when corroded dead 10%  when open dead 99%\n"
                     ONE_LOAD);
    assert_int_equal(s.r->problems, 1);
    assert_int_equal(s.r->problem[0].sort, RL_ROW_LENIENT);
    near(s.r->problem[0].other, 0.5 * erfc(-log(0.12 / 0.8) / log(5) / sqrt(2)), 1e-9);
    close_setting(&s);
}

/* ---- what is not said, and or ---- */

static size_t count_gaps(const setting *s, rl_gap_sort sort, const char *id)
{
    size_t count = 0;
    for (size_t i = 0; i < s->r->gaps; i++)
        count += s->r->gap[i].sort == sort && s->r->gap[i].element == held_element(s->model, id);
    return count;
}

static void gaps_are_listed(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, "vehicle v supply 12 V\nclass point corroded 1%\nclass wire by 1 mm2 1 m\n" LAWS
                     "meter volts reads 1% plus 2 mV bands 0.1 V\n"
                     "kind x behaves normal, dim, dead\n    short of 2 V dim 80%  when open dead 99%\n"
                     "point frame\npoint rear returns through frame\npoint side returns through frame by 6 mm2 1 m\n"
                     "load a kind x returns through rear\nload b kind x draws 2 A returns through rear\n"
                     "load c kind x draws 2 A returns through side\n");
    assert_int_equal(count_gaps(&s, RL_GAP_CURRENT, "a"), 1);
    assert_int_equal(count_gaps(&s, RL_GAP_READINGS, "a"), 1);
    assert_int_equal(count_gaps(&s, RL_GAP_BY, "rear"), 1);
    assert_int_equal(s.r->gaps, 3);
    close_setting(&s);
}

static const rl_cover *cover_of(const setting *s, const char *id, size_t which)
{
    for (size_t i = 0; i < s->r->covers; i++)
        if (s->r->cover[i].element == held_element(s->model, id) && s->r->cover[i].which == which)
            return &s->r->cover[i];
    return NULL;
}

static void an_alternative_may_never_count(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, HEAD "point frame\npoint rear returns through frame\npoint side\nconnector plug\nclass connector open 1%\n"
                          "load a kind lamp returns through rear or frame\n"
                          "load b kind lamp returns through rear or side\n"
                          "load c kind lamp returns through rear or frame via plug\n");
    const rl_cover *c = cover_of(&s, "a.wire", 0);
    assert_non_null(c);
    assert_true(c->always);
    assert_int_equal(c->beside, 1);
    assert_null(cover_of(&s, "a.wire", 1));   /* it alone counts, and shows all its faults */
    for (size_t which = 0; which < 2; which++) {
        assert_non_null(cover_of(&s, "b.wire", which));
        assert_false(cover_of(&s, "b.wire", which)->always);
        assert_non_null(cover_of(&s, "c.wire", which));
        assert_false(cover_of(&s, "c.wire", which)->always);
    }
    close_setting(&s);
}

static void arguments_are_checked(void **state)
{
    (void)state;
    setting s;
    rl_audit *audit;
    rl_round *round;
    open_setting(&s, SERIES);
    assert_int_equal(rl_audit_new(s.context, s.model, 1, 1, &audit), RL_USAGE);
    assert_null(audit);
    assert_int_equal(rl_round_new(s.context, s.model, -1, &round), RL_USAGE);
    assert_int_equal(rl_round_new(s.context, s.model, NAN, &round), RL_USAGE);
    assert_null(round);
    rl_audit_free(NULL);
    rl_round_free(NULL);
    close_setting(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(points_in_series_are_alike), cmocka_unit_test(a_load_between_tells),
        cmocka_unit_test(a_reading_tells), cmocka_unit_test(only_a_reading_tells),
        cmocka_unit_test(an_inspection_is_missed), cmocka_unit_test(what_hardly_differs_is_close),
        cmocka_unit_test(what_no_load_shows_is_unseen),
        cmocka_unit_test(all_of_a_group_are_told_apart), cmocka_unit_test(a_test_that_halves_comes_first),
        cmocka_unit_test(what_stays_together_is_paired), cmocka_unit_test(what_needs_no_access_is_done),
        cmocka_unit_test(readings_are_drawn), cmocka_unit_test(the_strongest_drop_is_read),
        cmocka_unit_test(too_many_readings_are_thinned),
        cmocka_unit_test(small_rules_are_gone_through),
        cmocka_unit_test(larger_ones_are_drawn), cmocka_unit_test(shared_detail_is_drawn_as_one),
        cmocka_unit_test(a_larger_loss_may_not_be_milder), cmocka_unit_test(a_graver_state_may_not_be_milder),
        cmocka_unit_test(crossing_rows_of_loose_and_corroded_pass),
        cmocka_unit_test(rows_given_outright_are_weighed), cmocka_unit_test(gaps_are_listed),
        cmocka_unit_test(an_alternative_may_never_count), cmocka_unit_test(arguments_are_checked),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    return failed > 255 ? 255 : failed;
}
