/* given.c: see given.h.
 *
 * Invariant: a law that could not be made is kept too (`rows` 0), so that it
 * is tried once.
 */
#include "compose.h"

#include <assert.h>
#include <string.h>

void rl_givens_make(rl_givens *givens, rl_arena *arena, rl_arena *scratch, rl_bench *bench)
{
    *givens = (rl_givens){.arena = arena, .scratch = scratch, .bench = bench};
}

static rl_given **slot_of(rl_givens *givens, int expr)
{
    if (expr >= givens->room) {
        int room = givens->bench->exprs.count + 64;
        rl_given **more = rl_many(givens->arena, room, rl_given *);
        if (givens->room > 0)
            memcpy(more, givens->of, (size_t)givens->room * sizeof(rl_given *));
        givens->of = more;
        givens->room = room;
    }
    return &givens->of[expr];
}

/* Inputs but the target in the order of the net's variables; false: one is no variable. */
static bool order_inputs(const rl_cells *cells, int place, int *order, rl_given *out)
{
    for (int i = 0; i < cells->count; i++) {
        if (i == place)
            continue;
        if (cells->input[i] > RL_NET_INPUT)
            return false;
        int at = out->count++;
        for (; at > 0 && cells->input[order[at - 1]] < cells->input[i]; at--)   /* inputs descend as variables ascend */
            order[at] = order[at - 1];
        order[at] = i;
    }
    for (int i = 0; i < out->count; i++) {
        out->variable[i] = RL_NET_INPUT - cells->input[order[i]];
        out->size[i] = cells->size[order[i]];
    }
    return true;
}

/* The cells with the variables ascending and the target last. */
static void set_cells(rl_arena *arena, const rl_cells *cells, const int *order, int count, rl_given *out)
{
    size_t step[RL_INPUTS], all = rl_cells_count(cells), s = 1;
    for (int i = cells->count; i-- > 0; s *= (size_t)cells->size[i])
        step[i] = s;
    double *p = rl_many(arena, all, double);
    for (size_t cell = 0; cell < all; cell++) {
        size_t rest = cell, from = 0;
        for (int i = count; i-- > 0;) {
            size_t size = (size_t)cells->size[order[i]];
            from += rest % size * step[order[i]];
            rest /= size;
        }
        p[cell] = cells->cell[from];
    }
    out->p = p;
}

static void from_cells(rl_arena *arena, const rl_cells *cells, int target, rl_given *out)
{
    int order[RL_INPUTS], place = 0;
    while (place < cells->count && cells->input[place] != target)
        place++;
    *out = (rl_given){.outsides = -1};
    if (place == cells->count || !order_inputs(cells, place, order, out))
        return;
    order[out->count] = place;
    out->rows = cells->size[place];
    set_cells(arena, cells, order, out->count + 1, out);
}

/* By composing the laws of its parts; else `rows` stays 0. */
static rl_given *composed(rl_givens *givens, int expr)
{
    assert(expr >= 0 && expr < givens->bench->exprs.count);
    rl_given **slot = slot_of(givens, expr);
    if (*slot)
        return *slot;
    rl_given *fresh = *slot = rl_new(givens->arena, rl_given);
    if (expr == 0) {   /* sound */
        double *p = rl_many(givens->arena, givens->bench->frame.rows, double);
        p[0] = 1;
        *fresh = (rl_given){.rows = givens->bench->frame.rows, .p = p};
    } else if (!rl_compose(givens, expr, fresh)) {
        *fresh = (rl_given){.rows = 0};
    }
    return fresh;
}

/* By a probe of the expression as a whole. */
static void probe(rl_givens *givens, int expr, rl_given *out)
{
    rl_mark mark = rl_arena_mark(givens->scratch);
    rl_cells cells;
    int target;
    *out = (rl_given){.outsides = -1};
    if (rl_probe_law(givens->bench, givens->scratch, expr, &cells, &target))
        from_cells(givens->arena, &cells, target, out);
    rl_arena_rewind(givens->scratch, mark);
}

const rl_given *rl_given_composed(rl_givens *givens, int expr)
{
    const rl_given *given = composed(givens, expr);
    return given->rows > 0 && given->outsides >= 0 ? given : NULL;
}

const rl_given *rl_given_of(rl_givens *givens, int expr)
{
    rl_given *given = composed(givens, expr);
    if (given->rows == 0 && given->outsides == 0)   /* not tried yet */
        probe(givens, expr, given);
    return given->rows > 0 ? given : NULL;
}
