/* test_draw_law.c: drawn vehicles follow the law.
 *
 * Frequencies over many drawn vehicles against exact probabilities: faults
 * against the prior given a complaint, what each sort of test brings against
 * the oracle's law in the very state that was drawn, whole drawn cases against
 * their own posteriors.  Seeds are fixed, so a run fails always or never; the
 * bound is 4.5 standard deviations of sums whose terms are independent, or
 * uncorrelated (each is drawn given all before it).
 */
#include "../../engine/admit.h"
#include "../../engine/draw.h"
#include "../held/disk.h"
#include "../oracle/inside.h"
#include "drawn_files.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double SIGMAS = 4.5;
static const double ENOUGH = 20;       /* variance of a count from which on the bell is a fair bound */

/* ---- sums of what happened less what was to be expected ---- */

typedef struct tally { double excess, variance; size_t count; } tally;   /* variance: as if uncorrelated */

static void tally_add(tally *t, double happened, double p)
{
    t->excess += happened - p;
    t->variance += p * (1 - p);
    t->count++;
}

/* Adds to `checked` unless there is too little of it to say anything. */
static int tally_check(const tally *t, const char *what, double *largest, int *checked)
{
    if (t->variance < ENOUGH)
        return 0;
    double z = t->excess / sqrt(t->variance);
    *largest = fmax(*largest, fabs(z));
    *checked += 1;
    if (fabs(z) <= SIGMAS)
        return 0;
    print_error("%s: %.3g standard deviations off (%g in %zu, variance %g)\n", what, z, t->excess, t->count,
                t->variance);
    return 1;
}

/* ---- the shipped rules ---- */

static rl_context *shipped(void)
{
    return disk_context(TEST_ROOT "/rules");
}

static void say(rl_case *c, const char *line)
{
    assert_int_equal(rl_case_add(c, line, strlen(line), NULL, 0), RL_OK);
}

/* ---- faults, given a complaint ---- */

/* All loads at their first level, no symptom: nothing is complained of. */
static rl_case *contented(rl_context *context, const rl_model *model)
{
    rl_case *c;
    assert_int_equal(rl_case_new(context, model, "contented", &c), RL_OK);
    say(c, "others work");
    for (size_t s = 0; s < rl_model_vehicle(model)->symptoms; s++) {
        char line[128];
        snprintf(line, sizeof line, "%s absent", rl_model_symptom(model, s)->id);
        say(c, line);
    }
    return c;
}

enum { MOST_ELEMENTS = 400 };
typedef struct expected {
    double p[MOST_ELEMENTS][RL_STATES], none;
} expected;

/* P(x | complaint) = (P(x) - P(x, none)) / (1 - P(none)). */
static double given_complaint(double prior, double content, double posterior)
{
    return (prior - content * posterior) / (1 - content);
}

static void expect_from_engine(rl_context *context, const rl_model *model, expected *want)
{
    rl_case *c = contented(context, model);
    const rl_answer *answer;
    const rl_shares *shares;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    double content = exp(answer->log_evidence), sound = 1;
    for (size_t e = 0; e < rl_model_vehicle(model)->elements; e++) {
        const double *prior = rl_model_element(model, e)->prior;
        sound *= prior[RL_SOUND];
        for (int s = 0; s < RL_STATES; s++)
            want->p[e][s] = given_complaint(prior[s], content, answer->belief[e].p[s]);
    }
    assert_int_equal(rl_case_shares(c, &shares), RL_OK);
    want->none = given_complaint(sound, content, shares->none);
    rl_case_free(c);
}

static int compare_faults(rl_context *context, const rl_model *model, const expected *want, uint64_t seed, size_t count,
                          const char *name)
{
    static tally of[MOST_ELEMENTS][RL_STATES];
    size_t elements = rl_model_vehicle(model)->elements;
    tally none = {0};
    int bad = 0, checked = 0;
    double largest = 0;
    memset(of, 0, sizeof of);
    assert_true(elements <= MOST_ELEMENTS);
    for (size_t n = 0; n < count; n++) {
        rl_drawn *d;
        const rl_fault *fault;
        size_t faults;
        rl_state state[MOST_ELEMENTS] = {RL_SOUND};
        assert_int_equal(rl_drawn_new(context, model, seed, n, &d), RL_OK);
        assert_int_equal(rl_drawn_faults(d, &fault, &faults), RL_OK);
        for (size_t i = 0; i < faults; i++)
            state[fault[i].element] = fault[i].state;
        for (size_t e = 0; e < elements; e++)
            for (int s = 0; s < RL_STATES; s++)
                tally_add(&of[e][s], state[e] == (rl_state)s, want->p[e][s]);
        tally_add(&none, faults == 0, want->none);
        rl_drawn_free(d);
    }
    for (size_t e = 0; e < elements; e++)
        for (int s = 0; s < RL_STATES; s++)
            bad += tally_check(&of[e][s], rl_model_element(model, e)->id, &largest, &checked);
    bad += tally_check(&none, "nothing at fault", &largest, &checked);
    print_message("%s: %d frequencies, largest deviation %.2f\n", name, checked, largest);
    assert_true(checked > (int)(2 * elements));
    return bad;
}

static void faults_of_shipped_vehicles(void **state)
{
    (void)state;
    static const char *const path[] = {TEST_ROOT "/rules/small-drumlin.gnd", TEST_ROOT "/rules/demo-moraine.gnd"};
    static expected want;
    rl_context *context = shipped();
    for (int i = 0; i < 2; i++) {
        rl_model *model = disk_model(context, path[i]);
        expect_from_engine(context, model, &want);
        int bad = compare_faults(context, model, &want, 11 + (uint64_t)i, 30000, i == 0 ? "small" : "demo");
        rl_model_free(model);
        assert_int_equal(bad, 0);
    }
    rl_context_free(context);
}

/* A vehicle so small that the oracle can go through all of its states. */
static const char tiny[] =
    "language 1\n"
    "vehicle tiny \"tiny\" supply 12 V\n"
    "class point loose 4% corroded 6% open 2% quiet 40%\n"
    "class wire loose 3% corroded 2% open 3% quiet 70%\n"
    "class feed loose 5% open 4%\n"
    "grades 0.5 ohm, 5 ohm\n"
    "joint sound 2 mohm spread 2\n"
    "joint corroded 1 ohm spread 4\n"
    "kind lamp behaves normal, flickers, dim, dead failed 5% draws 2 A\n"
    "    when loose flickers 50% dim 20%\n"
    "    short of 1 V dim 30%\n"
    "    short of 4 V dim 60% dead 20%\n"
    "    when open dead 95%\n"
    "    when failed dead 90%\n"
    "    otherwise dim 1%\n"
    "point post\n"
    "point rear returns through post\n"
    "feed fuse\n"
    "load left kind lamp returns through rear fed by fuse\n"
    "load right kind lamp returns through post fed by fuse\n"
    "symptom smell from fuse loose 30% open 50% from right failed 20% otherwise 0.5%\n";

static void faults_of_a_tiny_vehicle(void **state)
{
    (void)state;
    static expected want;
    drawn_write("v.gnd", tiny);
    drawn_write("v.case", "case \"1\" on tiny\nothers work\nsmell absent\n");
    oc_model *oracle = oc_model_read(drawn_path("v.gnd"));
    assert_non_null(oracle);
    size_t cases;
    oc_case **list = oc_cases_read(oracle, drawn_path("v.case"), &cases);
    oc_answer a = oc_solve(list[0], 1e7);
    assert_false(a.wide);
    double content = exp(a.log_evidence), sound = 1;
    for (int e = 0; e < oracle->elements; e++) {
        const double *prior = oracle->element[e].prior;
        sound *= prior[RL_SOUND];
        for (int s = 0; s < RL_STATES; s++)
            want.p[e][s] = given_complaint(prior[s], content, a.p[e][s]);
    }
    want.none = given_complaint(sound, content, a.share_none);
    rl_context *context = shipped();
    rl_model *model = disk_model(context, drawn_path("v.gnd"));
    assert_int_equal(rl_model_vehicle(model)->elements, oracle->elements);
    for (int e = 0; e < oracle->elements; e++)
        assert_string_equal(rl_model_element(model, (size_t)e)->id, oracle->element[e].id);
    int bad = compare_faults(context, model, &want, 5, 60000, "tiny");
    rl_model_free(model);
    rl_context_free(context);
    oc_model_free(oracle);
    assert_int_equal(bad, 0);
}

/* ---- what tests bring, given the state ---- */

enum { SORTS = RL_TEST_JUMPER + 1, BUCKETS = 7, ROWS = 128 };
static const double bucket_edge[BUCKETS - 1] = {0.01, 0.1, 0.3, 0.7, 0.9, 0.99};
static const char *const sort_name[SORTS] = {"behaviour", "symptom", "inspection", "backfeed", "pull", "drop", "resistance",
                                             "continuity", "supply", "bypass", "bypass at", "swap", "jumper"};

typedef struct bench {
    bool readings;             /* only they, each test in a row of its own; else a row holds a sort */
    tally of[ROWS][OC_OUTCOMES][BUCKETS];
    size_t vehicles, tests[ROWS];
    char text[ROWS][64];       /* of a row, if each has a test of its own */
    int bad;
} bench;

static int row_of_test(bench *b, const rl_test *t)
{
    if (!b->readings)
        return (int)t->sort;
    int row = 0;
    while (row < ROWS && b->text[row][0] != '\0' && strcmp(b->text[row], t->text) != 0)
        row++;
    assert_true(row < ROWS && strlen(t->text) < sizeof b->text[row]);
    strcpy(b->text[row], t->text);
    return row;
}

static int bucket_of(double p)
{
    int b = 0;
    while (b < BUCKETS - 1 && p > bucket_edge[b])
        b++;
    return b;
}

/* The drawn state in the oracle's numbering. */
static void fill_joint(const oc_model *oracle, const rl_drawn *d, const rl_case *c, oc_joint *j)
{
    for (int e = 0; e < d->model->nodes; e++) {
        int at = oc_find(oracle, d->model->node[e].info.id);
        assert_true(at >= 0);
        j->state[at] = d->state[e];
        j->bin[at] = d->bin[e];
        j->active[at] = d->active[e] ? 1u << (c->occasions - 1) : 0;
    }
}

/* Place of a word that stands in `line` by itself. */
static int word_in(const char *line, const char *const *word, int count)
{
    for (int i = 0; i < count; i++) {
        size_t length = strlen(word[i]);
        for (const char *at = strstr(line, word[i]); at != NULL; at = strstr(at + 1, word[i]))
            if (at > line && at[-1] == ' ' && (at[length] == ' ' || at[length] == '\0'))
                return i;
    }
    fail_msg("no outcome in `%s`", line);
    return -1;
}

/* How much of each outcome the line is: all of one, but half of each of two
 * bands whose edge the rounded reading stands on. */
static void share_of_bands(const oc_meter *meter, double value, double *share)
{
    int below = 0, on = 0;
    for (int b = 0; b < meter->bands; b++) {
        below += meter->band[b] < value;
        on += meter->band[b] == value;
    }
    share[below] += on > 0 ? 0.5 : 1;
    if (on > 0)
        share[below + 1] += 0.5;
}

static void share_of(const rl_model *m, const oc_model *oracle, const rl_test *t, const char *line, double *share)
{
    static const char *const presence[] = {"absent", "present"}, *const beep[] = {"silent", "beeps"};
    const char *rest = line + strlen(t->text);
    switch (t->sort) {
    case RL_TEST_DROP:
    case RL_TEST_SUPPLY: share_of_bands(&oracle->volts, strtod(rest, NULL), share); return;
    case RL_TEST_RESISTANCE:
        if (strcmp(rest, " open") == 0)
            share[oracle->ohms.bands + 1] = 1;
        else
            share_of_bands(&oracle->ohms, strtod(rest, NULL), share);
        return;
    case RL_TEST_CONTINUITY: share[word_in(rest, beep, 2)] = 1; return;
    case RL_TEST_SYMPTOM:
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: share[word_in(rest, presence, 2)] = 1; return;
    case RL_TEST_INSPECTION: {
        const rl_inspection *look = &m->look[t->named].info;
        share[word_in(rest, look->outcome, (int)look->outcomes)] = 1;
        return;
    }
    default: {
        const rl_kind *kind = &m->kind[m->node[t->subject].info.kind].info;
        share[word_in(line + strlen(m->node[t->subject].info.id), kind->level, (int)kind->levels)] = 1;
    }
    }
}

static const oc_watch *watch_of(const oc_watch *list, int count, const char *text)
{
    for (int i = 0; i < count; i++)
        if (strcmp(list[i].key, text) == 0)
            return &list[i];
    fail_msg("the oracle has no test `%s`", text);
    return NULL;
}

static void one_test(bench *b, rl_drawn *d, rl_case *c, oc_case *oracle, const oc_watch *watch, const rl_test *t)
{
    double p[OC_OUTCOMES], share[OC_OUTCOMES] = {0};
    const char *line;
    assert_int_equal(rl_drawn_take(d, c, t, &line), RL_OK);
    oc_model *om = oracle->model;
    oc_joint j = {rl_many(&om->arena, om->elements, rl_state), rl_many(&om->arena, om->elements, int),
                  rl_many(&om->arena, om->elements, unsigned)};
    fill_joint(om, d, c, &j);
    oc_distribution(oracle, watch, &j, p);
    share_of(d->model, om, t, line, share);
    int row = row_of_test(b, t);
    b->tests[row]++;
    for (int i = 0; i < oc_outcomes(om, watch); i++) {
        if (share[i] > 0 && p[i] < 1e-9) {
            print_error("`%s` cannot be: its probability is %g\n", line, p[i]);
            b->bad++;
        }
        tally_add(&b->of[row][i][bucket_of(p[i])], share[i], p[i]);
    }
}

/* Writes the case for the oracle, which reads files. */
static oc_case *same_case(oc_model *oracle, const rl_model *model, rl_case *c)
{
    static char text[16384];
    size_t cases;
    int filled = snprintf(text, sizeof text, "case \"1\" on %s\n", rl_model_vehicle(model)->id);
    for (size_t i = 0; i < rl_case_lines(c); i++)
        filled += snprintf(text + filled, sizeof text - (size_t)filled, "%s\n", rl_case_line(c, i)->text);
    assert_true((size_t)filled < sizeof text);
    drawn_write("v.case", text);
    oc_case **list = oc_cases_read(oracle, drawn_path("v.case"), &cases);
    assert_int_equal(cases, 1);
    return list[0];
}

/* All tests of a drawn vehicle, in an occasion after that of its complaint. */
static void one_drawn(bench *b, rl_context *context, const rl_model *model, oc_model *oracle, uint64_t seed, uint64_t number)
{
    rl_drawn *d;
    rl_case *c;
    rl_candidates list;
    rl_arena arena;
    int count;
    assert_int_equal(rl_drawn_new(context, model, seed, number, &d), RL_OK);
    assert_int_equal(rl_case_new(context, model, "1", &c), RL_OK);
    assert_int_equal(rl_drawn_complain(d, c), RL_OK);
    assert_true(rl_case_lines(c) > 0);
    say(c, "occasion later");
    jmp_buf bail;
    rl_arena_init(&arena, &context->allocator, 0);
    assert_int_equal(setjmp(bail), 0);
    arena.bail = &bail;
    rl_admit_all(&list, &arena, c);
    oc_case *oc = same_case(oracle, model, c);
    oc_watch *watch = oc_tests(oc, &count);
    assert_int_equal(count, list.count);
    for (int i = 0; i < list.count; i++)
        if (!b->readings || (list.at[i].sort >= RL_TEST_DROP && list.at[i].sort <= RL_TEST_SUPPLY))
            one_test(b, d, c, oc, watch_of(watch, count, list.at[i].text), &list.at[i]);
    b->vehicles++;
    rl_arena_free(&arena);
    rl_case_free(c);
    rl_drawn_free(d);
}

static void check_bench(bench *b)
{
    double largest = 0;
    int checked = 0;
    for (int r = 0; r < ROWS; r++)
        for (int i = 0; i < OC_OUTCOMES; i++)
            for (int k = 0; k < BUCKETS; k++)
                b->bad += tally_check(&b->of[r][i][k], b->readings ? b->text[r] : sort_name[r % SORTS], &largest, &checked);
    print_message("%zu vehicles, %d frequencies, largest deviation %.2f\n", b->vehicles, checked, largest);
    assert_true(checked > 60);
    assert_int_equal(b->bad, 0);
}

static void outcomes_given_the_state(void **state)
{
    (void)state;
    enum { VEHICLES = 160, EACH = 8 };
    static bench b;
    static drawn text;
    rl_context *context = disk_context(NULL);
    for (uint64_t seed = 1; seed <= VEHICLES; seed++) {
        drawn_put(seed, &text);
        rl_model *model = disk_model(context, drawn_path("v.gnd"));
        oc_model *oracle = oc_model_read(drawn_path("v.gnd"));
        assert_non_null(oracle);
        for (uint64_t n = 0; n < EACH; n++)
            one_drawn(&b, context, model, oracle, seed, n);   /* another seed: the vehicles share names */
        oc_model_free(oracle);
        rl_model_free(model);
    }
    rl_context_free(context);
    for (int s = 0; s < SORTS; s++) {
        print_message("%s %zu, ", sort_name[s], b.tests[s]);
        assert_true(b.tests[s] > 200);
    }
    check_bench(&b);
}

/* Every part of the laws of readings has its weight here: wide spreads, leaks,
 * mistakes, a soft supply, and bands that are near one another. */
static const char fine[] =
    "language 1\n"
    "vehicle fine \"fine\" supply 12 V spread 8%\n"
    "class point loose 15% corroded 15% open 8% quiet 40%\n"
    "class wire loose 10% corroded 10% open 6%\n"
    "class feed loose 10% corroded 20% open 6% quiet 50%\n"
    "grades 0.5 ohm\n"
    "joint sound 5 mohm spread 4\n"
    "joint corroded 1 ohm spread 6\n"
    "joint open leaks 30%\n"
    "meter volts reads 1% plus 0.5 mV misread 6% zero 8%\n"
    "    bands 0.3 mV, 2 mV, 6 mV, 13 mV, 31 mV, 70 mV, 0.3 V, 1 V, 6 V, 10 V, 11.7 V, 12.6 V\n"
    "meter ohms reads 2% plus 2 mohm misread 8%\n"
    "    bands 3 mohm, 7 mohm, 13 mohm, 30 mohm, 0.1 ohm, 0.4 ohm, 1 ohm, 3 ohm, 10 ohm, 100 ohm, 600 ohm\n"
    "meter beeper beeps below 1 ohm misread 10%\n"
    "kind lamp behaves normal, dead failed 10% draws 24 W\n"
    "    when open dead 80%\n"
    "    when failed dead 90%\n"
    "    otherwise dead 10%\n"
    "symptom hum from post loose 30% corroded 20% from feed of left open 70% otherwise 5%\n"
    "inspection look of point, wire shows clean, dirty\n"
    "    when sound dirty 20%\n"
    "    when corroded dirty 60%\n"
    "backfeed loose 20% open 80% otherwise 5%\n"
    "pull loose 10% corroded 50% open 80% otherwise 5%\n"
    "point post\n"
    "point rear returns through post by 1 mm2 0.3 m\n"
    "point side returns through post or rear\n"
    "feed main\n"
    "feed fuse fed by main\n"
    "load left kind lamp returns through rear by 1 mm2 1 m fed by fuse\n"
    "load right kind lamp returns through side fed by main\n";

static void readings_of_one_vehicle(void **state)
{
    (void)state;
    static bench b = {.readings = true};
    drawn_write("v.gnd", fine);
    rl_context *context = disk_context(NULL);
    rl_model *model = disk_model(context, drawn_path("v.gnd"));
    oc_model *oracle = oc_model_read(drawn_path("v.gnd"));
    assert_non_null(oracle);
    for (uint64_t n = 0; n < 3000; n++)
        one_drawn(&b, context, model, oracle, 31, n);
    oc_model_free(oracle);
    rl_model_free(model);
    rl_context_free(context);
    assert_true(b.tests[15] > 2500);
    check_bench(&b);
}

/* ---- activities ---- */

/* Loose joints in two occasions after the first: quiet by their class, each time anew. */
static void activities_are_independent(void **state)
{
    (void)state;
    drawn_write("v.gnd", tiny);
    rl_context *context = disk_context(NULL);
    rl_model *model = disk_model(context, drawn_path("v.gnd"));
    tally quiet = {0}, both = {0};
    for (uint64_t n = 0; n < 20000; n++) {
        rl_drawn *d;
        bool active[2][16];
        assert_int_equal(rl_drawn_new(context, model, 9, n, &d), RL_OK);
        for (int o = 0; o < 2; o++) {
            rl_draw_activities(d, 1 + o);
            memcpy(active[o], d->active, (size_t)model->nodes * sizeof **active);
        }
        for (int e = 0; e < model->nodes; e++) {
            double q = model->node[e].quiet;
            if (d->state[e] != RL_LOOSE || q <= 0)
                continue;
            tally_add(&quiet, !active[0][e], q);
            tally_add(&both, !active[0][e] && !active[1][e], q * q);
        }
        rl_drawn_free(d);
    }
    double largest = 0;
    int checked = 0, bad = tally_check(&quiet, "quiet", &largest, &checked);
    bad += tally_check(&both, "quiet twice", &largest, &checked);
    assert_int_equal(checked, 2);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(bad, 0);
}

/* ---- whole cases against their posteriors ---- */

static void posteriors_of_drawn_cases(void **state)
{
    (void)state;
    enum { CASES = 3000 };
    static tally of[MOST_ELEMENTS][RL_STATES];
    drawn_write("v.gnd", fine);
    rl_context *context = disk_context(NULL);
    rl_model *model = disk_model(context, drawn_path("v.gnd"));
    size_t elements = rl_model_vehicle(model)->elements;
    memset(of, 0, sizeof of);
    for (uint64_t n = 0; n < CASES; n++) {
        rl_drawn *d;
        rl_case *c;
        const rl_answer *answer;
        assert_int_equal(rl_drawn_new(context, model, 21, n, &d), RL_OK);
        assert_int_equal(rl_case_new(context, model, "1", &c), RL_OK);
        assert_int_equal(rl_drawn_case(d, c, 1 + n % 3, 4), RL_OK);
        assert_int_equal(rl_case_answer(c, &answer), RL_OK);
        for (size_t e = 0; e < elements; e++)
            for (int s = 0; s < RL_STATES; s++)
                tally_add(&of[e][s], d->state[e] == (rl_state)s, answer->belief[e].p[s]);
        rl_case_free(c);
        rl_drawn_free(d);
    }
    int bad = 0, checked = 0;
    double largest = 0;
    for (size_t e = 0; e < elements; e++)
        for (int s = 0; s < RL_STATES; s++)
            bad += tally_check(&of[e][s], rl_model_element(model, e)->id, &largest, &checked);
    print_message("%d posteriors, largest deviation %.2f\n", checked, largest);
    assert_true(checked > 20);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(bad, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(faults_of_shipped_vehicles), cmocka_unit_test(faults_of_a_tiny_vehicle),
        cmocka_unit_test(outcomes_given_the_state), cmocka_unit_test(readings_of_one_vehicle), cmocka_unit_test(activities_are_independent),
        cmocka_unit_test(posteriors_of_drawn_cases),
    };
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) != 0;
}
