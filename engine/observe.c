/* observe.c: behaviours, symptoms, inspections, backfeed and pull.
 *
 * Invariant: see observe.h.  A behaviour is a maximum of independent causes:
 * the return on one side, the rest (feed, the load itself, background) on the
 * other.  The helper says which run of equally weighted levels the rest has
 * drawn; a first-level finding has one run, so nothing is coupled.
 */
#include "observe.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

int rl_observe_row(const rl_frame *frame, int row)
{
    if (row < 2)
        return row;
    return row == frame->rows - 1 ? frame->model->bins + 2 : 2 + frame->bin[row - 2];
}

rl_world *rl_observe_world(const rl_observer *o, int occasion, const rl_conditions *with)
{
    const rl_occasion *when = &o->kase->occasion[occasion];
    return rl_exprs_world(o->exprs, when->repaired, when->repaired_count,
                          with ? with->repaired : NULL, with ? with->repaired_count : 0);
}

rl_sides rl_observe_sides(const rl_observer *o, rl_world *world, int load, const rl_conditions *with)
{
    const rl_node *node = &o->model->node[load];
    rl_sides sides = {0, 0, 0};
    if (with && !with->bypass && with->bypass_at >= 0)
        sides.back = rl_expr_return_cut(o->exprs, world, node->info.wire, with->bypass_at);
    else if (!with || !with->bypass)
        sides.back = rl_expr_return(o->exprs, world, node->info.wire);
    if (!with || !with->jumper)
        sides.fed = rl_expr_load_feed(o->exprs, world, load);
    if (!with || !with->swap)
        sides.own = rl_expr_element(o->exprs, world, load);
    return sides;
}

/* ---- behaviours ---- */

/* The distribution of the worse of two independent levels. */
static void worse_of(const double *a, const double *b, int levels, double *out)
{
    double up_to_a = 0, up_to_b = 0;
    for (int l = 0; l < levels; l++) {
        double before_a = up_to_a;
        up_to_a += a[l];
        up_to_b += b[l];
        double p = a[l] * up_to_b + before_a * b[l];
        out[l] = p;
    }
}

/* Feed, load and background together. */
static void rest_levels(const rl_behaviour *kind, const double *fed, bool failed, double *out)
{
    int levels = (int)kind->info.levels;
    double own[RL_MAX_LEVELS];
    worse_of(fed, kind->otherwise, levels, out);
    if (failed) {
        memcpy(own, out, (size_t)levels * sizeof *own);
        worse_of(own, kind->failed, levels, out);
    }
}

void rl_observe_levels(const rl_behaviour *kind, const double *back, const double *fed, bool failed, double *out)
{
    double rest[RL_MAX_LEVELS];
    rest_levels(kind, fed, failed, rest);
    worse_of(rest, back, (int)kind->info.levels, out);
}

/* Runs of levels of equal weight; a last run of weight 0 is left out. */
static int find_runs(const double *weight, int levels, int *start)
{
    int runs = 0;
    for (int l = 0; l < levels; l++)
        if (l == 0 || weight[l] != weight[l - 1])
            start[runs++] = l;
    start[runs] = levels;
    return runs > 0 && weight[levels - 1] == 0 ? runs - 1 : runs;
}

/* What was seen, given that the rest drew level `rest` and the return this row. */
static double seen_given(const double *weight, const double *row, int levels, int rest)
{
    double up_to = 0, beyond = 0;
    for (int l = 0; l < levels; l++)
        if (l <= rest)
            up_to += row[l];
        else
            beyond += weight[l] * row[l];
    return weight[rest] * up_to + beyond;
}

typedef struct behaviour {
    const rl_behaviour *kind;
    const double **back, **fed;   /* rows of the load */
    const double *weight;
    int levels, runs, bit;
    int start[RL_MAX_LEVELS + 1];
} behaviour;

/* (run, return value) */
static rl_cells back_table(const rl_observer *o, const behaviour *b, int input, int expr)
{
    int size = o->frame->rows;
    rl_cells t = {.count = 2, .input = {input, expr}, .size = {b->runs, size}};
    rl_cells_take(o->arena, &t);
    for (int run = 0; run < b->runs; run++)
        for (int v = 0; v < size; v++) {
            const double *row = b->back[rl_observe_row(o->frame, v)];
            t.cell[run * size + v] = seen_given(b->weight, row, b->levels, b->start[run]);
        }
    return t;
}

/* (run, feed value, load) */
static rl_cells rest_table(const rl_observer *o, const behaviour *b, int input, int fed, int own)
{
    int size = o->frame->rows;
    rl_cells t = {.count = 3, .input = {input, fed, own}, .size = {b->runs, size, 2}};
    rl_cells_take(o->arena, &t);
    for (int v = 0; v < size; v++)
        for (int failed = 0; failed < 2; failed++) {
            double rest[RL_MAX_LEVELS];
            rest_levels(b->kind, b->fed[rl_observe_row(o->frame, v)], failed, rest);
            for (int run = 0; run < b->runs; run++)
                for (int l = b->start[run]; l < b->start[run + 1]; l++)
                    t.cell[(run * size + v) * 2 + failed] += rest[l];
        }
    return t;
}

static double up_to(const double *row, int end)
{
    double sum = 0;
    for (int l = 0; l < end; l++)
        sum += row[l];
    return sum;
}

/* For each row of the frame: that a side alone draws no level from `end` on. */
static const double *rows_up_to(const rl_observer *o, const double *const *rows, int end)
{
    rl_up_to *kept = o->up_to ? &o->up_to[(uintptr_t)rows / sizeof *rows % RL_UP_TO_SLOTS] : NULL;
    if (kept && kept->rows == rows && kept->end == end)
        return kept->row;
    double *out = rl_raw(o->arena, o->frame->rows, double);
    for (int v = 0; v < o->frame->rows; v++)
        out[v] = up_to(rows[rl_observe_row(o->frame, v)], end);
    if (kept)
        *kept = (rl_up_to){rows, end, out};
    return out;
}

/* Only levels below a bound are possible: one factor for each cause. */
static void add_uncoupled(const rl_observer *o, const behaviour *b, rl_sides sides)
{
    int end = b->start[1];
    double *own = rl_raw(o->arena, 2, double);
    own[0] = up_to(b->kind->otherwise, end);
    own[1] = own[0] * up_to(b->kind->failed, end);
    rl_draft_add_own(o->draft, sides.back, rows_up_to(o, b->back, end), b->bit);
    rl_draft_add_own(o->draft, sides.fed, rows_up_to(o, b->fed, end), b->bit);
    rl_draft_add_own(o->draft, sides.own, own, b->bit);
}

/* The helper is summed at once where one side is sound for certain. */
static void add_one_sided(const rl_observer *o, const behaviour *b, rl_sides sides)
{
    int size = o->frame->rows;
    rl_cells back = back_table(o, b, 0, sides.back);
    rl_cells rest = rest_table(o, b, 0, sides.fed, sides.own);
    double *weight = rl_many(o->arena, b->runs, double);
    bool back_sound = sides.back == 0;
    for (int run = 0; run < b->runs; run++)
        weight[run] = back_sound ? back.cell[run * size] : rest.cell[run * size * 2];
    rl_cells *other = back_sound ? &rest : &back;
    rl_cells_sum(o->arena, other, 0, weight);
    rl_draft_add(o->draft, other, b->bit);
}

static void add_behaviour(const rl_observer *o, int load, const double *weight, rl_sides sides, int bit)
{
    const rl_rows *rows = o->model->rows->of_load[load];
    behaviour b = {.kind = &o->model->kind[rows->kind], .back = rows->side[0], .fed = rows->side[1],
                   .weight = weight, .bit = bit};
    b.levels = (int)b.kind->info.levels;
    assert(b.levels <= RL_MAX_LEVELS);
    b.runs = find_runs(weight, b.levels, b.start);
    if (b.runs == 1 && weight[0] == 1) {
        add_uncoupled(o, &b, sides);
    } else if (sides.back == 0 || (sides.fed == 0 && sides.own == 0)) {
        add_one_sided(o, &b, sides);
    } else {
        int helper = rl_draft_helper(o->draft, b.runs);
        rl_cells back = back_table(o, &b, helper, sides.back);
        rl_cells rest = rest_table(o, &b, helper, sides.fed, sides.own);
        rl_draft_add(o->draft, &back, bit);
        rl_draft_add(o->draft, &rest, bit);
    }
}

static void observe_behaviour(const rl_observer *o, const rl_finding *f)
{
    rl_world *world = rl_observe_world(o, f->occasion, &f->with);
    rl_sides sides = rl_observe_sides(o, world, f->subject, &f->with);
    add_behaviour(o, f->subject, f->weight, sides, o->frame->slot[f->occasion]);
}

/* ---- causes that fire or not: symptoms, backfeed, pull ---- */

double rl_observe_chance(const rl_observer *o, const double *p, int expr, int value)
{
    if (o->exprs->at[expr].sort == RL_X_LOAD)
        return value == 0 ? p[RL_SOUND] : p[RL_FAILED];
    return p[rl_frame_state(o->frame, value)];
}

static int cause_size(const rl_observer *o, int expr)
{
    return expr == 0 ? 1 : rl_expr_rows(o->exprs, expr);
}

typedef struct firing {
    int count;
    const int *expr;
    const double *const *p;     /* by cause: chance by state */
    double otherwise;
    int bit;
    double absent, present;     /* what absence and presence weigh */
} firing;

/* Absence is a product over the causes. */
static void add_absent(const rl_observer *o, const firing *n)
{
    rl_draft_scale(o->draft, n->absent * (1 - n->otherwise));
    for (int i = 0; i < n->count; i++) {
        int size = cause_size(o, n->expr[i]);
        double *row = rl_raw(o->arena, size, double);
        for (int v = 0; v < size; v++)
            row[v] = 1 - rl_observe_chance(o, n->p[i], n->expr[i], v);
        rl_draft_add_own(o->draft, n->expr[i], row, n->bit);
    }
}

/* One step of "some cause so far": (before, cause, after), or at the last
 * cause (before, cause) with what was seen weighed in. */
static int add_step(const rl_observer *o, const firing *n, int i, int before)
{
    bool first = i == 0, last = i == n->count - 1;
    int after = last ? 0 : rl_draft_helper(o->draft, 2);
    int befores = first ? 1 : 2, afters = last ? 1 : 2, size = cause_size(o, n->expr[i]);
    rl_cells t = {.count = 0};
    double cell[2];
    if (!first) {
        t.input[t.count] = before;
        t.size[t.count++] = 2;
    }
    t.input[t.count] = n->expr[i];
    t.size[t.count++] = size;
    if (!last) {
        t.input[t.count] = after;
        t.size[t.count++] = 2;
    }
    rl_cells_take(o->arena, &t);
    for (int b = 0; b < befores; b++)
        for (int v = 0; v < size; v++) {
            double chance = rl_observe_chance(o, n->p[i], n->expr[i], v);
            double none = b == 1 ? 0 : (1 - chance) * (first ? 1 - n->otherwise : 1);
            double some = b == 1 ? 1 : first ? chance + (1 - chance) * n->otherwise : chance;
            cell[0] = last ? none * n->absent + some * n->present : none;
            cell[1] = some;
            memcpy(&t.cell[(b * size + v) * afters], cell, (size_t)afters * sizeof *cell);
        }
    rl_draft_add(o->draft, &t, n->bit);
    return after;
}

static void add_firing(const rl_observer *o, const firing *n)
{
    if (n->present == 0) {
        add_absent(o, n);
        return;
    }
    if (n->count == 0) {
        rl_draft_scale(o->draft, n->absent * (1 - n->otherwise) + n->present * n->otherwise);
        return;
    }
    int before = 0;
    for (int i = 0; i < n->count; i++)
        before = add_step(o, n, i, before);
}

int rl_observe_subject(const rl_observer *o, rl_world *world, const rl_cause *cause)
{
    switch (cause->subject) {
    case RL_OF_RETURN:
        return rl_expr_return(o->exprs, world, o->model->node[cause->element].info.wire);
    case RL_OF_FEED:
        return rl_expr_load_feed(o->exprs, world, cause->element);
    case RL_OF_ELEMENT:
    case RL_OF_LOAD:
        break;
    }
    return rl_expr_element(o->exprs, world, cause->element);
}

static void observe_symptom(const rl_observer *o, const rl_finding *f)
{
    const rl_sign *sign = &o->model->sign[f->named];
    rl_world *world = rl_observe_world(o, f->occasion, NULL);
    int *expr = rl_many(o->arena, sign->causes + 1, int);
    const double **p = rl_many(o->arena, sign->causes + 1, const double *);
    for (int i = 0; i < sign->causes; i++) {
        expr[i] = rl_observe_subject(o, world, &sign->cause[i]);
        p[i] = sign->cause[i].p;
    }
    firing n = {sign->causes, expr, p, sign->otherwise, o->frame->slot[f->occasion], f->weight[0], f->weight[1]};
    add_firing(o, &n);
}

int rl_observe_crosstalk(const rl_observer *o, rl_world *world, bool pull, int a, int b, int out[2])
{
    int count;
    const int *set = pull ? rl_shared_returns(o->arena, o->model, a, b, &count)
                          : rl_backfeed_set(o->arena, o->model, a, b, &count);
    out[0] = rl_expr_worst(o->exprs, world, set, count);
    if (!pull)
        return count > 0 ? 1 : 0;
    set = rl_shared_feeds(o->arena, o->model, a, b, &count);
    out[1] = rl_expr_worst(o->exprs, world, set, count);
    return 2;
}

static void observe_crosstalk(const rl_observer *o, const rl_finding *f)
{
    bool pull = f->sort == RL_E_PULL;
    const rl_crosstalk *rule = pull ? &o->model->pull : &o->model->backfeed;
    rl_world *world = rl_observe_world(o, f->occasion, NULL);
    int expr[2];
    const double *p[2] = {rule->p, rule->p};
    int count = rl_observe_crosstalk(o, world, pull, f->subject, f->other, expr);
    firing n = {count, expr, p, rule->otherwise, o->frame->slot[f->occasion], f->weight[0], f->weight[1]};
    add_firing(o, &n);
}

/* ---- inspections ---- */

void rl_observe_seen(const rl_model *model, const rl_finding *f, double seen[RL_STATES])
{
    const rl_look *look = &model->look[f->named];
    for (int s = 0; s < RL_STATES; s++) {
        seen[s] = 0;
        for (int i = 0; i < f->weights; i++)
            seen[s] += f->weight[i] * look->row[s][i];
    }
}

static void observe_inspection(const rl_observer *o, const rl_finding *f)
{
    rl_world *world = rl_observe_world(o, f->occasion, NULL);
    double seen[RL_STATES];
    rl_observe_seen(o->model, f, seen);
    if (rl_world_forces(world, f->subject)) {
        rl_draft_scale(o->draft, seen[RL_SOUND]);
        return;
    }
    o->draft->inspected[f->subject] = true;
    for (int s = 0; s < RL_STATES; s++)
        o->draft->state[f->subject][s] *= seen[s];
}

/* ---- others work ---- */

/* Marks the loads with a behaviour line of their own in the occasion. */
static void mark_own_lines(const rl_observer *o, int occasion, bool *own)
{
    for (int i = 0; i < o->kase->findings; i++) {
        const rl_finding *f = o->kase->finding[i];
        bool gone = o->forgotten && o->left_out && (o->left_out[i] || f->line.replaced);
        if (f->sort == RL_E_BEHAVIOUR && f->occasion == occasion && !gone)
            own[f->subject] = true;
    }
}

/* known: loads with a line of their own, and those that an earlier `others` line
 * of the same occasion has reached, if there was one: they are not seen twice. */
static void observe_others(const rl_observer *o, const rl_finding *f, bool **known)
{
    static const double first[RL_MAX_LEVELS] = {1};
    rl_world *world = rl_observe_world(o, f->occasion, NULL);
    bool *seen = *known = *known ? *known : rl_many(o->arena, o->model->nodes, bool);
    mark_own_lines(o, f->occasion, seen);
    if (o->crowded)
        o->draft->crowd = rl_crowd_say(o, f, seen);
    for (int e = 0; e < o->model->nodes; e++) {
        const rl_element *info = &o->model->node[e].info;
        if (info->sort != RL_LOAD || seen[e])
            continue;
        if (f->subject >= 0 && !rl_passes(o->model, info->wire, f->subject))
            continue;
        seen[e] = true;
        rl_sides sides = rl_observe_sides(o, world, e, NULL);
        add_behaviour(o, e, first, sides, o->frame->slot[f->occasion]);
    }
}

/* known: as above. */
static void observe_line(const rl_observer *o, rl_finding *f, bool **known)
{
    switch (f->sort) {
    case RL_E_BEHAVIOUR: observe_behaviour(o, f); break;
    case RL_E_SYMPTOM: observe_symptom(o, f); break;
    case RL_E_INSPECTION: observe_inspection(o, f); break;
    case RL_E_BACKFEED:
    case RL_E_PULL: observe_crosstalk(o, f); break;
    case RL_E_OTHERS: observe_others(o, f, known); break;
    case RL_E_DROP:
    case RL_E_RESISTANCE:
    case RL_E_CONTINUITY:
    case RL_E_SUPPLY: rl_observe_reading(o, f); break;
    case RL_E_OPENED:
    case RL_E_FOUND:
    case RL_E_EXPECT:
    case RL_E_OCCASION: break;
    }
}

void rl_observe_all(rl_observer *o)
{
    bool *seen[RL_MAX_OCCASIONS] = {NULL};
    o->barred = o->apart ? NULL : rl_new(o->arena, rl_barred *);
    for (int i = 0; i < o->kase->findings; i++) {
        rl_finding *f = o->kase->finding[i];
        if (!f->line.replaced && !(o->left_out && o->left_out[i]))
            observe_line(o, f, &seen[f->occasion]);
    }
}

void rl_observe_further(rl_observer *o, int first)
{
    for (int i = first; i < o->kase->findings; i++) {
        assert(o->kase->finding[i]->sort != RL_E_OTHERS);
        observe_line(o, o->kase->finding[i], NULL);
    }
}
