/* rows.c: what a corroded path costs a load, as rows over its levels (design §3).
 *
 * Invariant: every row sums to 1 and is that of one row index of rows.h.
 */
#include "rows.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* The resistance in series with the load at which it falls short of `volts`. */
static double resistance_for(const rl_model *model, double volts, double current)
{
    double supply = model->vehicle.supply;
    return volts < supply ? volts * (supply / current) / (supply - volts) : INFINITY;
}

static void add_scaled(double *to, const double *row, int levels, double scale)
{
    for (int l = 0; l < levels; l++)
        to[l] += scale * row[l];
}

/* A bin without mass counts as its edge nearest to the law's median. */
static double nearest_edge(const rl_model *model, int bin)
{
    return model->edge[bin + 1] <= model->corroded.median ? model->edge[bin + 1] : model->edge[bin];
}

/* The mixture of shortfall rows for corrosion in `bin`. */
static void mix_shortfalls(const rl_model *model, const rl_behaviour *kind, double current, int bin, double *row)
{
    double low = model->edge[bin], high = model->edge[bin + 1];
    double mass = model->bin_law_mass[bin];
    bool point = mass < RL_NO_MASS;
    double edge = point ? nearest_edge(model, bin) : 0;
    int levels = (int)kind->info.levels;
    for (int t = -1; t < kind->shortfalls; t++) {
        double from = t < 0 ? 0 : resistance_for(model, kind->shortfall[t].volts, current);
        double to = t + 1 < kind->shortfalls ? resistance_for(model, kind->shortfall[t + 1].volts, current)
                                             : INFINITY;
        double share = 0;
        if (point)
            share = edge >= from && edge < to;
        else if (fmax(from, low) < fmin(to, high))
            share = rl_law_mass(model->corroded, fmax(from, low), fmin(to, high)) / mass;
        if (t < 0)
            row[0] += share;
        else
            add_scaled(row, kind->shortfall[t].row, levels, share);
    }
}

static void corroded_row(const rl_model *model, const rl_behaviour *kind, int side, double current, int bin,
                         double *row)
{
    const double *given = kind->row[side][RL_CORRODED];
    if (given)
        memcpy(row, given, kind->info.levels * sizeof *row);
    else if (kind->shortfalls > 0 && current > 0)
        mix_shortfalls(model, kind, current, bin, row);
    else
        row[0] = 1;
}

static void plain_row(const rl_behaviour *kind, const double *given, double *row)
{
    row[0] = 1;
    if (given)
        memcpy(row, given, kind->info.levels * sizeof *row);
}

static double entropy(const double *p, size_t count)
{
    double h = 0;
    for (size_t i = 0; i < count; i++)
        h -= p[i] > 0 ? p[i] * log2(p[i]) : 0;
    return h;
}

static const rl_rows *rows_make(rl_arena *arena, const rl_model *model, int kind_index, double current)
{
    const rl_behaviour *kind = &model->kind[kind_index];
    rl_rows *rows = rl_new(arena, rl_rows);
    *rows = (rl_rows){.kind = kind_index, .current = current};
    for (int side = 0; side < 2; side++) {
        double *noise = rl_many(arena, model->bins + 3, double);
        rows->side[side] = rl_many(arena, model->bins + 3, const double *);
        rows->noise[side] = noise;
        for (int r = 0; r < model->bins + 3; r++) {
            double *row = rl_many(arena, kind->info.levels, double);
            if (r == 0)
                row[0] = 1;
            else if (r == 1)
                plain_row(kind, kind->row[side][RL_LOOSE], row);
            else if (r == model->bins + 2)
                plain_row(kind, kind->row[side][RL_OPEN], row);
            else
                corroded_row(model, kind, side, current, r - 2, row);
            rows->side[side][r] = row;
            noise[r] = entropy(row, kind->info.levels);
        }
    }
    return rows;
}

rl_row_book *rl_row_book_make(rl_arena *arena, const rl_model *model)
{
    rl_row_book *book = rl_new(arena, rl_row_book);
    book->of_load = rl_many(arena, model->nodes, const rl_rows *);
    int *last = rl_many(arena, model->kinds + 1, int);    /* the last load of the kind, + 1 */
    int *before = rl_many(arena, model->nodes + 1, int);  /* the one before it with other rows */
    for (int e = 0; e < model->nodes; e++) {
        const rl_element *info = &model->node[e].info;
        if (info->sort != RL_LOAD)
            continue;
        int same = last[info->kind];
        while (same && book->of_load[same - 1]->current != info->current)
            same = before[same];
        if (same) {
            book->of_load[e] = book->of_load[same - 1];
            continue;
        }
        book->of_load[e] = rows_make(arena, model, info->kind, info->current);
        before[e + 1] = last[info->kind];
        last[info->kind] = e + 1;
    }
    return book;
}
