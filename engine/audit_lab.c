/* audit_lab.c: see audit_lab.h.
 *
 * Invariant: what is shown here is what observe.h says of a finding, with
 * every path known: the same rows, the same folds, the same ends.
 */
#include "audit_lab.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

void rl_lab_make(rl_lab *lab, rl_arena *arena, rl_arena *scratch, const rl_case *kase)
{
    bool used[RL_MAX_OCCASIONS] = {false};
    *lab = (rl_lab){.arena = arena, .scratch = scratch, .model = kase->model, .kase = kase};
    rl_frame_make(&lab->frame, arena, kase->model, used, kase->occasions);
    rl_exprs_make(&lab->exprs, arena, &lab->frame);
    lab->observer = (rl_observer){.arena = scratch, .kase = kase, .model = kase->model, .frame = &lab->frame,
                                  .exprs = &lab->exprs};
    lab->world = rl_observe_world(&lab->observer, kase->occasions - 1, NULL);
    lab->row = rl_many(arena, kase->model->nodes, int);
}

/* ---- what a trial hangs on ---- */

static void make_room(rl_lab *lab)
{
    if (lab->exprs.count <= lab->room)
        return;
    lab->room = 2 * lab->exprs.count;
    lab->value = rl_many(lab->arena, lab->room, int);
    lab->stamp = rl_many(lab->arena, lab->room, unsigned);
    lab->now = 0;
}

static int compare_ints(const void *a, const void *b)
{
    int x = *(const int *)a, y = *(const int *)b;
    return (x > y) - (x < y);
}

/* A list of expressions that grows in scratch memory. */
typedef struct pile {
    rl_arena *arena;
    int *at, count, room;
} pile;

static void put(rl_lab *lab, pile *p, int expr)
{
    if (expr == 0 || lab->stamp[expr] == lab->now)
        return;
    lab->stamp[expr] = lab->now;
    if (p->count == p->room) {
        p->room = p->room ? 2 * p->room : 64;
        int *more = rl_many(p->arena, p->room, int);
        if (p->count > 0)
            memcpy(more, p->at, (size_t)p->count * sizeof *more);
        p->at = more;
    }
    p->at[p->count++] = expr;
}

static void put_parts(rl_lab *lab, pile *p, const rl_expr *x)
{
    if (x->sort == RL_X_MAX || x->sort == RL_X_MIN)
        put(lab, p, x->b);
    if (x->sort != RL_X_SOUND && x->sort != RL_X_ELEMENT && x->sort != RL_X_LOAD)
        put(lab, p, x->a);
}

static void set_reach(rl_lab *lab, rl_arena *arena, rl_trial *t)
{
    pile p = {.arena = arena};
    make_room(lab);
    lab->now++;
    for (int i = 0; i < t->inputs; i++)
        put(lab, &p, t->input[i]);
    for (int i = 0; i < p.count; i++)
        put_parts(lab, &p, &lab->exprs.at[p.at[i]]);
    if (p.count > 0)
        qsort(p.at, (size_t)p.count, sizeof *p.at, compare_ints);
    t->reach = p.at;
    t->count = p.count;
    t->element = rl_many(arena, p.count, int);
    for (int i = 0; i < p.count; i++) {
        const rl_expr *x = &lab->exprs.at[p.at[i]];
        if (x->sort == RL_X_ELEMENT || x->sort == RL_X_LOAD)
            t->element[t->elements++] = x->a;
    }
}

/* ---- the expressions of each sort of test ---- */

static void take_inputs(rl_arena *arena, rl_trial *t, int count)
{
    t->inputs = count;
    t->input = rl_many(arena, count, int);
}

static void behaviour_inputs(rl_lab *lab, rl_arena *arena, rl_trial *t)
{
    const rl_test *test = t->test;
    rl_conditions with = rl_test_conditions(test);
    rl_sides sides = rl_observe_sides(&lab->observer, lab->world, test->subject, &with);
    take_inputs(arena, t, 3);
    t->input[0] = sides.back;
    t->input[1] = sides.fed;
    t->input[2] = sides.own;
}

static void symptom_inputs(rl_lab *lab, rl_arena *arena, rl_trial *t)
{
    const rl_sign *sign = &lab->model->sign[t->test->named];
    take_inputs(arena, t, sign->causes);
    for (int i = 0; i < sign->causes; i++)
        t->input[i] = rl_observe_subject(&lab->observer, lab->world, &sign->cause[i]);
}

static void crosstalk_inputs(rl_lab *lab, rl_arena *arena, rl_trial *t)
{
    int expr[2] = {0, 0};
    bool pull = t->test->sort == RL_TEST_PULL;
    int count = rl_observe_crosstalk(&lab->observer, lab->world, pull, t->test->subject, t->test->other, expr);
    take_inputs(arena, t, count);
    memcpy(t->input, expr, (size_t)count * sizeof *expr);
}

static void span_inputs(rl_lab *lab, rl_arena *arena, rl_trial *t)
{
    const rl_test *test = t->test;
    rl_evidence sort = rl_test_evidence(test->sort);
    rl_finding reading = {.sort = sort, .subject = test->subject, .from = test->from, .to = test->to};
    bool found = rl_observe_fold(&lab->observer, &reading, lab->world, &t->fold);
    assert(found);
    (void)found;
    take_inputs(arena, t, t->fold.steps);
    for (int i = 0; i < t->fold.steps; i++)
        t->input[i] = t->fold.step[i].input;
}

void rl_trial_make(rl_lab *lab, rl_arena *arena, const rl_test *test, rl_trial *out)
{
    *out = (rl_trial){.test = test};
    switch (test->sort) {
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER:
    case RL_TEST_SUPPLY: behaviour_inputs(lab, arena, out); break;
    case RL_TEST_SYMPTOM: symptom_inputs(lab, arena, out); break;
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: crosstalk_inputs(lab, arena, out); break;
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY: span_inputs(lab, arena, out); break;
    case RL_TEST_INSPECTION:
        take_inputs(arena, out, 1);
        out->input[0] = rl_expr_element(&lab->exprs, lab->world, test->subject);
        break;
    }
    set_reach(lab, arena, out);
}

bool rl_trial_reads(const rl_trial *trial)
{
    rl_test_sort sort = trial->test->sort;
    return sort == RL_TEST_DROP || sort == RL_TEST_RESISTANCE || sort == RL_TEST_CONTINUITY || sort == RL_TEST_SUPPLY;
}

/* ---- values ---- */

static int value_of(const rl_lab *lab, const rl_expr *x)
{
    int open = lab->frame.rows - 1, *value = lab->value;
    switch (x->sort) {
    case RL_X_SOUND: return 0;
    case RL_X_ELEMENT:
    case RL_X_LOAD: return lab->row[x->a];
    case RL_X_FAILED: return value[x->a] ? open : 0;
    case RL_X_CALM: return lab->exprs.calm_row[value[x->a]];
    case RL_X_MAX: return rl_frame_max(2, value[x->a], value[x->b]);
    case RL_X_MIN: return rl_frame_min(2, value[x->a], value[x->b]);
    }
    return 0;
}

static void set_values(rl_lab *lab, const rl_trial *trial)
{
    lab->value[0] = 0;
    for (int i = 0; i < trial->count; i++)
        lab->value[trial->reach[i]] = value_of(lab, &lab->exprs.at[trial->reach[i]]);
}

/* ---- laws ---- */

static const rl_behaviour *kind_of(const rl_lab *lab, int load)
{
    return &lab->model->kind[lab->model->node[load].info.kind];
}

int rl_trial_outcomes(const rl_lab *lab, const rl_trial *trial)
{
    const rl_test *test = trial->test;
    if (test->sort == RL_TEST_INSPECTION)
        return (int)lab->model->look[test->named].info.outcomes;
    if (test->sort == RL_TEST_SYMPTOM || test->sort == RL_TEST_BACKFEED || test->sort == RL_TEST_PULL)
        return 2;
    return (int)kind_of(lab, test->subject)->info.levels;
}

static void firing_law(const rl_lab *lab, const rl_trial *trial, double *out)
{
    const rl_test *test = trial->test;
    bool sign = test->sort == RL_TEST_SYMPTOM;
    const rl_crosstalk *rule = test->sort == RL_TEST_PULL ? &lab->model->pull : &lab->model->backfeed;
    const rl_sign *of = sign ? &lab->model->sign[test->named] : NULL;
    out[0] = 1 - (of ? of->otherwise : rule->otherwise);
    for (int i = 0; i < trial->inputs; i++) {
        int expr = trial->input[i];
        out[0] *= 1 - rl_observe_chance(&lab->observer, of ? of->cause[i].p : rule->p, expr, lab->value[expr]);
    }
    out[1] = 1 - out[0];
}

void rl_trial_law(rl_lab *lab, const rl_trial *trial, double *out)
{
    const rl_test *test = trial->test;
    assert(!rl_trial_reads(trial) && test->sort != RL_TEST_INSPECTION);
    set_values(lab, trial);
    if (test->sort == RL_TEST_SYMPTOM || test->sort == RL_TEST_BACKFEED || test->sort == RL_TEST_PULL) {
        firing_law(lab, trial, out);
        return;
    }
    const rl_rows *rows = lab->model->rows->of_load[test->subject];
    const int *value = lab->value;
    rl_observe_levels(kind_of(lab, test->subject), rows->side[0][rl_observe_row(&lab->frame, value[trial->input[0]])],
                      rows->side[1][rl_observe_row(&lab->frame, value[trial->input[1]])],
                      value[trial->input[2]] != 0, out);
}

static rl_end supply_end(const rl_lab *lab, const rl_trial *trial)
{
    const int *value = lab->value, *input = trial->input;
    bool flows = value[input[2]] == 0 && value[input[0]] != lab->frame.rows - 1;
    int row = rl_observe_row(&lab->frame, value[input[1]]);
    return rl_observe_supply_end(lab->scratch, lab->model, trial->test->subject, row, flows);
}

rl_end rl_trial_end(rl_lab *lab, const rl_trial *trial)
{
    assert(rl_trial_reads(trial));
    set_values(lab, trial);
    if (trial->test->sort == RL_TEST_SUPPLY)
        return supply_end(lab, trial);
    int at = 0;
    for (int i = 0; i < trial->fold.steps; i++) {
        const rl_step *step = &trial->fold.step[i];
        assert(lab->value[step->input] < step->values);
        at = step->next[at * step->values + lab->value[step->input]];
    }
    return trial->fold.end[at];
}

rl_detail rl_lab_detail(const rl_lab *lab, rl_arena *arena, int element, rl_state state)
{
    const rl_node *node = &lab->model->node[element];
    rl_detail d = {.row = rl_many(arena, lab->frame.bins + 2, int), .p = rl_many(arena, lab->frame.bins + 2, double)};
    if (state == RL_CORRODED) {
        for (int b = 0; b < lab->frame.bins; b++)
            if (node->bin_mass[lab->frame.bin[b]] > 0) {
                d.row[d.count] = 2 + b;
                d.p[d.count++] = node->bin_mass[lab->frame.bin[b]];
            }
        return d;
    }
    if (state == RL_LOOSE && node->quiet > 0)
        d.p[d.count++] = node->quiet;
    double rest = state == RL_LOOSE ? 1 - node->quiet : 1;
    if (rest > 0) {
        d.row[d.count] = state == RL_SOUND ? 0 : state == RL_OPEN ? lab->frame.rows - 1 : 1;
        d.p[d.count++] = rest;
    }
    return d;
}
