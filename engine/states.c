/* states.c: what each element is, given the findings: read off a calibrated tree.
 *
 * What was absorbed is told by what it was absorbed into, which may be absorbed in its turn:
 * the way goes up until all are variables of the net.
 * Invariant: a table that something was absorbed into is a factor of the net as it is, or was
 * the table that the next one was absorbed from.
 */
#include "work.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

/* The marginal of something absorbed, for all that is absorbed like it: the last one stays in its slot. */
typedef struct alike {   /* before NULL: kept as a map */
    const double *before, *after, *weight, *joint, *value;
} alike;
enum { SLOTS = 64 };

/* What was found out so far. */
typedef struct reader {
    rl_bench *bench;
    rl_arena *arena;
    const double **value;       /* by expression: its marginal, or NULL */
    const double **joint;       /* by what was absorbed: of the table that it was absorbed from, or NULL */
    const double **way;         /* by berth of the crowd: what the way behind its wires is, or NULL */
    const double **follows, **path;   /* by stop of the crowd: what follows it, and what its path is, or NULL */
    alike *alike;
} reader;

static reader reader_of(rl_bench *bench, rl_arena *arena)
{
    const rl_crowd *crowd = bench->draft.crowd;
    int berths = crowd ? crowd->book->berths : 0, stops = crowd ? crowd->book->stops : 0;
    return (reader){.bench = bench, .arena = arena, .value = rl_many(arena, bench->network.expr_count, const double *),
                    .joint = rl_many(arena, bench->network.absorbed_count, const double *),
                    .way = rl_many(arena, berths, const double *), .follows = rl_many(arena, stops, const double *),
                    .path = rl_many(arena, stops, const double *), .alike = rl_many(arena, SLOTS, alike)};
}

static int size_of(const reader *r, int expr)
{
    return rl_expr_size(&r->bench->exprs, expr, r->bench->network.mask[expr]);
}

static int variable_of(const reader *r, int input)
{
    return input < 0 ? r->bench->network.helper[-1 - input] : rl_network_variable(&r->bench->network, input);
}

/* 1 cannot be divided by less than this. */
static const double FAINTEST = 1e-290;

/* What the joint of the other inputs comes to for each cell that something was absorbed into; NULL: not a number. */
static const double *shares_of(const reader *r, const rl_absorbed *a, const double *joint)
{
    size_t cells = rl_cells_count(&a->after);
    double *share = rl_raw(r->arena, cells, double);
    bool faint = false;
    for (size_t c = 0; c < cells; c++) {
        bool some = a->after.cell[c] > 0;
        share[c] = some ? joint[c] / a->after.cell[c] : 0;
        faint |= some && a->after.cell[c] < FAINTEST;
    }
    return faint ? NULL : share;
}

/* Cells of a table but for one input. */
static void around(const rl_absorbed *a, size_t *outer, size_t *inner)
{
    *outer = *inner = 1;
    for (int i = 0; i < a->at; i++)
        *outer *= (size_t)a->before.size[i];
    for (int i = a->at + 1; i < a->before.count; i++)
        *inner *= (size_t)a->before.size[i];
}

/* The joint of the other inputs spread over what was absorbed: each cell has its part, never above 1, of
 * what it was summed into. */
static const double *spread_out(reader *r, const rl_absorbed *a, const double *rest)
{
    const double *weight = r->bench->network.weight[a->expr], *after = a->after.cell;
    const double *before = rl_absorbed_before(r->arena, a);
    size_t outer, inner, size = (size_t)a->before.size[a->at], at = 0;
    around(a, &outer, &inner);
    double *joint = rl_raw(r->arena, outer * size * inner, double);
    for (size_t o = 0; o < outer; o++, rest += inner, after += inner)
        for (size_t v = 0; v < size; v++)
            for (size_t i = 0; i < inner; i++, at++)
                joint[at] = after[i] > 0 ? weight[v] * before[at] / after[i] * rest[i] : 0;
    return joint;
}

static const double *values_of(reader *r, int expr);
static const double *joint_of(reader *r, const rl_cells *table);

/* Of the table that something was absorbed from, given that of the table it left. */
static const double *joint_before(reader *r, int absorbed)
{
    const rl_network *network = &r->bench->network;
    const rl_absorbed *a = &network->absorbed[absorbed];
    if (r->joint[absorbed])
        return r->joint[absorbed];
    r->joint[absorbed] = spread_out(r, a, joint_of(r, &a->after));
    return r->joint[absorbed];
}

/* Of all inputs of a table that something was absorbed into. */
static const double *joint_of(reader *r, const rl_cells *table)
{
    const rl_network *network = &r->bench->network;
    static const double ONE = 1;
    int variable[RL_INPUTS];
    if (table->count == 0)
        return &ONE;
    if (table->count == 1 && table->input[0] >= 0)
        return values_of(r, table->input[0]);
    for (int i = 0; i < table->count; i++) {
        variable[i] = variable_of(r, table->input[i]);
        int absorbed = variable[i] < 0 ? network->absorbed_of[table->input[i]] : -1;
        if (absorbed >= 0 && network->absorbed[absorbed].before.cell == table->cell)
            return joint_before(r, absorbed);
    }
    for (int i = 0; i < table->count; i++)
        assert(variable[i] >= 0);
    double *joint = rl_raw(r->arena, rl_cells_count(table), double);
    if (table->count == 1)
        rl_tree_marginal(r->bench->tree, variable[0], joint);
    else
        rl_tree_joint(r->bench->tree, r->arena, table->count, variable, joint);
    return joint;
}

/* For each value: what the others make of it, but for its weight. */
static void add_shares(const rl_absorbed *a, const double *share, double *restrict out)
{
    size_t outer, inner, size = (size_t)a->before.size[a->at];
    const double *before = a->before.cell;
    around(a, &outer, &inner);
    for (size_t o = 0; inner == 1 && o < outer; o++, before += size)
        for (size_t v = 0; v < size; v++)
            out[v] += share[o] * before[v];
    for (size_t o = 0; inner > 1 && o < outer; o++, share += inner)
        for (size_t v = 0; v < size; v++, before += inner)
            for (size_t i = 0; i < inner; i++)
                out[v] += share[i] * before[i];
}

/* The same of an element of a path, from what the path is of its two parts. */
static void add_defined(const rl_absorbed *a, const double *share, double *out)
{
    int first = a->before.size[1], second = a->before.size[2];
    const int *map = a->map;
    for (int i = 0; i < first; i++)
        for (int j = 0; j < second; j++, map++)
            if (a->at == 2)
                out[j] += share[*map * first + i];
            else
                out[i] += share[*map * second + j];
}

/* The same, weights and all, where shares by themselves are no numbers any more. */
static void add_faint(reader *r, const rl_absorbed *a, const double *rest, double *out)
{
    const double *joint = spread_out(r, a, rest);
    size_t outer, inner, size = (size_t)a->before.size[a->at];
    around(a, &outer, &inner);
    for (size_t o = 0; o < outer; o++)
        for (size_t v = 0; v < size; v++)
            for (size_t i = 0; i < inner; i++, joint++)
                out[v] += *joint;
}

static const double *absorbed_values(reader *r, const rl_absorbed *a)
{
    const double *weight = r->bench->network.weight[a->expr], *joint = joint_of(r, &a->after);
    uintptr_t number = (uintptr_t)a->after.cell / 16 + (uintptr_t)joint / 16 * 3 + (uintptr_t)weight / 16 * 7;
    alike *slot = &r->alike[number % SLOTS];
    if (slot->before == a->before.cell && slot->after == a->after.cell && slot->weight == weight && slot->joint == joint)
        return slot->value;
    int size = a->before.size[a->at];
    double *out = rl_many(r->arena, size, double), sum = 0;
    const double *share = shares_of(r, a, joint);
    if (share == NULL)
        add_faint(r, a, joint, out);
    else if (a->map)
        add_defined(a, share, out);
    else
        add_shares(a, share, out);
    for (int v = 0; v < size; v++)
        sum += out[v] *= share == NULL ? 1 : weight[v];
    for (int v = 0; v < size; v++)
        out[v] /= sum;   /* 1 but for rounding: what is certain is exactly 1 */
    *slot = (alike){a->before.cell, a->after.cell, weight, joint, out};
    return out;
}

/* Marginal of an expression of the net, or of one that was absorbed, or that stayed out. */
static const double *values_of(reader *r, int expr)
{
    const rl_network *network = &r->bench->network;
    int variable = rl_network_variable(network, expr), absorbed = network->absorbed_of[expr];
    if (variable < 0 && absorbed < 0)
        return network->weight[expr];
    if (r->value[expr])
        return r->value[expr];
    if (variable >= 0) {
        double *value = rl_raw(r->arena, size_of(r, expr), double);
        rl_tree_marginal(r->bench->tree, variable, value);
        r->value[expr] = value;
    } else {
        r->value[expr] = absorbed_values(r, &network->absorbed[absorbed]);
    }
    return r->value[expr];
}

static void copy_load(const double *weight, double out[RL_STATES])
{
    memset(out, 0, RL_STATES * sizeof *out);
    out[RL_SOUND] = weight[0];
    out[RL_FAILED] = weight[1];
}

static void normal_states(const double *state, double out[RL_STATES])
{
    double sum = 0;
    for (int s = 0; s < RL_STATES; s++)
        sum += state[s];
    for (int s = 0; s < RL_STATES; s++)
        out[s] = state[s] / sum;
}

/* ---- the crowd ---- */

/* What a way is, by row of the occasion in which the crowd is seen. */
static double *rows_of(reader *r, int way)
{
    const rl_crowd *crowd = r->bench->draft.crowd;
    rl_mask mask = r->bench->network.mask[way], bit = 1u << crowd->bit;
    double *row = rl_many(r->arena, crowd->book->rows, double);
    if (way == 0) {
        row[0] = 1;
        return row;
    }
    const double *value = values_of(r, way);
    for (int v = 0; v < size_of(r, way); v++)
        row[mask == bit && !r->bench->exprs.at[way].calm ? v : rl_expr_row(&r->bench->exprs, way, mask, crowd->bit, v)] += value[v];
    return row;
}

static const double *path_of(reader *r, int stop);

/* What follows a stop, by row. */
static const double *after_stop(reader *r, int stop)
{
    const rl_crowd *crowd = r->bench->draft.crowd;
    if (crowd->follows[stop] < 0)
        return path_of(r, crowd->book->stop[stop].next);
    if (!r->follows[stop])
        r->follows[stop] = rows_of(r, crowd->follows[stop]);
    return r->follows[stop];
}

/* What the path of a stop is, by row. */
static const double *path_of(reader *r, int stop)
{
    if (r->path[stop])
        return r->path[stop];
    const rl_crowd *crowd = r->bench->draft.crowd;
    double *path = rl_raw(r->arena, crowd->book->rows, double);
    rl_crowd_path(crowd, stop, after_stop(r, stop), path);
    return r->path[stop] = path;
}

/* What the way behind a wire or a stop of the crowd is, by row. */
static const double *way_of(reader *r, int element)
{
    const rl_crowd *crowd = r->bench->draft.crowd;
    int worker = crowd->book->worker_of[element];
    if (worker < 0)
        return after_stop(r, crowd->book->stop_of[element]);
    int berth = crowd->book->worker[worker].berth, stop = crowd->book->berth[berth].stop;
    if (crowd->way[berth] < 0)
        return path_of(r, stop);
    if (!r->way[berth])
        r->way[berth] = rows_of(r, crowd->way[berth]);
    return r->way[berth];
}

/* Of the wires of a berth that are there, and of their loads; wires of one sort are alike. */
static void berth_beliefs(reader *r, const rl_crowd *crowd, const rl_crowd_group *berth, rl_belief *out)
{
    const rl_worker *like = NULL;
    for (int i = 0; i < berth->count; i++) {
        const rl_worker *w = &crowd->book->worker[berth->worker[i]];
        if (crowd->absent[berth->worker[i]])
            continue;
        if (!like || like->sort != w->sort) {
            rl_crowd_states(crowd, w->wire, way_of(r, w->wire), out[w->wire].p);
            like = w;
        } else {
            memcpy(out[w->wire].p, out[like->wire].p, sizeof out[w->wire].p);
        }
        rl_crowd_states(crowd, w->load, NULL, out[w->load].p);
        out[w->wire].touched = out[w->load].touched = true;
    }
}

static void crowd_beliefs(reader *r, const rl_crowd *crowd, rl_belief *out)
{
    for (int b = 0; b < crowd->book->berths; b++)
        berth_beliefs(r, crowd, &crowd->book->berth[b], out);
    for (int s = 0; s < crowd->book->stops; s++) {
        int element = crowd->book->stop[s].element;
        if (crowd->busy[s])
            continue;
        rl_crowd_states(crowd, element, after_stop(r, s), out[element].p);
        out[element].touched = true;
    }
}

/* ---- elements ---- */

static void states_of(reader *r, int element, double out[RL_STATES])
{
    const rl_bench *bench = r->bench;
    const rl_node *node = &bench->frame.model->node[element];
    const double *state = bench->draft.state[element];
    int base = rl_bench_base(bench, element);
    if (base < 0) {
        normal_states(state, out);
        return;
    }
    const double *value = values_of(r, base);
    if (node->info.sort == RL_LOAD)
        copy_load(value, out);
    else
        rl_frame_gather(&bench->frame, bench->network.mask[base], node, state, value, out);
}

void rl_bench_states(rl_bench *bench, rl_arena *arena, int element, double out[RL_STATES])
{
    rl_mark mark = rl_arena_mark(arena);
    reader r = reader_of(bench, arena);
    if (rl_crowd_has(bench->draft.crowd, element))
        rl_crowd_states(bench->draft.crowd, element, way_of(&r, element), out);
    else
        states_of(&r, element, out);
    rl_arena_rewind(arena, mark);
}

void rl_bench_beliefs(rl_bench *bench, rl_arena *arena, rl_belief *out)
{
    const rl_crowd *crowd = bench->draft.crowd;
    rl_mark mark = rl_arena_mark(arena);
    reader r = reader_of(bench, arena);
    for (int e = 0; e < bench->frame.model->nodes; e++)
        out[e].touched = false;
    if (crowd)
        crowd_beliefs(&r, crowd, out);
    for (int e = 0; e < bench->frame.model->nodes; e++) {
        if (out[e].touched)
            continue;
        states_of(&r, e, out[e].p);
        out[e].touched = rl_bench_touches(bench, e);
    }
    rl_arena_rewind(arena, mark);
}

void rl_bench_rows(rl_bench *bench, rl_arena *arena, int element, double *out)
{
    const rl_frame *frame = &bench->frame;
    const rl_node *node = &frame->model->node[element];
    int base = rl_bench_base(bench, element), rows = frame->rows;
    double state[RL_STATES];
    rl_mark mark = rl_arena_mark(arena);
    if (base < 0) {
        normal_states(bench->draft.state[element], state);
        if (node->info.sort == RL_LOAD) {
            out[0] = state[RL_SOUND];
            out[1] = state[RL_FAILED];
        } else {
            rl_frame_spread(frame, 1u << frame->last, node, state, out);
        }
    } else {
        reader r = reader_of(bench, arena);
        const double *value = values_of(&r, base);
        rl_mask mask = bench->network.mask[base];
        memset(out, 0, (size_t)(node->info.sort == RL_LOAD ? 2 : rows) * sizeof *out);
        for (int v = 0; v < rl_expr_size(&bench->exprs, base, mask); v++)
            out[node->info.sort == RL_LOAD ? v : rl_frame_project(frame, mask, 1u << frame->last, v)] += value[v];
    }
    rl_arena_rewind(arena, mark);
}
