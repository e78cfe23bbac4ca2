/* network_paths.c: what becomes of each path of a network.
 *
 * Invariant: a path is decided after all that it is a part of, so that every use of it is known.
 */
#include "network_private.h"

#include <stdint.h>
#include <string.h>

/* Over how many cells a path is rather made a variable than written out. */
enum { INLINE_CELLS = 220 };
/* Over how many cells what a path is of an element and another part is kept as a map alone. */
enum { MOST_WRITTEN = 1 << 20 };
/* All tables of paths together may have so many times the cells of one. */
static const double MOST_TOGETHER = 2;

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
    rl_parts key = {.sort = e.sort, .sort_a = sort_of(m, e.a), .sort_b = sort_of(m, e.b), .size = rl_maker_size(m, x),
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
        key.pairs *= key.part_size[i] = rl_maker_size(m, part[i]);
    key.map = rl_draft_of_parts(m->arena, m->exprs, x, key.whole, key.mask_a, key.mask_b);
    return new_parts(m, &key);
}

/* (path, its parts), without cells. */
static rl_cells outline(const rl_maker *m, int x, const rl_parts *p)
{
    rl_cells t = {.bit = -1, .count = 1 + p->count, .input = {x}, .size = {p->size, p->part_size[0], p->part_size[1]}};
    rl_draft_parts(m->exprs, x, &t.input[1]);
    return t;
}

/* (path, its parts): 1 where the path is what its parts make it. */
static rl_cells definition(rl_maker *m, int x, rl_parts *p)
{
    rl_cells t = outline(m, x, p);
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

/* ---- deciding ---- */

/* Whether nothing but the path it is a part of needs this element. */
static bool is_private(const rl_maker *m, int part)
{
    int expr = rl_draft_part(m->exprs, part);
    return m->needs[expr] == 1 && rl_expr_is_base(m->exprs, expr) &&
           !rl_maker_keeps(m, expr);
}

/* Which part of a path of two is such an element: 0, 1, or -1 for none. */
static int private_part(const rl_maker *m, int x)
{
    rl_expr e = m->exprs->at[x];
    if (e.sort < RL_X_MAX)
        return -1;
    return is_private(m, e.b) ? 1 : is_private(m, e.a) ? 0 : -1;
}

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
    int element = private_part(m, x);
    bool large = element >= 0 && (size_t)p->size * (size_t)p->pairs > MOST_WRITTEN;
    rl_cells table = large ? outline(m, x, p) : definition(m, x, p);
    if (element < 0) {
        rl_cells_merge(m->arena, &table);
        return table;
    }
    rl_cells left = definition_without(m, &table, p, element);
    rl_maker_note_absorbed(m, &table, 1 + element, &left, p->map);
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
    rl_maker_note_absorbed(m, &before, element, &after, NULL);
    rl_maker_multiply_own(m, after.input[0], after.cell);
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
    if (!rl_maker_take_small(m, &table))
        rl_maker_append(m, &table);
}

/* The same for one that a law speaks of: it is absorbed itself. */
static void peel(rl_maker *m, int x)
{
    rl_cells table = definition_left(m, x);
    size_t bytes = (size_t)rl_maker_size(m, x) * sizeof(double);
    m->network->weight[x] = memcpy(rl_arena_raw(m->arena, bytes), m->own[x], bytes);
    rl_maker_absorb(m, &table, 0);
    if (!rl_maker_take_small(m, &table))
        rl_maker_append(m, &table);
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
        lay_down(m, table, rl_maker_place(table, x));
    rl_cells_expand(m->arena, table, rl_maker_place(table, x), count, part, p->part_size, p->map);
    rl_cells_merge(m->arena, table);
    for (int i = 0; i < table->count; i++) {
        int input = table->input[i];
        if (input >= 0 && rl_maker_place(&before, input) < 0) {
            m->uses[input]++;
            m->user[input] = user;
        }
    }
}

/* The path becomes a variable: one table says what it is of its parts. */
static void define(rl_maker *m, int x)
{
    rl_cells table = definition_left(m, x);
    rl_maker_append(m, &table);
    m->network->of_expr[x] = rl_net_variable(m->network->net, rl_maker_size(m, x));
}

static bool worth_writing_out(const rl_maker *m, int x)
{
    if (m->uses[x] != 1 || m->told[x] || m->exprs->at[x].sort == RL_X_CALM)
        return false;   /* a calm path has fewer values than its part: worth a variable */
    if (m->own[x] && !(m->peel && private_part(m, x) >= 0))
        return false;
    const rl_cells *table = &m->table[m->user[x]];
    size_t cells = rl_cells_count(table) * (size_t)rl_maker_size(m, x);
    if (private_part(m, x) >= 0 && cells > MOST_WRITTEN)
        return false;   /* the element is gone from its definition before that is a table */
    return table->count <= 2 || (table->count < RL_INPUTS && cells <= INLINE_CELLS);
}

/* Whether the table that says what a path is of its parts would be too wide, by itself or
 * with those before it.  One part that nothing else needs is summed out before it is made. */
static bool is_too_wide(rl_maker *m, int x, bool passed_on)
{
    if (m->all_fit)
        return false;
    int part[2], count = rl_draft_parts(m->exprs, x, part), element = private_part(m, x);
    double cells = passed_on ? 1 : rl_maker_size(m, x), most = m->draft->most_cells;
    for (int i = 0; i < count; i++)
        cells *= i == element && !passed_on ? 1 : rl_maker_size(m, part[i]);
    m->cells += cells;
    return cells > most || m->cells > MOST_TOGETHER * most;
}

void rl_maker_decide(rl_maker *m, int x)
{
    if (m->exprs->at[x].sort < RL_X_CALM || (m->uses[x] == 0 && !m->own[x]))
        return;
    bool alone = m->uses[x] == 0, passed_on = alone && !m->told[x] && (m->peel || m->needs[x] == 1);
    if (is_too_wide(m, x, passed_on))
        m->network->wide = true;
    else if (passed_on)
        pass_on(m, x);
    else if (alone && m->peel)
        peel(m, x);
    else if (worth_writing_out(m, x))
        write_out(m, x);
    else
        define(m, x);
}
