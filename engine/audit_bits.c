/* audit_bits.c: how much all tests that need no access would tell on average, in bits.
 *
 * Left is H(S) - I(S; O): S the states of all elements, O the outcomes of all
 * behaviours, symptoms, and inspections and readings for which no area is opened,
 * each done once.  Where that cannot be gone through, I is the mean of
 * log2 P(o | s) / P(o) over drawn vehicles: P(o) by exact inference, P(o | s)
 * by summing out the hidden detail of what is not sound.  Of drops across the same
 * elements that of the load of greatest current stands for all.
 *
 * Invariant: an estimate is unbiased and comes with its standard error; what
 * would take too much is a bound and says so.
 */
#include "audit.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Laws asked for one drawn vehicle: more is too much. */
static const double MOST_LAWS = 2e6;
enum { FOR_AUDIT = 0x617564 };   /* a word of the key of its random numbers */
/* More readings, all of one vehicle, make networks that are too wide, or take minutes. */
enum { MOST_READINGS = 32 };

/* An element whose detail has to be summed out, in one drawn vehicle. */
typedef struct hidden {
    int element;
    rl_detail detail;
    bool fixed;
    int seen_by;               /* looks at hand that hang on it, while one is chosen */
} hidden;

/* What a meter showed. */
typedef struct shown { rl_showing meter; double value; bool open; } shown;

typedef struct drawer {
    rl_audit *audit;
    rl_lab lab;
    rl_trial *look;            /* behaviours, symptoms, inspections, then readings */
    int looks, readings;       /* all of them; how many of them are readings */
    int **looks_at;            /* by element: looks that hang on it */
    int *looks_at_count;
    double *sound_law;         /* [look][RL_MAX_LEVELS + 2] where nothing is at fault */
    /* of one drawn vehicle */
    rl_state *state;
    int *outcome;              /* by look, of what is no reading */
    shown *reading;            /* by look, of readings */
    hidden *hide;
    int hides;
    int *hide_of;              /* by element: index of hide, or -1 */
    int *touched, touches;     /* looks that hang on something not sound */
    bool *is_touched;          /* by look */
    double laws;               /* asked so far */
    double slack;              /* ln: by how much bounded answers may be off, all drawn vehicles together */
} drawer;

enum { STRIDE = RL_MAX_LEVELS + 2 };

static double entropy_of_states(const rl_model *m)
{
    double bits = 0;
    for (int e = 0; e < m->nodes; e++)
        for (int s = 0; s < RL_STATES; s++)
            if (m->node[e].info.prior[s] > 0)
                bits -= m->node[e].info.prior[s] * log2(m->node[e].info.prior[s]);
    return bits;
}

/* ---- looks ---- */

static void index_looks(drawer *d)
{
    int nodes = d->lab.model->nodes;
    d->looks_at = rl_many(d->lab.arena, nodes + 1, int *);
    d->looks_at_count = rl_many(d->lab.arena, nodes + 1, int);
    for (int t = 0; t < d->looks; t++)
        for (int i = 0; i < d->look[t].elements; i++)
            d->looks_at_count[d->look[t].element[i]]++;
    for (int e = 0; e < nodes; e++) {
        d->looks_at[e] = rl_many(d->lab.arena, d->looks_at_count[e], int);
        d->looks_at_count[e] = 0;
    }
    for (int t = 0; t < d->looks; t++)
        for (int i = 0; i < d->look[t].elements; i++) {
            int e = d->look[t].element[i];
            d->looks_at[e][d->looks_at_count[e]++] = t;
        }
}

static bool is_reading(const rl_test *test)
{
    return test->sort == RL_TEST_DROP || test->sort == RL_TEST_RESISTANCE || test->sort == RL_TEST_CONTINUITY ||
           test->sort == RL_TEST_SUPPLY;
}

/* By rl_test.measures: the drop in no area whose load draws most. */
static int *strongest_drops(const drawer *d, const rl_candidates *tests)
{
    const rl_node *node = d->lab.model->node;
    size_t sets = 0;
    for (int t = 0; t < tests->count; t++)
        sets = tests->at[t].measures > sets ? tests->at[t].measures : sets;
    int *best = rl_arena_array(d->lab.arena, sets + 1, sizeof *best);
    for (size_t i = 0; i <= sets; i++)
        best[i] = -1;
    for (int t = 0; t < tests->count; t++) {
        const rl_test *test = &tests->at[t];
        int *now = &best[test->measures];
        if (test->sort == RL_TEST_DROP && test->areas[0] < 0 && test->areas[1] < 0 &&
            (*now < 0 || node[test->subject].info.current > node[tests->at[*now].subject].info.current))
            *now = t;
    }
    return best;
}

/* Whether the test is done: no area is opened for it, and no load has to be amiss. */
static bool is_done(const rl_candidates *tests, const int *strongest, int at)
{
    const rl_test *test = &tests->at[at];
    if (test->sort == RL_TEST_BEHAVIOUR || test->sort == RL_TEST_SYMPTOM)
        return true;
    if (test->areas[0] >= 0 || test->areas[1] >= 0)
        return false;
    if (test->sort == RL_TEST_DROP)
        return strongest[test->measures] == at;
    return test->sort == RL_TEST_INSPECTION || is_reading(test);
}

/* Tests are listed so: behaviours, symptoms, inspections, readings. */
static void make_looks(drawer *d)
{
    rl_candidates *tests = rl_new(d->lab.arena, rl_candidates);
    rl_admit_all(tests, d->lab.arena, d->audit->kase);
    const int *strongest = strongest_drops(d, tests);
    rl_audit_report *r = &d->audit->report;
    d->look = rl_many(d->lab.arena, tests->count + 1, rl_trial);
    for (int t = 0; t < tests->count; t++) {
        if (!is_done(tests, strongest, t))
            continue;
        assert(d->readings == 0 || is_reading(&tests->at[t]));
        d->readings += is_reading(&tests->at[t]);
        r->inspections += tests->at[t].sort == RL_TEST_INSPECTION;
        rl_trial_make(&d->lab, d->lab.arena, &tests->at[t], &d->look[d->looks++]);
    }
    r->readings = (size_t)d->readings;
    index_looks(d);
}

/* Law of an outcome that is no reading, states and rows being as they are. */
static void law_of(drawer *d, int look, double *out)
{
    const rl_trial *t = &d->look[look];
    if (t->test->sort == RL_TEST_INSPECTION)
        memcpy(out, d->lab.model->look[t->test->named].row[d->state[t->test->subject]],
               (size_t)rl_trial_outcomes(&d->lab, t) * sizeof *out);
    else
        rl_trial_law(&d->lab, t, out);
}

static void make_room(drawer *d)
{
    rl_arena *arena = d->lab.arena;
    int nodes = d->lab.model->nodes;
    d->sound_law = rl_many(arena, (d->looks + 1) * STRIDE, double);
    d->state = rl_many(arena, nodes + 1, rl_state);
    for (int t = 0; t < d->looks - d->readings; t++)
        law_of(d, t, &d->sound_law[t * STRIDE]);
    d->outcome = rl_many(arena, d->looks + 1, int);
    d->reading = rl_many(arena, d->looks + 1, shown);
    d->audit->vehicle.state = d->state;
    d->audit->vehicle.bin = rl_many(arena, nodes + 1, int);
    d->audit->vehicle.active = rl_many(arena, nodes + 1, bool);
    d->hide = rl_many(arena, nodes + 1, hidden);
    d->hide_of = rl_many(arena, nodes + 1, int);
    d->touched = rl_many(arena, d->looks + 1, int);
    d->is_touched = rl_many(arena, d->looks + 1, bool);
}

/* ---- drawing ---- */

/* The state of an element, and the row that its hidden detail comes to. */
static void draw_element(drawer *d, rl_random *random, int element)
{
    int state = rl_random_pick(random, d->lab.model->node[element].info.prior, RL_STATES);
    d->state[element] = (rl_state)state;
    d->hide_of[element] = -1;
    if (state == RL_SOUND)
        return;
    rl_detail detail = rl_lab_detail(&d->lab, d->lab.scratch, element, (rl_state)state);
    int row = detail.row[rl_random_pick(random, detail.p, detail.count)];
    d->lab.row[element] = row;
    d->audit->vehicle.active[element] = state == RL_LOOSE && row == 1;
    d->audit->vehicle.bin[element] = state == RL_CORRODED ? d->lab.frame.bin[row - 2] : 0;
    for (int i = 0; i < d->looks_at_count[element]; i++) {
        int look = d->looks_at[element][i];
        if (!d->is_touched[look])
            d->touched[d->touches++] = look;
        d->is_touched[look] = true;
    }
    if (detail.count < 2)
        return;
    d->hide_of[element] = d->hides;
    d->hide[d->hides++] = (hidden){.element = element, .detail = detail};
}

static void draw_outcomes(drawer *d, rl_random *random)
{
    double law[STRIDE];
    for (int t = 0; t < d->looks - d->readings; t++) {
        const double *now = &d->sound_law[t * STRIDE];
        if (d->is_touched[t]) {
            law_of(d, t, law);
            now = law;
        }
        d->outcome[t] = rl_random_pick(random, now, rl_trial_outcomes(&d->lab, &d->look[t]));
    }
}

static void forget(drawer *d)
{
    for (int e = 0; e < d->lab.model->nodes; e++)
        d->lab.row[e] = 0;
    for (int i = 0; i < d->touches; i++)
        d->is_touched[d->touched[i]] = false;
    d->touches = d->hides = 0;
}

/* ---- ln P(o | s) ---- */

static bool hangs_on_hidden(const drawer *d, int look)
{
    const rl_trial *t = &d->look[look];
    if (t->test->sort == RL_TEST_INSPECTION)   /* it shows the state alone */
        return false;
    for (int i = 0; i < t->elements; i++) {
        int h = d->hide_of[t->element[i]];
        if (h >= 0 && !d->hide[h].fixed)
            return true;
    }
    return false;
}

static double log_density(drawer *d, int look)
{
    const shown *s = &d->reading[look];
    rl_mark before = rl_arena_mark(d->lab.scratch);
    rl_end end = rl_trial_end(&d->lab, &d->look[look]);
    double density = rl_showing_density(&s->meter, &end, s->value, s->open);
    rl_arena_rewind(d->lab.scratch, before);
    return log(density);
}

static double log_chance(drawer *d, int look)
{
    double law[STRIDE];
    d->laws++;
    if (look >= d->looks - d->readings)
        return log_density(d, look);
    law_of(d, look, law);
    return log(law[d->outcome[look]]);
}

/* What is hidden that most of these looks hang on. */
static int choose_hidden(drawer *d, const int *list, int count)
{
    int best = -1;
    for (int pass = 0; pass < 2; pass++)
        for (int l = 0; l < count; l++) {
            const rl_trial *t = &d->look[list[l]];
            for (int i = 0; i < t->elements; i++) {
                int h = d->hide_of[t->element[i]];
                if (h < 0 || d->hide[h].fixed)
                    continue;
                d->hide[h].seen_by = pass == 0 ? 0 : d->hide[h].seen_by + 1;
                if (pass == 1 && (best < 0 || d->hide[h].seen_by > d->hide[best].seen_by))
                    best = h;
            }
        }
    assert(best >= 0);
    return best;
}

static bool share_hidden(const drawer *d, int a, int b)
{
    const rl_trial *x = &d->look[a], *y = &d->look[b];
    for (int i = 0; i < x->elements; i++) {
        int h = d->hide_of[x->element[i]];
        if (h < 0 || d->hide[h].fixed)
            continue;
        for (int k = 0; k < y->elements; k++)
            if (y->element[k] == x->element[i])
                return true;
    }
    return false;
}

static double log_sum(double a, double b)
{
    double high = fmax(a, b), low = fmin(a, b);
    return isinf(high) ? high : high + log1p(exp(low - high));
}

static double log_apart(drawer *d, const int *list, int count);

/* Of looks that hang together: one hidden detail is summed out, and given it the rest. */
static double log_together(drawer *d, const int *list, int count)
{
    hidden *h = &d->hide[choose_hidden(d, list, count)];
    double sum = -INFINITY;
    h->fixed = true;
    for (int i = 0; i < h->detail.count && d->laws <= MOST_LAWS; i++) {
        d->lab.row[h->element] = h->detail.row[i];
        sum = log_sum(sum, log(h->detail.p[i]) + log_apart(d, list, count));
    }
    h->fixed = false;
    return sum;
}

/* Looks that nothing hidden joins are independent, given what is fixed. */
static double log_apart(drawer *d, const int *list, int count)
{
    double sum = 0;
    rl_mark before = rl_arena_mark(d->lab.scratch);
    int *rest = rl_many(d->lab.scratch, count, int), *part = rl_many(d->lab.scratch, count, int), left = 0;
    for (int i = 0; i < count; i++)
        if (hangs_on_hidden(d, list[i]))
            rest[left++] = list[i];
        else
            sum += log_chance(d, list[i]);
    while (left > 0) {
        int parts = 0, kept = 0;
        part[parts++] = rest[--left];
        for (int p = 0; p < parts; p++, left = kept) {
            kept = 0;
            for (int i = 0; i < left; i++)
                if (share_hidden(d, part[p], rest[i]))
                    part[parts++] = rest[i];
                else
                    rest[kept++] = rest[i];
        }
        sum += log_together(d, part, parts);
    }
    rl_arena_rewind(d->lab.scratch, before);
    return sum;
}

static double log_given_states(drawer *d)
{
    double sum = 0;
    for (int t = 0; t < d->looks; t++)
        if (!d->is_touched[t])
            sum += t < d->looks - d->readings ? log(d->sound_law[t * STRIDE + d->outcome[t]]) : log_density(d, t);
    d->laws = 0;
    return sum + log_apart(d, d->touched, d->touches);
}

/* ---- ln P(o) ---- */

static rl_status add_line(drawer *d, const char *one, const char *two)
{
    rl_text line = {.arena = d->lab.scratch};
    rl_put(&line, one);
    rl_put(&line, " ");
    rl_put(&line, two);
    return rl_case_add(d->audit->drawn, line.bytes, line.length, NULL, 0);
}

/* The name of what a test showed that is no reading; NULL: `others work` says it. */
static const char *outcome_name(const drawer *d, int look)
{
    const rl_model *m = d->lab.model;
    const rl_test *test = d->look[look].test;
    int outcome = d->outcome[look];
    switch (test->sort) {
    case RL_TEST_SYMPTOM: return outcome ? "present" : "absent";
    case RL_TEST_INSPECTION: return m->look[test->named].info.outcome[outcome];
    default: return outcome > 0 ? m->kind[m->node[test->subject].info.kind].info.level[outcome] : NULL;
    }
}

/* Takes the readings of the drawn vehicle, into its case and for log_density. */
static rl_status write_readings(drawer *d)
{
    rl_case *c = d->audit->drawn;
    rl_drawn *vehicle = &d->audit->vehicle;
    rl_status status = RL_OK;
    rl_stage stage;
    if (d->readings == 0)
        return RL_OK;
    rl_arena_rewind(&vehicle->scratch, vehicle->base);
    rl_stage_make(&stage, vehicle, c);
    for (int t = d->looks - d->readings; t < d->looks && status == RL_OK; t++) {
        rl_text line = {.arena = &vehicle->scratch};
        rl_draw_test(&stage, d->look[t].test, &line);
        status = rl_case_add(c, line.bytes, line.length, NULL, 0);
        if (status != RL_OK)
            break;
        const rl_finding *f = c->finding[c->findings - 1];
        rl_showing meter = rl_showing_make(d->lab.model, rl_observe_meter(rl_test_evidence(d->look[t].test->sort)),
                                           c->occasion[0].battery, false);
        d->reading[t] = (shown){meter, f->value, f->open};
    }
    return status;
}

static rl_status write_case(drawer *d)
{
    bool others = false;
    rl_status status = rl_case_new(d->audit->context, d->lab.model, "drawn", &d->audit->drawn);
    for (int t = 0; t < d->looks - d->readings && status == RL_OK; t++) {
        const char *outcome = outcome_name(d, t);
        others = others || !outcome;
        if (outcome)
            status = add_line(d, d->look[t].test->text, outcome);
    }
    if (status == RL_OK && others)
        status = add_line(d, "others", "work");
    return status == RL_OK ? write_readings(d) : status;
}

/* One upward pass, where one network is narrow enough. */
static rl_status log_exact(drawer *d, double *out)
{
    rl_mark before = rl_arena_mark(&d->audit->work);
    rl_bench *bench = rl_new(&d->audit->work, rl_bench);
    d->audit->drawn->arena.bail = d->audit->work.bail;   /* densities of its readings are kept with them */
    rl_status status = rl_bench_make(bench, &d->audit->work, d->audit->drawn, NULL);
    if (status == RL_OK)
        status = rl_bench_collect(bench);
    d->audit->drawn->arena.bail = NULL;
    *out = bench->log_evidence;
    rl_arena_rewind(&d->audit->work, before);
    return status;
}

/* ln P(o); of a bounded answer it is too low by at most what is added to `slack`. */
static rl_status log_seen(drawer *d, double *out)
{
    const rl_answer *answer;
    rl_status status = log_exact(d, out);
    if (status == RL_WIDE) {
        status = rl_case_answer(d->audit->drawn, &answer);
        if (status == RL_OK && !(answer->neglected < 1))
            status = RL_WIDE;
        if (status == RL_OK) {
            *out = answer->log_evidence;
            d->slack -= log1p(-answer->neglected);
        }
    }
    return status;
}

/* ---- the mean ---- */

/* log2 P(o | s) / P(o) of drawn vehicle `number`; RL_WIDE: it would take too much. */
static rl_status draw_one(drawer *d, uint64_t seed, uint64_t number, double *bits)
{
    const uint64_t key[] = {FOR_AUDIT, seed, number};
    rl_random random = rl_random_make(key, 3);
    rl_mark before = rl_arena_mark(d->lab.scratch);
    double given = 0, seen;
    d->audit->vehicle.number = number;
    for (int e = 0; e < d->lab.model->nodes; e++)
        draw_element(d, &random, e);
    draw_outcomes(d, &random);
    rl_status status = write_case(d);
    if (status == RL_OK) {
        given = log_given_states(d);
        status = d->laws > MOST_LAWS ? RL_WIDE : log_seen(d, &seen);
    }
    rl_case_free(d->audit->drawn);
    d->audit->drawn = NULL;
    if (status == RL_OK)
        *bits = (given - seen) / log(2);
    forget(d);
    rl_arena_rewind(d->lab.scratch, before);
    return status;
}

static rl_status draw_all(drawer *d, size_t draws, uint64_t seed)
{
    rl_audit_report *r = &d->audit->report;
    double mean = 0, square = 0;
    d->slack = 0;
    d->audit->vehicle.seed = seed;
    make_room(d);
    for (size_t i = 0; i < draws; i++) {
        double bits = 0, step;
        rl_status status = draw_one(d, seed, i, &bits);
        if (status != RL_OK)
            return status;
        step = bits - mean;
        mean += step / (double)(i + 1);
        square += step * (bits - mean);
    }
    r->left = RL_LEFT_DRAWN;
    r->drawn = draws;
    r->left_error = sqrt(square / (double)(draws - 1) / (double)draws) + d->slack / log(2) / (double)draws;
    r->left_bits = fmin(fmax(r->prior_bits - mean, 0), r->prior_bits);
    return RL_OK;
}

/* Keeps so many of the readings, spread evenly.  Some are better than none where all take too much:
 * with the others no more would be left. */
static void thin_readings(drawer *d, int keep)
{
    rl_audit_report *r = &d->audit->report;
    int first = d->looks - d->readings;
    assert(keep < d->readings);
    for (int i = 0; i < keep; i++)
        d->look[first + i] = d->look[first + (int)((2 * (long long)i + 1) * d->readings / (2 * keep))];
    r->left_out += (size_t)(d->readings - keep);
    r->readings = (size_t)keep;
    d->looks = first + keep;
    d->readings = keep;
    index_looks(d);
}

rl_status rl_audit_bits(rl_audit *audit, size_t draws, uint64_t seed)
{
    rl_audit_report *r = &audit->report;
    rl_mark before = rl_arena_mark(&audit->work);
    drawer d = {.audit = audit};
    rl_lab_make(&d.lab, &audit->work, &audit->scratch, audit->kase);
    make_looks(&d);
    r->prior_bits = entropy_of_states(audit->model);
    r->left = RL_LEFT_EXACT;
    rl_status status = RL_OK;
    if (d.readings > MOST_READINGS)
        thin_readings(&d, MOST_READINGS);
    if (d.readings > 0 || !rl_audit_exact(&d.lab, d.look, d.looks, &r->left_bits))
        status = draw_all(&d, draws, seed);
    while (status == RL_WIDE && d.readings > 0) {
        thin_readings(&d, d.readings / 2);
        status = draw_all(&d, draws, seed);
    }
    if (status == RL_WIDE) {
        r->left = RL_LEFT_BOUND;
        r->left_bits = r->prior_bits;
        status = RL_OK;
    }
    rl_arena_rewind(&audit->work, before);
    return status;
}
