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
#include "draft.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

/* Over how many cells a path is rather made a variable than written out. */
enum { INLINE_CELLS = 220 };
/* All tables of paths together may have so many times the cells of one. */
static const double MOST_TOGETHER = 2;

/* What a path is of its parts.  Paths that are alike share it. */
typedef struct rl_parts {
    rl_expr_sort sort, sort_a, sort_b;
    rl_mask whole, mask_a, mask_b;
    int size, count, part_size[2], pairs;
    const int *map;             /* [a][b]: value of the path */
    double *cell;               /* [path][a][b]: 1 where it is so; NULL: not needed yet */
} rl_parts;

/* What was made once of the same vectors and tables is not made again: many elements are alike.
 * Each kind has slots that hold the last one of its number. */
enum { SLOTS = 64 };

typedef struct rl_weighed {
    const double *state;        /* by state */
    const double *bin_mass;
    bool load;
    double quiet, sum;          /* sum: of the weights before they were normalised */
    rl_mask mask;
    double *weight;
} rl_weighed;

/* What a path of two parts passes on when one of them, an element, is absorbed. */
typedef struct rl_passed {
    const double *own, *weight; /* own NULL: of the definition, without the element */
    const int *map;
    int element;
    double *before, *after;
} rl_passed;

typedef struct rl_maker {
    rl_network *network;
    const rl_draft *draft;
    const rl_exprs *exprs;
    rl_arena *arena;
    const bool *keep;
    bool peel;
    rl_cells *table;            /* on several inputs, or on helpers */
    int tables, room;
    const double **own;         /* by expression: the product of all that is on it alone, or NULL */
    int *needs;                 /* by expression: factors and paths that need it */
    int *uses, *user;           /* tables that have it as an input now, and one of them */
    bool *told;                 /* an absorbed expression's law speaks of it */
    rl_parts *parts;
    int part_count, part_room;
    int part_slot[SLOTS];       /* the last met, by a number of what it depends on */
    rl_weighed *weighed;
    rl_passed *passed;
    bool all_fit;               /* were every path one of two parts, their tables would not be too wide */
    double cells;               /* of these tables so far, unless all fit */
    double scale;               /* what constants came to, since log_scale was last set */
} rl_maker;

/* ---- numbers that stay out ---- */

static void settle_scale(rl_maker *m)
{
    m->network->log_scale += log(m->scale);
    m->scale = 1;
}

static void take_scale(rl_maker *m, double factor)
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

static void append(rl_maker *m, const rl_cells *table)
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

static int place_of(const rl_cells *table, int input)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] == input)
            return i;
    return -1;
}

/* Connectors that stand in returns and in feeds are variables whatever is known of them: given
 * these the two sides of a load behind one are apart, and its tests cheap.  Where none will be asked: none. */
static bool is_shared(const rl_maker *m, int expr)
{
    const rl_node *node = &m->exprs->frame->model->node[m->exprs->at[expr].a];
    return !m->peel && m->exprs->at[expr].sort == RL_X_ELEMENT && node->info.sort == RL_CONNECTOR && node->in_return &&
           node->in_feed;
}

/* Elements that are not to be absorbed. */
static bool is_kept(const rl_maker *m, int expr)
{
    return is_shared(m, expr) || (m->keep && m->keep[m->exprs->at[expr].a]);
}

static int size_of(const rl_maker *m, int expr)
{
    return rl_expr_size(m->exprs, expr, m->network->mask[expr]);
}

/* Products of small numbers are brought back to a size that lasts. */
static void keep_in_range(rl_maker *m, double *cell, int size)
{
    double greatest = 0;
    for (int v = 0; v < size; v++)
        greatest = cell[v] > greatest ? cell[v] : greatest;
    if (greatest > 1e-60)
        return;
    take_scale(m, greatest);
    for (int v = 0; v < size && greatest > 0; v++)
        cell[v] /= greatest;
}

/* A factor on one expression alone; `cell` stays as it is. */
static void multiply_own(rl_maker *m, int expr, const double *cell)
{
    if (!m->own[expr]) {
        m->own[expr] = cell;
        return;
    }
    int size = size_of(m, expr);
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
}

static void take_own(rl_maker *m, const rl_own *own)
{
    rl_mask mask = m->network->mask[own->expr];
    rl_expr x = m->exprs->at[own->expr];
    if (x.sort == RL_X_LOAD || (mask == 1u << own->bit && !x.calm)) {
        multiply_own(m, own->expr, own->row);
        return;
    }
    int size = size_of(m, own->expr);
    double *wide = rl_raw(m->arena, size, double);
    for (int v = 0; v < size; v++)
        wide[v] = own->row[rl_expr_row(m->exprs, own->expr, mask, own->bit, v)];
    multiply_own(m, own->expr, wide);
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
        append(m, &table);
    }
}

/* Elements of one law have their weights in common. */
static const rl_weighed *weights_of(rl_maker *m, int x)
{
    const rl_node *node = &m->exprs->frame->model->node[m->exprs->at[x].a];
    const double *state = m->draft->state[m->exprs->at[x].a];
    rl_mask mask = m->network->mask[x];
    bool load = node->info.sort == RL_LOAD;
    rl_weighed *w = &m->weighed[((uintptr_t)node->bin_mass / sizeof(double) + mask) % SLOTS];
    if (w->weight && w->mask == mask && w->bin_mass == node->bin_mass && w->quiet == node->quiet && w->load == load &&
        memcmp(w->state, state, RL_STATES * sizeof *state) == 0)
        return w;
    int size = size_of(m, x);
    double *weight = rl_raw(m->arena, size, double);
    if (load) {
        weight[0] = state[RL_SOUND];
        weight[1] = state[RL_FAILED];
    } else {
        rl_frame_spread(m->exprs->frame, mask, node, state, weight);
    }
    *w = (rl_weighed){state, node->bin_mass, load, node->quiet, normalise(weight, size), mask, weight};
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
        take_scale(m, w->sum);
        network->base_of[m->exprs->at[x].a] = x;
    }
    for (int e = 0; e < model->nodes; e++) {
        double state[RL_STATES];
        memcpy(state, m->draft->state[e], sizeof state);
        if (network->base_of[e] < 0 && m->draft->inspected[e])
            take_scale(m, normalise(state, RL_STATES));
    }
}

/* ---- paths and their parts ---- */

/* All that a path's values depend on, of the sort of a part or of itself. */
static rl_expr_sort sort_of(const rl_maker *m, int expr)
{
    rl_expr x = m->exprs->at[expr];
    return x.sort == RL_X_FAILED ? RL_X_FAILED : x.calm ? RL_X_CALM : RL_X_ELEMENT;
}

static bool same_parts(const rl_parts *p, const rl_parts *q)
{
    return p->sort == q->sort && p->size == q->size && p->sort_a == q->sort_a && p->sort_b == q->sort_b && p->whole == q->whole &&
           p->mask_a == q->mask_a && p->mask_b == q->mask_b;
}

static rl_parts *new_parts(rl_maker *m, const rl_parts *key)
{
    if (m->part_count == m->part_room) {
        int room = m->part_room ? m->part_room * 2 : 8;
        rl_parts *more = rl_raw(m->arena, room, rl_parts);
        if (m->part_count > 0)
            memcpy(more, m->parts, (size_t)m->part_count * sizeof *more);
        m->parts = more;
        m->part_room = room;
    }
    m->parts[m->part_count] = *key;
    return &m->parts[m->part_count++];
}

static rl_parts *parts_of(rl_maker *m, int x)
{
    const rl_mask *mask = m->network->mask;
    rl_expr e = m->exprs->at[x];
    int part[2], count = rl_draft_parts(m->exprs, x, part);
    rl_parts key = {.sort = e.sort, .sort_a = sort_of(m, e.a), .sort_b = sort_of(m, e.b), .size = size_of(m, x),
                    .whole = mask[x], .mask_a = mask[part[0]], .mask_b = mask[part[1]]};
    int *slot = &m->part_slot[((unsigned)key.sort + (unsigned)key.sort_a * 5 + (unsigned)key.sort_b * 11 + (unsigned)key.whole * 3 +
                               (unsigned)key.mask_a * 17 + (unsigned)key.mask_b * 23) % SLOTS];
    if (*slot < m->part_count && same_parts(&m->parts[*slot], &key))
        return &m->parts[*slot];
    for (int i = 0; i < m->part_count; i++)
        if (same_parts(&m->parts[i], &key)) {
            *slot = i;
            return &m->parts[i];
        }
    *slot = m->part_count;
    key.count = count;
    key.pairs = 1;
    for (int i = 0; i < count; i++)
        key.pairs *= key.part_size[i] = size_of(m, part[i]);
    key.map = rl_draft_of_parts(m->arena, m->exprs, x, key.whole, key.mask_a, key.mask_b);
    return new_parts(m, &key);
}

/* (path, its parts): 1 where the path is what its parts make it. */
static rl_cells definition(rl_maker *m, int x, rl_parts *p)
{
    rl_cells t = {.bit = -1, .count = 1 + p->count, .input = {x}, .size = {p->size, p->part_size[0], p->part_size[1]}};
    rl_draft_parts(m->exprs, x, &t.input[1]);
    if (!p->cell) {
        rl_cells_take(m->arena, &t);
        p->cell = t.cell;
        for (int c = 0; c < p->pairs; c++)
            p->cell[p->map[c] * p->pairs + c] = 1;
    }
    t.cell = p->cell;
    return t;
}

/* What is known of the path, as a factor on its parts. */
static rl_cells over_parts(const rl_maker *m, int x, const rl_parts *p)
{
    rl_cells t = {.bit = -1, .count = p->count, .size = {p->part_size[0], p->part_size[1]}};
    rl_draft_parts(m->exprs, x, t.input);
    t.cell = rl_raw(m->arena, p->pairs, double);
    for (int c = 0; c < p->pairs; c++)
        t.cell[c] = m->own[x][p->map[c]];
    return t;
}

/* ---- absorbing ---- */

/* Input `at` of `before` was summed out under the weights of its expression; `map` as in absorb.h. */
static void note_absorbed(rl_maker *m, const rl_cells *before, int at, const rl_cells *after, const int *map)
{
    rl_network *network = m->network;
    int expr = before->input[at];
    network->absorbed_of[expr] = network->absorbed_count;
    network->absorbed[network->absorbed_count++] = (rl_absorbed){expr, at, *before, *after, map};
    for (int i = 0; i < after->count; i++)
        if (after->input[i] >= 0)
            m->told[after->input[i]] = true;
}

static void absorb(rl_maker *m, rl_cells *table, int at)
{
    rl_cells before = *table;
    rl_cells_sum(m->arena, table, at, m->network->weight[table->input[at]]);
    note_absorbed(m, &before, at, table, NULL);
}

/* Whether nothing but the path it is a part of needs this element. */
static bool is_private(const rl_maker *m, int part)
{
    int expr = rl_draft_part(m->exprs, part);
    return m->needs[expr] == 1 && rl_expr_is_base(m->exprs, expr) &&
           !is_kept(m, expr);
}

/* Which part of a path of two is such an element: 0, 1, or -1 for none. */
static int private_part(const rl_maker *m, int x)
{
    rl_expr e = m->exprs->at[x];
    if (e.sort < RL_X_MAX)
        return -1;
    return is_private(m, e.b) ? 1 : is_private(m, e.a) ? 0 : -1;
}

/* A table that is left after summing: one on an expression alone joins what is
 * known of that.  False: it stays a table. */
static bool take_small(rl_maker *m, const rl_cells *table)
{
    if (table->count > 1 || (table->count == 1 && table->input[0] < 0))
        return false;
    if (table->count == 0)
        take_scale(m, table->cell[0]);
    else
        multiply_own(m, table->input[0], table->cell);
    return true;
}

/* ---- deciding ---- */

/* The slot of what a path passes on that is `own` (NULL: of what it is of its parts), and whether
 * it holds that. */
static rl_passed *passed_of(rl_maker *m, const double *own, const double *weight, const rl_parts *p, int element, bool *held)
{
    uintptr_t number = (uintptr_t)own / 16 + (uintptr_t)weight / 16 * 3 + (uintptr_t)p->map / 16 * 7;
    rl_passed *slot = &m->passed[number % SLOTS];
    *held = slot->map == p->map && slot->own == own && slot->weight == weight && slot->element == element;
    if (!*held)
        *slot = (rl_passed){own, weight, p->map, element, NULL, NULL};
    return slot;
}

/* (path, other part): the definition with one part, an element, summed out. */
static rl_cells definition_without(rl_maker *m, const rl_cells *whole, const rl_parts *p, int element)
{
    int other = p->part_size[1 - element];
    rl_cells t = {.bit = -1, .count = 2, .input = {whole->input[0], whole->input[2 - element]},
                  .size = {p->size, other}};
    const double *weight = m->network->weight[whole->input[1 + element]];
    const int *map = p->map;
    bool held;
    rl_passed *slot = passed_of(m, NULL, weight, p, element, &held);
    if (held) {
        t.cell = slot->after;
        return t;
    }
    rl_cells_take(m->arena, &t);
    slot->after = t.cell;
    for (int a = 0; a < p->part_size[0]; a++)
        for (int b = 0; b < p->part_size[1]; b++, map++)
            if (element == 1)
                t.cell[*map * other + a] += weight[b];
            else
                t.cell[*map * other + b] += weight[a];
    return t;
}

/* What the path is of its parts, as a table; an element that nothing else needs is summed out. */
static rl_cells definition_left(rl_maker *m, int x)
{
    rl_parts *p = parts_of(m, x);
    rl_cells table = definition(m, x, p);
    int element = private_part(m, x);
    if (element < 0) {
        rl_cells_merge(m->arena, &table);
        return table;
    }
    rl_cells left = definition_without(m, &table, p, element);
    note_absorbed(m, &table, 1 + element, &left, p->map);
    return left;
}

/* The same where one part is an element that nothing else needs. */
static void pass_by(rl_maker *m, int x, const rl_parts *p, int element)
{
    bool held;
    int part[2];
    rl_draft_parts(m->exprs, x, part);
    const double *weight = m->network->weight[part[element]];
    rl_passed *slot = passed_of(m, m->own[x], weight, p, element, &held);
    rl_cells before = {.bit = -1, .count = 2, .input = {part[0], part[1]}, .size = {p->part_size[0], p->part_size[1]},
                       .cell = slot->before};
    rl_cells after = {.bit = -1, .count = 1, .input = {part[1 - element]}, .size = {p->part_size[1 - element]},
                      .cell = slot->after};
    if (!held) {
        after = before = over_parts(m, x, p);
        rl_cells_sum(m->arena, &after, element, weight);
        slot->before = before.cell;
        slot->after = after.cell;
    }
    note_absorbed(m, &before, element, &after, NULL);
    multiply_own(m, after.input[0], after.cell);
}

/* What is known of a path that no table needs goes on to its parts. */
static void pass_on(rl_maker *m, int x)
{
    const rl_parts *p = parts_of(m, x);
    int element = private_part(m, x);
    if (element >= 0) {
        pass_by(m, x, p, element);
        return;
    }
    rl_cells table = over_parts(m, x, p);
    rl_cells_merge(m->arena, &table);
    if (!take_small(m, &table))
        append(m, &table);
}

/* The same for one that a law speaks of: it is absorbed itself. */
static void peel(rl_maker *m, int x)
{
    rl_cells table = definition_left(m, x);
    size_t bytes = (size_t)size_of(m, x) * sizeof(double);
    m->network->weight[x] = memcpy(rl_arena_raw(m->arena, bytes), m->own[x], bytes);
    absorb(m, &table, 0);
    if (!take_small(m, &table))
        append(m, &table);
}

/* What is known of a path goes into the only table that needs it. */
static void lay_down(rl_maker *m, rl_cells *table, int at)
{
    int x = table->input[at], size = table->size[at];
    size_t cells = rl_cells_count(table), inner = 1;
    for (int i = at + 1; i < table->count; i++)
        inner *= (size_t)table->size[i];
    double *cell = rl_raw(m->arena, cells, double);
    for (size_t c = 0; c < cells; c++)
        cell[c] = table->cell[c] * m->own[x][c / inner % (size_t)size];
    table->cell = cell;
    m->own[x] = NULL;
}

/* The only table that needs the path takes its parts instead. */
static void write_out(rl_maker *m, int x)
{
    int user = m->user[x], part[2], count = rl_draft_parts(m->exprs, x, part);
    rl_cells *table = &m->table[user];
    rl_cells before = *table;
    const rl_parts *p = parts_of(m, x);
    if (m->own[x])
        lay_down(m, table, place_of(table, x));
    rl_cells_expand(m->arena, table, place_of(table, x), count, part, p->part_size, p->map);
    rl_cells_merge(m->arena, table);
    for (int i = 0; i < table->count; i++) {
        int input = table->input[i];
        if (input >= 0 && place_of(&before, input) < 0) {
            m->uses[input]++;
            m->user[input] = user;
        }
    }
}

/* The path becomes a variable: one table says what it is of its parts. */
static void define(rl_maker *m, int x)
{
    rl_cells table = definition_left(m, x);
    append(m, &table);
    m->network->of_expr[x] = rl_net_variable(m->network->net, size_of(m, x));
}

static bool worth_writing_out(const rl_maker *m, int x)
{
    if (m->uses[x] != 1 || m->told[x] || m->exprs->at[x].sort == RL_X_CALM)
        return false;   /* a calm path has fewer values than its part: worth a variable */
    if (m->own[x] && !(m->peel && private_part(m, x) >= 0))
        return false;
    const rl_cells *table = &m->table[m->user[x]];
    size_t cells = rl_cells_count(table) * (size_t)size_of(m, x);
    return table->count <= 2 || (table->count < RL_INPUTS && cells <= INLINE_CELLS);
}

/* Whether the table that says what a path is of its parts would be too wide, by itself or
 * with those before it. */
static bool is_too_wide(rl_maker *m, int x)
{
    if (m->all_fit)
        return false;
    int part[2], count = rl_draft_parts(m->exprs, x, part);
    double cells = size_of(m, x), most = m->draft->most_cells;
    for (int i = 0; i < count; i++)
        cells *= size_of(m, part[i]);
    m->cells += cells;
    return cells > most || m->cells > MOST_TOGETHER * most;
}

static void decide(rl_maker *m, int x)
{
    if (m->exprs->at[x].sort < RL_X_CALM || (m->uses[x] == 0 && !m->own[x]))
        return;
    bool alone = m->uses[x] == 0;
    if (is_too_wide(m, x))
        m->network->wide = true;
    else if (alone && !m->told[x] && (m->peel || m->needs[x] == 1))
        pass_on(m, x);
    else if (alone && m->peel)
        peel(m, x);
    else if (worth_writing_out(m, x))
        write_out(m, x);
    else
        define(m, x);
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
        if (!base || m->uses[input] != 1 || (m->told[input] && !m->peel) || is_kept(m, input)) {
            i++;
            continue;
        }
        absorb(m, table, i);
        m->uses[input] = 0;
        any = true;
    }
    return any;
}

/* What is known of an element goes into its weights. */
static void weigh(rl_maker *m, int x)
{
    int size = size_of(m, x);
    const double *before = m->network->weight[x];
    double *weight = rl_raw(m->arena, size, double);
    for (int v = 0; v < size; v++)
        weight[v] = before[v] * m->own[x][v];
    m->own[x] = NULL;
    m->network->weight[x] = weight;
    take_scale(m, normalise(weight, size));
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
            if (!take_small(m, table))
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
        int v = rl_net_variable(network->net, size_of(m, input));
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
        decide(&m, x);
    assert(m.uses[0] == 0 && !m.own[0]);
    if (network->wide)
        return;
    absorb_elements(&m);
    fill_net(&m);
    settle_scale(&m);
}
