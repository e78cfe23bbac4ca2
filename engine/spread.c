/* spread.c: see spread.h.
 *
 * Invariant: a variable is brought in once, behind those that its law hangs on.
 */
#include "spread.h"

#include <assert.h>
#include <string.h>

enum { MOST_ENTRIES = 1 << 20 };

void rl_spread_start(rl_spread *spread, rl_arena *arena, int count, const int *variable, int cells, const uint16_t *value)
{
    size_t values = (size_t)(cells * count);
    *spread = (rl_spread){.arena = arena, .names = count, .entries = cells};
    if (count > 0)
        memcpy(spread->name, variable, (size_t)count * sizeof *spread->name);
    spread->cell = rl_raw(arena, cells, int);
    spread->p = rl_raw(arena, cells, double);
    spread->value = rl_raw(arena, values, uint16_t);
    if (values > 0)
        memcpy(spread->value, value, values * sizeof *spread->value);
    for (int c = 0; c < cells; c++) {
        spread->cell[c] = c;
        spread->p[c] = 1;
    }
}

rl_strides rl_spread_strides(const rl_spread *spread, int count, const int *variable, const int *size, size_t last)
{
    rl_strides r = {.count = count};
    for (int i = count; i-- > 0; last *= (size_t)size[i]) {
        int place = 0;
        while (spread->name[place] != variable[i]) {
            place++;
            assert(place < spread->names);
        }
        r.place[i] = place;
        r.step[i] = last;
    }
    return r;
}

/* How many entries there will be, at the most. */
static size_t count_entries(const rl_spread *s, const rl_rung *rung, const rl_strides *r)
{
    size_t count = (size_t)s->entries * (size_t)rung->size;
    if (count <= MOST_ENTRIES)
        return count;
    count = 0;
    for (int e = 0; e < s->entries; e++) {
        const double *p = &rung->p[rl_strides_at(r, s, e)];
        for (int v = 0; v < rung->size; v++)
            count += p[v] > 0;
    }
    return count;
}

bool rl_spread_bring(rl_spread *s, const rl_rung *rung)
{
    rl_strides r = rl_spread_strides(s, rung->parents, rung->parent, rung->parent_size, (size_t)rung->size);
    size_t entries = count_entries(s, rung, &r), names = (size_t)s->names;
    if (entries > MOST_ENTRIES || s->names == 2 * RL_LADDER_MOST)
        return false;
    int *cell = rl_raw(s->arena, entries, int), *c = cell;
    double *p = rl_raw(s->arena, entries, double), *q = p;
    uint16_t *value = rl_raw(s->arena, entries * (names + 1), uint16_t), *d = value;
    for (int e = 0; e < s->entries; e++) {
        const double *law = &rung->p[rl_strides_at(&r, s, e)];
        for (int v = 0; v < rung->size; v++) {
            if (!(law[v] > 0))
                continue;
            *c++ = s->cell[e];
            *q++ = s->p[e] * law[v];
            for (size_t i = 0; i < names; i++)
                *d++ = s->value[(size_t)e * names + i];
            *d++ = (uint16_t)v;
        }
    }
    s->cell = cell;
    s->p = p;
    s->value = value;
    s->entries = (int)(c - cell);
    s->name[s->names++] = rung->variable;
    return true;
}

static bool holds(const rl_spread *s, int variable)
{
    for (int i = 0; i < s->names; i++)
        if (s->name[i] == variable)
            return true;
    return false;
}

bool rl_spread_climb(rl_spread *s, const rl_ladder *ladder)
{
    for (int i = 0; i < ladder->count; i++)
        if (!holds(s, ladder->rung[i]->variable) && !rl_spread_bring(s, ladder->rung[i]))
            return false;
    return true;
}
