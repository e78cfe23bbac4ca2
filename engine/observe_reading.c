/* observe_reading.c: what a reading means, as a chain of small factors.
 *
 * Invariant: the chain's helpers are the states of the span's fold, up to where all that is left of it is one small
 * table, so that the sum over them is the likelihood of the reading.  Densities are worked
 * out once for each law that a reading meets and kept with its line: they
 * depend on nothing that other lines can change.
 */
#include "observe.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Likelihoods all below this are made larger together. */
static const double FAINT = 1e-60;

struct rl_known_end {
    rl_end end;
    double density;
    struct rl_known_end *next;
};

static bool same_end(const rl_end *a, const rl_end *b)
{
    if (a->sort != b->sort || a->law.sort != b->law.sort || a->law.terms != b->law.terms)
        return false;
    for (int t = 0; t < a->law.terms; t++)
        if (a->law.term[t].scale != b->law.term[t].scale ||
            a->law.term[t].log_spread != b->law.term[t].log_spread)
            return false;
    return a->law.base == b->law.base && a->law.scale == b->law.scale && a->law.median == b->law.median &&
           a->law.log_spread == b->law.log_spread && a->law.low == b->law.low && a->law.high == b->law.high;
}

/* A reading of which no more than the band is known (sequel.h). */
static double weighed_bands(const rl_finding *f, const rl_showing *showing, const rl_end *end)
{
    double band[RL_MAX_LEVELS + 2], sum = 0;
    assert(f->weights == rl_showing_outcomes(showing));
    rl_showing_bands(showing, end, band);
    for (int i = 0; i < f->weights; i++)
        sum += f->weight[i] * band[i];
    return sum;
}

static double density_of(const rl_observer *o, rl_finding *f, const rl_showing *showing, const rl_end *end)
{
    for (struct rl_known_end *k = f->known; k; k = k->next)
        if (same_end(&k->end, end))
            return k->density;
    rl_arena *keep = (rl_arena *)&o->kase->arena;   /* lives as long as the line does */
    struct rl_known_end *k = rl_new(keep, struct rl_known_end);
    k->end = *end;
    if (end->law.terms > 0) {
        rl_term *term = rl_many(keep, end->law.terms, rl_term);
        memcpy(term, end->law.term, (size_t)end->law.terms * sizeof *term);
        k->end.law.term = term;
    }
    k->density = f->weights > 0 ? weighed_bands(f, showing, end) : rl_showing_density(showing, end, f->value, f->open);
    k->next = f->known;
    f->known = k;
    return k->density;
}

rl_showing_sort rl_observe_meter(rl_evidence sort)
{
    return sort == RL_E_DROP ? RL_SHOW_DROP : sort == RL_E_SUPPLY ? RL_SHOW_SUPPLY
           : sort == RL_E_RESISTANCE ? RL_SHOW_RESISTANCE : RL_SHOW_CONTINUITY;
}

static rl_showing showing_of(const rl_observer *o, const rl_finding *f)
{
    return rl_showing_make(o->model, rl_observe_meter(f->sort), o->kase->occasion[f->occasion].battery, f->at > 0);
}

/* The helper of an element and what is beyond it, in one occasion. */
static int barred_at(const rl_observer *o, int expr, int beyond, int bit)
{
    if (expr == 0)
        return beyond;
    for (const rl_barred *b = *o->barred; b; b = b->next)
        if (b->expr == expr && b->beyond == beyond && b->bit == bit)
            return b->helper;
    int size = rl_expr_rows(o->exprs, expr), helper = rl_draft_helper(o->draft, 2), ways = beyond < 0 ? 2 : 1;
    rl_cells t = {.count = beyond < 0 ? 3 : 2, .input = {helper, expr, beyond}, .size = {2, size, 2}};
    rl_cells_take(o->arena, &t);
    for (int v = 0; v < size; v++)
        for (int w = 0; w < ways; w++)
            t.cell[((v == size - 1 || w == 1) * size + v) * ways + w] = 1;
    rl_draft_add(o->draft, &t, bit);
    rl_barred *fresh = rl_new(o->arena, rl_barred);
    *fresh = (rl_barred){expr, beyond, bit, helper, *o->barred};
    *o->barred = fresh;
    return helper;
}

/* The helper of all that stands before a stretch; 0: nothing there can be open. */
static int barred_before(const rl_observer *o, const rl_stretch *stretch, const rl_world *world, int bit)
{
    int barred = 0;
    for (int i = stretch->before_count; i-- > 0;)
        barred = barred_at(o, rl_expr_element(o->exprs, world, stretch->before[i]), barred, bit);
    return barred;
}

/* `shared`: what stands before the span is a helper that other readings have too. */
static bool fold_of(const rl_observer *o, const rl_finding *f, rl_world *world, bool shared, rl_fold *fold)
{
    rl_stretch *stretch = rl_new(o->arena, rl_stretch);
    bool dead = f->sort == RL_E_RESISTANCE || f->sort == RL_E_CONTINUITY;
    if (rl_stretch_make(o->arena, o->model, f->subject, f->from, f->to, dead, stretch) != RL_STRETCH_OK)
        return false;
    rl_span_reading *reading = rl_new(o->arena, rl_span_reading);
    *reading = (rl_span_reading){.stretch = stretch, .world = world, .load = f->subject,
                                 .measured = f->at > 0, .also = f->also, .also_count = f->also_count,
                                 .dead = dead};
    reading->current = f->at > 0 ? f->at : o->model->node[f->subject].info.current;
    if (shared && !dead && o->barred)
        reading->barred = barred_before(o, stretch, world, o->frame->slot[f->occasion]);
    rl_fold_make(fold, o->arena, o->exprs, reading);
    return true;
}

bool rl_observe_fold(const rl_observer *o, const rl_finding *f, rl_world *world, rl_fold *fold)
{
    return fold_of(o, f, world, false, fold);
}

rl_cells rl_observe_step(rl_arena *arena, const rl_step *step, int before, int after)
{
    rl_cells t = {.count = 0};
    if (step->from > 1) {
        t.input[t.count] = before;
        t.size[t.count++] = step->from;
    }
    t.input[t.count] = step->input;
    t.size[t.count++] = step->values;
    t.input[t.count] = after;
    t.size[t.count++] = step->to;
    rl_cells_take(arena, &t);
    for (int c = 0; c < step->from * step->values; c++)
        t.cell[c * step->to + step->next[c]] = 1;
    return t;
}

/* The last steps of a fold are one table of so many cells at most: helpers between them would tie their elements
 * together all the same, and be wider. */
enum { SHORT_END = 512 };

/* The first of these steps.  An element may be looked at in every occasion, and has so many values then. */
static int first_of_end(const rl_observer *o, const rl_fold *fold)
{
    const rl_mask all = (1u << o->frame->occasions) - 1;
    int first = fold->steps;
    for (size_t cells = 1; first > 0 && fold->steps - first < RL_INPUTS - 1; first--) {
        const rl_step *step = &fold->step[first - 1];
        cells *= (size_t)(step->input < 0 ? step->values : rl_expr_size(o->exprs, step->input, all));
        if (first < fold->steps && cells * (size_t)step->from > SHORT_END)
            break;
    }
    return first;
}

/* The steps of a fold from `first` on at once; `before`: the helper of the state that they begin with. */
static rl_cells end_of_fold(rl_arena *arena, const rl_fold *fold, int first, int before, const double *density)
{
    const rl_step *step = fold->step + first;
    int states = step[0].from, own = states > 1;
    rl_cells t = {.count = own + fold->steps - first, .input = {before}, .size = {states}};
    for (int i = own; i < t.count; i++) {
        t.input[i] = step[i - own].input;
        t.size[i] = step[i - own].values;
    }
    rl_cells_take(arena, &t);
    int *state = rl_raw(arena, rl_cells_count(&t), int), reached = states;
    for (int i = 0; i < states; i++)
        state[i] = i;
    for (int i = own; i < t.count; reached *= t.size[i++])   /* from behind: what is read is not written over yet */
        for (int c = reached; c-- > 0;)
            memmove(state + c * t.size[i], step[i - own].next + state[c] * t.size[i], (size_t)t.size[i] * sizeof *state);
    for (int c = 0; c < reached; c++)
        t.cell[c] = density[state[c]];
    return t;
}

/* A meter that never misreads may show what is all but impossible: what 1 cannot be divided by
 * does not go into the net. */
static void lift(const rl_observer *o, double *density, size_t count)
{
    double greatest = 0;
    for (size_t i = 0; i < count; i++)
        greatest = density[i] > greatest ? density[i] : greatest;
    if (!(greatest > 0) || greatest > FAINT)
        return;
    rl_draft_scale(o->draft, greatest);
    for (size_t i = 0; i < count; i++)
        density[i] /= greatest;
}

static void observe_span(const rl_observer *o, rl_finding *f)
{
    rl_fold fold;
    rl_showing showing = showing_of(o, f);
    rl_world *world = rl_observe_world(o, f->occasion, NULL);
    bool found = fold_of(o, f, world, true, &fold);
    assert(found);
    (void)found;
    double *density = rl_many(o->arena, fold.ends, double);
    for (int i = 0; i < fold.ends; i++)
        density[i] = density_of(o, f, &showing, &fold.end[i]);
    lift(o, density, (size_t)fold.ends);
    if (fold.ends == 1) {
        rl_draft_scale(o->draft, density[0]);
        return;
    }
    int before = 0, bit = o->frame->slot[f->occasion], end = first_of_end(o, &fold);
    for (int i = 0; i < end; i++) {
        int after = rl_draft_helper(o->draft, fold.step[i].to);
        rl_cells t = rl_observe_step(o->arena, &fold.step[i], before, after);
        rl_draft_add(o->draft, &t, bit);
        before = after;
    }
    rl_cells t = end_of_fold(o->arena, &fold, end, before, density);
    rl_draft_add(o->draft, &t, bit);
}

/* ---- supply ---- */

rl_end rl_observe_supply_end(rl_arena *arena, const rl_model *model, int load, int row, bool flows)
{
    const rl_node *node = &model->node[load];
    rl_end end = {.sort = RL_END_LAW, .law = {.sort = RL_TRUE_FIXED}, .element = -1};
    if (node->feed.parent < 0)
        return end;
    if (row == model->bins + 2) {
        end.law.base = INFINITY;   /* nothing arrives: reads 0 */
        return end;
    }
    if (!flows)
        return end;
    double current = node->info.current, joints = current * node->feed_chain_count;
    if (row == 0) {
        rl_term *term = rl_new(arena, rl_term);
        *term = (rl_term){joints * model->sound.median, model->sound.log_spread};
        end.law = (rl_true){.sort = RL_TRUE_WAY, .terms = 1, .term = term};
        return end;
    }
    end.law = (rl_true){.sort = RL_TRUE_COUNTS, .base = joints * model->sound.median, .scale = current,
                        .median = model->corroded.median, .log_spread = model->corroded.log_spread,
                        .low = 0, .high = INFINITY};
    if (row >= 2) {
        int bin = row - 2;
        end.law.low = model->edge[bin];
        end.law.high = model->edge[bin + 1];
        if (model->bin_law_mass[bin] < RL_NO_MASS) {   /* counts as the edge nearest to the median */
            end.law.median = end.law.high <= model->corroded.median ? end.law.high : end.law.low;
            end.law.log_spread = 0;
            end.law.low = 0;
            end.law.high = INFINITY;
        }
    }
    return end;
}

/* (flows, load, return): whether a current flows but for the feed. */
static rl_cells flow_table(const rl_observer *o, int flows, rl_sides sides)
{
    int size = o->frame->rows, open = size - 1;
    rl_cells t = {.count = 3, .input = {flows, sides.own, sides.back}, .size = {2, 2, size}};
    rl_cells_take(o->arena, &t);
    for (int own = 0; own < 2; own++)
        for (int back = 0; back < size; back++) {
            int yes = own == 0 && back != open;
            t.cell[(yes * 2 + own) * size + back] = 1;
        }
    return t;
}

static void observe_supply(const rl_observer *o, rl_finding *f)
{
    rl_showing showing = showing_of(o, f);
    rl_world *world = rl_observe_world(o, f->occasion, NULL);
    int bit = o->frame->slot[f->occasion], size = o->frame->rows;
    rl_sides sides = rl_observe_sides(o, world, f->subject, NULL);
    if (o->model->node[f->subject].feed.parent < 0) {
        rl_end end = rl_observe_supply_end(o->arena, o->model, f->subject, 0, true);
        rl_draft_scale(o->draft, density_of(o, f, &showing, &end));
        return;
    }
    int flows = rl_draft_helper(o->draft, 2);
    rl_cells flow = flow_table(o, flows, sides);
    rl_cells shown = {.count = 2, .input = {flows, sides.fed}, .size = {2, size}};
    rl_cells_take(o->arena, &shown);
    for (int i = 0; i < 2; i++)
        for (int fed = 0; fed < size; fed++) {
            int row = rl_observe_row(o->frame, fed);
            rl_end end = rl_observe_supply_end(o->arena, o->model, f->subject, row, i == 1);
            shown.cell[i * size + fed] = density_of(o, f, &showing, &end);
        }
    lift(o, shown.cell, 2 * (size_t)size);
    rl_draft_add(o->draft, &flow, bit);
    rl_draft_add(o->draft, &shown, bit);
}

void rl_observe_reading(const rl_observer *o, rl_finding *f)
{
    if (f->sort == RL_E_SUPPLY)
        observe_supply(o, f);
    else
        observe_span(o, f);
}
