/* cut.c: see cut.h.
 *
 * Invariant: a flow runs from the ones to the others; no variable carries more than
 * the logarithm of its size, and where as much flows as can, those that are full and
 * part the two sides are the cut.
 */
#include "cut.h"

#include <assert.h>
#include <limits.h>
#include <math.h>
#include <string.h>

/* ---- the flow ---- */

/* Arcs stand in pairs: arc a back is a ^ 1. */
typedef struct arc { int to, next, room; } arc;

/* Ends: two of each variable, in and out; of factors; the source, the sink.  The arc
 * within variable v is 2 v. */
typedef struct rl_flow {
    int ends, *first;         /* by end: its newest arc, -1: none */
    arc *at;
    int arcs;
    int *came_by, *queue;     /* by end: the arc of the walk at hand, -1: not met */
} rl_flow;

static int end_in(int variable)
{
    return 2 * variable;
}

static int end_out(int variable)
{
    return 2 * variable + 1;
}

static void add_arc(rl_flow *f, int from, int to, int room)
{
    f->at[f->arcs] = (arc){to, f->first[from], room};
    f->first[from] = f->arcs++;
    f->at[f->arcs] = (arc){from, f->first[to], 0};
    f->first[to] = f->arcs++;
}

/* What a variable can carry, in parts of a bit. */
static int capacity(const rl_ladders *l, int variable)
{
    enum { PARTS = 64 };
    return (int)lround(PARTS * log2(rl_net_size(l->bench->network.net, variable))) + 1;
}

/* The net as a flow that nothing runs in yet, without source and sink. */
static void make_flow(rl_ladders *l)
{
    int factors = rl_net_factors(l->bench->network.net), base = 2 * l->variables;
    rl_flow *f = l->flow = rl_new(l->arena, rl_flow);
    f->ends = base + factors + 2;
    f->first = rl_raw(l->arena, f->ends, int);
    memset(f->first, -1, (size_t)f->ends * sizeof *f->first);
    f->at = rl_raw(l->arena, 2 * (l->variables + 2 * l->scope_start[factors]) + 1, arc);
    for (int v = 0; v < l->variables; v++)
        add_arc(f, end_in(v), end_out(v), capacity(l, v));
    for (int k = 0; k < factors; k++)
        for (int i = l->scope_start[k]; i < l->scope_start[k + 1] && l->scope_start[k + 1] - l->scope_start[k] > 1; i++) {
            add_arc(f, end_out(l->scope[i]), base + k, INT_MAX);
            add_arc(f, base + k, end_in(l->scope[i]), INT_MAX);
        }
}

static bool lists(const rl_wanted *list, int variable)
{
    for (int i = 0; i < list->count; i++)
        if (list->variable[i] == variable)
            return true;
    return false;
}

/* A copy with source and sink, in which what is barred carries anything. */
static rl_flow begin(rl_ladders *l, const rl_wanted *from, const bool *to, const rl_wanted *barred)
{
    if (!l->flow)
        make_flow(l);
    rl_flow f = *l->flow;
    f.first = rl_raw(l->scratch, f.ends, int);
    f.at = rl_raw(l->scratch, f.arcs + 2 * (from->count + l->variables), arc);
    f.came_by = rl_raw(l->scratch, f.ends, int);
    f.queue = rl_raw(l->scratch, f.ends, int);
    memcpy(f.first, l->flow->first, (size_t)f.ends * sizeof *f.first);
    memcpy(f.at, l->flow->at, (size_t)f.arcs * sizeof *f.at);
    for (int i = 0; i < barred->count; i++)
        if (!to[barred->variable[i]])
            f.at[2 * barred->variable[i]].room = INT_MAX;
    for (int i = 0; i < from->count; i++) {   /* what is held already makes no law larger */
        arc *own = &f.at[2 * from->variable[i]];
        own->room = own->room < INT_MAX ? own->room * 3 / 4 : INT_MAX;
        add_arc(&f, f.ends - 2, end_in(from->variable[i]), INT_MAX);
    }
    for (int v = 0; v < l->variables; v++)
        if (to[v])
            add_arc(&f, end_out(v), f.ends - 1, INT_MAX);
    return f;
}

/* Walks from the source along arcs with room; whether the sink was met. */
static bool walk(rl_flow *f)
{
    int source = f->ends - 2, sink = f->ends - 1, count = 0;
    memset(f->came_by, -1, (size_t)f->ends * sizeof *f->came_by);
    f->came_by[source] = INT_MAX;
    f->queue[count++] = source;
    for (int i = 0; i < count && f->came_by[sink] < 0; i++)
        for (int a = f->first[f->queue[i]]; a >= 0; a = f->at[a].next) {
            int next = f->at[a].to;
            if (f->at[a].room > 0 && f->came_by[next] < 0) {
                f->came_by[next] = a;
                f->queue[count++] = next;
            }
        }
    return f->came_by[sink] >= 0;
}

/* Sends as much as the way found can carry. */
static void send(rl_flow *f)
{
    int source = f->ends - 2, sink = f->ends - 1, most = INT_MAX;
    for (int end = sink; end != source; end = f->at[f->came_by[end] ^ 1].to)
        if (f->at[f->came_by[end]].room < most)
            most = f->at[f->came_by[end]].room;
    for (int end = sink; end != source; end = f->at[f->came_by[end] ^ 1].to) {
        arc *on = &f->at[f->came_by[end]], *back = &f->at[f->came_by[end] ^ 1];
        if (on->room < INT_MAX)
            on->room -= most;
        if (back->room < INT_MAX)
            back->room += most;
    }
}

/* The cut of fewest cells, of several the one nearest to `from`; false: it is of too many variables. */
static bool find_cut(rl_ladders *l, const rl_wanted *from, const bool *to, const rl_wanted *barred,
                     rl_wanted *cut, double *cells)
{
    rl_mark mark = rl_arena_mark(l->scratch);
    rl_flow f = begin(l, from, to, barred);
    while (walk(&f))
        send(&f);
    *cut = (rl_wanted){.count = 0};
    *cells = 1;
    for (int v = 0; v < l->variables; v++)
        if (f.came_by[end_in(v)] >= 0 && f.came_by[end_out(v)] < 0) {
            rl_wanted_put(cut, v, 0);
            *cells *= rl_net_size(l->bench->network.net, v);
        }
    rl_arena_rewind(l->scratch, mark);
    return !cut->full;
}

/* ---- which cut will do ---- */

/* False: of too many variables. */
static bool find_best(rl_ladders *l, const rl_wanted *from, const bool *to, const rl_wanted *barred, double few, rl_wanted *cut)
{
    enum { MUCH = 3 };   /* without what is barred it may have so many times more cells */
    rl_wanted none = {.count = 0}, other;
    double cells, other_cells;
    bool found = find_cut(l, from, to, barred, cut, &cells);
    if (found && cells <= few)
        return true;
    if (!find_cut(l, from, to, &none, &other, &other_cells))
        return found;
    if (!found || cells > MUCH * other_cells)
        *cut = other;
    return true;
}

/* So few that it need not be sought. */
static bool is_small(const rl_ladders *l, const rl_wanted *from)
{
    enum { SMALL_CELLS = 8 };
    double cells = 1;
    for (int i = 0; i < from->count; i++)
        cells *= rl_net_size(l->bench->network.net, from->variable[i]);
    return cells <= SMALL_CELLS;
}

static int count_marks(const rl_ladders *l, const bool *to)
{
    int count = 0;
    for (int v = 0; v < l->variables; v++)
        count += to[v];
    return count;
}

bool rl_cut_find(rl_ladders *ladders, const rl_wanted *from, const bool *to, const rl_wanted *barred, double few, rl_wanted *cut)
{
    *cut = (rl_wanted){.count = 0};
    if (count_marks(ladders, to) == 0)
        return true;
    if (is_small(ladders, from)) {
        *cut = *from;
        return true;
    }
    return find_best(ladders, from, to, barred, few, cut);
}

/* ---- what hangs together ---- */

void rl_cut_spread(rl_ladders *l, bool *met, const rl_wanted *behind)
{
    rl_mark mark = rl_arena_mark(l->scratch);
    int *queue = rl_raw(l->scratch, l->variables, int), count = 0;
    for (int v = 0; v < l->variables; v++) {
        met[v] = met[v] && !lists(behind, v);
        if (met[v])
            queue[count++] = v;
    }
    for (int i = 0; i < count; i++)
        for (int k = l->factor_start[queue[i]]; k < l->factor_start[queue[i] + 1]; k++)
            for (int j = l->scope_start[l->factor[k]]; j < l->scope_start[l->factor[k] + 1]; j++) {
                int v = l->scope[j];
                if (!met[v] && !lists(behind, v)) {
                    met[v] = true;
                    queue[count++] = v;
                }
            }
    rl_arena_rewind(l->scratch, mark);
}
