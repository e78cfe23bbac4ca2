/* reach.c: see reach.h. */
#include "reach.h"

#include <assert.h>
#include <math.h>
#include <string.h>

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

double rl_entropy_of_two(double p)
{
    return term(p) + term(1 - p);
}

static rl_reach of_rows(const double *row, int rows)
{
    return (rl_reach){.row = row, .entropy = rl_entropy(row, rows), .amiss = 1 - row[0],
                      .open = rl_entropy_of_two(row[rows - 1]), .shut = row[rows - 1]};
}

/* The rows of an expression whose law hangs on one variable at the most; else NULL. */
static const double *rows_by_law(rl_reaches *reaches, int expr)
{
    const rl_given *law = rl_given_composed(reaches->givens, expr);
    if (!law || law->count > 1)
        return NULL;
    if (law->count == 0)
        return law->p;
    double *row = rl_many(reaches->arena, law->rows, double), *p = rl_raw(reaches->arena, law->size[0], double);
    rl_tree_marginal(reaches->givens->bench->tree, law->variable[0], p);
    for (int v = 0; v < law->size[0]; v++)
        for (int r = 0; r < law->rows; r++)
            row[r] += p[v] * law->p[v * law->rows + r];
    return row;
}

void rl_reaches_make(rl_reaches *reaches, rl_arena *arena, rl_givens *givens, const rl_world *world)
{
    rl_bench *bench = givens->bench;
    const rl_model *m = bench->frame.model;
    *reaches = (rl_reaches){.arena = arena, .givens = givens};
    reaches->element = rl_many(arena, m->nodes, rl_reach);
    for (int e = 0; e < m->nodes; e++) {
        int expr = rl_expr_element(&bench->exprs, world, e), rows = rl_expr_rows(&bench->exprs, expr);
        const double *row = rows_by_law(reaches, expr);
        if (!row) {
            double *own = rl_many(arena, rows, double);
            rl_bench_rows(bench, arena, e, own);
            row = own;
        }
        reaches->element[e] = of_rows(row, rows);
    }
}

/* ---- paths ---- */

/* Bounds by the parts of a path. */
static rl_reach of_parts(const rl_reach *a, const rl_reach *b, rl_expr_sort sort)
{
    bool max = sort == RL_X_MAX;
    return (rl_reach){.entropy = a->entropy + b->entropy, .open = a->open + b->open,
                      .shut = max ? a->shut + b->shut : fmin(a->shut, b->shut),
                      .amiss = max ? a->amiss + b->amiss : fmin(a->amiss, b->amiss)};
}

static rl_reach make_reach(rl_reaches *reaches, int expr)
{
    const rl_exprs *exprs = &reaches->givens->bench->exprs;
    rl_expr x = exprs->at[expr];
    if (rl_expr_is_base(exprs, expr))
        return reaches->element[x.a];
    rl_reach a = {.row = NULL}, b = a;
    if (x.sort != RL_X_SOUND)
        a = *rl_reach_of(reaches, x.a);
    if (x.sort >= RL_X_MAX)
        b = *rl_reach_of(reaches, x.b);
    const double *row = NULL;
    if (x.sort < RL_X_MAX || (a.row && b.row))   /* else its law takes more than one variable */
        row = rows_by_law(reaches, expr);
    if (row)
        return of_rows(row, rl_expr_rows(exprs, expr));
    a.row = NULL;   /* calm or failed, it has other rows */
    return x.sort >= RL_X_MAX ? of_parts(&a, &b, x.sort) : a;
}

const rl_reach *rl_reach_of(rl_reaches *reaches, int expr)
{
    if (expr >= reaches->room) {
        int room = reaches->givens->bench->exprs.count + 64;
        const rl_reach **more = rl_many(reaches->arena, room, const rl_reach *);
        if (reaches->room > 0)
            memcpy(more, reaches->of, (size_t)reaches->room * sizeof *more);
        reaches->of = more;
        reaches->room = room;
    }
    if (!reaches->of[expr]) {
        rl_reach *fresh = rl_new(reaches->arena, rl_reach);
        *fresh = make_reach(reaches, expr);
        reaches->of[expr] = fresh;
    }
    return reaches->of[expr];
}

/* ---- what it tells ---- */

/* The most that a draw can tell which is not the first of `levels` with `p` at the most. */
static double at_most(double p, int levels)
{
    double even = 1 - 1.0 / levels;
    return levels > 1 && p < even ? rl_entropy_of_two(p) + p * log2(levels - 1) : log2(levels);
}

double rl_reach_levels(const rl_reach *reach, int rows, const double *const *row, const double *noise, int levels)
{
    double level[RL_MAX_LEVELS] = {0}, expected = 0;
    assert(levels >= 1 && levels <= RL_MAX_LEVELS);
    if (!reach->row)
        return fmin(reach->entropy, at_most(reach->amiss, levels));
    for (int r = 0; r < rows; r++) {
        double p = reach->row[r];
        for (int l = 0; l < levels && p > 0; l++)
            level[l] += p * row[r][l];
        expected += p * noise[r];
    }
    return fmax(0, rl_entropy(level, levels) - expected);
}

double rl_reach_fires(const rl_reach *reach, int rows, const double *chance)
{
    double fires = 0, expected = 0;
    if (!reach->row)
        return fmin(1, reach->entropy);
    for (int r = 0; r < rows; r++) {
        fires += reach->row[r] * chance[r];
        expected += reach->row[r] * rl_entropy_of_two(chance[r]);
    }
    return fmax(0, rl_entropy_of_two(fires) - expected);
}
