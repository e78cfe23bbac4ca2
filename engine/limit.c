/* limit.c: bounds on the bits of tests; see limit.h. */
#include "limit.h"

#include "paths.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const double SLACK = 1e-9;   /* of rounding */

void rl_limits_make(rl_limits *limits, rl_arena *arena, rl_arena *scratch, const rl_case *c,
                    const rl_bearings *bearings)
{
    *limits = (rl_limits){.scratch = scratch, .c = c, .model = c->model, .bearings = bearings};
    rl_reaches_make(&limits->reaches, arena, bearings->givens, bearings->world);
    rl_span_limits_make(&limits->spans, arena, scratch, bearings, &limits->reaches);
}

/* ---- behaviours and supply readings ---- */

/* What the return (0) or the feed (1) brings about, of all that there is to know of it. */
static double of_side(rl_limits *l, int load, int side, int expr)
{
    const rl_frame *frame = l->bearings->observer->frame;
    const rl_rows *rows = l->model->rows->of_load[load];
    const double **row = rl_raw(l->scratch, frame->rows, const double *);
    double *noise = rl_raw(l->scratch, frame->rows, double);
    if (expr == 0)
        return 0;
    for (int r = 0; r < frame->rows; r++) {
        row[r] = rows->side[side][rl_observe_row(frame, r)];
        noise[r] = rows->noise[side][rl_observe_row(frame, r)];
    }
    return rl_reach_levels(rl_reach_of(&l->reaches, expr), frame->rows, row, noise,
                           (int)l->model->kind[rows->kind].info.levels);
}

static double of_load_itself(rl_limits *l, int load, int expr)
{
    const rl_behaviour *kind = &l->model->kind[l->model->node[load].info.kind];
    int levels = (int)kind->info.levels;
    double sound[RL_MAX_LEVELS] = {1}, noise[2] = {0, rl_entropy(kind->failed, levels)};
    const double *row[2] = {sound, kind->failed};
    return expr == 0 ? 0 : rl_reach_levels(rl_reach_of(&l->reaches, expr), 2, row, noise, levels);
}

static double of_behaviour(rl_limits *l, const rl_test *test)
{
    const rl_bearings *b = l->bearings;
    rl_conditions with = rl_test_conditions(test);
    rl_sides sides = rl_observe_sides(b->observer, b->world, test->subject, &with);
    return of_side(l, test->subject, 0, sides.back) + of_side(l, test->subject, 1, sides.fed) +
           of_load_itself(l, test->subject, sides.own);
}

/* The feed path shows itself; of the rest, only whether a current flows. */
static double of_supply(rl_limits *l, const rl_test *test)
{
    const rl_bearings *b = l->bearings;
    rl_sides sides = rl_observe_sides(b->observer, b->world, test->subject, NULL);
    return rl_reach_of(&l->reaches, sides.fed)->entropy + rl_reach_of(&l->reaches, sides.back)->open +
           (sides.own ? rl_reach_of(&l->reaches, sides.own)->open : 0);
}

/* ---- causes that fire or not ---- */

static double of_cause(rl_limits *l, const double *p, int expr)
{
    if (expr == 0)
        return 0;
    int rows = rl_expr_rows(l->bearings->observer->exprs, expr);
    double *chance = rl_raw(l->scratch, rows, double);
    for (int r = 0; r < rows; r++)
        chance[r] = rl_observe_chance(l->bearings->observer, p, expr, r);
    return rl_reach_fires(rl_reach_of(&l->reaches, expr), rows, chance);
}

static double of_symptom(rl_limits *l, const rl_sign *sign)
{
    double sum = 0;
    for (int i = 0; i < sign->causes; i++)
        sum += of_cause(l, sign->cause[i].p, rl_observe_subject(l->bearings->observer, l->bearings->world, &sign->cause[i]));
    return fmin(1, sum);
}

static double of_crosstalk(rl_limits *l, const rl_test *test)
{
    const rl_bearings *b = l->bearings;
    bool pull = test->sort == RL_TEST_PULL;
    int expr[2], count = rl_observe_crosstalk(b->observer, b->world, pull, test->subject, test->other, expr);
    double sum = 0;
    for (int i = 0; i < count; i++)
        sum += of_cause(l, pull ? l->model->pull.p : l->model->backfeed.p, expr[i]);
    return fmin(1, sum);
}

/* ---- spans ---- */

static const rl_reach *feed_of(rl_limits *l, int load)
{
    const rl_bearings *b = l->bearings;
    return rl_reach_of(&l->reaches, rl_expr_load_feed(b->observer->exprs, b->world, load));
}

/* What lies behind a span that ends before `to`; a connector has no parent: itself. */
static const rl_reach *behind(rl_limits *l, int to)
{
    const rl_bearings *b = l->bearings;
    if (l->model->node[to].info.sort == RL_CONNECTOR)
        return &l->reaches.element[to];
    return rl_reach_of(&l->reaches, rl_expr_return(b->observer->exprs, b->world, to));
}

static double of_span(rl_limits *l, const rl_test *test)
{
    rl_stretch stretch;
    bool dead = test->sort != RL_TEST_DROP;
    const rl_reach *of = l->reaches.element;
    double sum = 0;
    bool *met = rl_many(l->scratch, l->model->nodes, bool);
    if (rl_stretch_make(l->scratch, l->model, test->subject, test->from, test->to, dead, &stretch) != RL_STRETCH_OK)
        return 0;
    for (int w = 0; w < stretch.ways; w++)
        for (int i = 0; i < stretch.way[w].count; i++) {
            int e = stretch.way[w].element[i];
            sum += met[e] ? 0 : of[e].entropy;
            met[e] = true;
        }
    if (!dead) {
        sum += feed_of(l, test->subject)->open + of[test->subject].open;
        for (int i = 0; i < stretch.before_count; i++)
            sum += of[stretch.before[i]].open;
        if (stretch.to >= 0)
            sum += behind(l, stretch.to)->open;
    }
    return sum;
}

/* A bound on the probability that no current flows for the feed, the load or what lies behind the span. */
static double stops(rl_limits *l, const rl_test *test)
{
    return feed_of(l, test->subject)->shut + l->reaches.element[test->subject].shut +
           (test->to < 0 ? 0 : behind(l, test->to)->shut);
}

/* A span lies on some way of the return; what lies before it matters as far as it may be open. */
static double of_spans(rl_limits *l, int load)
{
    bool *back = rl_many(l->scratch, l->model->nodes, bool);
    double sum = feed_of(l, load)->open + l->reaches.element[load].open;
    rl_mark_returns(l->model, load, back);
    for (int e = 0; e < l->model->nodes; e++)
        sum += back[e] ? l->reaches.element[e].entropy : 0;
    return sum;
}

static double depends_on(rl_limits *l, const rl_test *test)
{
    switch (test->sort) {
    case RL_TEST_SYMPTOM: return of_symptom(l, &l->model->sign[test->named]);
    case RL_TEST_INSPECTION: return rl_entropy(l->bearings->belief[test->subject].p, RL_STATES);
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: return of_crosstalk(l, test);
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE: return of_span(l, test);
    case RL_TEST_CONTINUITY: return fmin(1, of_span(l, test));
    case RL_TEST_SUPPLY: return of_supply(l, test);
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER: break;
    }
    return of_behaviour(l, test);
}

double rl_limit_closer(rl_limits *limits, const rl_test *test)
{
    rl_mark mark = rl_arena_mark(limits->scratch);
    double bound = rl_span_limit_of(&limits->spans, test, stops(limits, test)) * (1 + SLACK) + SLACK;
    rl_arena_rewind(limits->scratch, mark);
    return bound;
}

double rl_limit_of_spans(rl_limits *limits, int load)
{
    rl_mark mark = rl_arena_mark(limits->scratch);
    double bound = of_spans(limits, load) * (1 + SLACK) + SLACK;
    rl_arena_rewind(limits->scratch, mark);
    return bound;
}

double rl_limit_of(rl_limits *limits, const rl_test *test)
{
    assert(test->subject < limits->model->nodes);
    rl_mark mark = rl_arena_mark(limits->scratch);
    double bound = depends_on(limits, test) * (1 + SLACK) + SLACK;
    rl_arena_rewind(limits->scratch, mark);
    return bound;
}
