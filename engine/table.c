/* table.c: reshaping small tables.
 *
 * Invariant: see table.h.  Every reshaping copies; the old cells stay as they were.
 */
#include "table.h"

#include <assert.h>
#include <string.h>

/* Product of the sizes of inputs [from, to). */
static size_t extent(const rl_cells *table, int from, int to)
{
    size_t n = 1;
    for (int i = from; i < to; i++)
        n *= (size_t)table->size[i];
    return n;
}

size_t rl_cells_count(const rl_cells *table)
{
    return extent(table, 0, table->count);
}

void rl_cells_take(rl_arena *arena, rl_cells *table)
{
    assert(table->count <= RL_INPUTS);
    table->cell = rl_many(arena, rl_cells_count(table), double);
}

/* Puts `fresh` in the place of input `at`. */
static void replace_input(rl_cells *table, int at, int fresh_count, const int *fresh, const int *fresh_size)
{
    int tail = table->count - at - 1;
    assert(table->count + fresh_count - 1 <= RL_INPUTS);
    memmove(&table->input[at + fresh_count], &table->input[at + 1], (size_t)tail * sizeof(int));
    memmove(&table->size[at + fresh_count], &table->size[at + 1], (size_t)tail * sizeof(int));
    for (int i = 0; i < fresh_count; i++) {
        table->input[at + i] = fresh[i];
        table->size[at + i] = fresh_size[i];
    }
    table->count += fresh_count - 1;
}

void rl_cells_expand(rl_arena *arena, rl_cells *table, int at, int fresh_count, const int *fresh,
                     const int *fresh_size, const int *map)
{
    size_t outer = extent(table, 0, at), inner = extent(table, at + 1, table->count);
    size_t old = (size_t)table->size[at], combos = 1;
    for (int i = 0; i < fresh_count; i++)
        combos *= (size_t)fresh_size[i];
    double *cell = rl_arena_raw(arena, outer * combos * inner * sizeof *cell);
    double *to = cell;
    for (size_t o = 0; o < outer; o++) {
        const double *from = &table->cell[o * old * inner];
        for (size_t c = 0; c < combos; c++, to += inner)
            if (inner == 1)
                *to = from[map[c]];
            else
                memcpy(to, &from[(size_t)map[c] * inner], inner * sizeof *cell);
    }
    table->cell = cell;
    replace_input(table, at, fresh_count, fresh, fresh_size);
}

/* Keeps of input `at` the value that input `first` (before it) has. */
static void diagonal(rl_arena *arena, rl_cells *table, int first, int at)
{
    size_t size = (size_t)table->size[at];
    size_t inner = extent(table, at + 1, table->count);
    size_t between = extent(table, first + 1, at);
    size_t outer = extent(table, 0, first);
    double *cell = rl_arena_raw(arena, outer * size * between * inner * sizeof *cell);
    double *to = cell;
    for (size_t o = 0; o < outer; o++)
        for (size_t v = 0; v < size; v++)
            for (size_t b = 0; b < between; b++, to += inner)
                memcpy(to, &table->cell[(((o * size + v) * between + b) * size + v) * inner],
                       inner * sizeof *cell);
    table->cell = cell;
    replace_input(table, at, 0, NULL, NULL);
}

void rl_cells_merge(rl_arena *arena, rl_cells *table)
{
    for (int i = 0; i < table->count; i++)
        for (int j = table->count - 1; j > i; j--)
            if (table->input[i] == table->input[j])
                diagonal(arena, table, i, j);
}

static void sum_last(double *to, const double *from, size_t outer, size_t size, const double *weight)
{
    for (size_t o = 0; o < outer; o++, from += size) {
        double sum = 0;
        for (size_t v = 0; v < size; v++)
            sum += weight[v] * from[v];
        to[o] = sum;
    }
}

/* The same where the values summed lie `inner` cells apart. */
static void sum_between(double *to, const double *from, size_t outer, size_t size, size_t inner,
                        const double *weight)
{
    for (size_t o = 0; o < outer; o++, to += inner)
        for (size_t v = 0; v < size; v++, from += inner) {
            double w = weight[v];
            for (size_t i = 0; w > 0 && i < inner; i++)
                to[i] += w * from[i];
        }
}

void rl_cells_sum(rl_arena *arena, rl_cells *table, int at, const double *weight)
{
    size_t outer = extent(table, 0, at), inner = extent(table, at + 1, table->count);
    double *cell = rl_many(arena, outer * inner, double);
    if (inner == 1)
        sum_last(cell, table->cell, outer, (size_t)table->size[at], weight);
    else
        sum_between(cell, table->cell, outer, (size_t)table->size[at], inner, weight);
    table->cell = cell;
    replace_input(table, at, 0, NULL, NULL);
}

void rl_cells_select(rl_arena *arena, rl_cells *table, int at, int count, const int *value)
{
    size_t inner = extent(table, at + 1, table->count), outer = extent(table, 0, at), size = (size_t)table->size[at];
    double *cell = rl_raw(arena, outer * (size_t)count * inner, double), *to = cell;
    for (size_t o = 0; o < outer; o++)
        for (int v = 0; v < count; v++, to += inner)
            memcpy(to, &table->cell[(o * size + (size_t)value[v]) * inner], inner * sizeof *to);
    table->size[at] = count;
    table->cell = cell;
}
