/* bounded_loose_seen.c: what was seen in one occasion, as tables over paths alone.
 *
 * Helpers are summed out as long as the tables stay small.  What is left of the longest
 * chains is bounded as a whole: their steps say for certain, or with probabilities, what
 * comes of what stood before, so that all in all a chain is an average of its other cells.
 *
 * Invariant: the product of all tables and chains is that of the draft's factors.
 */
#include "bounded_loose.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* A joined table has no more cells than this. */
enum { MOST_JOINED = 1 << 14 };

typedef struct summer {
    rl_arena *arena;
    rl_cells *table;            /* count < 0: it was joined to another */
    int tables;
} summer;

static bool is_gone(const rl_cells *table)
{
    return table->count < 0;
}

static int place_of(const rl_cells *table, int input)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] == input)
            return i;
    return -1;
}

static bool may_join(const rl_cells *a, const rl_cells *b)
{
    return a->count + b->count <= RL_INPUTS && rl_cells_count(a) * rl_cells_count(b) <= MOST_JOINED * 16 && a->bit == b->bit;
}

static rl_cells join(rl_arena *arena, const rl_cells *a, const rl_cells *b)
{
    rl_cells t = *a;
    size_t many = rl_cells_count(b), few = rl_cells_count(a);
    memcpy(&t.input[a->count], b->input, (size_t)b->count * sizeof(int));
    memcpy(&t.size[a->count], b->size, (size_t)b->count * sizeof(int));
    t.count += b->count;
    rl_cells_take(arena, &t);
    for (size_t i = 0; i < few; i++)
        for (size_t j = 0; j < many; j++)
            t.cell[i * many + j] = a->cell[i] * b->cell[j];
    rl_cells_merge(arena, &t);
    return t;
}

/* Joins all tables that have the helper, and sums it out; it stays where too much would come of it. */
static void sum_helper(summer *s, int helper, int size)
{
    int first = -1;
    for (int i = 0; i < s->tables; i++) {
        rl_cells *t = &s->table[i];
        if (is_gone(t) || place_of(t, helper) < 0)
            continue;
        if (first < 0) {
            first = i;
            continue;
        }
        if (!may_join(&s->table[first], t))
            return;
        rl_cells joined = join(s->arena, &s->table[first], t);
        if (rl_cells_count(&joined) > MOST_JOINED)
            return;
        s->table[first] = joined;
        t->count = -1;
    }
    if (first < 0)
        return;
    double *one = rl_raw(s->arena, size, double);
    for (int v = 0; v < size; v++)
        one[v] = 1;
    rl_cells_sum(s->arena, &s->table[first], place_of(&s->table[first], helper), one);
}

/* ---- chains ---- */

static bool has_helper(const rl_cells *table)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] < 0)
            return true;
    return false;
}

/* Whether the cells sum to 1 over an input, whatever the others are. */
static bool sums_to_one(const rl_cells *table, int at)
{
    size_t inner = 1, size = (size_t)table->size[at], cells = rl_cells_count(table);
    for (int i = at + 1; i < table->count; i++)
        inner *= (size_t)table->size[i];
    for (size_t o = 0; o < cells; o += size * inner)
        for (size_t i = 0; i < inner; i++) {
            double sum = 0;
            for (size_t v = 0; v < size; v++)
                sum += table->cell[o + v * inner + i];
            if (fabs(sum - 1) > 1e-12)
                return false;
        }
    return true;
}

/* A step: a law of one helper given the other inputs. */
static bool is_step(const rl_cells *table)
{
    for (int i = 0; i < table->count; i++)
        if (table->input[i] < 0 && sums_to_one(table, i))
            return true;
    return false;
}

static double range_of(const rl_cells *table)
{
    double least = INFINITY, most = 0;
    size_t cells = rl_cells_count(table);
    for (size_t c = 0; c < cells; c++) {
        least = fmin(least, table->cell[c]);
        most = fmax(most, table->cell[c]);
    }
    return most > 0 ? most / least : 1;
}

static bool touches(const rl_cells *a, const rl_cells *b)
{
    for (int i = 0; i < a->count; i++)
        if (a->input[i] < 0 && place_of(b, a->input[i]) >= 0)
            return true;
    return false;
}

/* All tables that hang together by helpers with the one at `first`: taken away. */
static struct rl_loose_long take_chain(summer *s, int first)
{
    struct rl_loose_long chain = {.range = 1, .bit = s->table[first].bit};
    int *member = rl_many(s->arena, s->tables, int), members = 0;
    int *expr = rl_many(s->arena, s->tables * RL_INPUTS, int);
    member[members++] = first;
    for (int m = 0; m < members; m++) {
        rl_cells table = s->table[member[m]];
        s->table[member[m]].count = -1;
        chain.range *= is_step(&table) ? 1 : range_of(&table);
        for (int i = 0; i < table.count; i++)
            if (table.input[i] >= 0)
                expr[chain.exprs++] = table.input[i];
        for (int i = 0; i < s->tables; i++) {
            bool known = is_gone(&s->table[i]) || !touches(&table, &s->table[i]);
            for (int j = 0; j < members && !known; j++)
                known = member[j] == i;
            if (!known)
                member[members++] = i;
        }
    }
    chain.expr = expr;
    return chain;
}

void rl_loose_seen_make(rl_loose_seen *seen, rl_arena *arena, const rl_draft *draft)
{
    summer s = {.arena = arena, .tables = draft->factors};
    s.table = rl_raw(arena, draft->factors + 1, rl_cells);
    memcpy(s.table, draft->factor, (size_t)draft->factors * sizeof *s.table);
    for (int h = 0; h < draft->helpers; h++)
        sum_helper(&s, -1 - h, draft->helper_size[h]);
    *seen = (rl_loose_seen){.table = rl_raw(arena, draft->factors + draft->owns + 1, rl_cells),
                            .chain = rl_many(arena, draft->factors + 1, struct rl_loose_long)};
    for (int i = 0; i < s.tables; i++)
        if (!is_gone(&s.table[i]) && has_helper(&s.table[i]))
            seen->chain[seen->chains++] = take_chain(&s, i);
        else if (!is_gone(&s.table[i]))
            seen->table[seen->tables++] = s.table[i];
    for (int i = 0; i < draft->owns; i++) {
        const rl_own *own = &draft->own[i];
        seen->table[seen->tables++] = (rl_cells){.bit = own->bit, .count = 1, .input = {own->expr},
                                                 .size = {rl_expr_rows(draft->exprs, own->expr)},
                                                 .cell = (double *)own->row};
    }
}
