/* test_optimum.c: how far the advice of a rehearsal is from the best play there is.
 *
 * Vehicles are drawn so small that the least expected minutes to a cure can be
 * worked out by dynamic programming (optimum.h).  The advice's own expected minutes are
 * worked out exactly too, by following it through every outcome; nothing is sampled.
 */
#include "../held/disk.h"
#include "../held/published.h"
#include "drawn_files.h"
#include "optimum.h"
#include "play.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

/* ---- drawn vehicles ---- */

typedef struct drawing {
    uint64_t state;
    FILE *out;
} drawing;

static int below(drawing *d, int n) { return (int)(draw_next(&d->state) % (uint64_t)n); }

static double between(drawing *d, double low, double high)
{
    return low + (high - low) * (double)(draw_next(&d->state) >> 11) / 9007199254740992.0;
}

static void draw_areas(drawing *d)
{
    for (int a = 0; a < 3; a++)
        fprintf(d->out, "area a%d access %d min\n", a, 1 + below(d, 15));
    fprintf(d->out, "class wire loose 0%% corroded 0%% open 0%%\n");
}

static void draw_laws(drawing *d, bool beeper)
{
    fprintf(d->out, "kind lamp behaves normal, dim, dead failed %.2f%% check %.1f min repair %d min \"renew\"\n"
                    "    when loose dim %d%% dead 20%%\n    when corroded dim %d%% dead 10%%\n"
                    "    when open dead 95%%\n    when failed dim 5%% dead 93%%\n    otherwise dim 1%% dead 0.3%%\n",
            between(d, 1, 8), 0.5 * (1 + below(d, 4)), 3 + below(d, 20), 30 + below(d, 40), 40 + below(d, 50));
    fprintf(d->out, "inspection look of point shows clean, bad check %d min\n"
                    "    when sound bad %d%%\n    when loose bad %d%%\n    when corroded bad %d%%\n    when open bad 85%%\n",
            1 + below(d, 6), 3 + below(d, 15), 40 + below(d, 30), 60 + below(d, 35));
    if (beeper)
        fprintf(d->out, "joint sound 2 mohm spread 3\njoint corroded 20 ohm spread 5\n"
                        "meter beeper beeps below 10 ohm misread 2%% check %d min\n", 1 + below(d, 4));
}

static void draw_points(drawing *d, int points)
{
    for (int p = 0; p < points; p++) {
        fprintf(d->out, "class c%d loose %.2f%% corroded %.2f%% open %.2f%% quiet %d%% repair %d min \"clean\"\n", p,
                between(d, 0.2, 5), between(d, 0.5, 12), between(d, 0.1, 3), 20 + below(d, 40), 5 + below(d, 30));
        fprintf(d->out, "point p%d class c%d in a%d", p, p, below(d, 3));
        if (p > 0)
            fprintf(d->out, " returns through p%d", below(d, p));
        fprintf(d->out, "\n");
    }
}

static void draw_files(uint64_t seed)
{
    drawing d = {.state = seed * 7919, .out = fopen(drawn_path("v.gnd"), "wb")};
    assert_non_null(d.out);
    int points = 2 + below(&d, 2), loads = 2 + below(&d, 2);
    fprintf(d.out, "language 1\nvehicle cart supply 12 V\n");
    draw_areas(&d);
    draw_laws(&d, below(&d, 2) == 0);
    draw_points(&d, points);
    for (int l = 0; l < loads; l++)
        fprintf(d.out, "load l%d kind lamp in a%d do not swap, bypass, jumper returns through p%d\n", l, below(&d, 3),
                l == 0 ? points - 1 : below(&d, points));
    assert_int_equal(fclose(d.out), 0);
    d.out = fopen(drawn_path("v.case"), "wb");
    assert_non_null(d.out);
    fprintf(d.out, "case \"drawn\" on cart\noccasion workshop\nl0 %s\n", below(&d, 2) ? "dim" : "dead");
    if (below(&d, 3) == 0)
        fprintf(d.out, "l1 dim\n");
    assert_int_equal(fclose(d.out), 0);
}

/* ---- the advice, followed through every outcome ---- */

typedef struct pupil {
    opt_game *game;
    rl_context *context;
    const rl_model *model;
    bool suspect[64];
    double above;              /* of the rule */
} pupil;

static void add(rl_case *c, const char *line)
{
    assert_int_equal(rl_case_add(c, line, strlen(line), NULL, 0), RL_OK);
}

static const char *outcome_word(const oc_model *m, const oc_watch *w, int outcome)
{
    if (w->sort == OC_CONTINUITY)
        return outcome ? "beeps" : "silent";
    if (w->sort == OC_SYMPTOM)
        return outcome ? "present" : "absent";
    return w->sort == OC_INSPECTION ? m->inspection[w->named].outcome[outcome]
                                    : m->kind[m->element[w->subject].kind].level[outcome];
}

/* What the state holds, as the lines of a case. */
static rl_case *case_of(const pupil *p, const opt_state *s)
{
    rl_case *c;
    char line[512] = "occasion workshop";
    const oc_model *m = p->game->c->model;
    assert_int_equal(rl_case_new(p->context, p->model, "", &c), RL_OK);
    bool some = false;
    for (int i = 0; i < p->game->mends; i++)
        if (s->mended >> i & 1u) {
            strcat(strcat(line, some ? " and repaired " : " with repaired "), m->element[p->game->mend[i].element].id);
            some = true;
        }
    add(c, line);
    for (int i = 0; i < p->game->c->findings; i++) {
        const oc_finding *f = &p->game->c->finding[i];
        for (int o = 0; o < 3; o++)
            if (f->weight[o] > 0) {
                snprintf(line, sizeof line, "%s %s", f->watch.key, outcome_word(m, &f->watch, o));
                add(c, line);
            }
    }
    for (int t = 0; t < p->game->tests; t++)
        if (s->outcome[t] >= 0) {
            const oc_watch *w = p->game->test[t].watch;
            snprintf(line, sizeof line, "%s %s", w->key, outcome_word(m, w, s->outcome[t]));
            add(c, line);
        }
    return c;
}

static int test_index(const pupil *p, const char *text)
{
    for (int t = 0; t < p->game->tests; t++)
        if (strcmp(p->game->test[t].watch->key, text) == 0)
            return t;
    fail_msg("the oracle has no test %s", text);
    return -1;
}

static int mend_index(const pupil *p, int element)
{
    for (int i = 0; i < p->game->mends; i++)
        if (p->game->mend[i].element == element)
            return i;
    fail_msg("the optimum mends no element %d", element);
    return -1;
}

/* The move that the advice makes here: a test (mend -1) or a repair (test -1). */
static void ask(pupil *p, const opt_state *s, int *test, int *mend)
{
    rl_move move;
    rl_case *c = case_of(p, s);
    memset(p->suspect, 0, sizeof p->suspect);
    for (int i = 0; i < p->game->mends; i++)
        p->suspect[p->game->mend[i].element] = !(s->mended >> i & 1u);
    rl_scene scene = {.model = p->model, .suspect = p->suspect, .above = p->above, .may_test = true};
    assert_int_equal(rl_move_advised(&scene, c, &move), RL_OK);
    *test = move.test ? test_index(p, move.test->text) : -1;
    *mend = move.test ? -1 : mend_index(p, move.element);
    rl_case_free(c);
}

static double advised(pupil *p, const opt_state *s, const double *weight)
{
    const opt_game *g = p->game;
    double *belief = calloc((size_t)g->joints, sizeof *belief);
    int test, mend;
    opt_state next;
    assert_non_null(belief);
    ask(p, s, &test, &mend);
    double minutes = test >= 0 ? opt_test_minutes(g, s, test) : opt_mend_minutes(g, s, mend);
    for (int o = 0; o < (test >= 0 ? g->test[test].outcomes : 1); o++) {
        double share = test >= 0 ? opt_after_outcome(g, s, weight, test, o, &next, belief)
                                 : opt_after_mend(g, s, weight, mend, &next, belief);
        minutes += share > 0 ? share * advised(p, &next, belief) : 0;
    }
    free(belief);
    return minutes;
}

/* ---- a vehicle on both sides ---- */

typedef struct table {
    rl_model *model;
    oc_model *oracle;
    opt_game game;
    pupil pupil;
} table;

/* What the files say; false: too large a game. */
static bool open_table(table *t, rl_context *context, double above)
{
    size_t cases;
    double repair[64], proof;
    *t = (table){.model = disk_model(context, drawn_path("v.gnd")), .oracle = oc_model_read(drawn_path("v.gnd"))};
    assert_non_null(t->oracle);
    oc_case **list = oc_cases_read(t->oracle, drawn_path("v.case"), &cases);
    assert_int_equal(cases, 1);
    proof = rl_model_kind(t->model, 0)->check;   /* there is one kind: its look proves a repair */
    assert_int_equal(rl_model_vehicle(t->model)->elements, oc_model_elements(t->oracle));
    for (size_t e = 0; e < rl_model_vehicle(t->model)->elements; e++) {
        assert_string_equal(rl_model_element(t->model, e)->id, oc_model_id(t->oracle, (int)e));
        repair[e] = rl_model_element(t->model, e)->repair_minutes + proof;
    }
    t->pupil = (pupil){.game = &t->game, .context = context, .model = t->model, .above = above};
    return opt_begin(&t->game, list[0], repair) == OPT_FITS;
}

static void close_table(table *t, bool open)
{
    if (open)
        opt_end(&t->game);
    oc_model_free(t->oracle);
    rl_model_free(t->model);
}

/* ---- drawn ones ---- */

typedef struct tally { int games; double ratio, worst; } tally;

static void compare(rl_context *context, uint64_t seed, tally *sum)
{
    table t;
    draw_files(seed);
    bool open = open_table(&t, context, 0.9);
    if (open) {
        opt_state start = opt_start(&t.game);
        double best = opt_value(&t.game, &start, t.game.weight), got = advised(&t.pupil, &start, t.game.weight);
        assert_true(got >= best * (1 - 1e-9));   /* else the optimum is none */
        sum->games++;
        sum->ratio += got / best;
        sum->worst = fmax(sum->worst, got / best);
    }
    close_table(&t, open);
}

static void near_the_optimum(void **state)
{
    (void)state;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 60);
    rl_context *context = disk_context(NULL);
    tally sum = {0};
    for (uint64_t seed = first; seed < first + count; seed++)
        compare(context, seed, &sum);
    rl_context_free(context);
    print_message("%d games; expected minutes over the least there are: mean %.4f, worst %.4f\n", sum.games,
                  sum.ratio / sum.games, sum.worst);
    assert_true(2 * (uint64_t)sum.games >= count);
    assert_true(sum.ratio / sum.games <= 1.05);
}

/* ---- published arithmetic: one fault, repairs that are certain ---- */

/* Faults so rare that two at once do not count. */
static const double RARE = 1e-8;

static FILE *begin_chain(const json_t *p, const json_t *minutes)
{
    FILE *out = fopen(drawn_path("v.gnd"), "wb");
    assert_non_null(out);
    fprintf(out, "vehicle cart supply 12 V\nclass wire loose 0%% corroded 0%% open 0%%\n"
                 "kind lamp behaves normal, dead failed 0%% check 0.00001 min repair 1 min \"renew\"\n    when open dead 100%%\n");
    for (size_t i = 0; i < json_array_size(p); i++) {
        fprintf(out, "class c%zu loose 0%% corroded 0%% open %.17g repair %.17g min \"clean\"\npoint p%zu class c%zu", i,
                RARE * json_number_value(json_array_get(p, i)), minutes ? json_number_value(json_array_get(minutes, i)) : 1e4, i, i);
        fprintf(out, i > 0 ? " returns through p%zu\n" : "\n", i - 1);
    }
    fprintf(out, "load l0 kind lamp do not swap, bypass, jumper returns through p%zu\n", json_array_size(p) - 1);
    FILE *cases = fopen(drawn_path("v.case"), "wb");
    assert_non_null(cases);
    fprintf(cases, "case \"dead\" on cart\noccasion workshop\nl0 dead\n");
    assert_int_equal(fclose(cases), 0);
    return out;
}

static void close_to(double found, double expected)
{
    if (!(fabs(found - expected) <= 1e-3 * fabs(expected)))   /* each look takes a moment, two faults have some chance */
        fail_msg("found %.17g, expected %.17g", found, expected);
}

/* The advice's repairs one after the other, each in vain, against the orders that are best. */
static bool is_order(table *t, const json_t *order)
{
    opt_state s = opt_start(&t->game);
    for (size_t i = 0; i < json_array_size(order); i++) {
        int test, mend;
        ask(&t->pupil, &s, &test, &mend);
        if (test >= 0 || mend != json_integer_value(json_array_get(order, i)))
            return false;
        s.mended |= 1u << mend;
    }
    return true;
}

/* p_over_c of diagnosis.json: the least expected cost of repairs alone, and their order. */
static void repair_order(void **state)
{
    (void)state;
    json_t *root = published("diagnosis.json"), *one, *order;
    rl_context *context = disk_context(NULL);
    size_t i, k;
    json_array_foreach(json_object_get(root, "p_over_c"), i, one) {
        table t;
        assert_int_equal(fclose(begin_chain(json_object_get(one, "p"), json_object_get(one, "c"))), 0);
        assert_true(open_table(&t, context, 1));
        opt_state start = opt_start(&t.game);
        double ecr = published_number(one, "ecr");
        close_to(opt_value(&t.game, &start, t.game.weight), ecr);
        close_to(advised(&t.pupil, &start, t.game.weight), ecr);
        bool some = false;
        json_array_foreach(json_object_get(one, "best_orders"), k, order)
            some = some || is_order(&t, order);
        assert_true(some);
        close_table(&t, true);
    }
    assert_int_equal(i, 6);
    rl_context_free(context);
    json_decref(root);
}

/* expected_tests of diagnosis.json: a chain, and probes that tell whether the fault is among
 * the first of it; a minute each, and repairs so dear that none is tried in vain.  The advice
 * looks one test ahead: it needs no more tests than the greedy choice by information. */
static void measured_chains(void **state)
{
    (void)state;
    json_t *root = published("diagnosis.json"), *one;
    rl_context *context = disk_context(NULL);
    size_t i, played = 0;
    json_array_foreach(json_object_get(root, "expected_tests"), i, one) {
        table t;
        const json_t *prior = json_object_get(one, "prior");
        if (json_array_size(prior) > 5)
            continue;
        FILE *out = begin_chain(prior, NULL);
        for (size_t probe = 1; probe < json_array_size(prior); probe++) {
            fprintf(out, "symptom probe%zu check 1 min\n", probe);
            for (size_t part = 0; part < probe; part++)
                fprintf(out, "    from p%zu open 100%%\n", part);
        }
        assert_int_equal(fclose(out), 0);
        assert_true(open_table(&t, context, 1));
        opt_state start = opt_start(&t.game);
        double best = opt_value(&t.game, &start, t.game.weight) - 1e4, got = advised(&t.pupil, &start, t.game.weight) - 1e4;
        close_to(best, published_number(one, "best_contiguous"));
        assert_true(got >= best - 1e-3);
        assert_true(got <= published_number(one, "greedy_contiguous") + 1e-3);
        print_message("%s: %.4f tests are best, the advice takes %.4f\n", json_string_value(json_object_get(one, "name")),
                      best, got);
        close_table(&t, true);
        played++;
    }
    assert_int_equal(played, 10);
    rl_context_free(context);
    json_decref(root);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(repair_order), cmocka_unit_test(measured_chains),
                                       cmocka_unit_test(near_the_optimum)};
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) ? 1 : 0;
}
