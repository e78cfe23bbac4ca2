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

void rl_probe_make(rl_probe *probe, rl_arena *arena, rl_bench *bench, rl_groups *groups)
{
    *probe = (rl_probe){.arena = arena, .bench = bench, .groups = groups, .room = 32};
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

/* Input `at` becomes one of the net, with the values that the net has of it. */
static void name_input(const rl_probe *probe, rl_cells *table, int at, int variable)
{
    const rl_network *network = &probe->bench->network;
    table->input[at] = net_input(variable);
    if (network->left)
        rl_cells_select(probe->arena, table, at, rl_net_size(network->net, variable), network->left[variable]);
}

/* Expressions that the net has become inputs of the net. */
static void name_inside(const rl_probe *probe, rl_cells *table)
{
    for (int i = 0; i < table->count; i++) {
        int variable = usable_variable(probe, table->input[i]);
        if (variable >= 0)
            name_input(probe, table, i, variable);
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
            name_input(probe, &own, i, variable);
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

/* Whether the path is made of the expression, among others. */
static bool path_holds(const rl_exprs *exprs, int path, int expr, bool *seen)
{
    if (path <= expr || seen[path])   /* parts have smaller numbers */
        return path == expr;
    rl_expr x = exprs->at[path];
    seen[path] = true;
    return x.sort >= RL_X_FAILED && (path_holds(exprs, x.a, expr, seen) ||
                                     (x.sort >= RL_X_MAX && path_holds(exprs, x.b, expr, seen)));
}

/* Whether some path that is still to be written out will bring the element in again. */
static bool comes_again(const rl_probe *probe, int expr)
{
    const rl_exprs *exprs = &probe->bench->exprs;
    rl_mark mark = rl_arena_mark(probe->arena);
    bool *seen = rl_many(probe->arena, exprs->count, bool), comes = false;
    for (int f = 0; f < probe->factors && !comes; f++)
        for (int i = 0; i < probe->factor[f].count && !comes; i++) {
            int input = probe->factor[f].input[i];
            comes = input > expr && !rl_expr_is_base(exprs, input) && !is_settled(probe, input) &&
                    path_holds(exprs, input, expr, seen);
        }
    rl_arena_rewind(probe->arena, mark);
    return comes;
}

/* Whether nothing but its own weights is known of an element outside the net. */
static bool is_plain(const rl_probe *probe, int expr)
{
    const rl_network *network = &probe->bench->network;
    return !is_absorbed(probe, expr) && (expr >= network->expr_count || !network->told[expr]);
}

/* An element that can be summed into its only user at once, so that tables stay small; or -1. */
static int next_summable(const rl_probe *probe)
{
    for (int f = 0; f < probe->factors; f++)
        for (int i = 0; i < probe->factor[f].count; i++) {
            int input = probe->factor[f].input[i], user;
            if (input >= 0 && rl_expr_is_base(&probe->bench->exprs, input) && !is_settled(probe, input) &&
                is_plain(probe, input) && uses_of(probe, input, &user) == 1 && !comes_again(probe, input))
                return input;
        }
    return -1;
}

/* The next expression that is not in the net and was not seen to, or -1. */
static int next_outside(const rl_probe *probe)
{
    int best = next_summable(probe), turn = -1;
    if (best >= 0)
        return best;
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
    double *weight = rl_many(probe->arena, size_of(probe, expr), double);
    rl_bench_rows(probe->bench, probe->arena, element, weight);   /* no finding but inspections: rows say all */
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

/* Tables of a probe's own are kept below this. */
enum { MOST_CELLS = 1 << 22 };

static bool worth_writing_out(const rl_probe *probe, const rl_cells *table, int expr)
{
    rl_expr x = probe->bench->exprs.at[expr];
    int a = rl_draft_part(&probe->bench->exprs, x.a), b = rl_draft_part(&probe->bench->exprs, x.b);
    double cells = (double)rl_cells_count(table) / size_of(probe, expr) * size_of(probe, a) * size_of(probe, b);
    return table->count < RL_INPUTS && cells <= MOST_CELLS;
}

/* A path outside the net: written into its only user, or defined by a factor. */
static void settle_path(rl_probe *probe, int expr)
{
    int user = 0, uses = uses_of(probe, expr, &user), size = size_of(probe, expr);
    if (uses == 1 && worth_writing_out(probe, &probe->factor[user], expr)) {
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

/* ---- the query ---- */

/* What a query is made of: the net's variables in it and the rest. */
typedef struct asking {
    int *variable, variables;   /* ascending */
    int *extra, extras, *size;
} asking;

static void list_inputs(const rl_probe *probe, asking *q)
{
    int room = probe->factors * RL_INPUTS + 1;
    q->variable = rl_many(probe->arena, room, int);
    q->extra = rl_many(probe->arena, room, int);
    q->size = rl_many(probe->arena, room, int);
    for (int f = 0; f < probe->factors; f++)
        for (int i = 0; i < probe->factor[f].count; i++) {
            int input = probe->factor[f].input[i], known = 0;
            if (net_variable(input) >= 0) {
                q->variables = rl_place_insert(q->variable, q->variables, net_variable(input));
                continue;
            }
            while (known < q->extras && q->extra[known] != input)
                known++;
            if (known < q->extras)
                continue;
            q->size[q->extras] = input < 0 ? probe->helper_size[-1 - input] : size_of(probe, input);
            q->extra[q->extras++] = input;
        }
}

/* Number of an input in the query: in the group or the net, then the extra ones. */
static int number_of(const asking *q, const rl_group *group, int base, int input)
{
    int variable = net_variable(input);
    if (variable >= 0)
        return group ? rl_place_in(group->variable, group->count, variable) : variable;
    int at = 0;
    while (q->extra[at] != input)
        at++;
    return base + at;
}

static bool run_query(rl_probe *probe, int target, double *out)
{
    asking q = {0};
    list_inputs(probe, &q);
    const rl_group *group = probe->groups ? rl_group_for(probe->groups, probe->bench, probe->arena, q.variable, q.variables) : NULL;
    int base = group ? group->count : rl_net_variables(probe->bench->network.net);
    rl_table *table = rl_many(probe->arena, probe->factors, rl_table);
    int tables = 0;
    for (int f = 0; f < probe->factors; f++) {
        const rl_cells *from = &probe->factor[f];
        if (from->count == 0)
            continue;
        int *variable = rl_many(probe->arena, from->count, int);
        for (int i = 0; i < from->count; i++)
            variable[i] = number_of(&q, group, base, from->input[i]);
        table[tables++] = (rl_table){from->count, variable, from->cell};
    }
    rl_extension extension = {.variables = q.extras, .size = q.size, .tables = tables, .table = table,
                              .target = number_of(&q, group, base, target),
                              .most_cells = probe->groups ? RL_GROUP_CELLS : 0};
    if (!group && probe->groups)
        return rl_group_query(probe->groups, probe->bench, probe->arena, &extension, out);
    return rl_tree_query(group ? rl_group_tree(probe->groups, probe->bench, group) : probe->bench->tree, probe->arena, &extension, out);
}

bool rl_probe_run(rl_probe *probe, int target, double *out)
{
    settle_outside(probe);
    fold_prefixes(probe, target);
    return run_marginal(probe, target, probe->helper_size[-1 - target], out) || run_query(probe, target, out);
}

/* ---- hints ---- */

typedef struct gathering {
    const rl_probe *probe;
    bool *seen;                 /* by expression */
    int *list, count;
} gathering;

static void gather(gathering *g, int expr);

static void gather_law(gathering *g, int expr)
{
    const rl_network *network = &g->probe->bench->network;
    const rl_cells *after = &network->absorbed[network->absorbed_of[expr]].after;
    for (int i = 0; i < after->count; i++) {
        int input = after->input[i];
        int variable = input < 0 ? network->helper[-1 - input] : network->of_expr[input];
        if (variable >= 0)
            g->count = rl_place_insert(g->list, g->count, variable);
        else
            gather(g, input);
    }
}

static void gather(gathering *g, int expr)
{
    rl_expr x = g->probe->bench->exprs.at[expr];
    int variable = usable_variable(g->probe, expr);
    if (g->seen[expr])
        return;
    g->seen[expr] = true;
    if (variable >= 0) {
        g->count = rl_place_insert(g->list, g->count, variable);
    } else if (x.sort == RL_X_ELEMENT || x.sort == RL_X_LOAD) {
        if (is_absorbed(g->probe, expr))
            gather_law(g, expr);
    } else if (x.sort != RL_X_SOUND) {
        gather(g, x.a);
        if (x.sort >= RL_X_MAX)
            gather(g, x.b);
    }
}

const int *rl_probe_variables(rl_bench *bench, rl_arena *arena, const int *expr, int exprs, int *count)
{
    rl_probe probe;
    rl_probe_make(&probe, arena, bench, NULL);
    gathering g = {.probe = &probe, .seen = rl_many(arena, bench->exprs.count, bool)};
    g.list = rl_many(arena, rl_net_variables(bench->network.net) + 1, int);
    for (int i = 0; i < exprs; i++)
        gather(&g, expr[i]);
    *count = g.count;
    return g.list;
}

/* ---- laws of single expressions ---- */

/* Product of two tables over the union of their inputs; false: too many, or too wide. */
static bool multiply(rl_arena *arena, rl_cells *into, const rl_cells *by)
{
    rl_cells out = *into;
    int place[RL_INPUTS];   /* of by's inputs in the product */
    for (int i = 0; i < by->count; i++) {
        place[i] = place_of(&out, by->input[i]);
        if (place[i] >= 0)
            continue;
        if (out.count == RL_INPUTS)
            return false;
        place[i] = out.count;
        out.input[out.count] = by->input[i];
        out.size[out.count++] = by->size[i];
    }
    double cells = 1;
    for (int i = 0; i < out.count; i++)
        cells *= out.size[i];
    if (cells > MOST_CELLS)
        return false;
    rl_cells_take(arena, &out);
    size_t step[RL_INPUTS] = {0};   /* of out's inputs in `by` */
    for (size_t i = (size_t)by->count, s = 1; i-- > 0; s *= (size_t)by->size[i])
        step[place[i]] = s;
    size_t all = rl_cells_count(&out), tail = all / rl_cells_count(into), b = 0;
    int at[RL_INPUTS] = {0};
    for (size_t cell = 0, head = 0, left = tail; cell < all; cell++) {
        out.cell[cell] = into->cell[head] * by->cell[b];
        if (--left == 0) {
            left = tail;
            head++;
        }
        for (int i = out.count; i-- > 0;) {
            b += step[i];
            if (++at[i] < out.size[i])
                break;
            b -= step[i] * (size_t)out.size[i];
            at[i] = 0;
        }
    }
    *into = out;
    return true;
}

bool rl_probe_law(rl_bench *bench, rl_arena *arena, int expr, rl_cells *out, int *target)
{
    rl_probe probe;
    rl_probe_make(&probe, arena, bench, NULL);
    int rows = rl_expr_rows(&bench->exprs, expr);
    *target = rl_probe_helper(&probe, rows);
    rl_cells t = {.count = 2, .input = {expr, *target}, .size = {rows, rows}};
    rl_cells_take(arena, &t);
    for (int r = 0; r < rows; r++)
        t.cell[r * rows + r] = 1;
    rl_probe_add(&probe, &t);
    settle_outside(&probe);
    *out = probe.factor[0];
    for (int f = 1; f < probe.factors; f++) {
        if (!multiply(arena, out, &probe.factor[f]))
            return false;
        for (int i = out->count; i-- > 0;) {   /* sum out what no later factor has */
            bool later = out->input[i] == *target || net_variable(out->input[i]) >= 0;
            for (int g = f + 1; g < probe.factors && !later; g++)
                later = place_of(&probe.factor[g], out->input[i]) >= 0;
            if (later)
                continue;
            double *one = rl_many(arena, out->size[i], double);
            for (int v = 0; v < out->size[i]; v++)
                one[v] = 1;
            rl_cells_sum(arena, out, i, one);
        }
    }
    return true;
}

/* Marks the elements outside the net that an expression hangs on; false if one was marked already. */
static bool mark_outside(const rl_probe *probe, int expr, bool *marked, bool *seen)
{
    rl_expr x = probe->bench->exprs.at[expr];
    const rl_network *network = &probe->bench->network;
    if (x.sort == RL_X_SOUND || usable_variable(probe, expr) >= 0 || seen[expr])
        return true;
    seen[expr] = true;
    if (x.sort != RL_X_ELEMENT && x.sort != RL_X_LOAD)
        return mark_outside(probe, x.a, marked, seen) && (x.sort < RL_X_MAX || mark_outside(probe, x.b, marked, seen));
    if (marked[x.a])
        return false;
    marked[x.a] = true;
    if (!is_absorbed(probe, expr))
        return true;
    const rl_cells *after = &network->absorbed[network->absorbed_of[expr]].after;
    for (int i = 0; i < after->count; i++)
        if (after->input[i] >= 0 && network->of_expr[after->input[i]] < 0 &&
            !mark_outside(probe, after->input[i], marked, seen))
            return false;
    return true;
}

bool rl_probe_apart(rl_bench *bench, rl_arena *arena, int expr, bool *marked)
{
    rl_probe probe = {.arena = arena, .bench = bench};
    rl_mark mark = rl_arena_mark(arena);
    bool apart = mark_outside(&probe, expr, marked, rl_many(arena, bench->exprs.count, bool));
    rl_arena_rewind(arena, mark);
    return apart;
}
