/* table.h: small tables over expressions and helpers, before they become
 * factors of a net, and the few ways to reshape them.
 *
 * Invariant: input i has size[i] values; the last input changes fastest;
 * cells >= 0.  Inputs >= 0 are expressions, inputs < 0 are helper variables
 * (-1 - number).  No reshaping approximates anything.
 */
#ifndef RL_TABLE_H
#define RL_TABLE_H

#include "arena.h"

enum { RL_INPUTS = 8 };

typedef struct rl_cells {
    int bit;              /* the occasion in which the expressions are seen, as rows; -1: as values */
    int count;
    int input[RL_INPUTS];
    int size[RL_INPUTS];
    double *cell;
} rl_cells;

size_t rl_cells_count(const rl_cells *table);
/* A zeroed table over the inputs already set. */
void rl_cells_take(rl_arena *arena, rl_cells *table);
/* Input `at` becomes the inputs `fresh` (0 to 2 of them): map[c] is the old
 * value that combination c of the fresh ones stands for. */
void rl_cells_expand(rl_arena *arena, rl_cells *table, int at, int fresh_count, const int *fresh,
                     const int *fresh_size, const int *map);
/* Leaves `count` values of input `at`: those listed, rising. */
void rl_cells_select(rl_arena *arena, rl_cells *table, int at, int count, const int *value);
/* Inputs that stand twice become one: the diagonal is kept. */
void rl_cells_merge(rl_arena *arena, rl_cells *table);
/* Sums input `at` out under `weight`. */
void rl_cells_sum(rl_arena *arena, rl_cells *table, int at, const double *weight);

#endif
