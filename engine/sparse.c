/* sparse.c: tables of which most cells are 0, as lists of those that are not.
 *
 * A cell's code has the values of its variables, each in bits that are the variable's own wherever
 * it stands.  So two cells agree where their codes do under the mask of the variables
 * that both tables have, and their product's code is one code or the other.
 * Invariant: no two cells of a list have the same code.
 */
#include "infer_private.h"

#include <assert.h>
#include <string.h>

/* ---- from tables and back ---- */

/* No cell is negative: it is 0 if all its bits are. */
static inline bool is_filled(const double *cell)
{
    uint64_t bits;
    memcpy(&bits, cell, sizeof bits);
    return bits != 0;
}

size_t rl_filled(const double *cell, size_t count)
{
    size_t filled = 0, i = 0;
    for (; i + 4 <= count; i += 4)
        for (size_t j = 0; j < 4; j++)
            filled += is_filled(cell + i + j);
    for (; i < count; i++)
        filled += is_filled(cell + i);
    return filled;
}

size_t rl_filled_about(const double *cell, size_t count)
{
    enum { STEP = 13 };   /* no size of a variable goes with it, so that it meets all their values */
    size_t filled = 0;
    if (count < 16 * STEP)
        return rl_filled(cell, count);
    for (size_t i = 0; i < count; i += STEP)
        filled += is_filled(cell + i);
    return filled * STEP;
}

/* Goes through the codes of all values of some digits, the last the fastest. */
typedef struct counter {
    int count;
    const rl_digit *digit;
    size_t at[RL_MOST_AXES];
    uint64_t code;
} counter;

static void count_on(counter *c)
{
    for (int i = c->count - 1; i >= 0; i--) {
        c->code += (uint64_t)1 << c->digit[i].shift;
        if (++c->at[i] < c->digit[i].count)
            return;
        c->code -= (uint64_t)c->digit[i].count << c->digit[i].shift;
        c->at[i] = 0;
    }
}

enum { MOST_IN_ROW = 256 };

/* The codes of the last few digits, of which there are at most MOST_IN_ROW together; returns how
 * many cells these are, and how many digits are left. */
static size_t fill_row(int count, const rl_digit *digit, uint64_t code[MOST_IN_ROW], int *left)
{
    size_t cells = 1;
    int first = count;
    while (first > 0 && cells * digit[first - 1].count <= MOST_IN_ROW)
        cells *= digit[--first].count;
    counter c = {.count = count - first, .digit = digit + first};
    for (size_t j = 0; j < cells; j++, count_on(&c))
        code[j] = c.code;
    *left = first;
    return cells;
}

rl_list rl_list_cells(rl_arena *arena, const double *cell, int count, const rl_digit *digit)
{
    uint64_t code[MOST_IN_ROW];
    size_t row, rows = 1;
    counter c = {.digit = digit};
    row = fill_row(count, digit, code, &c.count);
    for (int i = 0; i < c.count; i++)
        rows *= digit[i].count;
    rl_list list = {.cell = rl_raw(arena, rl_filled(cell, rows * row), rl_cell)};
    for (; rows > 0; rows--, cell += row, count_on(&c)) {
#pragma GCC unroll 4
        for (size_t j = 0; j < row; j++)
            if (is_filled(cell + j))
                list.cell[list.count++] = (rl_cell){c.code | code[j], cell[j]};
    }
    return list;
}

void rl_spread_cells(const rl_list *list, int count, const rl_digit *digit, double *out)
{
    size_t cells = 1, step[RL_MOST_AXES];
    uint64_t mask[RL_MOST_AXES];
    for (int i = count - 1; i >= 0; i--) {
        step[i] = cells;
        cells *= digit[i].count;
        mask[i] = rl_digit_mask(&digit[i]) >> digit[i].shift;
    }
    memset(out, 0, cells * sizeof *out);
    for (size_t c = 0; c < list->count; c++) {
        size_t at = 0;
        for (int i = 0; i < count; i++)
            at += (size_t)(list->cell[c].code >> digit[i].shift & mask[i]) * step[i];
        assert(at < cells);
        out[at] = list->cell[c].value;
    }
}

/* ---- what is found by a code ---- */

/* Numbers from 1 up, to be found where a code says, or behind that; 0: free. */
typedef struct places {
    uint32_t *number;
    int bits;               /* there are 2 to this many, at least twice as many as numbers */
} places;

static places places_for(rl_arena *arena, size_t count)
{
    places p = {.bits = 3};
    while ((size_t)1 << p.bits < 2 * count)
        p.bits++;
    p.number = rl_many(arena, (size_t)1 << p.bits, uint32_t);
    return p;
}

static inline size_t first_place(const places *p, uint64_t code)
{
    return (size_t)(code * 0x9e3779b97f4a7c15U >> (64 - p->bits));
}

static inline size_t next_place(const places *p, size_t at)
{
    return (at + 1) & (((size_t)1 << p->bits) - 1);
}

/* ---- the cells of a list put together by some of their variables ---- */

typedef struct group {
    uint64_t key;
    size_t first, count;
} group;

typedef struct groups {
    places places;
    group *group;           /* the first is that of a key that does not occur */
    rl_cell *cell;          /* group by group */
} groups;

static inline const group *group_of(const groups *g, uint64_t key)
{
    size_t at = first_place(&g->places, key);
    while (g->places.number[at] != 0 && g->group[g->places.number[at]].key != key)
        at = next_place(&g->places, at);
    return &g->group[g->places.number[at]];
}

static groups put_together(rl_arena *arena, const rl_list *list, uint64_t shared)
{
    groups g = {.places = places_for(arena, list->count), .group = rl_raw(arena, list->count + 1, group),
                .cell = rl_raw(arena, list->count, rl_cell)};
    uint32_t *of_cell = rl_raw(arena, list->count, uint32_t), count = 0;
    size_t first = 0;
    g.group[0] = (group){0, 0, 0};
    for (size_t i = 0; i < list->count; i++) {
        uint64_t key = list->cell[i].code & shared;
        size_t at = first_place(&g.places, key);
        while (g.places.number[at] != 0 && g.group[g.places.number[at]].key != key)
            at = next_place(&g.places, at);
        if (g.places.number[at] == 0) {
            g.places.number[at] = ++count;
            g.group[count] = (group){.key = key};
        }
        of_cell[i] = g.places.number[at];
        g.group[of_cell[i]].count++;
    }
    for (uint32_t n = 1; n <= count; n++) {
        g.group[n].first = first;
        first += g.group[n].count;
    }
    for (size_t i = 0; i < list->count; i++)
        g.cell[g.group[of_cell[i]].first++] = list->cell[i];
    for (uint32_t n = 1; n <= count; n++)
        g.group[n].first -= g.group[n].count;
    return g;
}

/* ---- sums by code ---- */

typedef struct sums {
    rl_arena *arena;
    places places;
    rl_list list;           /* number 1 is its first cell */
} sums;

/* Twice the room. */
static void grow_sums(sums *s)
{
    places more = places_for(s->arena, (size_t)1 << s->places.bits);
    rl_cell *cell = rl_raw(s->arena, (size_t)1 << (more.bits - 1), rl_cell);
    memcpy(cell, s->list.cell, s->list.count * sizeof *cell);
    s->list.cell = cell;
    s->places = more;
    for (size_t i = 0; i < s->list.count; i++) {
        size_t at = first_place(&more, cell[i].code);
        while (more.number[at] != 0)
            at = next_place(&more, at);
        more.number[at] = (uint32_t)(i + 1);
    }
}

static inline void add_sum(sums *s, uint64_t code, double value)
{
    size_t at = first_place(&s->places, code);
    uint32_t number;
    while ((number = s->places.number[at]) != 0 && s->list.cell[number - 1].code != code)
        at = next_place(&s->places, at);
    if (number != 0) {
        s->list.cell[number - 1].value += value;
        return;
    }
    s->list.cell[s->list.count++] = (rl_cell){code, value};
    s->places.number[at] = (uint32_t)s->list.count;
    if (s->list.count >> (s->places.bits - 1) != 0)
        grow_sums(s);
}

/* ---- products ---- */

static rl_list multiply_lists(rl_arena *arena, const rl_list *left, const groups *right, uint64_t shared)
{
    size_t pairs = 0;
    for (size_t i = 0; i < left->count; i++)
        pairs += group_of(right, left->cell[i].code & shared)->count;
    rl_list out = {.cell = rl_raw(arena, pairs, rl_cell)};
    for (size_t i = 0; i < left->count; i++) {
        uint64_t code = left->cell[i].code;
        double value = left->cell[i].value;
        const group *own = group_of(right, code & shared);
        for (const rl_cell *c = right->cell + own->first, *end = c + own->count; c < end; c++)
            out.cell[out.count++] = (rl_cell){code | c->code, value * c->value};
    }
    return out;
}

static rl_list sum_lists(rl_arena *arena, const rl_list *left, const groups *right, uint64_t shared, uint64_t kept)
{
    sums s = {.arena = arena, .places = places_for(arena, left->count)};
    s.list.cell = rl_raw(arena, (size_t)1 << (s.places.bits - 1), rl_cell);
    for (size_t i = 0; i < left->count; i++) {
        uint64_t code = left->cell[i].code;
        const group *own = group_of(right, code & shared);
        for (const rl_cell *c = right->cell + own->first, *end = c + own->count; c < end; c++)
            add_sum(&s, (code | c->code) & kept, left->cell[i].value * c->value);
    }
    return s.list;
}

rl_list rl_join_lists(rl_arena *arena, const rl_list *left, const rl_list *right, uint64_t shared, uint64_t summed)
{
    const rl_list *fewer = left->count < right->count ? left : right, *more = fewer == left ? right : left;
    groups g = put_together(arena, fewer, shared);
    assert(left->count < UINT32_MAX / 4 && right->count < UINT32_MAX / 4);
    return summed == 0 ? multiply_lists(arena, more, &g, shared) : sum_lists(arena, more, &g, shared, ~summed);
}
