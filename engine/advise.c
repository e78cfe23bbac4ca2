/* advise.c: what each admissible test would tell, in bits, and the best first (design §4).
 *
 * I(F;T) = H(T) - H(T | F).  T depends on F only through the test's own
 * parents, so a probe of the network gives the distribution over what matters
 * for T (the rows of a behaviour, the end of a span); both terms are linear in it.
 *
 * Invariant: bits >= 0 where known, -1 where a table would be too wide, never NaN.  Tests are ordered by bits per minute,
 * ties by text.
 */
#include "chain.h"
#include "limit.h"
#include "probe.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MAX_OUTCOMES = RL_MAX_LEVELS + 2, RANGED_TESTS = 32 };

typedef struct adviser {
    rl_case *c;
    const rl_model *model;
    rl_work *work;
    rl_bench *bench;
    rl_observer observer;      /* takes memory from `arena`, not from the bench */
    rl_arena *arena;           /* rewound after each test */
    rl_world *world;           /* of the last occasion */
    rl_groups groups;
    rl_chain **chain_of;       /* by load, made when first asked; in the work's arena */
    bool *no_chain;            /* by load: its conditions do not hold */
    int last;
    double battery;
} adviser;

/* Bits of a test that would take too wide a table. */
static const double UNKNOWN = -1;

/* Bits from expectations: `outcome` numbers that sum to 1 up to a scale, then
 * the expected entropy of a row to the same scale. */
static double bits_from(const double *expected, int outcomes)
{
    double p[MAX_OUTCOMES], sum = 0;
    for (int i = 0; i < outcomes; i++)
        sum += expected[i];
    for (int i = 0; i < outcomes; i++)
        p[i] = expected[i] / sum;
    double bits = rl_entropy(p, outcomes) - expected[outcomes] / sum;
    return bits > 0 ? bits : 0;
}

/* The row of a test's outcomes, and behind it the row's entropy. */
static void close_row(double *row, int outcomes)
{
    row[outcomes] = rl_entropy(row, outcomes);
}

/* ---- behaviours, with or without a condition ---- */

static rl_conditions condition_of(const rl_test *test)
{
    rl_conditions with = {.bypass_at = -1};
    with.bypass = test->sort == RL_TEST_BYPASS;
    with.swap = test->sort == RL_TEST_SWAP;
    with.jumper = test->sort == RL_TEST_JUMPER;
    if (test->sort == RL_TEST_BYPASS_AT)
        with.bypass_at = test->other;
    return with;
}

/* (return, feed, load, outcome): one factor over the rows that matter. */
static double behaviour_bits(adviser *a, const rl_test *test)
{
    rl_conditions with = condition_of(test);
    rl_bench *b = a->bench;
    rl_sides sides = rl_observe_sides(&a->observer, a->world, test->subject, &with);
    const rl_rows *rows = a->model->rows->of_load[test->subject];
    const rl_behaviour *kind = &a->model->kind[rows->kind];
    int levels = (int)kind->info.levels, size = b->frame.rows;
    rl_probe probe;
    rl_probe_make(&probe, a->arena, b, &a->groups);
    int target = rl_probe_helper(&probe, levels + 1);
    rl_cells t = {.count = 4, .input = {sides.back, sides.fed, sides.own, target},
                  .size = {sides.back ? size : 1, sides.fed ? size : 1, sides.own ? 2 : 1, levels + 1}};
    rl_cells_take(a->arena, &t);
    double *row = t.cell;
    for (int back = 0; back < t.size[0]; back++)
        for (int fed = 0; fed < t.size[1]; fed++)
            for (int failed = 0; failed < t.size[2]; failed++, row += levels + 1) {
                rl_observe_levels(kind, rows->side[0][rl_observe_row(&b->frame, back)],
                                  rows->side[1][rl_observe_row(&b->frame, fed)], failed, row);
                close_row(row, levels);
            }
    double expected[MAX_OUTCOMES];
    rl_probe_add(&probe, &t);
    if (!rl_probe_run(&probe, target, expected))
        return UNKNOWN;
    return bits_from(expected, levels);
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

static double firing_bits(adviser *a, const int *expr, const double *const *p, int count, double otherwise)
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
    double expected[3];
    rl_probe_add(&probe, &t);
    if (!rl_probe_run(&probe, target, expected))
        return UNKNOWN;
    return bits_from(expected, 2);
}

static double symptom_bits(adviser *a, const rl_test *test)
{
    const rl_sign *sign = &a->model->sign[test->named];
    int *expr = rl_many(a->arena, sign->causes + 1, int);
    const double **p = rl_many(a->arena, sign->causes + 1, const double *);
    for (int i = 0; i < sign->causes; i++) {
        expr[i] = rl_observe_subject(&a->observer, a->world, &sign->cause[i]);
        p[i] = sign->cause[i].p;
    }
    return firing_bits(a, expr, p, sign->causes, sign->otherwise);
}

static double crosstalk_bits(adviser *a, const rl_test *test)
{
    bool pull = test->sort == RL_TEST_PULL;
    const rl_crosstalk *rule = pull ? &a->model->pull : &a->model->backfeed;
    const double *p[2] = {rule->p, rule->p};
    int expr[2];
    int count = rl_observe_crosstalk(&a->observer, a->world, pull, test->subject, test->other, expr);
    return firing_bits(a, expr, p, count, rule->otherwise);
}

/* ---- inspections ---- */

static double inspection_bits(adviser *a, const rl_test *test)
{
    const rl_look *look = &a->model->look[test->named];
    int outcomes = (int)look->info.outcomes;
    double state[RL_STATES], expected[MAX_OUTCOMES] = {0}, row[MAX_OUTCOMES];
    memcpy(state, a->work->belief[test->subject].p, sizeof state);
    if (rl_world_forces(a->world, test->subject))
        return 0;
    for (int s = 0; s < RL_STATES; s++) {
        memcpy(row, look->row[s], (size_t)outcomes * sizeof *row);
        close_row(row, outcomes);
        for (int i = 0; i <= outcomes; i++)
            expected[i] += state[s] * row[i];
    }
    return bits_from(expected, outcomes);
}

/* ---- readings ---- */

static rl_showing showing_of(const adviser *a, rl_test_sort sort)
{
    rl_showing_sort s = sort == RL_TEST_DROP ? RL_SHOW_DROP
                        : sort == RL_TEST_SUPPLY ? RL_SHOW_SUPPLY
                        : sort == RL_TEST_RESISTANCE ? RL_SHOW_RESISTANCE : RL_SHOW_CONTINUITY;
    return rl_showing_make(a->model, s, a->battery, false);
}

/* Ends that hardly ever come about cannot change the bits by as much as they weigh. */
static const double NEVER = 1e-15;

static double bits_of_ends(const rl_showing *showing, const rl_end *end, const double *p, int ends)
{
    double expected[MAX_OUTCOMES + 1] = {0}, row[MAX_OUTCOMES + 1];
    int outcomes = rl_showing_outcomes(showing);
    for (int i = 0; i < ends; i++) {
        if (p[i] < NEVER)
            continue;
        rl_showing_bands(showing, &end[i], row);
        close_row(row, outcomes);
        for (int k = 0; k <= outcomes; k++)
            expected[k] += p[i] * row[k];
    }
    return bits_from(expected, outcomes);
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
        rl_cells t = rl_observe_step(a->arena, step, before, after, NULL);
        rl_probe_add(&probe, &t);
        before = after;
    }
    return rl_probe_run(&probe, before, out);
}

/* The fold of a span test and the probability of each of its ends; NULL: too wide. */
static const double *fold_of(adviser *a, const rl_test *test, rl_fold *fold)
{
    rl_evidence sort = test->sort == RL_TEST_DROP ? RL_E_DROP
                       : test->sort == RL_TEST_RESISTANCE ? RL_E_RESISTANCE : RL_E_CONTINUITY;
    rl_finding reading = {.sort = sort, .subject = test->subject, .from = test->from, .to = test->to};
    bool found = rl_observe_fold(&a->observer, &reading, a->world, fold);
    assert(found);
    (void)found;
    double *p = rl_many(a->arena, fold->ends, double);
    return end_probabilities(a, fold, p) ? p : NULL;
}

static rl_chain *chain_for(adviser *a, int load)
{
    if (!a->chain_of[load] && !a->no_chain[load]) {
        rl_observer lasting = a->observer;
        lasting.arena = &a->work->arena;
        a->chain_of[load] = rl_chain_make(&a->work->arena, a->arena, &lasting, a->bench, &a->groups, a->world, load);
        a->no_chain[load] = !a->chain_of[load];
    }
    return a->chain_of[load];
}

static double span_bits(adviser *a, const rl_test *test)
{
    rl_showing showing = showing_of(a, test->sort);
    rl_chain_ends ends;
    rl_chain *chain = chain_for(a, test->subject);
    if (chain && rl_chain_ask(chain, test->from, test->to, test->sort != RL_TEST_DROP, &ends))
        return bits_of_ends(&showing, ends.end, ends.p, ends.ends);
    rl_fold fold;
    const double *p = fold_of(a, test, &fold);
    return p ? bits_of_ends(&showing, fold.end, p, fold.ends) : UNKNOWN;
}

/* (return, feed, load) to the end of a supply reading. */
static double supply_bits(adviser *a, rl_test *test)
{
    rl_bench *b = a->bench;
    rl_sides sides = rl_observe_sides(&a->observer, a->world, test->subject, NULL);
    rl_showing showing = showing_of(a, RL_TEST_SUPPLY);
    int rows = a->model->bins + 3, size = b->frame.rows;
    rl_probe probe;
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
    rl_end *end = rl_many(a->arena, rows * 2, rl_end);
    if (!rl_probe_run(&probe, target, p))
        return UNKNOWN;
    for (int i = 0; i < rows * 2; i++)
        end[i] = rl_observe_supply_end(a->arena, a->model, test->subject, i / 2, i % 2);
    return bits_of_ends(&showing, end, p, rows * 2);
}

/* ---- what a healthy span and the suspect would read ---- */

static void set_range(const rl_showing *showing, const rl_end *end, double *low, double *high)
{
    *low = rl_showing_quantile(showing, &end->law, 0.05);
    *high = rl_showing_quantile(showing, &end->law, 0.95);
}

/* The likeliest end at which a way is sound, and at which an element counts. */
static void set_ranges(adviser *a, rl_test *test)
{
    rl_showing showing = showing_of(a, test->sort);
    rl_fold fold;
    int healthy = -1, suspect = -1;
    if (test->sort != RL_TEST_DROP && test->sort != RL_TEST_RESISTANCE)
        return;
    const double *p = fold_of(a, test, &fold);   /* not the chain's ends: their elements may lie outside the span */
    for (int i = 0; p && i < fold.ends; i++) {
        const rl_end *end = &fold.end[i];
        if (end->sort != RL_END_LAW)
            continue;
        if (end->law.sort == RL_TRUE_WAY && (healthy < 0 || p[i] > p[healthy]))
            healthy = i;
        if (end->law.sort == RL_TRUE_COUNTS && (suspect < 0 || p[i] > p[suspect]))
            suspect = i;
    }
    if (healthy >= 0)
        set_range(&showing, &fold.end[healthy], &test->healthy_low, &test->healthy_high);
    if (suspect >= 0) {
        set_range(&showing, &fold.end[suspect], &test->suspect_low, &test->suspect_high);
        test->suspect = fold.end[suspect].element;
    }
}

/* ---- all of them ---- */

static double bits_of(adviser *a, rl_test *test)
{
    switch (test->sort) {
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER: return behaviour_bits(a, test);
    case RL_TEST_SYMPTOM: return symptom_bits(a, test);
    case RL_TEST_INSPECTION: return inspection_bits(a, test);
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: return crosstalk_bits(a, test);
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY: return span_bits(a, test);
    case RL_TEST_SUPPLY: return supply_bits(a, test);
    }
    return 0;
}

/* Bits per minute; what takes no time and tells something comes first. */
static double rate(const rl_test *test)
{
    if (test->bits <= 0)
        return test->bits < 0 ? -1 : 0;   /* not worked out: last */
    return test->minutes > 0 ? test->bits / test->minutes : INFINITY;
}

static int compare_tests(const void *a, const void *b)
{
    const rl_test *x = a, *y = b;
    double left = rate(x), right = rate(y);
    if (left > right || left < right)
        return left > right ? -1 : 1;
    return strcmp(x->text, y->text);
}

/* A network in which every path of the last occasion's world tells the last
 * occasion, so that tests find what they ask about. */
static rl_status set_adviser(adviser *a, rl_case *c, rl_work *work)
{
    *a = (adviser){.c = c, .model = c->model, .work = work, .arena = &work->scratch};
    a->groups.arena = &work->groups;
    rl_arena_rewind(&work->groups, a->groups.start);   /* what an earlier question left */
    a->chain_of = rl_many(&work->arena, c->model->nodes, rl_chain *);
    a->no_chain = rl_many(&work->arena, c->model->nodes, bool);
    a->last = c->occasions - 1;
    a->battery = c->occasion[a->last].battery;
    a->world = rl_observe_world(&work->bench.observer, a->last, NULL);
    a->bench = &work->bench;
    if (work->bench.frame.occasions > 1) {
        a->bench = rl_new(&work->arena, rl_bench);
        rl_status status = rl_bench_for_tests(a->bench, &work->arena, &work->bench, a->world);
        if (status != RL_OK)
            return status;
    }
    a->observer = a->bench->observer;
    a->observer.exprs = &a->bench->exprs;
    a->observer.arena = a->arena;
    return RL_OK;
}

/* Tells what the tests of one load will ask about. */
static void hint_load(adviser *a, int load)
{
    const rl_node *node = &a->model->node[load];
    rl_exprs *exprs = &a->bench->exprs;
    int count = 0;
    int *expr = rl_many(a->arena, 2 * node->on_every_count + 2, int);
    for (int i = 0; i < node->on_every_count; i++) {
        int e = node->on_every[i];
        expr[count++] = rl_expr_element(exprs, a->world, e);
        if (a->model->node[e].info.sort != RL_CONNECTOR)
            expr[count++] = rl_expr_return(exprs, a->world, e);
    }
    expr[count++] = rl_expr_load_feed(exprs, a->world, load);
    expr[count++] = rl_expr_element(exprs, a->world, load);
    a->groups.hint = rl_probe_variables(a->bench, a->arena, expr, count, &a->groups.hint_count);
}

static void advise_load(adviser *a, rl_test *test, int count, int load)
{
    rl_mark all = rl_arena_mark(a->arena);
    if (load >= 0 && a->model->node[load].info.sort == RL_LOAD)
        hint_load(a, load);
    for (int i = 0; i < count; i++)
        if (test[i].subject == load) {
            rl_mark mark = rl_arena_mark(a->arena);
            test[i].bits = bits_of(a, &test[i]);
            rl_arena_rewind(a->arena, mark);
        }
    a->groups.hint_count = 0;
    rl_arena_rewind(a->arena, all);
}

/* Ranges of what stands first, then the list is the work's. */
static void keep_tests(adviser *a, rl_test *test, int count, size_t most)
{
    for (int i = 0; i < count && i < RANGED_TESTS; i++) {
        rl_mark mark = rl_arena_mark(a->arena);
        set_ranges(a, &test[i]);
        rl_arena_rewind(a->arena, mark);
    }
    a->work->tests = test;
    a->work->test_count = (size_t)count;
    a->work->test_most = most;
}

static void advise_all(adviser *a, const rl_candidates *list)
{
    rl_test *test = rl_many(&a->work->arena, list->count + 1, rl_test);
    for (int i = 0; i < list->count; i++)
        test[i] = list->at[i];
    for (int e = -1; e < a->model->nodes; e++)
        advise_load(a, test, list->count, e);
    for (int i = 0; i < list->count; i++)
        a->work->test_unknown += test[i].bits < 0;
    qsort(test, (size_t)list->count, sizeof *test, compare_tests);
    keep_tests(a, test, list->count, 0);
}

/* Puts a test among the best so far. */
static int keep_best(rl_test *best, int count, int most, const rl_test *test)
{
    if (test->bits < 0)
        return count;
    if (count == most && compare_tests(&best[count - 1], test) < 0)
        return count;
    int at = count < most ? count++ : count - 1;
    for (; at > 0 && compare_tests(test, &best[at - 1]) < 0; at--)
        best[at] = best[at - 1];
    best[at] = *test;
    return count;
}

/* What the best few may cost on a wide network, in cells: counted, not timed, so
 * that it is the same anywhere.  All tests together have no such bound. */
static const double MOST_SPENT = 1e9;

/* The best few: tests are worked out in the order of their bounds, until no
 * bound of the rest can beat the last of the best. */
static void advise_best(adviser *a, const rl_candidates *list, int most)
{
    rl_limits limits;
    a->groups.most_spent = MOST_SPENT;
    rl_limits_make(&limits, &a->work->arena, a->c, a->bench, a->world);
    rl_test *test = rl_many(&a->work->arena, list->count + 1, rl_test);
    for (int i = 0; i < list->count; i++) {
        test[i] = list->at[i];
        test[i].bits = rl_limit_of(&limits, &test[i]);
    }
    qsort(test, (size_t)list->count, sizeof *test, compare_tests);
    rl_test *best = rl_many(&a->work->arena, most + 1, rl_test);
    int count = 0;
    for (int i = 0; i < list->count; i++) {
        if (count == most && rate(&test[i]) < rate(&best[count - 1]))
            break;
        rl_mark mark = rl_arena_mark(a->arena);
        a->groups.hint_count = 0;
        test[i].bits = bits_of(a, &test[i]);
        rl_arena_rewind(a->arena, mark);
        a->work->test_unknown += test[i].bits < 0;
        count = keep_best(best, count, most, &test[i]);
    }
    keep_tests(a, best, count, (size_t)most);
}

static rl_status advise(rl_case *c, rl_work *work, size_t most)
{
    adviser a;
    rl_candidates list;
    work->test_unknown = 0;
    rl_status status = set_adviser(&a, c, work);
    if (status != RL_OK)
        return status;
    rl_admit_all(&list, &work->arena, c);
    if (most == 0 || most >= (size_t)list.count)
        advise_all(&a, &list);
    else
        advise_best(&a, &list, (int)most);
    return RL_OK;
}

typedef struct tests_question {
    size_t most;
    const rl_test **tests;
    size_t *count;
} tests_question;

static rl_status answer_tests(rl_case *c, void *argument)
{
    tests_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK || !work->bench.tree)
        return status;
    bool enough = work->tests && (work->test_most == 0 || (q->most > 0 && q->most <= work->test_most));
    if (!enough)
        status = advise(c, work, q->most);
    if (status != RL_OK)
        return status;
    *q->tests = work->tests;
    *q->count = q->most > 0 && q->most < work->test_count ? q->most : work->test_count;
    return RL_OK;
}

rl_status rl_case_best_tests(rl_case *c, size_t most, const rl_test **out, size_t *count)
{
    tests_question q = {most, out, count};
    *out = NULL;
    *count = 0;
    return rl_ask(c, answer_tests, &q);
}

size_t rl_case_tests_unknown(const rl_case *c)
{
    return c->work ? c->work->test_unknown : 0;
}

rl_status rl_case_tests(rl_case *c, const rl_test **out, size_t *count)
{
    return rl_case_best_tests(c, 0, out, count);
}
