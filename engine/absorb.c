/* absorb.c: see absorb.h. */
#include "absorb.h"

#include <assert.h>

const double *rl_absorbed_before(rl_arena *arena, const rl_absorbed *absorbed)
{
    rl_cells before = absorbed->before;
    if (before.cell)
        return before.cell;
    rl_cells_take(arena, &before);
    int pairs = before.size[1] * before.size[2];
    for (int c = 0; c < pairs; c++)
        before.cell[(size_t)absorbed->map[c] * (size_t)pairs + (size_t)c] = 1;
    return before.cell;
}

rl_cells rl_absorbed_law(rl_arena *arena, const rl_absorbed *absorbed, const double *weight)
{
    rl_cells law = absorbed->before;
    const double *before = rl_absorbed_before(arena, absorbed);
    int at = absorbed->at;
    size_t inner = 1, outer = 1, size = (size_t)law.size[at];
    for (int i = at + 1; i < law.count; i++)
        inner *= (size_t)law.size[i];
    for (int i = 0; i < at; i++)
        outer *= (size_t)law.size[i];
    assert(absorbed->after.count == law.count - 1);
    rl_cells_take(arena, &law);
    for (size_t o = 0; o < outer; o++)
        for (size_t v = 0; v < size; v++)
            for (size_t i = 0; i < inner; i++) {
                size_t cell = (o * size + v) * inner + i;
                double sum = absorbed->after.cell[o * inner + i];
                law.cell[cell] = sum > 0 ? weight[v] * before[cell] / sum : 0;
            }
    return law;
}
