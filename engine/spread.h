/* spread.h: combinations of values of a few of the net's variables, each with its probability.
 *
 * Invariant: only combinations that can be are held; they stand in the order of the cells that
 * they began with.
 */
#ifndef RL_SPREAD_H
#define RL_SPREAD_H

#include "ladder.h"

#include <stdint.h>

typedef struct rl_spread {
    rl_arena *arena;
    int names, name[2 * RL_LADDER_MOST];
    int entries;
    int *cell;                     /* that it began with; never falls */
    uint16_t *value;               /* [entries][names] */
    double *p;                     /* given the cell */
} rl_spread;

/* Cells of a few variables, with their values in each: [cells][count]. */
void rl_spread_start(rl_spread *spread, rl_arena *arena, int count, const int *variable, int cells, const uint16_t *value);
/* Brings a variable in.  False: too many combinations. */
bool rl_spread_bring(rl_spread *spread, const rl_rung *rung);
/* All of a ladder that is not in yet. */
bool rl_spread_climb(rl_spread *spread, const rl_ladder *ladder);
/* Where the cells of a table over these variables stand, entry by entry. */
typedef struct rl_strides { int count, place[2 * RL_LADDER_MOST]; size_t step[2 * RL_LADDER_MOST]; } rl_strides;
rl_strides rl_spread_strides(const rl_spread *spread, int count, const int *variable, const int *size, size_t last);
static inline size_t rl_strides_at(const rl_strides *reach, const rl_spread *spread, int entry)
{
    const uint16_t *value = &spread->value[(size_t)entry * (size_t)spread->names];
    size_t at = 0;
    for (int i = 0; i < reach->count; i++)
        at += reach->step[i] * value[reach->place[i]];
    return at;
}

#endif
