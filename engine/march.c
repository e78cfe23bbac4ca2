/* march.c: see march.h.
 *
 * Invariant: a variable is left behind at the reading after which nothing hangs
 * on it or has it as a parent, never earlier.
 */
#include "march.h"

#include <assert.h>
#include <string.h>

enum { MOST_CELLS = 1 << 22 };   /* entries x states of one table */

/* ---- the route ---- */

/* A place that is brought in at a reading, with all above it. */
static void need(const rl_ladder *ladder, int place, int at, int *first)
{
    if (first[place] >= 0 && first[place] <= at)
        return;
    first[place] = at;
    for (int i = 0; i < ladder->rung[place]->parents; i++)
        need(ladder, rl_ladder_place(ladder, ladder->rung[place]->parent[i]), at, first);
}

void rl_route_keep(const rl_route *route, const rl_ladder *ladder, uint64_t *keep, int readings)
{
    int first[RL_LADDER_MOST], last[RL_LADDER_MOST];
    memset(first, -1, sizeof first);
    memset(last, -1, sizeof last);
    for (int i = 0; i < route->laws; i++)
        for (int k = 0; route->law[i] && k < route->law[i]->count; k++) {
            int place = rl_ladder_place(ladder, route->law[i]->variable[k]);
            need(ladder, place, route->at[i], first);
            last[place] = route->at[i];
        }
    for (int k = 0; k < ladder->count; k++)   /* until the last of its children is in */
        for (int i = 0; i < ladder->rung[k]->parents; i++) {
            int parent = rl_ladder_place(ladder, ladder->rung[k]->parent[i]);
            if (first[k] > last[parent])
                last[parent] = first[k];
        }
    for (int i = 0; i < readings; i++) {
        keep[i] = 0;
        for (int k = 0; k < ladder->count; k++)
            keep[i] |= (uint64_t)(first[k] >= 0 && first[k] <= i && last[k] > i) << k;
    }
}

/* ---- the table ---- */

void rl_march_start(rl_march *march, rl_arena *arena, const rl_ladder *ladder)
{
    *march = (rl_march){.arena = arena, .ladder = ladder, .entries = 1, .states = 1};
    march->digit = rl_new(arena, uint16_t);
    march->p = rl_new(arena, double);
    march->p[0] = 1;
}

static int axis_of(const rl_march *m, int place)
{
    for (int i = 0; i < m->live; i++)
        if (m->place[i] == place)
            return i;
    return -1;
}

/* Where each variable of a law stands among the live, and its step in the law. */
typedef struct reach { int count, axis[RL_LADDER_MOST]; size_t step[RL_LADDER_MOST]; } reach;

static inline size_t offset_of(const reach *r, const uint16_t *digit)
{
    size_t at = 0;
    for (int i = 0; i < r->count; i++)
        at += r->step[i] * digit[r->axis[i]];
    return at;
}

static reach reach_of(const rl_march *m, int count, const int *variable, const int *size, size_t last)
{
    reach r = {.count = count};
    for (int i = count; i-- > 0; last *= (size_t)size[i]) {
        r.axis[i] = axis_of(m, rl_ladder_place(m->ladder, variable[i]));
        r.step[i] = last;
        assert(r.axis[i] >= 0);
    }
    return r;
}

/* ---- bringing variables in ---- */

static const uint16_t *digits_of(const rl_march *m, size_t entry)
{
    return &m->digit[entry * (size_t)m->live];
}

/* How many entries there will be. */
static size_t count_entries(const rl_march *m, const rl_rung *rung, const reach *r)
{
    size_t count = 0;
    for (size_t e = 0; e < (size_t)m->entries; e++) {
        const double *p = &rung->p[offset_of(r, digits_of(m, e))];
        for (int v = 0; v < rung->size; v++)
            count += p[v] > 0;
    }
    return count;
}

/* Each entry becomes one for each value of the rung that can be. */
static bool multiply_by(rl_march *m, const rl_rung *rung)
{
    reach r = reach_of(m, rung->parents, rung->parent, rung->parent_size, (size_t)rung->size);
    size_t entries = count_entries(m, rung, &r), live = (size_t)m->live, states = (size_t)m->states;
    if (entries * states > MOST_CELLS)
        return false;
    uint16_t *digit = rl_arena_raw(m->arena, (entries + 1) * (live + 1) * sizeof *digit), *d = digit;
    double *p = rl_arena_raw(m->arena, (entries + 1) * states * sizeof *p), *q = p;
    for (size_t e = 0; e < (size_t)m->entries; e++) {
        const double *law = &rung->p[offset_of(&r, digits_of(m, e))];
        for (int v = 0; v < rung->size; v++) {
            if (!(law[v] > 0))
                continue;
            for (size_t i = 0; i < live; i++)
                *d++ = m->digit[e * live + i];
            *d++ = (uint16_t)v;
            for (size_t s = 0; s < states; s++)
                *q++ = m->p[e * states + s] * law[v];
        }
    }
    m->digit = digit;
    m->p = p;
    m->entries = (int)entries;
    return true;
}

static bool bring_place(rl_march *m, int place)
{
    const rl_rung *rung = m->ladder->rung[place];
    if (m->met[place]) {
        assert(axis_of(m, place) >= 0);   /* what was left behind is not needed again */
        return true;
    }
    for (int i = 0; i < rung->parents; i++)
        if (!bring_place(m, rl_ladder_place(m->ladder, rung->parent[i])))
            return false;
    if (!multiply_by(m, rung))
        return false;
    m->met[place] = true;
    m->place[m->live++] = place;
    return true;
}

bool rl_march_bring(rl_march *m, const rl_given *given)
{
    for (int i = 0; i < given->count; i++)
        if (!bring_place(m, rl_ladder_place(m->ladder, given->variable[i])))
            return false;
    return true;
}

/* ---- reading ---- */

/* Entries of the table that is made, found by the digits that are kept. */
typedef struct gathering {
    int axes, axis[RL_LADDER_MOST];    /* kept, among the live of before */
    uint64_t step[RL_LADDER_MOST];
    uint64_t mask;
    int *slot;                         /* entry + 1 */
    uint64_t *key;                     /* of each entry */
    int entries;
} gathering;

static gathering gather_kept(rl_march *m, uint64_t keep)
{
    gathering g = {.axes = 0};
    uint64_t cells = 1, slots = 16;
    for (int i = 0; i < m->live; i++)
        if (keep >> m->place[i] & 1u)
            g.axis[g.axes++] = i;
    for (int i = g.axes; i-- > 0;) {
        g.step[i] = cells;
        cells *= (uint64_t)m->ladder->rung[m->place[g.axis[i]]]->size;
    }
    while (slots < 2 * (uint64_t)m->entries)
        slots *= 2;
    g.mask = slots - 1;
    g.slot = rl_many(m->arena, slots, int);
    g.key = rl_arena_raw(m->arena, (size_t)m->entries * sizeof *g.key);
    return g;
}

/* The entry of these digits; a new one is g->entries - 1 then. */
static int entry_for(gathering *g, const uint16_t *digit)
{
    uint64_t key = 0;
    for (int i = 0; i < g->axes; i++)
        key += g->step[i] * digit[g->axis[i]];
    uint64_t h = (key ^ key >> 17) & g->mask;
    for (; g->slot[h]; h = (h + 1) & g->mask)
        if (g->key[g->slot[h] - 1] == key)
            return g->slot[h] - 1;
    g->key[g->entries] = key;
    g->slot[h] = ++g->entries;
    return g->entries - 1;
}

/* The table's digits and live variables after the reading. */
static void leave_behind(rl_march *m, const gathering *g, double *p, int states)
{
    uint16_t *digit = rl_arena_raw(m->arena, (size_t)g->entries * (size_t)(g->axes + 1) * sizeof *digit), *d = digit;
    int place[RL_LADDER_MOST];
    for (int i = 0; i < g->axes; i++)
        place[i] = m->place[g->axis[i]];
    for (int e = 0; e < g->entries; e++)
        for (int i = 0; i < g->axes; i++)
            *d++ = (uint16_t)(g->key[e] / g->step[i] % (uint64_t)m->ladder->rung[place[i]]->size);
    memcpy(m->place, place, (size_t)g->axes * sizeof *place);
    m->live = g->axes;
    m->digit = digit;
    m->p = p;
    m->entries = g->entries;
    m->states = states;
}

/* States of an entry that can be. */
static int states_met(const double *p, int states, int *met)
{
    int count = 0;
    for (int s = 0; s < states; s++)
        if (p[s] > 0)
            met[count++] = s;
    return count;
}

bool rl_march_read(rl_march *m, const rl_given *given, const int *next, int states, uint64_t keep)
{
    int rows = given->rows;
    if ((size_t)m->entries * (size_t)states > MOST_CELLS)
        return false;
    reach r = reach_of(m, given->count, given->variable, given->size, (size_t)rows);
    gathering g = gather_kept(m, keep);
    double *out = rl_arena_raw(m->arena, (size_t)m->entries * (size_t)states * sizeof *out);
    int *met = rl_arena_raw(m->arena, (size_t)m->states * sizeof *met);
    for (size_t e = 0; e < (size_t)m->entries; e++) {
        const double *from = &m->p[e * (size_t)m->states], *law = &given->p[offset_of(&r, digits_of(m, e))];
        int known = g.entries, entry = entry_for(&g, digits_of(m, e)), count = states_met(from, m->states, met);
        double *to = &out[(size_t)entry * (size_t)states];
        if (entry == known)
            memset(to, 0, (size_t)states * sizeof *to);
        for (int row = 0; row < rows; row++) {
            double q = law[row];
            for (int i = 0; q > 0 && i < count; i++) {
                int after = next[met[i] * rows + row];
                if (after >= 0)
                    to[after] += from[met[i]] * q;
            }
        }
    }
    leave_behind(m, &g, out, states);
    return true;
}

void rl_march_sum(const rl_march *m, const rl_given *given, double *out)
{
    reach r = {.count = 0};
    if (given)
        r = reach_of(m, given->count, given->variable, given->size, (size_t)given->rows);
    memset(out, 0, (size_t)m->states * sizeof *out);
    for (size_t e = 0; e < (size_t)m->entries; e++) {
        const double *from = &m->p[e * (size_t)m->states];
        double through = given ? 1 - given->p[offset_of(&r, digits_of(m, e)) + (size_t)given->rows - 1] : 1;
        for (int s = 0; s < m->states; s++)
            out[s] += from[s] * through;
    }
}
