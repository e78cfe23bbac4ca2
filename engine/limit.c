/* limit.c: bounds on the bits of tests; see limit.h. */
#include "limit.h"

#include "paths.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const double SLACK = 1e-9;   /* of rounding */

static double term(double p)
{
    return p > 0 ? -p * log2(p) : 0;
}

double rl_entropy(const double *p, int count)
{
    double h = 0;
    for (int i = 0; i < count; i++)
        h += term(p[i]);
    return h;
}

void rl_limits_make(rl_limits *limits, rl_arena *arena, const rl_case *c, rl_bench *bench, const rl_world *world)
{
    const rl_model *m = c->model;
    *limits = (rl_limits){.arena = arena, .c = c, .model = m};
    limits->rows = rl_many(arena, m->nodes, double);
    limits->open = rl_many(arena, m->nodes, double);
    limits->returns = rl_many(arena, m->nodes, double);
    limits->feeds = rl_many(arena, m->nodes, double);
    limits->feeds_open = rl_many(arena, m->nodes, double);
    for (int e = 0; e < m->nodes; e++) {
        limits->returns[e] = -1;
        if (rl_world_forces(world, e))
            continue;
        rl_mark mark = rl_arena_mark(arena);
        int rows = m->node[e].info.sort == RL_LOAD ? 2 : bench->frame.rows;
        double *p = rl_many(arena, rows, double);
        rl_bench_rows(bench, arena, e, p);
        limits->rows[e] = rl_entropy(p, rows);
        limits->open[e] = term(p[rows - 1]) + term(1 - p[rows - 1]);
        rl_arena_rewind(arena, mark);
    }
}

static double sum_marked(const rl_limits *l, const bool *mark, const double *h)
{
    double sum = 0;
    for (int e = 0; e < l->model->nodes; e++)
        sum += mark[e] ? h[e] : 0;
    return sum;
}

/* Works out the sums of a load once. */
static void work_out(rl_limits *l, int load)
{
    if (l->returns[load] >= 0)
        return;
    rl_mark mark = rl_arena_mark(l->arena);
    bool *back = rl_many(l->arena, l->model->nodes, bool), *fed = rl_many(l->arena, l->model->nodes, bool);
    rl_mark_returns(l->model, load, back);
    rl_mark_feeds(l->arena, l->model, load, fed);
    l->returns[load] = sum_marked(l, back, l->rows);
    l->feeds[load] = sum_marked(l, fed, l->rows);
    l->feeds_open[load] = sum_marked(l, fed, l->open);
    rl_arena_rewind(l->arena, mark);
}

static double of_load(rl_limits *l, int load)
{
    work_out(l, load);
    return l->returns[load] + l->feeds[load] + l->rows[load];
}

/* All that R(to) hangs on, as far as it can be open. */
static double to_open(const rl_limits *l, int to)
{
    rl_mark mark = rl_arena_mark(l->arena);
    bool *back = rl_many(l->arena, l->model->nodes, bool);
    back[to] = true;
    if (l->model->node[to].info.sort != RL_CONNECTOR)
        rl_mark_returns(l->model, to, back);
    double sum = sum_marked(l, back, l->open);
    rl_arena_rewind(l->arena, mark);
    return sum;
}

static double of_span(rl_limits *l, const rl_test *test)
{
    rl_stretch stretch;
    bool dead = test->sort != RL_TEST_DROP;
    rl_mark mark = rl_arena_mark(l->arena);
    double sum = 0;
    bool *met = rl_many(l->arena, l->model->nodes, bool);
    if (rl_stretch_make(l->arena, l->model, test->subject, test->from, test->to, dead, &stretch) != RL_STRETCH_OK)
        return 0;
    for (int w = 0; w < stretch.ways; w++)
        for (int i = 0; i < stretch.way[w].count; i++) {
            int e = stretch.way[w].element[i];
            sum += met[e] ? 0 : l->rows[e];
            met[e] = true;
        }
    if (!dead) {
        work_out(l, test->subject);
        sum += l->feeds_open[test->subject] + l->open[test->subject];
        for (int i = 0; i < stretch.before_count; i++)
            sum += l->open[stretch.before[i]];
        if (stretch.to >= 0)
            sum += to_open(l, stretch.to);
    }
    rl_arena_rewind(l->arena, mark);
    return sum;
}

static double of_causes(rl_limits *l, const rl_sign *sign)
{
    double sum = 0;
    for (int i = 0; i < sign->causes; i++) {
        int e = sign->cause[i].element;
        bool element = sign->cause[i].subject == RL_OF_ELEMENT || sign->cause[i].subject == RL_OF_LOAD;
        if (!element)
            work_out(l, e);
        sum += element ? l->rows[e] : sign->cause[i].subject == RL_OF_RETURN ? l->returns[e] : l->feeds[e];
    }
    return sum;
}

static double depends_on(rl_limits *l, const rl_test *test)
{
    switch (test->sort) {
    case RL_TEST_SYMPTOM: return fmin(1, of_causes(l, &l->model->sign[test->named]));
    case RL_TEST_INSPECTION: return test->subject < 0 ? 0 : INFINITY;   /* as cheap as its bound */
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: return fmin(1, of_load(l, test->subject));
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE: return of_span(l, test);
    case RL_TEST_CONTINUITY: return fmin(1, of_span(l, test));
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_SUPPLY:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER: break;
    }
    return of_load(l, test->subject);
}

double rl_limit_of(rl_limits *limits, const rl_test *test)
{
    assert(test->subject < limits->model->nodes);
    return depends_on(limits, test) * (1 + SLACK) + SLACK;
}
