/* probe.c: summing the outside away, then asking the network.
 *
 * Invariant: see probe.h.  Expressions are decided from whole paths down to
 * elements, as in draft.c: one that a single factor needs is written out.
 * Inputs that are variables of the net carry their number there, so that a
 * path which the net has for earlier occasions only is never taken for the
 * same path in the last one.
 */
#include "probe.h"

#include <assert.h>
#include <string.h>

void rl_probe_make(rl_probe *probe, rl_arena *arena, rl_bench *bench)
{
    *probe = (rl_probe){.arena = arena, .bench = bench, .room = 32};
    probe->factor = rl_many(arena, probe->room, rl_cells);
}

int rl_probe_helper(rl_probe *probe, int size)
{
    assert(probe->helpers < 64);
    probe->helper_size[probe->helpers] = size;
    return -1 - probe->helpers++;
}

/* Variable `v` of the net as an input, and back (-1: it is none). */
static int net_input(int v)
{
    return RL_NET_INPUT - v;
}

static int net_variable(int input)
{
    return input <= RL_NET_INPUT ? RL_NET_INPUT - input : -1;
}

/* The net's variable that tells the expression in the last occasion, or -1. */
static int usable_variable(const rl_probe *probe, int expr)
{
    const rl_network *network = &probe->bench->network;
    if (expr < 0 || expr >= network->expr_count)
        return -1;
    bool last = network->mask[expr] >> probe->bench->frame.last & 1u;
    return last ? network->of_expr[expr] : -1;
}

static bool is_absorbed(const rl_probe *probe, int expr)
{
    const rl_network *network = &probe->bench->network;
    return expr < network->expr_count && network->absorbed_of[expr] >= 0;
}

/* Values of an expression in this probe: the net's, or rows of the last occasion. */
static rl_mask mask_of(const rl_probe *probe, int expr)
{
    const rl_network *network = &probe->bench->network;
    bool known = expr < network->expr_count && network->weight[expr] != NULL;   /* an element */
    if (known || usable_variable(probe, expr) >= 0)
        return network->mask[expr];
    return 1u << probe->bench->frame.last;
}

static int size_of(const rl_probe *probe, int expr)
{
    return rl_expr_size(&probe->bench->exprs, expr, mask_of(probe, expr));
}

static void append(rl_probe *probe, const rl_cells *table)
{
    if (probe->factors == probe->room) {
        rl_cells *more = rl_many(probe->arena, probe->room * 2, rl_cells);
        memcpy(more, probe->factor, (size_t)probe->factors * sizeof *more);
        probe->factor = more;
        probe->room *= 2;
    }
    probe->factor[probe->factors++] = *table;
}

/* Expressions that the net has become inputs of the net. */
static void name_inside(const rl_probe *probe, rl_cells *table)
{
    for (int i = 0; i < table->count; i++) {
        int variable = usable_variable(probe, table->input[i]);
        if (variable >= 0)
            table->input[i] = net_input(variable);
    }
    rl_cells_merge(probe->arena, table);
}

void rl_probe_add(rl_probe *probe, const rl_cells *table)
{
    const rl_exprs *exprs = &probe->bench->exprs;
    rl_cells own = *table;
    rl_draft_see_through(probe->arena, exprs, &own);
    rl_cells_merge(probe->arena, &own);
    for (int i = 0; i < own.count; i++)
        if (own.input[i] >= 0)
            rl_draft_widen(probe->arena, exprs, &own, i, mask_of(probe, own.input[i]), exprs->frame->last);
    name_inside(probe, &own);
    append(probe, &own);
}

static int place_of(const rl_cells *table, int input)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] == input)
            return i;
    return -1;
}

/* Factors that have the input; *user is the last of them. */
static int uses_of(const rl_probe *probe, int input, int *user)
{
    int uses = 0;
    for (int f = 0; f < probe->factors; f++)
        if (place_of(&probe->factor[f], input) >= 0) {
            *user = f;
            uses++;
        }
    return uses;
}

/* A law of the network: what it hangs on are inputs of the net, unless absorbed too. */
static rl_cells with_net_inputs(const rl_probe *probe, const rl_cells *law)
{
    const rl_network *network = &probe->bench->network;
    rl_cells own = *law;
    for (int i = 0; i < own.count; i++) {
        int input = own.input[i];
        int variable = input < 0 ? network->helper[-1 - input] : network->of_expr[input];
        if (variable >= 0)
            own.input[i] = net_input(variable);
    }
    return own;
}

static bool is_settled(const rl_probe *probe, int expr)
{
    for (int i = 0; i < probe->settled_count; i++)
        if (probe->settled[i] == expr)
            return true;
    return false;
}

static void set_settled(rl_probe *probe, int expr)
{
    if (probe->settled_count == probe->settled_room) {
        int room = probe->settled_room ? probe->settled_room * 2 : 16;
        int *more = rl_many(probe->arena, room, int);
        if (probe->settled_count > 0)
            memcpy(more, probe->settled, (size_t)probe->settled_count * sizeof *more);
        probe->settled = more;
        probe->settled_room = room;
    }
    probe->settled[probe->settled_count++] = expr;
}

/* Paths before their parts; an absorbed element, whose law brings others in,
 * before those that can be summed out. */
static int turn_of(const rl_probe *probe, int expr)
{
    int count = probe->bench->exprs.count;
    if (!rl_expr_is_base(&probe->bench->exprs, expr))
        return expr + 2 * count;
    return is_absorbed(probe, expr) ? expr + count : expr;
}

/* The next expression that is not in the net and was not seen to, or -1. */
static int next_outside(const rl_probe *probe)
{
    int best = -1, turn = -1;
    for (int f = 0; f < probe->factors; f++)
        for (int i = 0; i < probe->factor[f].count; i++) {
            int input = probe->factor[f].input[i];
            if (input < 0 || turn_of(probe, input) <= turn || is_settled(probe, input))
                continue;
            best = input;
            turn = turn_of(probe, input);
        }
    return best;
}

/* Weights of a base expression outside the net. */
static const double *outside_weight(rl_probe *probe, int expr)
{
    const rl_bench *bench = probe->bench;
    const rl_network *network = &bench->network;
    if (expr < network->expr_count)
        return network->weight[expr];
    int element = bench->exprs.at[expr].a;
    const double *state = bench->draft.state[element];
    double *weight = rl_many(probe->arena, size_of(probe, expr), double);
    if (bench->exprs.at[expr].sort == RL_X_LOAD) {
        weight[0] = state[RL_SOUND];
        weight[1] = state[RL_FAILED];
    } else {
        rl_frame_spread(&bench->frame, mask_of(probe, expr), &bench->frame.model->node[element], state, weight);
    }
    return weight;
}

/* An absorbed element: its law, given what it was absorbed into. */
static void settle_absorbed(rl_probe *probe, int expr)
{
    const rl_network *network = &probe->bench->network;
    const rl_absorbed *a = &network->absorbed[network->absorbed_of[expr]];
    rl_cells law = rl_absorbed_law(probe->arena, a, network->weight[expr]);
    law = with_net_inputs(probe, &law);
    append(probe, &law);
}

static void settle_base(rl_probe *probe, int expr)
{
    int user = 0, uses = uses_of(probe, expr, &user);
    if (is_absorbed(probe, expr)) {
        settle_absorbed(probe, expr);
        return;
    }
    const double *weight = outside_weight(probe, expr);
    if (uses == 1) {
        rl_cells *table = &probe->factor[user];
        rl_cells_sum(probe->arena, table, place_of(table, expr), weight);
        return;
    }
    rl_cells own = {.count = 1, .input = {expr}, .size = {size_of(probe, expr)}, .cell = (double *)weight};
    append(probe, &own);
}

static void write_out(rl_probe *probe, rl_cells *table, int at)
{
    const rl_exprs *exprs = &probe->bench->exprs;
    int expr = table->input[at];
    int a = rl_draft_part(exprs, exprs->at[expr].a), b = rl_draft_part(exprs, exprs->at[expr].b);
    rl_draft_write_out(probe->arena, exprs, table, at, mask_of(probe, expr), mask_of(probe, a), mask_of(probe, b));
    name_inside(probe, table);
}

/* A path outside the net: written into its only user, or defined by a factor. */
static void settle_path(rl_probe *probe, int expr)
{
    int user = 0, uses = uses_of(probe, expr, &user), size = size_of(probe, expr);
    if (uses == 1 && probe->factor[user].count < RL_INPUTS) {
        write_out(probe, &probe->factor[user], place_of(&probe->factor[user], expr));
        return;
    }
    rl_cells own = {.count = 2, .input = {expr, expr}, .size = {size, size}};
    rl_cells_take(probe->arena, &own);
    for (int v = 0; v < size; v++)
        own.cell[v * size + v] = 1;
    write_out(probe, &own, 1);
    append(probe, &own);
}

static void settle_outside(rl_probe *probe)
{
    for (int x = next_outside(probe); x >= 0; x = next_outside(probe)) {
        set_settled(probe, x);
        if (rl_expr_is_base(&probe->bench->exprs, x))
            settle_base(probe, x);
        else
            settle_path(probe, x);
    }
}

/* A factor on a helper alone is summed into the other that has it. */
static void fold_prefixes(rl_probe *probe, int target)
{
    for (int f = 0; f < probe->factors; f++) {
        rl_cells *own = &probe->factor[f];
        if (own->count != 1 || own->input[0] >= 0 || own->input[0] <= RL_NET_INPUT || own->input[0] == target)
            continue;
        int input = own->input[0], user = -1;
        for (int g = f + 1; g < probe->factors && user < 0; g++)
            if (place_of(&probe->factor[g], input) >= 0)
                user = g;
        if (user < 0)
            continue;
        rl_cells *table = &probe->factor[user];
        rl_cells_sum(probe->arena, table, place_of(table, input), own->cell);
        own->count = 0;
        own->cell[0] = 1;
    }
}

/* Whether one factor over a single net variable is all that is left. */
static bool run_marginal(rl_probe *probe, int target, int size, double *out)
{
    const rl_cells *only = NULL;
    for (int f = 0; f < probe->factors; f++) {
        if (probe->factor[f].count == 0)
            continue;
        if (only)
            return false;
        only = &probe->factor[f];
    }
    if (!only || only->count > 2 || only->input[only->count - 1] != target)
        return false;
    if (only->count == 1) {
        memcpy(out, only->cell, (size_t)size * sizeof *out);
        return true;
    }
    int variable = net_variable(only->input[0]);
    if (variable < 0)
        return false;
    double *marginal = rl_many(probe->arena, only->size[0], double);
    rl_tree_marginal(probe->bench->tree, variable, marginal);
    memset(out, 0, (size_t)size * sizeof *out);
    for (int v = 0; v < only->size[0]; v++)
        for (int t = 0; t < size; t++)
            out[t] += marginal[v] * only->cell[v * size + t];
    return true;
}

/* Numbers for the query: net variables as they are, then helpers, then the
 * expressions outside that two factors share. */
static int query_variable(const rl_probe *probe, int *extra, int *extras, int *size, int input)
{
    int base = rl_net_variables(probe->bench->network.net);
    if (net_variable(input) >= 0)
        return net_variable(input);
    for (int i = 0; i < *extras; i++)
        if (extra[i] == input)
            return base + i;
    extra[*extras] = input;
    size[*extras] = input < 0 ? probe->helper_size[-1 - input] : size_of(probe, input);
    return base + (*extras)++;
}

static void run_query(rl_probe *probe, int target, double *out)
{
    int room = probe->factors * RL_INPUTS, extras = 0;
    int *extra = rl_many(probe->arena, room, int);
    int *size = rl_many(probe->arena, room, int);
    rl_table *table = rl_many(probe->arena, probe->factors, rl_table);
    int tables = 0;
    for (int f = 0; f < probe->factors; f++) {
        const rl_cells *from = &probe->factor[f];
        if (from->count == 0)
            continue;
        int *variable = rl_many(probe->arena, from->count, int);
        for (int i = 0; i < from->count; i++)
            variable[i] = query_variable(probe, extra, &extras, size, from->input[i]);
        table[tables++] = (rl_table){from->count, variable, from->cell};
    }
    rl_extension extension = {.size = size, .tables = tables, .table = table};
    extension.target = query_variable(probe, extra, &extras, size, target);
    extension.variables = extras;
    rl_tree_query(probe->bench->tree, probe->arena, &extension, out);
}

void rl_probe_run(rl_probe *probe, int target, double *out)
{
    settle_outside(probe);
    fold_prefixes(probe, target);
    if (!run_marginal(probe, target, probe->helper_size[-1 - target], out))
        run_query(probe, target, out);
}

void rl_probe_value(rl_bench *bench, rl_arena *arena, const rl_cells *law, int at, double *out)
{
    rl_probe probe;
    rl_probe_make(&probe, arena, bench);
    rl_cells own = with_net_inputs(&probe, law);
    own.input[at] = rl_probe_helper(&probe, law->size[at]);
    append(&probe, &own);
    rl_probe_run(&probe, own.input[at], out);
}
