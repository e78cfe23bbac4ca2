/* bounded_loose_ratio.c: how much likelier the findings can become when one element
 * is loose and active in some occasions, everything else being as it is.
 *
 * A path in which an element turns from quiet to active either stays what it was or turns
 * from sound to loose.  So each table grows by no more than the greatest quotient of two
 * of its cells that differ so; activities of different occasions are independent given
 * that the element is loose.
 *
 * Where it cannot make anything likelier, the ratio is sharper: as long as all else on
 * some path that it stands in is sound, what was seen there falls by a known factor; and
 * that something else is not sound has the probability that it has without the element.
 *
 * Several elements turn a path no further than one: so whatever is active, each table grows
 * by its greatest quotient once.
 *
 * Invariant: a ratio is never below the true one; it may be infinite, where something can
 * be seen only if the element is active.
 */
#include "bounded_loose.h"

#include <assert.h>
#include <math.h>
#include <string.h>

typedef struct ratios {
    const rl_loose *l;
    const rl_exprs *exprs;
    bool *reached;                      /* by expression: it hangs on the element */
    double grown[RL_MAX_OCCASIONS];     /* by occasion */
} ratios;

static bool hangs_on(const ratios *r, int input)
{
    return input >= 0 && r->reached[input] && r->exprs->at[input].sort != RL_X_LOAD;
}

static void reach(ratios *r, int element)
{
    for (int x = 0; x < r->exprs->count; x++) {
        rl_expr e = r->exprs->at[x];
        r->reached[x] = e.sort == RL_X_ELEMENT ? e.a == element
                        : e.sort >= RL_X_FAILED && (r->reached[e.a] || (e.sort >= RL_X_MAX && r->reached[e.b]));
    }
}

/* 1 at least: it may be that nothing changes. */
static double quotient(double after, double before)
{
    return after <= before ? 1 : after / before;
}

/* The inputs of a table that the element may turn from sound to loose. */
static int turning_inputs(const ratios *r, const rl_cells *table, size_t step[RL_INPUTS], int place[RL_INPUTS])
{
    size_t inner = 1;
    int count = 0;
    for (int i = table->count; i-- > 0; inner *= (size_t)table->size[i])
        if (hangs_on(r, table->input[i])) {
            step[count] = inner;
            place[count++] = i;
        }
    return count;
}

/* The greatest quotient from one cell on, any of the inputs that are sound there having turned. */
static double grown_from(const rl_cells *table, size_t cell, int turning, const size_t *step, const int *place)
{
    double most = 1;
    for (unsigned turned = 1; turned < 1u << turning; turned++) {
        size_t after = cell;
        bool possible = true;
        for (int i = 0; i < turning && possible; i++)
            if (turned >> i & 1u) {
                possible = cell / step[i] % (size_t)table->size[place[i]] == 0;
                after += step[i];
            }
        if (possible)
            most = fmax(most, quotient(table->cell[after], table->cell[cell]));
    }
    return most;
}

static void grow_table(ratios *r, const rl_cells *table, rl_mask *heard)
{
    size_t step[RL_INPUTS], cells = rl_cells_count(table);
    int place[RL_INPUTS], turning = turning_inputs(r, table, step, place);
    double most = 1;
    for (size_t c = 0; turning > 0 && c < cells; c++)
        most = fmax(most, grown_from(table, c, turning, step, place));
    if (turning > 0) {
        r->grown[table->bit] *= most;
        *heard |= 1u << table->bit;
    }
}

static void grow_all(ratios *r, rl_mask *heard)
{
    const rl_loose_seen *seen = &r->l->seen;
    *heard = 0;
    for (int o = 0; o < RL_MAX_OCCASIONS; o++)
        r->grown[o] = 1;
    for (int i = 0; i < seen->tables; i++)
        grow_table(r, &seen->table[i], heard);
    for (int i = 0; i < seen->chains; i++) {
        bool hangs = false;
        for (int x = 0; x < seen->chain[i].exprs && !hangs; x++)
            hangs = hangs_on(r, seen->chain[i].expr[x]);
        if (hangs) {
            r->grown[seen->chain[i].bit] *= seen->chain[i].range;
            *heard |= 1u << seen->chain[i].bit;
        }
    }
    if (*heard)
        *heard |= 1u << r->exprs->frame->last;   /* all elements are asked about in it */
}

/* The weight of all activities but none, each with what it multiplies, over that of value 0. */
static double ratio_of(const rl_loose *l, int element, const double *grown)
{
    const double *state = l->bench->draft.state[element];
    double quiet = l->bench->frame.model->node[element].quiet, all = 1, none = 1;
    for (int o = 0; l->heard[element] >> o; o++)
        if (l->heard[element] >> o & 1u) {
            all *= quiet + (quiet < 1 ? (1 - quiet) * grown[o] : 0);
            none *= quiet;
        }
    double active = state[RL_LOOSE] > 0 ? state[RL_LOOSE] * (all - none) : 0;
    return active > 0 ? active / (state[RL_SOUND] + state[RL_LOOSE] * none) : 0;
}

static bool is_named(const rl_exprs *exprs, int element)
{
    for (int x = 1; x < exprs->count; x++)
        if (exprs->at[x].sort == RL_X_ELEMENT && exprs->at[x].a == element)
            return true;
    return false;
}

/* ln of what all tables together grow by, whatever turns. */
static double growth_of(ratios *r)
{
    rl_mask heard;
    double growth = 0;
    for (int x = 1; x < r->exprs->count; x++)
        r->reached[x] = true;
    grow_all(r, &heard);
    for (int o = 0; o < RL_MAX_OCCASIONS; o++)
        growth += log(r->grown[o]);
    return growth;
}

void rl_loose_ratios(rl_loose *l)
{
    const rl_exprs *exprs = &l->bench->exprs;
    static const double ones[RL_MAX_OCCASIONS] = {1, 1, 1, 1, 1, 1, 1, 1};
    int nodes = l->bench->frame.model->nodes;
    ratios r = {.l = l, .exprs = exprs, .reached = rl_many(l->arena, exprs->count, bool)};
    l->heard = rl_many(l->arena, nodes, rl_mask);
    l->ratio = rl_many(l->arena, nodes, double);
    l->odds = rl_many(l->arena, nodes, double);
    l->helps = rl_many(l->arena, nodes, bool);
    l->growth = growth_of(&r);
    for (int e = 0; e < nodes; e++) {
        if (l->bench->frame.model->node[e].info.sort == RL_LOAD || !is_named(exprs, e))
            continue;
        reach(&r, e);
        grow_all(&r, &l->heard[e]);
        l->ratio[e] = ratio_of(l, e, r.grown);
        l->odds[e] = ratio_of(l, e, ones);
        for (int o = 0; o < RL_MAX_OCCASIONS; o++)
            l->helps[e] = l->helps[e] || r.grown[o] > 1;
        assert(!isnan(l->ratio[e]));
    }
}

/* ---- sharper ratios ---- */

/* What can be told of a path that nothing but one element keeps from being sound. */
typedef struct falling {
    bool listed;
    double fall[RL_MAX_OCCASIONS];      /* what was seen of it, loose, over what was seen of it, sound */
    double other;                       /* at most: that something else in it is not sound */
} falling;

typedef struct fallings {
    falling *of;                        /* by expression */
    int *named, count;                  /* expressions with something seen of them alone */
} fallings;

/* Probability that an element is not at value 0, at most. */
static double not_at_rest(const rl_loose_set *set, const rl_belief *belief, int element)
{
    const double *p = belief[element].p;
    double loose = set->looseness[element] == RL_NOT_ACTIVE ? 0 : p[RL_LOOSE];
    return fmin(loose + p[RL_CORRODED] + p[RL_OPEN] + p[RL_FAILED], 1);
}

/* Marks what an expression is made of. */
static void mark_parts(const rl_exprs *exprs, int expr, bool *inside)
{
    inside[expr] = true;
    for (int x = expr; x > 0; x--) {
        rl_expr e = exprs->at[x];
        if (!inside[x] || e.sort < RL_X_FAILED)
            continue;
        inside[e.a] = true;
        if (e.sort >= RL_X_MAX)
            inside[e.b] = true;
    }
}

static void list_fallings(fallings *f, rl_arena *arena, const rl_loose *l, const rl_loose_set *set,
                          const rl_belief *belief)
{
    const rl_exprs *exprs = &l->bench->exprs;
    f->of = rl_many(arena, exprs->count, falling);
    f->named = rl_many(arena, exprs->count, int);
    bool *inside = rl_many(arena, exprs->count, bool);
    for (int i = 0; i < l->seen.tables; i++) {
        const rl_cells *t = &l->seen.table[i];
        if (t->count != 1 || exprs->at[t->input[0]].sort == RL_X_LOAD)
            continue;
        int x = t->input[0];
        falling *of = &f->of[x];
        if (!of->listed) {
            of->listed = true;
            f->named[f->count++] = x;
            for (int o = 0; o < RL_MAX_OCCASIONS; o++)
                of->fall[o] = 1;
            memset(inside, 0, (size_t)exprs->count * sizeof *inside);
            mark_parts(exprs, x, inside);
            for (int y = 1; y <= x; y++)
                if (inside[y] && rl_expr_is_base(exprs, y))
                    of->other += not_at_rest(set, belief, exprs->at[y].a);
        }
        of->fall[t->bit] *= t->cell[0] > 0 ? fmin(t->cell[1] / t->cell[0], 1) : 1;
    }
}

/* Whether the expression is loose if this element is, all else being sound. */
static bool turns(const rl_exprs *exprs, int expr, int element, signed char *value)
{
    rl_expr e = exprs->at[expr];
    if (value[expr] >= 0)
        return value[expr];
    bool loose = false;
    if (e.sort == RL_X_ELEMENT)
        loose = e.a == element;
    else if (e.sort == RL_X_CALM)
        loose = turns(exprs, e.a, element, value);
    else if (e.sort == RL_X_MAX)
        loose = turns(exprs, e.a, element, value) || turns(exprs, e.b, element, value);
    else if (e.sort == RL_X_MIN)
        loose = turns(exprs, e.a, element, value) && turns(exprs, e.b, element, value);
    value[expr] = loose;
    return loose;
}

/* The ratio if some paths are watched: that of what falls there, and the chance that one of them is not sound anyway. */
static double watched(const rl_loose *l, int element, const double *fall, double other)
{
    return fmin(ratio_of(l, element, fall) + fmin(other, 1) * l->odds[element], l->odds[element]);
}

/* Watches further paths as long as that makes the ratio less. */
static double sharpened(const rl_loose *l, const fallings *f, const rl_belief *belief, const rl_loose_set *set,
                        int element, double unknown, signed char *value)
{
    const rl_exprs *exprs = &l->bench->exprs;
    double fall[RL_MAX_OCCASIONS], best = l->ratio[element], other = unknown, own = not_at_rest(set, belief, element);
    for (int o = 0; o < RL_MAX_OCCASIONS; o++)
        fall[o] = 1;
    memset(value, -1, (size_t)exprs->count);
    for (int chosen = 0; chosen >= 0;) {
        chosen = -1;
        for (int i = 0; i < f->count; i++) {
            const falling *of = &f->of[f->named[i]];
            double with[RL_MAX_OCCASIONS], rest = other + fmax(of->other - own, 0);
            if (!(rest < 1) || !turns(exprs, f->named[i], element, value))
                continue;
            for (int o = 0; o < RL_MAX_OCCASIONS; o++)
                with[o] = fall[o] * of->fall[o];
            double ratio = watched(l, element, with, rest);
            if (ratio < best * 0.999) {
                best = ratio;
                chosen = i;
            }
        }
        if (chosen < 0)
            break;
        const falling *of = &f->of[f->named[chosen]];
        for (int o = 0; o < RL_MAX_OCCASIONS; o++)
            fall[o] *= of->fall[o];
        other += fmax(of->other - own, 0);
        value[f->named[chosen]] = 0;   /* once */
    }
    return best;
}

void rl_loose_set_ratios(const rl_loose *l, rl_loose_set *set, const rl_belief *belief, double unknown)
{
    rl_mark mark = rl_arena_mark(l->arena);
    fallings f = {0};
    signed char *value = rl_many(l->arena, l->bench->exprs.count, signed char);
    list_fallings(&f, l->arena, l, set, belief);
    for (int i = 0; i < set->rests; i++) {
        int e = set->rest[i];
        set->ratio[i] = l->helps[e] ? l->ratio[e] : sharpened(l, &f, belief, set, e, unknown, value);
    }
    rl_arena_rewind(l->arena, mark);
}
