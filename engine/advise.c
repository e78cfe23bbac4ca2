/* advise.c: see advise.h.
 *
 * I(F;T) = H(T) - H(T | F).  T depends on F only through the test's own
 * parents, so a probe of the network gives the distribution over what matters
 * for T (the rows of a behaviour, the end of a span); both terms are linear in it.
 *
 * Invariant: bits >= 0 where known, -1 where a table would be too wide, never NaN.
 */
#include "admit.h"
#include "advise.h"
#include "band_book.h"
#include "likely.h"
#include "reach.h"
#include "worst.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What backfeed or pull over these expressions tells. */
typedef struct fired {
    bool pull;
    int count, expr[2];
    bool known;                /* false: it would take too wide a table */
    double expected[3];
    struct fired *next;
} fired;

typedef struct rl_adviser {
    const rl_model *model;
    rl_bench *bench;
    rl_observer observer;      /* takes memory from `arena`, not from the bench */
    rl_arena *arena;           /* rewound after each test */
    rl_world *world;           /* of the last occasion */
    rl_groups groups;
    rl_givens givens;
    rl_ladders ladders;
    rl_trunk trunk;
    rl_observer lasting;       /* takes memory that lasts as long as the adviser */
    rl_bearings bearings;
    fired *crosstalk;          /* what crosstalk tells, by its kind and expressions: the newest first */
    rl_chain **chain_of;       /* by load, made when first asked */
    bool *no_chain;            /* by load: its conditions do not hold */
    int together;              /* load whose tests are all asked one after the other, -1: none */
    double battery;
} adviser;

/* The difference of two entropies is not known better than this. */
static const double NOISE = 4e-15;

double rl_told_bits(const double *expected, int outcomes)
{
    double p[RL_TOLD_OUTCOMES], sum = 0;
    for (int i = 0; i < outcomes; i++)
        sum += expected[i];
    for (int i = 0; i < outcomes; i++)
        p[i] = expected[i] / sum;
    double bits = rl_entropy(p, outcomes) - expected[outcomes] / sum;
    return bits > NOISE ? bits : 0;
}

static void begin_told(rl_told *out, int outcomes)
{
    out->outcomes = outcomes;
    memset(out->expected, 0, (size_t)(outcomes + 1) * sizeof *out->expected);
}

/* The row of a test's outcomes, and behind it the row's entropy. */
static void close_row(double *row, int outcomes)
{
    row[outcomes] = rl_entropy(row, outcomes);
}

static rl_chain *chain_for(adviser *a, int load)
{
    if (!a->chain_of[load] && !a->no_chain[load]) {
        a->chain_of[load] = rl_chain_make(&a->bearings, load);
        a->no_chain[load] = !a->chain_of[load];
    }
    return a->chain_of[load];
}

/* ---- behaviours, with or without a condition ---- */

/* Rows of a behaviour's levels: [return][feed][load][levels + 1]. */
typedef struct leveled {
    int size[3], levels, cells;
    const double *row;
} leveled;

static void work_out_levels(const adviser *a, int load, const leveled *l, double *row)
{
    const rl_frame *frame = &a->bench->frame;
    const rl_rows *rows = a->model->rows->of_load[load];
    const rl_behaviour *kind = &a->model->kind[rows->kind];
    for (int back = 0; back < l->size[0]; back++)
        for (int fed = 0; fed < l->size[1]; fed++)
            for (int failed = 0; failed < l->size[2]; failed++, row += l->levels + 1) {
                rl_observe_levels(kind, rows->side[0][rl_observe_row(frame, back)],
                                  rows->side[1][rl_observe_row(frame, fed)], failed, row);
                close_row(row, l->levels);
            }
}

/* Tables that the model keeps: they depend on the kind and the current alone. */
enum { MOST_KEPT_LEVELS = 4096 };

static leveled level_rows(adviser *a, int load, rl_sides sides)
{
    const rl_rows *rows = a->model->rows->of_load[load];
    int size = a->bench->frame.rows;
    leveled l = {.size = {sides.back ? size : 1, sides.fed ? size : 1, sides.own ? 2 : 1},
                 .levels = (int)a->model->kind[rows->kind].info.levels};
    double shape = (sides.back != 0) + 2 * (sides.fed != 0) + 4 * (sides.own != 0);
    double word[3] = {-1 - shape, rows->kind, rows->current};   /* keys of bands begin with no negative number */
    rl_band_key key = {3, word, rl_band_hash(word, 3)};
    l.cells = l.size[0] * l.size[1] * l.size[2] * (l.levels + 1);
    l.row = l.cells <= MOST_KEPT_LEVELS ? rl_band_book_look(a->model->bands, &key) : NULL;
    if (l.row)
        return l;
    double *row = rl_raw(a->arena, l.cells, double);
    work_out_levels(a, load, &l, row);
    l.row = l.cells <= MOST_KEPT_LEVELS ? rl_band_book_put(a->model->bands, &key, row, l.cells) : NULL;
    if (!l.row)
        l.row = row;
    return l;
}

/* ---- probes, where the chain cannot say ---- */

/* Tells the groups, once, what the tests of the load at hand will ask about. */
static void hint(adviser *a)
{
    if (a->together < 0)
        return;
    const rl_node *node = &a->model->node[a->together];
    rl_exprs *exprs = &a->bench->exprs;
    int count = 0;
    int *expr = rl_many(a->arena, 2 * node->on_every_count + 2, int);
    for (int i = 0; i < node->on_every_count; i++) {
        int e = node->on_every[i];
        expr[count++] = rl_expr_element(exprs, a->world, e);
        if (a->model->node[e].info.sort != RL_CONNECTOR)
            expr[count++] = rl_expr_return(exprs, a->world, e);
    }
    expr[count++] = rl_expr_load_feed(exprs, a->world, a->together);
    expr[count++] = rl_expr_element(exprs, a->world, a->together);
    a->groups.hint = rl_probe_variables(a->bench, a->bearings.arena, expr, count, &a->groups.hint_count);
    a->together = -1;
}

/* Asks the network by one factor over the rows that matter. */
static bool behaviour_by_probe(adviser *a, const leveled *l, rl_sides sides, rl_told *out)
{
    rl_probe probe;
    hint(a);
    rl_probe_make(&probe, a->arena, a->bench, &a->groups);
    int target = rl_probe_helper(&probe, l->levels + 1);
    double *row = rl_raw(a->arena, l->cells, double);
    memcpy(row, l->row, (size_t)l->cells * sizeof *row);
    rl_cells t = {.count = 4, .input = {sides.back, sides.fed, sides.own, target},
                  .size = {l->size[0], l->size[1], l->size[2], l->levels + 1}, .cell = row};
    rl_probe_add(&probe, &t);
    out->outcomes = l->levels;
    return rl_probe_run(&probe, target, out->expected);
}

/* The return up to where it is bypassed: its elements, if there is but one way to there. */
static rl_worst cut_return(adviser *a, int load, int at)
{
    rl_stretch s;
    if (at < 0 || rl_stretch_make(a->arena, a->model, load, -1, at, false, &s) != RL_STRETCH_OK || s.ways > 1)
        return (rl_worst){.count = 0};
    int *expr = rl_many(a->arena, s.way[0].count, int);
    for (int i = 0; i < s.way[0].count; i++)
        expr[i] = rl_expr_element(&a->bench->exprs, a->world, s.way[0].element[i]);
    return (rl_worst){.count = s.way[0].count, .expr = expr};
}

/* The rows of a test's sides, the return's before all; NULL: ask by a probe. */
static const double *joint_sides(adviser *a, const rl_worst *back, const rl_sides *sides)
{
    rl_worst set[3] = {*back, {.count = sides->fed != 0, .expr = &sides->fed}, {.count = sides->own != 0, .expr = &sides->own}};
    return rl_worst_joint(&a->bearings, set, 3);
}

/* The rows of the sides with the return up to `at` alone; NULL: the chain cannot say. */
static const double *joint_of_cut(adviser *a, int load, int at, const rl_worst *cut, const rl_sides *sides)
{
    rl_chain *chain = cut->count > 0 && sides->fed && sides->own ? chain_for(a, load) : NULL;
    return chain ? rl_chain_worst(chain, at) : NULL;
}

static bool behaviour_told(adviser *a, const rl_test *test, rl_told *out)
{
    rl_conditions with = rl_test_conditions(test);
    rl_sides sides = rl_observe_sides(&a->observer, a->world, test->subject, &with);
    leveled l = level_rows(a, test->subject, sides);
    rl_worst back = sides.back ? cut_return(a, test->subject, with.bypass_at) : (rl_worst){.count = 0};
    const double *joint = joint_of_cut(a, test->subject, with.bypass_at, &back, &sides), *row = l.row;
    if (sides.back && back.count == 0)
        back = (rl_worst){.count = 1, .expr = &sides.back};
    if (!joint)
        joint = joint_sides(a, &back, &sides);
    if (!joint)
        return behaviour_by_probe(a, &l, sides, out);
    begin_told(out, l.levels);
    for (int c = 0; c < l.size[0] * l.size[1] * l.size[2]; c++, row += l.levels + 1)
        for (int k = 0; k <= l.levels; k++)
            out->expected[k] += joint[c] * row[k];
    return true;
}

/* ---- causes that fire or not ---- */

enum { MOST_GROUPS = 6 };

/* A helper whose values are the chances that a cause, or several, stay quiet. */
typedef struct quiet {
    int input, size;
    double *p;
} quiet;

static int value_number(quiet *q, double p)
{
    for (int i = 0; i < q->size; i++)
        if (q->p[i] == p)
            return i;
    q->p[q->size] = p;
    return q->size++;
}

/* One cause: its states, as far as their chances differ. */
static quiet quiet_cause(adviser *a, rl_probe *probe, int expr, const double *p)
{
    rl_bench *b = a->bench;
    int states = expr ? rl_expr_rows(&b->exprs, expr) : 1;
    quiet q = {.p = rl_many(a->arena, states, double)};
    int *number = rl_many(a->arena, states, int);
    for (int v = 0; v < states; v++)
        number[v] = value_number(&q, 1 - rl_observe_chance(&a->observer, p, expr, v));
    q.input = rl_probe_helper(probe, q.size);
    rl_cells t = {.count = 2, .input = {expr, q.input}, .size = {states, q.size}};
    rl_cells_take(a->arena, &t);
    for (int v = 0; v < states; v++)
        t.cell[v * q.size + number[v]] = 1;
    rl_probe_add(probe, &t);
    return q;
}

static quiet quiet_both(adviser *a, rl_probe *probe, const quiet *x, const quiet *y)
{
    quiet q = {.p = rl_many(a->arena, x->size * y->size, double)};
    int *number = rl_many(a->arena, x->size * y->size, int);
    for (int c = 0; c < x->size * y->size; c++)
        number[c] = value_number(&q, x->p[c / y->size] * y->p[c % y->size]);
    q.input = rl_probe_helper(probe, q.size);
    rl_cells t = {.count = 3, .input = {x->input, y->input, q.input}, .size = {x->size, y->size, q.size}};
    rl_cells_take(a->arena, &t);
    for (int c = 0; c < x->size * y->size; c++)
        t.cell[c * q.size + number[c]] = 1;
    rl_probe_add(probe, &t);
    return q;
}

/* (groups, outcome): absent, present, and the entropy of the two. */
static rl_cells fired_table(adviser *a, const quiet *group, int groups, double otherwise, int target)
{
    rl_cells t = {.count = 0};
    int cells = 1;
    for (int g = 0; g < groups; g++) {
        t.input[t.count] = group[g].input;
        t.size[t.count++] = group[g].size;
        cells *= group[g].size;
    }
    t.input[t.count] = target;
    t.size[t.count++] = 3;
    rl_cells_take(a->arena, &t);
    for (int c = 0; c < cells; c++) {
        double absent = 1 - otherwise;
        for (int g = groups, rest = c; g-- > 0; rest /= group[g].size)
            absent *= group[g].p[rest % group[g].size];
        double *row = &t.cell[c * 3];
        row[0] = absent;
        row[1] = 1 - absent;
        close_row(row, 2);
    }
    return t;
}

static bool firing_by_probe(adviser *a, const int *expr, const double *const *p, int count, double otherwise,
                            rl_told *out)
{
    rl_probe probe;
    rl_probe_make(&probe, a->arena, a->bench, &a->groups);
    quiet group[MOST_GROUPS];
    int groups = 0;
    for (int i = 0; i < count; i++) {
        quiet q = quiet_cause(a, &probe, expr[i], p[i]);
        if (groups == MOST_GROUPS)
            group[groups - 1] = quiet_both(a, &probe, &group[groups - 1], &q);
        else
            group[groups++] = q;
    }
    int target = rl_probe_helper(&probe, 3);
    rl_cells t = fired_table(a, group, groups, otherwise, target);
    rl_probe_add(&probe, &t);
    out->outcomes = 2;
    return rl_probe_run(&probe, target, out->expected);
}

/* Expectations of absent, present and their entropy, from the joint of the causes' rows. */
static void firing_from(adviser *a, const double *joint, const int *expr, const double *const *p, int count,
                        double otherwise, rl_told *out)
{
    double row[3];
    begin_told(out, 2);
    int size[RL_WORST_SETS], cells = 1;
    for (int i = 0; i < count; i++)
        cells *= size[i] = expr[i] ? rl_expr_rows(&a->bench->exprs, expr[i]) : 1;
    for (int c = 0; c < cells; c++) {
        double absent = 1 - otherwise;
        for (int i = count, rest = c; i-- > 0; rest /= size[i])
            absent *= 1 - rl_observe_chance(&a->observer, p[i], expr[i], rest % size[i]);
        row[0] = absent;
        row[1] = 1 - absent;
        close_row(row, 2);
        for (int k = 0; k < 3; k++)
            out->expected[k] += joint[c] * row[k];
    }
}

static bool firing_told(adviser *a, const int *expr, const double *const *p, int count, double otherwise, rl_told *out)
{
    rl_worst set[RL_WORST_SETS] = {{.count = 0}};
    for (int i = 0; i < count && i < RL_WORST_SETS; i++)
        set[i] = (rl_worst){.count = expr[i] != 0, .expr = &expr[i]};
    const double *joint = count <= RL_WORST_SETS ? rl_worst_joint(&a->bearings, set, count) : NULL;
    if (!joint)
        return firing_by_probe(a, expr, p, count, otherwise, out);
    firing_from(a, joint, expr, p, count, otherwise, out);
    return true;
}

static bool symptom_told(adviser *a, const rl_test *test, rl_told *out)
{
    const rl_sign *sign = &a->model->sign[test->named];
    int *expr = rl_many(a->arena, sign->causes + 1, int);
    const double **p = rl_many(a->arena, sign->causes + 1, const double *);
    for (int i = 0; i < sign->causes; i++) {
        expr[i] = rl_observe_subject(&a->observer, a->world, &sign->cause[i]);
        p[i] = sign->cause[i].p;
    }
    return firing_told(a, expr, p, sign->causes, sign->otherwise, out);
}

static bool crosstalk_told(adviser *a, const rl_test *test, rl_told *out)
{
    bool pull = test->sort == RL_TEST_PULL;
    const rl_crosstalk *rule = pull ? &a->model->pull : &a->model->backfeed;
    const double *p[2] = {rule->p, rule->p};
    int expr[2];
    int count = rl_observe_crosstalk(&a->observer, a->world, pull, test->subject, test->other, expr);
    fired *f = a->crosstalk;   /* few sets are shared by many pairs */
    while (f && (f->pull != pull || f->count != count || memcmp(f->expr, expr, (size_t)count * sizeof *expr) != 0))
        f = f->next;
    if (!f) {
        f = rl_new(a->bearings.arena, fired);
        *f = (fired){.pull = pull, .count = count, .next = a->crosstalk};
        memcpy(f->expr, expr, (size_t)count * sizeof *expr);
        f->known = firing_told(a, expr, p, count, rule->otherwise, out);
        if (f->known)
            memcpy(f->expected, out->expected, sizeof f->expected);
        a->crosstalk = f;
    }
    if (f->known) {
        out->outcomes = 2;
        memcpy(out->expected, f->expected, sizeof f->expected);
    }
    return f->known;
}

/* ---- inspections ---- */

static void inspection_told(const adviser *a, const rl_test *test, rl_told *out)
{
    const rl_look *look = &a->model->look[test->named];
    int outcomes = (int)look->info.outcomes;
    const double *state = a->bearings.belief[test->subject].p, sound[RL_STATES] = {1};
    double row[RL_TOLD_OUTCOMES];
    begin_told(out, outcomes);
    if (rl_world_forces(a->world, test->subject))
        state = sound;
    for (int s = 0; s < RL_STATES; s++) {
        memcpy(row, look->row[s], (size_t)outcomes * sizeof *row);
        close_row(row, outcomes);
        for (int i = 0; i <= outcomes; i++)
            out->expected[i] += state[s] * row[i];
    }
}

/* ---- readings ---- */

static rl_showing showing_of(const adviser *a, rl_test_sort sort)
{
    return rl_showing_make(a->model, rl_observe_meter(rl_test_evidence(sort)), a->battery, false);
}

/* Ends that hardly ever come about cannot change the bits by as much as they weigh. */
static const double NEVER = 1e-15;

static void ends_told(adviser *a, const rl_showing *showing, const rl_end *end, const double *p, int ends, rl_told *out)
{
    int outcomes = rl_showing_outcomes(showing);
    begin_told(out, outcomes);
    for (int i = 0; i < ends; i++) {
        if (p[i] < NEVER)
            continue;
        const double *row = rl_showing_row(showing, &end[i], a->arena);
        for (int k = 0; k <= outcomes; k++)
            out->expected[k] += p[i] * row[k];
    }
}

/* Probability of each end of a fold: the chain of its steps, hung on the network. */
static bool end_probabilities(adviser *a, const rl_fold *fold, double *out)
{
    rl_probe probe;
    if (fold->ends == 1) {
        out[0] = 1;
        return true;
    }
    rl_probe_make(&probe, a->arena, a->bench, &a->groups);
    int before = 0;
    for (int i = 0; i < fold->steps; i++) {
        const rl_step *step = &fold->step[i];
        int after = rl_probe_helper(&probe, step->to);
        rl_cells t = rl_observe_step(a->arena, step, before, after);
        rl_probe_add(&probe, &t);
        before = after;
    }
    return rl_probe_run(&probe, before, out);
}

/* The fold of a span test and the probability of each of its ends; NULL: too wide. */
static const double *fold_of(adviser *a, const rl_test *test, rl_fold *fold)
{
    rl_evidence sort = rl_test_evidence(test->sort);
    rl_finding reading = {.sort = sort, .subject = test->subject, .from = test->from, .to = test->to};
    bool found = rl_observe_fold(&a->observer, &reading, a->world, fold);
    assert(found);
    (void)found;
    double *p = rl_many(a->arena, fold->ends, double);
    return end_probabilities(a, fold, p) ? p : NULL;
}

/* Ends of a span test, from its chain or by a fold; false: too wide. */
static bool ends_of(adviser *a, const rl_test *test, rl_chain_ends *out)
{
    bool dead = test->sort != RL_TEST_DROP;
    rl_chain *chain = chain_for(a, test->subject);
    if (chain && rl_chain_ask(chain, test->from, test->to, dead, out))
        return true;
    rl_fold fold;
    rl_stretch stretch;
    hint(a);
    const double *p = fold_of(a, test, &fold);
    if (!p || rl_stretch_make(a->arena, a->model, test->subject, test->from, test->to, dead, &stretch) != RL_STRETCH_OK)
        return false;
    *out = (rl_chain_ends){.ends = fold.ends, .end = fold.end, .p = p, .way = stretch.way};
    return true;
}

/* (return, feed, load) to the end of a supply reading; NULL: too wide. */
static const double *supply_by_probe(adviser *a, rl_sides sides)
{
    rl_bench *b = a->bench;
    int rows = a->model->bins + 3, size = b->frame.rows;
    rl_probe probe;
    hint(a);
    rl_probe_make(&probe, a->arena, b, &a->groups);
    int flows = rl_probe_helper(&probe, 2), target = rl_probe_helper(&probe, rows * 2);
    rl_cells flow = {.count = 3, .input = {sides.back, sides.own, flows},
                     .size = {sides.back ? size : 1, sides.own ? 2 : 1, 2}};
    rl_cells_take(a->arena, &flow);
    for (int c = 0; c < flow.size[0] * flow.size[1]; c++) {
        bool yes = c % flow.size[1] == 0 && c / flow.size[1] != size - 1;
        flow.cell[c * 2 + yes] = 1;
    }
    rl_cells shown = {.count = 3, .input = {flows, sides.fed, target}, .size = {2, sides.fed ? size : 1, rows * 2}};
    rl_cells_take(a->arena, &shown);
    for (int c = 0; c < 2 * shown.size[1]; c++) {
        int row = rl_observe_row(&b->frame, c % shown.size[1]);
        shown.cell[c * rows * 2 + row * 2 + c / shown.size[1]] = 1;
    }
    rl_probe_add(&probe, &flow);
    rl_probe_add(&probe, &shown);
    double *p = rl_many(a->arena, rows * 2, double);
    return rl_probe_run(&probe, target, p) ? p : NULL;
}

/* Probability of each end of a supply reading; NULL: too wide. */
static const double *supply_ends(adviser *a, const rl_test *test)
{
    const rl_frame *frame = &a->bench->frame;
    rl_sides sides = rl_observe_sides(&a->observer, a->world, test->subject, NULL);
    rl_worst back = {.count = sides.back != 0, .expr = &sides.back, .open = true};
    const double *joint = joint_sides(a, &back, &sides);
    if (!joint)
        return supply_by_probe(a, sides);
    int size[3] = {sides.back ? 2 : 1, sides.fed ? frame->rows : 1, sides.own ? 2 : 1};
    double *p = rl_many(a->arena, 2 * (a->model->bins + 3), double);
    for (int c = 0; c < size[0] * size[1] * size[2]; c++) {
        int fed = c / size[2] % size[1];
        bool flows = c % size[2] == 0 && c < size[1] * size[2];
        p[rl_observe_row(frame, fed) * 2 + flows] += joint[c];
    }
    return p;
}

/* Ends of a supply reading: [row of the feed][whether a current flows]; false: too wide. */
static bool supply_ends_of(adviser *a, const rl_test *test, rl_chain_ends *out)
{
    const double *p = supply_ends(a, test);
    int ends = 2 * (a->model->bins + 3);
    rl_end *end = rl_many(a->arena, ends, rl_end);
    for (int i = 0; i < ends; i++)
        end[i] = rl_observe_supply_end(a->arena, a->model, test->subject, i / 2, i % 2);
    *out = (rl_chain_ends){.ends = ends, .end = end, .p = p};
    return p != NULL;
}

bool rl_adviser_ends(adviser *a, const rl_test *test, rl_chain_ends *out)
{
    return test->sort == RL_TEST_SUPPLY ? supply_ends_of(a, test, out) : ends_of(a, test, out);
}

void rl_adviser_ends_told(adviser *a, const rl_test *test, const rl_chain_ends *ends, rl_told *out)
{
    rl_showing showing = showing_of(a, test->sort);
    ends_told(a, &showing, ends->end, ends->p, ends->ends, out);
}

static bool reading_told(adviser *a, const rl_test *test, rl_told *out)
{
    rl_chain_ends ends;
    bool known = rl_adviser_ends(a, test, &ends);
    if (known)
        rl_adviser_ends_told(a, test, &ends, out);
    return known;
}

/* ---- all of them ---- */

static bool told(adviser *a, const rl_test *test, rl_told *out)
{
    switch (test->sort) {
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER: return behaviour_told(a, test, out);
    case RL_TEST_SYMPTOM: return symptom_told(a, test, out);
    case RL_TEST_INSPECTION: inspection_told(a, test, out); break;
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: return crosstalk_told(a, test, out);
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY:
    case RL_TEST_SUPPLY: return reading_told(a, test, out);
    }
    return true;
}

adviser *rl_adviser_on(rl_case *c, const rl_work *work, rl_bench *bench, rl_world *world, const rl_seats *seats)
{
    adviser *a = rl_new(seats->arena, adviser);
    *a = (adviser){.model = c->model, .bench = bench, .world = world, .arena = seats->scratch, .together = -1};
    a->groups.arena = seats->groups;
    a->groups.start = rl_arena_mark(seats->groups);
    a->chain_of = rl_many(seats->arena, c->model->nodes, rl_chain *);
    a->no_chain = rl_many(seats->arena, c->model->nodes, bool);
    a->battery = c->occasion[c->occasions - 1].battery;
    a->observer = bench->observer;
    a->observer.exprs = &bench->exprs;
    a->observer.arena = a->arena;
    rl_givens_make(&a->givens, seats->arena, a->arena, bench);
    rl_ladders_make(&a->ladders, seats->arena, a->arena, bench, &a->groups);
    a->lasting = a->observer;
    a->lasting.arena = seats->arena;
    rl_trunk_make(&a->trunk, seats->arena, &a->givens, &a->ladders, a->lasting.exprs, world);
    a->bearings = (rl_bearings){seats->arena, a->arena, &a->lasting, world, work->belief, &a->givens, &a->ladders, &a->trunk};
    return a;
}

rl_world *rl_adviser_world(const rl_case *c, rl_work *work)
{
    return rl_observe_world(&work->bench.observer, c->occasions - 1, NULL);
}

/* A network in which every path of the last occasion's world tells the last
 * occasion, so that tests find what they ask about. */
rl_status rl_adviser_make(adviser **out, rl_case *c, rl_work *work)
{
    rl_seats seats = {&work->arena, &work->scratch, &work->groups};
    rl_world *world = rl_adviser_world(c, work);
    rl_bench *bench = rl_new(&work->arena, rl_bench);
    rl_arena_rewind(&work->groups, (rl_mark){NULL, 0});   /* what an earlier question left */
    rl_status status = rl_bench_for_tests(bench, &work->arena, &work->bench, world);
    if (status == RL_OK)
        *out = rl_adviser_on(c, work, bench, world, &seats);
    return status;
}

const rl_bearings *rl_adviser_bearings(const adviser *a)
{
    return &a->bearings;
}

void rl_adviser_bound(adviser *a, double cells)
{
    a->groups.most_spent = cells;
}

void rl_adviser_together(adviser *a, int load)
{
    a->together = load >= 0 && a->model->node[load].info.sort == RL_LOAD ? load : -1;
    if (a->together < 0)
        a->groups.hint_count = 0;
}

bool rl_adviser_told(adviser *a, const rl_test *test, rl_told *out)
{
    rl_mark mark = rl_arena_mark(a->arena);
    bool known = told(a, test, out);
    rl_arena_rewind(a->arena, mark);
    return known;
}

double rl_adviser_bits(adviser *a, const rl_test *test)
{
    rl_told out;
    return rl_adviser_told(a, test, &out) ? rl_told_bits(out.expected, out.outcomes) : -1;
}

void rl_adviser_ranges(adviser *a, const rl_case *c, rl_test *test)
{
    rl_mark mark = rl_arena_mark(a->arena);
    rl_chain_ends ends;
    rl_likely *list = NULL;
    if (rl_test_has_range(test->sort) && rl_adviser_ends(a, test, &ends))
        rl_likely_add(&list, a->arena, &a->bearings, test, &ends, 1);
    if (list)
        rl_likely_set(list, c, test);
    rl_arena_rewind(a->arena, mark);
}
