/* worst.c: see worst.h.
 *
 * Invariant: a state of the march is the rows of the sets begun, the last
 * changing fastest.
 */
#include "worst.h"

#include <assert.h>
#include <string.h>

enum { MOST_READ = 64 };

typedef struct script {
    const rl_bearings *bearings;
    int laws, at[MOST_READ];
    const rl_given *law[MOST_READ];
    bool begins[MOST_READ];    /* a set, rather than going on with it */
    bool open[MOST_READ];      /* of the set: only that matters */
    uint64_t keep[MOST_READ];
} script;

/* Lists what is to be read; false: not independent, or too much. */
static bool list_laws(script *s, const rl_worst *set, int sets)
{
    const rl_bearings *b = s->bearings;
    rl_bench *bench = b->givens->bench;
    bool *marked = rl_many(b->scratch, bench->frame.model->nodes, bool);
    for (int i = 0; i < sets; i++)
        for (int k = 0; k < set[i].count; k++) {
            int expr = set[i].expr[k];
            if (s->laws == MOST_READ || !rl_probe_apart(bench, b->scratch, expr, marked) ||
                !(s->law[s->laws] = rl_given_of(b->givens, expr)))
                return false;
            s->at[s->laws] = s->laws;
            s->open[s->laws] = set[i].open;
            s->begins[s->laws++] = k == 0;
        }
    return true;
}

static bool covers(const rl_ladder *ladder, const script *s)
{
    for (int i = 0; i < s->laws; i++)
        for (int k = 0; k < s->law[i]->count; k++)
            if (rl_ladder_place(ladder, s->law[i]->variable[k]) < 0)
                return false;
    return true;
}

static bool make_ladder(script *s, rl_ladder *ladder)
{
    rl_wanted wanted = {.count = 0}, none = {.count = 0};
    for (int i = 0; i < s->laws; i++)
        rl_wanted_add(&wanted, s->law[i], i);
    return rl_ladder_make(ladder, s->bearings->ladders, &wanted, &none, s->law, s->laws);
}

static bool read_law(script *s, rl_march *m, int i)
{
    int rows = s->law[i]->rows, kinds = s->open[i] ? 2 : rows, states = m->states;
    int *next = rl_arena_raw(m->arena, (size_t)(states * rows) * sizeof *next);
    for (int state = 0; state < states; state++)
        for (int row = 0; row < rows; row++) {
            int kind = s->open[i] ? row == rows - 1 : row, now = state % kinds;
            next[state * rows + row] = s->begins[i] ? state * kinds + kind : state - now + (kind > now ? kind : now);
        }
    int after = s->begins[i] ? states * kinds : states;
    return rl_march_bring(m, s->law[i]) && rl_march_read(m, s->law[i], next, after, s->keep[i]);
}

const double *rl_worst_joint(const rl_bearings *bearings, const rl_ladder *ladder, const rl_worst *set, int sets)
{
    assert(sets <= RL_WORST_SETS);
    script s = {.bearings = bearings};
    rl_ladder own;
    rl_march m;
    if (!list_laws(&s, set, sets))
        return NULL;
    if (!ladder || !covers(ladder, &s)) {
        ladder = &own;
        if (!make_ladder(&s, &own))
            return NULL;
    }
    rl_route route = {s.laws, s.law, s.at};
    rl_route_keep(&route, ladder, s.keep, s.laws);
    rl_march_start(&m, bearings->scratch, ladder);
    for (int i = 0; i < s.laws; i++)
        if (!read_law(&s, &m, i))
            return NULL;
    double *out = rl_many(bearings->scratch, m.states, double);
    rl_march_sum(&m, NULL, out);
    return out;
}
