/* network.c: from factors over expressions to a net of variables.
 *
 * Invariant: work goes from whole paths down to elements, so that every use of
 * an expression is known before it is decided.  A path that no table needs and
 * one element alone tells from another passes what it knows on to that other,
 * a vector, and the element is absorbed; else it is written over its parts into
 * the one table that needs it, or becomes a variable where several do or where
 * the law of something absorbed speaks of it.  In a net that no test will ask,
 * a path that no table needs is absorbed too.
 */
#include "network_private.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

/* ---- numbers that stay out ---- */

static void settle_scale(rl_maker *m)
{
    m->network->log_scale += log(m->scale);
    m->scale = 1;
}

void rl_maker_scale(rl_maker *m, double factor)
{
    if (!(factor > 0)) {
        m->network->impossible = true;
        return;
    }
    m->scale *= factor;
    if (m->scale < 1e-100 || m->scale > 1e100)
        settle_scale(m);
}

static double normalise(double *weight, int size)
{
    double sum = 0;
    for (int v = 0; v < size; v++)
        sum += weight[v];
    for (int v = 0; v < size && sum > 0; v++)
        weight[v] /= sum;
    return sum;
}

/* ---- tables ---- */

static void count_uses(rl_maker *m, int at)
{
    const rl_cells *table = &m->table[at];
    for (int i = 0; i < table->count; i++)
        if (table->input[i] >= 0) {
            m->uses[table->input[i]]++;
            m->user[table->input[i]] = at;
        }
}

void rl_maker_append(rl_maker *m, const rl_cells *table)
{
    if (m->tables == m->room) {
        rl_cells *more = rl_raw(m->arena, m->room * 2, rl_cells);
        memcpy(more, m->table, (size_t)m->tables * sizeof *more);
        m->table = more;
        m->room *= 2;
    }
    m->table[m->tables] = *table;
    count_uses(m, m->tables++);
}

/* Connectors that stand in returns and in feeds are variables whatever is known of them: given
 * these the two sides of a load behind one are apart, and its tests cheap.  Where none will be asked: none. */
static bool is_shared(const rl_maker *m, int expr)
{
    const rl_node *node = &m->exprs->frame->model->node[m->exprs->at[expr].a];
    return !m->peel && m->exprs->at[expr].sort == RL_X_ELEMENT && node->info.sort == RL_CONNECTOR && node->in_return &&
           node->in_feed;
}

bool rl_maker_keeps(const rl_maker *m, int expr)
{
    return is_shared(m, expr) || (m->keep && m->keep[m->exprs->at[expr].a]);
}

/* Products of small numbers are brought back to a size that lasts. */
static void keep_in_range(rl_maker *m, double *cell, int size)
{
    double greatest = 0;
    for (int v = 0; v < size; v++)
        greatest = cell[v] > greatest ? cell[v] : greatest;
    if (greatest > 1e-60)
        return;
    rl_maker_scale(m, greatest);
    for (int v = 0; v < size && greatest > 0; v++)
        cell[v] /= greatest;
}

void rl_maker_multiply_own(rl_maker *m, int expr, const double *cell)
{
    if (!m->own[expr]) {
        m->own[expr] = cell;
        return;
    }
    int size = rl_maker_size(m, expr);
    double *product = rl_raw(m->arena, size, double);
    for (int v = 0; v < size; v++)
        product[v] = m->own[expr][v] * cell[v];
    keep_in_range(m, product, size);
    m->own[expr] = product;
}

/* ---- what is needed, and in which occasions ---- */

static void need_parts(rl_maker *m, int x)
{
    rl_expr e = m->exprs->at[x];
    rl_mask *mask = m->network->mask;
    if (e.sort < RL_X_FAILED || !mask[x])
        return;
    mask[e.a] |= mask[x];
    if (e.sort >= RL_X_MAX)
        mask[e.b] |= mask[x];
    int part[2], count = rl_draft_parts(m->exprs, x, part);
    for (int i = 0; i < count && e.sort != RL_X_FAILED; i++)
        m->needs[part[i]]++;
}

static void need(rl_maker *m, int expr, int bit, int times)
{
    m->network->mask[expr] |= 1u << bit;
    m->needs[expr] += times;
}

/* What nothing loose and active can reach is the same in all occasions; what nothing can but elements
 * that are active in chosen ones has two patterns. */
static void hush(rl_maker *m)
{
    enum { NEVER, CHOSEN, ANY };
    static const unsigned char of_looseness[] = {
        [RL_FREE] = ANY, [RL_NOT_ACTIVE] = NEVER, [RL_ACTIVE] = ANY, [RL_ACTIVE_THEN] = CHOSEN};
    const unsigned char *looseness = m->draft->looseness;
    unsigned char *varies = rl_many(m->arena, m->network->expr_count, unsigned char);
    for (int x = 0; looseness && x < m->network->expr_count; x++) {
        rl_expr e = m->exprs->at[x];
        if (e.sort == RL_X_ELEMENT)
            varies[x] = of_looseness[looseness[e.a]];
        else if (e.sort >= RL_X_FAILED)
            varies[x] = varies[e.a];
        if (e.sort >= RL_X_MAX && varies[e.b] > varies[x])
            varies[x] = varies[e.b];
        if (varies[x] != ANY && m->network->mask[x])
            m->network->mask[x] = varies[x] == NEVER ? 0 : RL_CHOSEN;
    }
}

/* In which occasions each expression is needed: by the factors that see it, and
 * by the paths it is a part of.  Elements are asked about in the last one. */
static void set_masks(rl_maker *m, const bool *last)
{
    rl_mask *mask = m->network->mask, last_bit = 1u << m->exprs->frame->last;
    for (int x = 0; x < m->network->expr_count; x++)
        if (rl_expr_is_base(m->exprs, x))
            mask[x] = last_bit;
    for (int i = 0; i < m->draft->owns; i++)
        need(m, m->draft->own[i].expr, m->draft->own[i].bit, m->draft->own[i].times);
    for (int f = 0; f < m->draft->factors; f++)
        for (int i = 0; i < m->draft->factor[f].count; i++)
            if (m->draft->factor[f].input[i] >= 0)
                need(m, m->draft->factor[f].input[i], m->draft->factor[f].bit, 1);
    for (int x = m->network->expr_count; x-- > 1;) {
        if (last && last[x] && mask[x])
            mask[x] |= last_bit;
        need_parts(m, x);
    }
    hush(m);
}

static void take_own(rl_maker *m, const rl_own *own)
{
    rl_mask mask = m->network->mask[own->expr];
    rl_expr x = m->exprs->at[own->expr];
    if (x.sort == RL_X_LOAD || (mask == 1u << own->bit && !x.calm)) {
        rl_maker_multiply_own(m, own->expr, own->row);
        return;
    }
    int size = rl_maker_size(m, own->expr);
    double *wide = rl_raw(m->arena, size, double);
    for (int v = 0; v < size; v++)
        wide[v] = own->row[rl_expr_row(m->exprs, own->expr, mask, own->bit, v)];
    rl_maker_multiply_own(m, own->expr, wide);
}

/* From rows of one occasion to the values of the masks. */
static void take_factors(rl_maker *m)
{
    for (int i = 0; i < m->draft->owns; i++)
        take_own(m, &m->draft->own[i]);
    for (int f = 0; f < m->draft->factors; f++) {
        rl_cells table = m->draft->factor[f];
        for (int i = 0; i < table.count; i++)
            if (table.input[i] >= 0)
                rl_draft_widen(m->arena, m->exprs, &table, i, m->network->mask[table.input[i]], table.bit);
        table.bit = -1;
        rl_maker_append(m, &table);
    }
}

/* Elements of one law have their weights in common. */
static const rl_weighed *weights_of(rl_maker *m, int x)
{
    const rl_node *node = &m->exprs->frame->model->node[m->exprs->at[x].a];
    const double *state = m->draft->state[m->exprs->at[x].a];
    rl_mask mask = m->network->mask[x];
    bool load = node->info.sort == RL_LOAD;
    int looseness = m->draft->looseness ? m->draft->looseness[m->exprs->at[x].a] : RL_FREE;
    rl_weighed *w = &m->weighed[((uintptr_t)node->bin_mass / sizeof(double) + mask) % SLOTS];
    if (w->weight && w->mask == mask && w->bin_mass == node->bin_mass && w->quiet == node->quiet && w->load == load &&
        w->looseness == looseness && memcmp(w->state, state, RL_STATES * sizeof *state) == 0)
        return w;
    int size = rl_maker_size(m, x);
    double *weight = rl_raw(m->arena, size, double);
    if (load) {
        weight[0] = state[RL_SOUND];
        weight[1] = state[RL_FAILED];
    } else {
        rl_frame_spread(m->exprs->frame, mask, node, state, weight);
        weight[0] = looseness == RL_ACTIVE || looseness == RL_ACTIVE_THEN ? 0 : weight[0];
        weight[1] = looseness == RL_ACTIVE_THEN ? state[RL_LOOSE] : weight[1];
    }
    *w = (rl_weighed){state, node->bin_mass, load, looseness, node->quiet, normalise(weight, size), mask, weight};
    return w;
}

/* Weights of all base expressions before any factor. */
static void weigh_bases(rl_maker *m)
{
    const rl_model *model = m->exprs->frame->model;
    rl_network *network = m->network;
    for (int x = 1; x < network->expr_count; x++) {
        if (!rl_expr_is_base(m->exprs, x))
            continue;
        const rl_weighed *w = weights_of(m, x);
        network->weight[x] = w->weight;
        if (m->needs[x] == 0 && is_shared(m, x))
            continue;   /* a variable for the sake of tests alone: no finding touches it */
        rl_maker_scale(m, w->sum);
        network->base_of[m->exprs->at[x].a] = x;
    }
    for (int e = 0; e < model->nodes; e++) {
        double state[RL_STATES];
        memcpy(state, m->draft->state[e], sizeof state);
        if (network->base_of[e] < 0 && m->draft->inspected[e])
            rl_maker_scale(m, normalise(state, RL_STATES));
    }
}

/* ---- absorbing ---- */

void rl_maker_note_absorbed(rl_maker *m, const rl_cells *before, int at, const rl_cells *after, const int *map)
{
    rl_network *network = m->network;
    int expr = before->input[at];
    network->absorbed_of[expr] = network->absorbed_count;
    network->absorbed[network->absorbed_count++] = (rl_absorbed){expr, at, *before, *after, map};
    for (int i = 0; i < after->count; i++)
        if (after->input[i] >= 0)
            m->told[after->input[i]] = true;
}

void rl_maker_absorb(rl_maker *m, rl_cells *table, int at)
{
    rl_cells before = *table;
    rl_cells_sum(m->arena, table, at, m->network->weight[table->input[at]]);
    rl_maker_note_absorbed(m, &before, at, table, NULL);
}

bool rl_maker_take_small(rl_maker *m, const rl_cells *table)
{
    if (table->count > 1 || (table->count == 1 && table->input[0] < 0))
        return false;
    if (table->count == 0)
        rl_maker_scale(m, table->cell[0]);
    else
        rl_maker_multiply_own(m, table->input[0], table->cell);
    return true;
}

/* ---- elements ---- */

/* Absorbs the elements that the table alone needs; true if there were any.  One that the law
 * of another speaks of stays a variable, unless all is peeled: so what is absorbed is apart, given the net. */
static bool absorb_from(rl_maker *m, rl_cells *table)
{
    bool any = false;
    for (int i = 0; i < table->count;) {
        int input = table->input[i];
        bool base = input >= 0 && rl_expr_is_base(m->exprs, input);
        if (!base || m->uses[input] != 1 || (m->told[input] && !m->peel) || rl_maker_keeps(m, input)) {
            i++;
            continue;
        }
        rl_maker_absorb(m, table, i);
        m->uses[input] = 0;
        any = true;
    }
    return any;
}

/* What is known of an element goes into its weights. */
static void weigh(rl_maker *m, int x)
{
    int size = rl_maker_size(m, x);
    const double *before = m->network->weight[x];
    double *weight = rl_raw(m->arena, size, double);
    for (int v = 0; v < size; v++)
        weight[v] = before[v] * m->own[x][v];
    m->own[x] = NULL;
    m->network->weight[x] = weight;
    rl_maker_scale(m, normalise(weight, size));
}

static void absorb_elements(rl_maker *m)
{
    for (int x = 1; x < m->network->expr_count; x++)
        if (m->own[x] && rl_expr_is_base(m->exprs, x))
            weigh(m, x);
    for (bool again = true; again;) {
        again = false;
        for (int f = m->tables; f-- > 0;) {
            rl_cells *table = &m->table[f];
            if (!absorb_from(m, table))
                continue;
            again = true;
            if (!rl_maker_take_small(m, table))
                continue;
            if (table->count == 1) {
                m->uses[table->input[0]]--;
                if (rl_expr_is_base(m->exprs, table->input[0]))
                    weigh(m, table->input[0]);
            }
            *table = m->table[--m->tables];
        }
    }
}

/* ---- the net ---- */

static int variable_of(rl_maker *m, int input)
{
    rl_network *network = m->network;
    if (input < 0)
        return network->helper[-1 - input];
    if (network->of_expr[input] < 0) {   /* an element, met for the first time */
        int v = rl_net_variable(network->net, rl_maker_size(m, input));
        network->of_expr[input] = v;
        rl_net_factor(network->net, 1, &v, network->weight[input]);
    }
    return network->of_expr[input];
}

static void fill_net(rl_maker *m)
{
    rl_network *network = m->network;
    network->helper = rl_raw(m->arena, m->draft->helpers, int);
    for (int h = 0; h < m->draft->helpers; h++)
        network->helper[h] = rl_net_variable(network->net, m->draft->helper_size[h]);
    for (int x = 1; x < network->expr_count; x++)
        if (m->own[x] && network->of_expr[x] >= 0)
            rl_net_factor(network->net, 1, &network->of_expr[x], m->own[x]);
    for (int f = 0; f < m->tables; f++) {
        const rl_cells *table = &m->table[f];
        int variable[RL_INPUTS];
        for (int i = 0; i < table->count; i++)
            variable[i] = variable_of(m, table->input[i]);
        rl_net_factor(network->net, table->count, variable, table->cell);
    }
    for (int x = 1; x < network->expr_count && !m->peel; x++)
        if (rl_expr_is_base(m->exprs, x) && network->absorbed_of[x] < 0 && (m->told[x] || is_shared(m, x)))
            variable_of(m, x);
}

static int *unset(rl_arena *arena, int count)
{
    return memset(rl_raw(arena, count, int), -1, (size_t)count * sizeof(int));
}

/* What the wires and the stops of a crowd are is told by the ways behind them. */
static void tell_crowd(rl_maker *m)
{
    const rl_crowd *crowd = m->draft->crowd;
    for (int b = 0; crowd && b < crowd->book->berths; b++)
        if (crowd->way[b] > 0)
            m->told[crowd->way[b]] = true;
    for (int s = 0; crowd && s < crowd->book->stops; s++)
        if (crowd->follows[s] > 0)
            m->told[crowd->follows[s]] = true;
}

static void begin(rl_maker *m)
{
    rl_network *network = m->network;
    rl_arena *arena = m->arena;
    int n = network->expr_count;
    network->net = rl_net_new(arena);
    network->of_expr = unset(arena, n);
    network->absorbed_of = unset(arena, n);
    network->base_of = unset(arena, m->exprs->frame->model->nodes);
    network->weight = rl_many(arena, n, double *);
    network->mask = rl_many(arena, n, rl_mask);
    network->absorbed = rl_raw(arena, n, rl_absorbed);
    m->room = m->draft->factors + 32;
    m->table = rl_raw(arena, m->room, rl_cells);
    m->own = rl_many(arena, n, const double *);
    m->needs = rl_many(arena, n, int);
    m->uses = rl_many(arena, n, int);
    m->user = rl_raw(arena, n, int);
    m->told = rl_many(arena, n, bool);
    m->network->told = m->told;
    tell_crowd(m);
    double most = rl_frame_size(m->exprs->frame, (1u << m->exprs->frame->occasions) - 1);
    m->all_fit = m->draft->most_cells <= 0 || n * most * most * most <= m->draft->most_cells;
    m->weighed = rl_many(arena, SLOTS, rl_weighed);
    m->passed = rl_many(arena, SLOTS, rl_passed);
}

void rl_network_make(rl_network *network, rl_arena *arena, const rl_draft *draft, const bool *keep, const bool *last)
{
    *network = (rl_network){.draft = draft, .expr_count = draft->exprs->count, .log_scale = draft->log_scale,
                            .impossible = isinf(draft->log_scale) != 0};
    rl_maker m = {.network = network, .draft = draft, .exprs = draft->exprs, .arena = arena, .keep = keep,
                  .peel = draft->peel, .scale = 1};
    begin(&m);
    set_masks(&m, last);
    weigh_bases(&m);
    take_factors(&m);
    for (int x = network->expr_count; x-- > 1 && !network->wide;)
        rl_maker_decide(&m, x);
    assert(m.uses[0] == 0 && !m.own[0]);
    if (network->wide)
        return;
    absorb_elements(&m);
    fill_net(&m);
    settle_scale(&m);
}
