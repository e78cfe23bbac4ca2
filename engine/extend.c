/* extend.c: further lines said to a network that was made without them.
 *
 * Their factors join the net as they are.  What they speak of and the net does not have becomes
 * a variable: an element or a path that was absorbed by its law given what it was absorbed into,
 * another path by what it is of its parts.  Neither changes the product of the rest.
 * Invariant: the net's product, summed over its variables, is that of all lines said.
 */
#include "work.h"

#include <assert.h>
#include <math.h>
#include <string.h>

typedef struct extender {
    rl_network *network;
    const rl_exprs *exprs;
    const rl_draft *draft;      /* with the further lines in it */
    rl_arena *arena;
    bool failed;                /* something stands in the net for other occasions than are needed now, or not at all */
} extender;

/* ---- expressions that the network has not met ---- */

static void *longer(rl_arena *arena, const void *old, size_t count, size_t room, size_t each, int fill)
{
    char *fresh = rl_arena_raw(arena, room * each);
    memcpy(fresh, old, count * each);
    memset(fresh + count * each, fill, (room - count) * each);
    return fresh;
}

static void make_room(extender *x)
{
    rl_network *n = x->network;
    size_t count = (size_t)n->expr_count, room = (size_t)x->exprs->count;
    n->of_expr = longer(x->arena, n->of_expr, count, room, sizeof *n->of_expr, -1);
    n->absorbed_of = longer(x->arena, n->absorbed_of, count, room, sizeof *n->absorbed_of, -1);
    n->mask = longer(x->arena, n->mask, count, room, sizeof *n->mask, 0);
    n->told = longer(x->arena, n->told, count, room, sizeof *n->told, 0);
    double **weight = rl_many(x->arena, room, double *);
    memcpy(weight, n->weight, count * sizeof *weight);
    n->weight = weight;
    n->expr_count = x->exprs->count;
}

/* Helpers of the further lines, from `first` on. */
static void name_helpers(extender *x, int first)
{
    rl_network *n = x->network;
    int *helper = rl_raw(x->arena, x->draft->helpers, int);
    memcpy(helper, n->helper, (size_t)first * sizeof *helper);
    for (int h = first; h < x->draft->helpers; h++)
        helper[h] = rl_net_variable(n->net, x->draft->helper_size[h]);
    n->helper = helper;
}

static int size_of(const extender *x, int expr)
{
    return rl_expr_size(x->exprs, expr, x->network->mask[expr]);
}

/* ---- what becomes a variable ---- */

static int variable_of(extender *x, int input, int bit);

static void add_table(extender *x, const rl_cells *table, int bit)
{
    int variable[RL_INPUTS];
    for (int i = 0; i < table->count; i++)
        variable[i] = variable_of(x, table->input[i], bit);
    if (!x->failed)
        rl_net_factor(x->network->net, table->count, variable, table->cell);
}

/* Weights of an element that no line before has touched. */
static void weigh_base(extender *x, int expr)
{
    const rl_frame *frame = x->exprs->frame;
    int element = x->exprs->at[expr].a, size;
    const double *state = x->draft->state[element];
    if (rl_crowd_has(x->draft->crowd, element)) {
        x->failed = true;   /* it was summed away with its load */
        return;
    }
    x->network->mask[expr] |= 1u << frame->last;
    size = size_of(x, expr);
    double *weight = rl_raw(x->arena, size, double), sum = 0;
    if (x->exprs->at[expr].sort == RL_X_LOAD) {
        weight[0] = state[RL_SOUND];
        weight[1] = state[RL_FAILED];
    } else {
        rl_frame_spread(frame, x->network->mask[expr], &frame->model->node[element], state, weight);
    }
    for (int v = 0; v < size; v++)
        sum += weight[v];
    for (int v = 0; v < size; v++)
        weight[v] /= sum;
    x->network->weight[expr] = weight;
    x->network->base_of[element] = expr;
    if (!x->draft->inspected[element])   /* what inspections came to is in the scale already */
        x->network->log_scale += log(sum);
}

/* What a path is of its parts, as a table of 0 and 1. */
static void define(extender *x, int expr, int bit)
{
    const rl_mask *mask = x->network->mask;
    int part[2], count = rl_draft_parts(x->exprs, expr, part), pairs = 1;
    rl_cells t = {.bit = -1, .count = 1 + count, .input = {expr}, .size = {size_of(x, expr)}};
    for (int i = 0; i < count; i++) {
        (void)variable_of(x, part[i], bit);
        x->failed = x->failed || (mask[part[i]] & mask[expr]) != mask[expr];
        t.input[1 + i] = part[i];
        pairs *= t.size[1 + i] = size_of(x, part[i]);
    }
    if (x->failed)
        return;
    const int *map = rl_draft_of_parts(x->arena, x->exprs, expr, mask[expr], mask[part[0]], mask[part[count - 1]]);
    rl_cells_take(x->arena, &t);
    for (int c = 0; c < pairs; c++)
        t.cell[map[c] * pairs + c] = 1;
    add_table(x, &t, bit);
}

/* An expression becomes a variable of the net. */
static void name(extender *x, int expr, int bit)
{
    rl_network *n = x->network;
    bool base = rl_expr_is_base(x->exprs, expr);
    int absorbed = n->absorbed_of[expr];
    n->mask[expr] |= n->mask[expr] == 0 ? 1u << bit : 0;
    if (base && !n->weight[expr])
        weigh_base(x, expr);
    if (x->failed)
        return;
    int variable = n->of_expr[expr] = rl_net_variable(n->net, size_of(x, expr));
    if (absorbed >= 0) {
        rl_cells law = rl_absorbed_law(x->arena, &n->absorbed[absorbed], n->weight[expr]);
        add_table(x, &law, bit);
    } else if (base) {
        rl_net_factor(n->net, 1, &variable, n->weight[expr]);
    } else {
        define(x, expr, bit);
    }
}

static int variable_of(extender *x, int input, int bit)
{
    rl_network *n = x->network;
    if (input < 0)
        return n->helper[-1 - input];
    if (n->of_expr[input] < 0)
        name(x, input, bit);
    x->failed = x->failed || !(n->mask[input] >> bit & 1u);
    return n->of_expr[input];
}

/* ---- the further lines ---- */

/* A factor on rows of one occasion. */
static void add_seen(extender *x, rl_cells table, int bit)
{
    for (int i = 0; i < table.count; i++)
        if (table.input[i] >= 0) {
            (void)variable_of(x, table.input[i], bit);
            if (x->failed)
                return;
            rl_draft_widen(x->arena, x->exprs, &table, i, x->network->mask[table.input[i]], bit);
        }
    add_table(x, &table, bit);
}

static void add_draft(extender *x, const rl_draft *further)
{
    for (int i = 0; i < further->owns && !x->failed; i++) {
        const rl_own *own = &further->own[i];
        rl_cells table = {.count = 1, .input = {own->expr}, .size = {rl_expr_rows(x->exprs, own->expr)}};
        table.cell = rl_raw(x->arena, table.size[0], double);
        memcpy(table.cell, own->row, (size_t)table.size[0] * sizeof *table.cell);
        add_seen(x, table, own->bit);
    }
    for (int f = 0; f < further->factors && !x->failed; f++)
        add_seen(x, further->factor[f], further->factor[f].bit);
    x->network->log_scale += further->log_scale;
    x->network->impossible = isinf(x->network->log_scale) != 0;
}

static bool others_speak(const rl_case *c, int occasion)
{
    for (int i = 0; i < c->findings; i++)
        if (c->finding[i]->sort == RL_E_OTHERS && c->finding[i]->occasion == occasion && !c->finding[i]->line.replaced)
            return true;
    return false;
}

bool rl_bench_may_extend(const rl_bench *bench, const rl_finding *line)
{
    switch (line->sort) {
    case RL_E_INSPECTION:
    case RL_E_OTHERS:
    case RL_E_OCCASION: return false;
    case RL_E_BEHAVIOUR:
        if (others_speak(bench->observer.kase, line->occasion))
            return false;   /* they reached the load and do so no more */
        break;
    default: break;
    }
    return bench->frame.slot[line->occasion] >= 0;
}

bool rl_bench_extend(rl_bench *bench, int known)
{
    rl_arena *arena = bench->draft.arena;
    rl_draft *further = rl_new(arena, rl_draft);
    rl_observer observer = bench->observer;
    int helpers = bench->draft.helpers;
    rl_draft_further(further, &bench->draft);
    observer.draft = further;
    rl_observe_further(&observer, known);
    rl_draft_join(&bench->draft, further);
    extender x = {.network = &bench->network, .exprs = &bench->exprs, .draft = &bench->draft, .arena = arena};
    make_room(&x);
    name_helpers(&x, helpers);
    add_draft(&x, further);
    bench->whole = NULL;
    bench->plan = NULL;
    bench->tree = NULL;
    bench->log_evidence = -INFINITY;
    return !x.failed && !bench->network.impossible;
}
