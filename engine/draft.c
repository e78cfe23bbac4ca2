/* draft.c: from factors over expressions to a net of variables.
 *
 * Invariant: an expression becomes a variable only if two factors need it; one
 * that a single factor needs is written into that factor over its parts.
 * Work goes from whole paths down to elements, so that every use of an
 * expression is known before it is decided.
 */
#include "draft.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Over how many cells a path is rather made a variable than written out. */
enum { INLINE_CELLS = 700 };

void rl_draft_make(rl_draft *draft, rl_arena *arena, rl_exprs *exprs)
{
    const rl_model *model = exprs->frame->model;
    *draft = (rl_draft){.arena = arena, .exprs = exprs, .room = 64, .helper_room = 32};
    draft->factor = rl_many(arena, draft->room, rl_cells);
    draft->helper_size = rl_many(arena, draft->helper_room, int);
    draft->state = rl_arena_array(arena, (size_t)model->nodes, sizeof *draft->state);
    draft->inspected = rl_many(arena, model->nodes, bool);
    for (int e = 0; e < model->nodes; e++)
        memcpy(draft->state[e], model->node[e].info.prior, sizeof draft->state[e]);
}

int rl_draft_helper(rl_draft *draft, int size)
{
    if (draft->helpers == draft->helper_room) {
        int *more = rl_many(draft->arena, draft->helper_room * 2, int);
        memcpy(more, draft->helper_size, (size_t)draft->helpers * sizeof *more);
        draft->helper_size = more;
        draft->helper_room *= 2;
    }
    draft->helper_size[draft->helpers] = size;
    return -1 - draft->helpers++;
}

void rl_draft_scale(rl_draft *draft, double factor)
{
    draft->log_scale += log(factor);
}

void rl_draft_see_through(rl_arena *arena, const rl_exprs *exprs, rl_cells *table)
{
    static const int nothing[1] = {0};
    for (int i = 0; i < table->count;) {
        int input = table->input[i];
        rl_expr x = input >= 0 ? exprs->at[input] : (rl_expr){RL_X_ELEMENT, 0, 0};
        int size = x.sort == RL_X_FAILED || x.sort == RL_X_CALM ? rl_expr_rows(exprs, x.a) : 1;
        if (x.sort == RL_X_SOUND)
            rl_cells_expand(arena, table, i, 0, NULL, NULL, nothing);
        else if (x.sort == RL_X_CALM)
            rl_cells_expand(arena, table, i, 1, &x.a, &size, exprs->calm_row);
        else if (x.sort == RL_X_FAILED)
            rl_cells_expand(arena, table, i, 1, &x.a, &size, exprs->failed_row);
        else
            i++;
    }
}

void rl_draft_widen(rl_arena *arena, const rl_exprs *exprs, rl_cells *table, int at, rl_mask mask, int bit)
{
    int input = table->input[at];
    if (exprs->at[input].sort == RL_X_LOAD || mask == 1u << bit)
        return;
    int size = rl_frame_size(exprs->frame, mask);
    const int *map = rl_frame_projection(exprs->frame, arena, mask, 1u << bit);
    rl_cells_expand(arena, table, at, 1, &input, &size, map);
}

static void append(rl_draft *draft, const rl_cells *table)
{
    if (draft->factors == draft->room) {
        rl_cells *more = rl_many(draft->arena, draft->room * 2, rl_cells);
        memcpy(more, draft->factor, (size_t)draft->factors * sizeof *more);
        draft->factor = more;
        draft->room *= 2;
    }
    draft->factor[draft->factors++] = *table;
}

void rl_draft_add(rl_draft *draft, const rl_cells *table, int bit)
{
    rl_cells own = *table;
    own.bit = bit;
    rl_draft_see_through(draft->arena, draft->exprs, &own);
    rl_cells_merge(draft->arena, &own);
    append(draft, &own);
}

/* ---- deciding ---- */

typedef struct rl_decider {
    rl_network *network;
    rl_draft *draft;
    rl_arena *arena;
    int *uses;      /* factors that have the expression as an input */
    int *user;      /* one of them */
} rl_decider;

static void count_uses(rl_decider *d, int factor)
{
    const rl_cells *table = &d->draft->factor[factor];
    for (int i = 0; i < table->count; i++)
        if (table->input[i] >= 0) {
            d->uses[table->input[i]]++;
            d->user[table->input[i]] = factor;
        }
}

static int place_of(const rl_cells *table, int input)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] == input)
            return i;
    return -1;
}

/* Values of a part of a path, as values of the path: map[value of the input]. */
static const int *part_map(rl_arena *arena, const rl_exprs *exprs, int part, rl_mask own, rl_mask whole)
{
    const rl_frame *frame = exprs->frame;
    int patterns = rl_frame_patterns(whole), open = rl_frame_size(frame, whole) - 1;
    rl_expr_sort sort = exprs->at[part].sort;
    if (sort == RL_X_FAILED) {
        int *map = rl_many(arena, 2, int);
        map[1] = open;
        return map;
    }
    const int *map = rl_frame_projection(frame, arena, own, whole);
    if (sort != RL_X_CALM)
        return map;
    int size = rl_frame_size(frame, own);
    int *calm = rl_many(arena, size, int);
    for (int v = 0; v < size; v++)
        calm[v] = map[v] >= patterns && map[v] < open ? 0 : map[v];
    return calm;
}

int rl_draft_part(const rl_exprs *exprs, int part)
{
    rl_expr x = exprs->at[part];
    return x.sort == RL_X_FAILED || x.sort == RL_X_CALM ? x.a : part;
}

void rl_draft_write_out(rl_arena *arena, const rl_exprs *exprs, rl_cells *table, int at, rl_mask whole,
                        rl_mask mask_a, rl_mask mask_b)
{
    rl_expr x = exprs->at[table->input[at]];
    int fresh[2] = {rl_draft_part(exprs, x.a), rl_draft_part(exprs, x.b)};
    int size[2] = {rl_expr_size(exprs, fresh[0], mask_a), rl_expr_size(exprs, fresh[1], mask_b)};
    const int *of_a = part_map(arena, exprs, x.a, mask_a, whole);
    const int *of_b = part_map(arena, exprs, x.b, mask_b, whole);
    int patterns = rl_frame_patterns(whole);
    int *map = rl_many(arena, size[0] * size[1], int);
    for (int a = 0; a < size[0]; a++)
        for (int b = 0; b < size[1]; b++)
            map[a * size[1] + b] = x.sort == RL_X_MAX ? rl_frame_max(patterns, of_a[a], of_b[b])
                                                      : rl_frame_min(patterns, of_a[a], of_b[b]);
    rl_cells_expand(arena, table, at, 2, fresh, size, map);
    rl_cells_merge(arena, table);
}

static void write_out(const rl_decider *d, rl_cells *table, int at)
{
    const rl_exprs *exprs = d->draft->exprs;
    const rl_mask *mask = d->network->mask;
    int expr = table->input[at];
    rl_expr x = exprs->at[expr];
    rl_draft_write_out(d->arena, exprs, table, at, mask[expr], mask[rl_draft_part(exprs, x.a)],
                       mask[rl_draft_part(exprs, x.b)]);
}

/* The only factor that needs the expression takes its parts instead. */
static void inline_expr(rl_decider *d, int expr)
{
    int user = d->user[expr];
    rl_cells *table = &d->draft->factor[user];
    rl_cells before = *table;
    write_out(d, table, place_of(table, expr));
    for (int i = 0; i < table->count; i++) {
        int input = table->input[i];
        if (input >= 0 && place_of(&before, input) < 0) {
            d->uses[input]++;
            d->user[input] = user;
        }
    }
}

/* The expression becomes a variable: one factor says what it is of its parts. */
static void define(rl_decider *d, int expr)
{
    int size = rl_expr_size(d->draft->exprs, expr, d->network->mask[expr]);
    rl_cells table = {.bit = -1, .count = 2, .input = {expr, expr}, .size = {size, size}};
    rl_cells_take(d->arena, &table);
    for (int v = 0; v < size; v++)
        table.cell[v * size + v] = 1;   /* [expr itself][expr from its parts] */
    write_out(d, &table, 1);
    append(d->draft, &table);
    count_uses(d, d->draft->factors - 1);
    d->network->of_expr[expr] = rl_net_variable(d->network->net, size);
}

static bool worth_inlining(const rl_decider *d, int expr)
{
    if (d->uses[expr] != 1)
        return false;
    const rl_cells *table = &d->draft->factor[d->user[expr]];
    size_t cells = rl_cells_count(table) * (size_t)rl_expr_size(d->draft->exprs, expr, d->network->mask[expr]);
    return table->count <= 2 || (table->count < RL_INPUTS && cells <= INLINE_CELLS);
}

/* Cells of the factor that says what a path is of its parts. */
static double defining_cells(const rl_decider *d, int expr)
{
    const rl_exprs *exprs = d->draft->exprs;
    const rl_mask *mask = d->network->mask;
    int a = rl_draft_part(exprs, exprs->at[expr].a), b = rl_draft_part(exprs, exprs->at[expr].b);
    return (double)rl_expr_size(exprs, expr, mask[expr]) * rl_expr_size(exprs, a, mask[a]) *
           rl_expr_size(exprs, b, mask[b]);
}

static void decide(rl_decider *d, int expr)
{
    if (d->uses[expr] == 0 || rl_expr_is_base(d->draft->exprs, expr) || d->network->wide)
        return;
    if (d->draft->most_cells > 0 && defining_cells(d, expr) > d->draft->most_cells) {
        d->network->wide = true;
        return;
    }
    if (worth_inlining(d, expr))
        inline_expr(d, expr);
    else
        define(d, expr);
}

/* In which occasions each expression is needed: by the factors that see it, and
 * by the paths it is a part of.  Elements are asked about in the last one. */
static void set_masks(rl_network *network, rl_draft *draft, const bool *last)
{
    const rl_exprs *exprs = draft->exprs;
    rl_mask *mask = network->mask;
    for (int x = 0; x < network->expr_count; x++)
        if (rl_expr_is_base(exprs, x))
            mask[x] = 1u << exprs->frame->last;
    for (int f = 0; f < draft->factors; f++)
        for (int i = 0; i < draft->factor[f].count; i++)
            if (draft->factor[f].input[i] >= 0)
                mask[draft->factor[f].input[i]] |= 1u << draft->factor[f].bit;
    for (int x = network->expr_count; x-- > 1;) {
        rl_expr e = exprs->at[x];
        if (last && last[x] && mask[x])
            mask[x] |= 1u << exprs->frame->last;
        if (e.sort >= RL_X_FAILED)
            mask[e.a] |= mask[x];
        if (e.sort >= RL_X_MAX)
            mask[e.b] |= mask[x];
    }
}

/* From rows of one occasion to the values of the masks. */
static void widen_factors(rl_network *network, rl_draft *draft, rl_arena *arena)
{
    for (int f = 0; f < draft->factors; f++) {
        rl_cells *table = &draft->factor[f];
        for (int i = 0; i < table->count; i++)
            if (table->input[i] >= 0)
                rl_draft_widen(arena, draft->exprs, table, i, network->mask[table->input[i]], table->bit);
        table->bit = -1;
    }
}

/* ---- base variables ---- */

static double normalise(double *weight, int size)
{
    double sum = 0;
    for (int v = 0; v < size; v++)
        sum += weight[v];
    for (int v = 0; v < size && sum > 0; v++)
        weight[v] /= sum;
    return sum;
}

static void take_scale(rl_network *network, double sum)
{
    if (sum > 0)
        network->log_scale += log(sum);
    else
        network->impossible = true;
}

/* Weights of all base expressions before any factor. */
static void weigh_bases(rl_network *network, rl_draft *draft, rl_arena *arena)
{
    const rl_exprs *exprs = draft->exprs;
    const rl_model *model = exprs->frame->model;
    for (int x = 0; x < network->expr_count; x++) {
        if (!rl_expr_is_base(exprs, x))
            continue;
        int e = exprs->at[x].a;
        int size = rl_expr_size(exprs, x, network->mask[x]);
        double *weight = rl_many(arena, size, double);
        if (exprs->at[x].sort == RL_X_LOAD) {
            weight[0] = draft->state[e][RL_SOUND];
            weight[1] = draft->state[e][RL_FAILED];
        } else {
            rl_frame_spread(exprs->frame, network->mask[x], &model->node[e], draft->state[e], weight);
        }
        take_scale(network, normalise(weight, size));
        network->weight[x] = weight;
        network->base_of[e] = x;
    }
    for (int e = 0; e < model->nodes; e++) {
        double state[RL_STATES];
        memcpy(state, draft->state[e], sizeof state);
        if (network->base_of[e] < 0 && draft->inspected[e])
            take_scale(network, normalise(state, RL_STATES));
    }
}

static bool is_own_factor(const rl_draft *draft, const rl_cells *table)
{
    return table->count == 1 && table->input[0] >= 0 && rl_expr_is_base(draft->exprs, table->input[0]);
}

/* A factor on one base variable alone goes into its weights. */
static void take_own_factor(rl_network *network, rl_cells *table)
{
    double *weight = network->weight[table->input[0]];
    for (int v = 0; v < table->size[0]; v++)
        weight[v] *= table->cell[v];
    take_scale(network, normalise(weight, table->size[0]));
    table->count = 0;
    table->cell = NULL;   /* used up */
}

/* Sums the base variable at place `at` into its only factor. */
static void absorb(rl_network *network, rl_draft *draft, rl_arena *arena, rl_cells *table, int at)
{
    int expr = table->input[at];
    rl_absorbed *a = &network->absorbed[network->absorbed_count];
    *a = (rl_absorbed){.expr = expr, .at = at, .before = *table};
    rl_cells_sum(arena, table, at, network->weight[expr]);
    a->after = *table;
    network->absorbed_of[expr] = network->absorbed_count++;
    if (is_own_factor(draft, table))
        take_own_factor(network, table);
}

/* Absorbs what the factor alone needs; true if it did. */
static bool absorb_from(rl_network *network, rl_draft *draft, rl_arena *arena, rl_cells *table, int *uses,
                        const bool *keep)
{
    bool any = false;
    for (int i = 0; i < table->count;) {
        int input = table->input[i];
        bool base = input >= 0 && rl_expr_is_base(draft->exprs, input);
        if (!base || uses[input] != 1 || (keep && keep[draft->exprs->at[input].a])) {
            i++;
            continue;
        }
        int last = table->count == 2 ? table->input[1 - i] : -1;
        absorb(network, draft, arena, table, i);
        if (last >= 0 && table->count == 0)   /* the other one's own factor: used up */
            uses[last]--;
        any = true;
    }
    return any;
}

static void absorb_bases(rl_network *network, rl_draft *draft, rl_arena *arena, const bool *keep)
{
    int *uses = rl_many(arena, network->expr_count, int);
    for (int f = 0; f < draft->factors; f++) {
        rl_cells *table = &draft->factor[f];
        if (is_own_factor(draft, table))
            take_own_factor(network, table);
        for (int i = 0; i < table->count; i++)
            if (table->input[i] >= 0)
                uses[table->input[i]]++;
    }
    network->absorbed = rl_many(arena, network->expr_count, rl_absorbed);
    for (bool again = true; again;) {
        again = false;
        for (int f = draft->factors; f-- > 0;)
            if (absorb_from(network, draft, arena, &draft->factor[f], uses, keep))
                again = true;
    }
}

/* ---- the net ---- */

static int variable_of(rl_network *network, const rl_draft *draft, int input)
{
    if (input < 0)
        return network->helper[-1 - input];
    if (network->of_expr[input] < 0) {   /* a base variable, met for the first time */
        int v = rl_net_variable(network->net, rl_expr_size(draft->exprs, input, network->mask[input]));
        network->of_expr[input] = v;
        rl_net_factor(network->net, 1, &v, network->weight[input]);
    }
    return network->of_expr[input];
}

static void put_factors(rl_network *network, const rl_draft *draft)
{
    for (int f = 0; f < draft->factors; f++) {
        const rl_cells *table = &draft->factor[f];
        int variable[RL_INPUTS];
        if (table->count == 0) {
            if (table->cell)
                take_scale(network, table->cell[0]);
            continue;
        }
        for (int i = 0; i < table->count; i++)
            variable[i] = variable_of(network, draft, table->input[i]);
        rl_net_factor(network->net, table->count, variable, table->cell);
    }
}

void rl_network_make(rl_network *network, rl_arena *arena, rl_draft *draft, const bool *keep, const bool *last)
{
    int n = draft->exprs->count;
    *network = (rl_network){.draft = draft, .expr_count = n, .log_scale = draft->log_scale,
                            .impossible = isinf(draft->log_scale) != 0};
    network->net = rl_net_new(arena);
    network->of_expr = rl_many(arena, n, int);
    memset(network->of_expr, -1, (size_t)n * sizeof(int));
    network->absorbed_of = rl_many(arena, n, int);
    memset(network->absorbed_of, -1, (size_t)n * sizeof(int));
    network->weight = rl_many(arena, n, double *);
    int nodes = draft->exprs->frame->model->nodes;
    network->base_of = rl_many(arena, nodes, int);
    memset(network->base_of, -1, (size_t)nodes * sizeof(int));
    network->mask = rl_many(arena, n, rl_mask);
    set_masks(network, draft, last);
    widen_factors(network, draft, arena);
    rl_decider d = {network, draft, arena, rl_many(arena, n, int), rl_many(arena, n, int)};
    for (int f = 0; f < draft->factors; f++)
        count_uses(&d, f);
    for (int x = n; x-- > 1;)
        decide(&d, x);
    assert(d.uses[0] == 0);
    if (network->wide)
        return;
    weigh_bases(network, draft, arena);
    absorb_bases(network, draft, arena, keep);
    network->helper = rl_many(arena, draft->helpers + 1, int);
    for (int h = 0; h < draft->helpers; h++)
        network->helper[h] = rl_net_variable(network->net, draft->helper_size[h]);
    put_factors(network, draft);
}
