/* chain.c: see chain.h.
 *
 * Invariant: a table is over the variables still needed, ascending, the last
 * changing fastest; its cells are joint probabilities with whatever happened
 * so far (the load draws; a code counts).
 */
#include "chain.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { MOST_VARIABLES = 16, MOST_CODES = 200 };

/* P(row | variables of the net): what an expression is in the last occasion. */
typedef struct view {
    int count, variable[MOST_VARIABLES];
    int rows;
    double *p;                /* [variables...][rows] */
} view;

typedef struct table {
    int count, variable[MOST_VARIABLES], size[MOST_VARIABLES];
    size_t cells;
    double *p;
} table;

typedef struct code {
    double value, median, log_spread, low, high;
    int element;
} code;

struct rl_chain {
    rl_arena *arena;          /* of what lasts */
    rl_arena *scratch;        /* of one walk, one question */
    rl_bench *bench;
    const rl_model *model;
    int load, count;          /* elements that the walk reaches */
    const int *element;
    view *of_element;
    view *of_return;          /* R(element), for `to`: one more than elements, if there is one */
    bool beyond;              /* there is */
    int codes;                /* 0 nothing, 1 .. codes, codes + 1 open */
    code *code;
    int *code_of;             /* [element][row] */
    table live, dead;         /* the joint where the load may draw; without that */
    bool *walked[2];          /* by from: the walk was made */
    double **p[2];            /* by from * (count + 1) + number of elements: [codes + 2] */
};

/* ---- tables ---- */

static int size_of(const rl_chain *c, int variable)
{
    return rl_net_size(c->bench->network.net, variable);
}

static size_t cells_of(const rl_chain *c, const int *variable, int count)
{
    size_t cells = 1;
    for (int i = 0; i < count; i++)
        cells *= (size_t)size_of(c, variable[i]);
    return cells;
}

/* Steps of each of `variable` in a table over `own`: 0 where it has none. */
static void strides(const rl_chain *c, const int *variable, int count, const int *own, int owns, size_t last, size_t *out)
{
    for (int i = 0; i < count; i++) {
        size_t step = last;
        out[i] = 0;
        for (int j = owns; j-- > 0; step *= (size_t)size_of(c, own[j]))
            if (own[j] == variable[i])
                out[i] = step;
    }
}

static void set_sizes(const rl_chain *c, table *t)
{
    for (int i = 0; i < t->count; i++)
        t->size[i] = size_of(c, t->variable[i]);
}

/* Goes to the next cell; keeps two offsets in step. */
static inline bool next_cell(const table *t, int *at, size_t *a, const size_t *step_a, size_t *b, const size_t *step_b)
{
    for (int i = t->count; i-- > 0;) {
        int size = t->size[i];
        if (++at[i] < size) {
            *a += step_a[i];
            *b += step_b[i];
            return true;
        }
        *a -= step_a[i] * (size_t)(size - 1);
        *b -= step_b[i] * (size_t)(size - 1);
        at[i] = 0;
    }
    return false;
}

static bool among(const int *list, int count, int variable)
{
    for (int i = 0; i < count; i++)
        if (list[i] == variable)
            return true;
    return false;
}

/* The table's variables that are kept, in order. */
static table kept_of(rl_chain *c, const table *t, const int *keep, int keeps)
{
    table out = {0};
    for (int i = 0; i < t->count; i++)
        if (among(keep, keeps, t->variable[i]))
            out.variable[out.count++] = t->variable[i];
    out.cells = cells_of(c, out.variable, out.count);
    set_sizes(c, &out);
    return out;
}

/* Times P(not open), summed over what is not kept. */
static table pass(rl_chain *c, const table *t, const view *v, const int *keep, int keeps)
{
    table out = kept_of(c, t, keep, keeps);
    size_t step_v[MOST_VARIABLES], step_out[MOST_VARIABLES], at_v = 0, at_out = 0;
    int at[MOST_VARIABLES] = {0};
    out.p = rl_many(c->scratch, out.cells, double);
    strides(c, t->variable, t->count, out.variable, out.count, 1, step_out);
    strides(c, t->variable, t->count, v ? v->variable : NULL, v ? v->count : 0, v ? (size_t)v->rows : 1, step_v);
    size_t cell = 0;
    do {
        double through = v ? 1 - v->p[at_v + (size_t)v->rows - 1] : 1;
        out.p[at_out] += t->p[cell++] * through;
    } while (next_cell(t, at, &at_v, step_v, &at_out, step_out));
    return out;
}

/* ---- views ---- */

static bool view_from_cells(rl_chain *c, rl_cells *cells, int target, view *out)
{
    /* the target last, the net's variables before it, ascending */
    int order[RL_INPUTS], n = 0;
    for (int i = 0; i < cells->count; i++)
        if (cells->input[i] != target) {
            int at = n++;
            for (; at > 0 && cells->input[order[at - 1]] < cells->input[i]; at--)   /* net inputs descend as variables ascend */
                order[at] = order[at - 1];
            order[at] = i;
        }
    int place = 0;
    while (place < cells->count && cells->input[place] != target)
        place++;
    if (place == cells->count)
        return false;
    order[n] = place;
    size_t step[RL_INPUTS], s = 1;
    for (int i = cells->count; i-- > 0; s *= (size_t)cells->size[i])
        step[i] = s;
    *out = (view){.count = n, .rows = cells->size[place], .p = rl_many(c->arena, s, double)};
    for (int i = 0; i < n; i++) {
        if (cells->input[order[i]] > RL_NET_INPUT)
            return false;
        out->variable[i] = RL_NET_INPUT - cells->input[order[i]];
    }
    for (size_t cell = 0; cell < s; cell++) {
        size_t rest = cell, from = 0;
        for (int i = n; i >= 0; i--) {
            size_t size = (size_t)cells->size[order[i]];
            from += rest % size * step[order[i]];
            rest /= size;
        }
        out->p[cell] = cells->cell[from];
    }
    return true;
}

static bool make_view(rl_chain *c, int expr, view *out)
{
    if (expr == 0) {
        *out = (view){.rows = 1, .p = rl_many(c->arena, 1, double)};
        out->rows = c->bench->frame.rows;
        out->p = rl_many(c->arena, out->rows, double);
        out->p[0] = 1;
        return true;
    }
    rl_cells cells;
    int target;
    if (!rl_probe_law(c->bench, c->arena, expr, &cells, &target))
        return false;
    return view_from_cells(c, &cells, target, out);
}

/* ---- codes ---- */

static int code_for(rl_chain *c, const code *fresh)
{
    for (int i = 1; i <= c->codes; i++) {
        const code *k = &c->code[i];
        if (k->value == fresh->value && k->median == fresh->median && k->log_spread == fresh->log_spread &&
            k->low == fresh->low && k->high == fresh->high)
            return i;
    }
    c->code[++c->codes] = *fresh;
    return c->codes;
}

static void set_codes(rl_chain *c)
{
    const rl_frame *frame = &c->bench->frame;
    c->code = rl_many(c->arena, c->count * (frame->bins + 1) + 1, code);
    c->code_of = rl_many(c->arena, c->count * frame->rows, int);
    for (int i = 0; i < c->count; i++) {
        const rl_node *node = &c->model->node[c->element[i]];
        int *of = &c->code_of[i * frame->rows];
        for (int row = 1; row <= frame->bins + 1; row++) {
            int bin = row == 1 ? -1 : frame->bin[row - 2];
            if (bin >= 0 && node->bin_mass[bin] <= 0)
                continue;
            code fresh = {node->corroded.median, node->corroded.median, node->corroded.log_spread, 0, INFINITY,
                          c->element[i]};
            if (bin >= 0) {
                fresh.value = node->bin_median[bin];
                fresh.low = c->model->edge[bin];
                fresh.high = c->model->edge[bin + 1];
            }
            of[row] = code_for(c, &fresh);
        }
    }
    for (int i = 0; i < c->count; i++)
        c->code_of[i * frame->rows + frame->rows - 1] = c->codes + 1;
}

/* ---- the walk ---- */

static int worse_code(const rl_chain *c, int now, int next)
{
    if (next == 0 || now == c->codes + 1)
        return now;
    if (next == c->codes + 1 || now == 0)
        return next;
    return c->code[next].value > c->code[now].value ? next : now;
}

/* Variables that elements [from, count) and their R need. */
static int needed_from(const rl_chain *c, int from, int *out)
{
    int n = 0;
    for (int i = from; i < c->count + c->beyond; i++)
        for (int k = 0; k < (i < c->count ? c->of_element[i].count : 0) + c->of_return[i].count; k++) {
            int own = i < c->count ? c->of_element[i].count : 0;
            int v = k < own ? c->of_element[i].variable[k] : c->of_return[i].variable[k - own];
            if (!among(out, n, v))
                out[n++] = v;
        }
    return n;
}

/* Takes one element in: t is [code][cells]. */
static table take_in(rl_chain *c, const table *t, int element, const int *keep, int keeps)
{
    const view *v = &c->of_element[element];
    const int *code_of = &c->code_of[element * c->bench->frame.rows];
    int codes = c->codes + 2;
    table out = kept_of(c, t, keep, keeps);
    out.p = rl_many(c->scratch, out.cells * (size_t)codes, double);
    size_t step_v[MOST_VARIABLES], step_out[MOST_VARIABLES];
    strides(c, t->variable, t->count, out.variable, out.count, 1, step_out);
    strides(c, t->variable, t->count, v->variable, v->count, (size_t)v->rows, step_v);
    for (int k = 0; k < codes; k++) {
        const double *from = &t->p[(size_t)k * t->cells];
        double *to[MOST_CODES];
        for (int row = 0; row < v->rows; row++)
            to[row] = &out.p[(size_t)worse_code(c, k, code_of[row]) * out.cells];
        size_t at_v = 0, at_out = 0, cell = 0;
        int at[MOST_VARIABLES] = {0};
        do {
            double p = from[cell++];
            for (int row = 0; p > 0 && row < v->rows; row++)
                to[row][at_out] += p * v->p[at_v + (size_t)row];
        } while (next_cell(t, at, &at_v, step_v, &at_out, step_out));
    }
    return out;
}

/* Sums each code, with R(to) not open where `flows` is given. */
static double *sum_codes(rl_chain *c, const table *t, const view *flows)
{
    int codes = c->codes + 2;
    double *out = rl_many(c->arena, codes, double);
    size_t step_v[MOST_VARIABLES], none[MOST_VARIABLES] = {0};
    strides(c, t->variable, t->count, flows ? flows->variable : NULL, flows ? flows->count : 0,
            flows ? (size_t)flows->rows : 1, step_v);
    for (int k = 0; k < codes; k++) {
        size_t at_v = 0, at_none = 0, cell = 0;
        int at[MOST_VARIABLES] = {0};
        do {
            double through = flows ? 1 - flows->p[at_v + (size_t)flows->rows - 1] : 1;
            out[k] += t->p[(size_t)k * t->cells + cell++] * through;
        } while (next_cell(t, at, &at_v, step_v, &at_none, none));
    }
    return out;
}

/* The joint as it is at `from`: what comes before lets current through. */
static table start_at(rl_chain *c, int from, bool dead)
{
    int keep[64];
    table t = dead ? c->dead : c->live;
    for (int i = 0; i < from && !dead; i++) {
        int keeps = needed_from(c, i + 1, keep);
        t = pass(c, &t, &c->of_element[i], keep, keeps);
    }
    if (dead)
        t = pass(c, &t, NULL, keep, needed_from(c, from, keep));
    return t;
}

static void walk(rl_chain *c, int from, bool dead)
{
    int keep[64], codes = c->codes + 2;
    rl_mark mark = rl_arena_mark(c->scratch);
    table start = start_at(c, from, dead);
    table t = start;
    t.p = rl_many(c->scratch, t.cells * (size_t)codes, double);
    memcpy(t.p, start.p, t.cells * sizeof *t.p);
    for (int i = from; i < c->count; i++) {
        int keeps = needed_from(c, i + 1, keep);
        t = take_in(c, &t, i, keep, keeps);
        double **p = &c->p[dead][from * (c->count + 1)];
        bool more = !dead && i + 1 < c->count + c->beyond;
        p[i + 1 - from] = sum_codes(c, &t, more ? &c->of_return[i + 1] : NULL);
    }
    c->walked[dead][from] = true;
    rl_arena_rewind(c->scratch, mark);
}

/* ---- making ---- */

/* The joint of all variables that the walk needs, ascending. */
static bool base_table(rl_chain *c, rl_groups *groups, const view *fed, const view *own, table *out)
{
    int list[64], n = needed_from(c, 0, list);
    for (int k = 0; k < fed->count + own->count; k++) {
        int v = k < fed->count ? fed->variable[k] : own->variable[k - fed->count];
        if (!among(list, n, v))
            list[n++] = v;
    }
    if (n > MOST_VARIABLES)
        return false;
    *out = (table){.count = n};
    for (int i = 0; i < n; i++) {
        int at = i;
        for (; at > 0 && out->variable[at - 1] > list[i]; at--)
            out->variable[at] = out->variable[at - 1];
        out->variable[at] = list[i];
    }
    out->p = (double *)rl_group_joint(groups, c->bench, c->scratch, out->variable, n);
    out->cells = cells_of(c, out->variable, n);
    set_sizes(c, out);
    return out->p != NULL;
}

/* How far the chain goes before the return forks. */
static int unforked(rl_chain *c)
{
    const rl_node *node = &c->model->node[c->load];
    int n = 1;   /* the wire alone, unless it forks itself */
    while (n < node->on_every_count) {
        rl_stretch s;
        rl_mark mark = rl_arena_mark(c->arena);
        int to = n + 1 < node->on_every_count ? node->on_every[n + 1] : -1;
        bool good = rl_stretch_make(c->arena, c->model, c->load, -1, to, false, &s) == RL_STRETCH_OK && s.ways == 1 &&
                    s.way[0].count == n + 1;
        rl_arena_rewind(c->arena, mark);
        if (!good)
            break;
        n++;
    }
    return n;
}

static bool make_views(rl_chain *c, rl_observer *o, rl_world *world)
{
    rl_exprs *exprs = o->exprs;
    c->of_element = rl_many(c->arena, c->count, view);
    c->of_return = rl_many(c->arena, c->count + 1, view);
    for (int i = 0; i < c->count + c->beyond; i++) {
        int e = c->element[i];
        bool connector = c->model->node[e].info.sort == RL_CONNECTOR;
        int own = rl_expr_element(exprs, world, e);
        if (i < c->count && !make_view(c, own, &c->of_element[i]))
            return false;
        if (i == 0)
            continue;   /* a wire is never `to` */
        if (!make_view(c, connector ? own : rl_expr_return(exprs, world, e), &c->of_return[i]))
            return false;
    }
    return true;
}

/* A copy that outlives the scratch memory and the groups. */
static table lasting(rl_chain *c, const table *t)
{
    table out = *t;
    out.p = rl_many(c->arena, t->cells, double);
    memcpy(out.p, t->p, t->cells * sizeof *out.p);
    return out;
}

rl_chain *rl_chain_make(rl_arena *arena, rl_arena *scratch, rl_observer *o, rl_bench *bench, rl_groups *groups, rl_world *world, int load)
{
    rl_chain *c = rl_new(arena, rl_chain);
    *c = (rl_chain){.arena = arena, .scratch = scratch, .bench = bench, .model = o->model, .load = load,
                    .element = o->model->node[load].on_every};
    c->count = unforked(c);
    c->beyond = c->count < o->model->node[load].on_every_count;
    view fed, own;
    if (!rl_probe_apart(bench, arena, o, world, load, c->element, c->count, c->beyond) || !make_views(c, o, world) ||
        !make_view(c, rl_expr_load_feed(o->exprs, world, load), &fed) ||
        !make_view(c, rl_expr_element(o->exprs, world, load), &own) || !base_table(c, groups, &fed, &own, &c->dead))
        return NULL;
    set_codes(c);
    if (c->codes + 2 > MOST_CODES)
        return NULL;
    int keep[MOST_VARIABLES + 64], keeps = needed_from(c, 0, keep);
    rl_mark mark = rl_arena_mark(scratch);
    table base = c->dead, fed_in = pass(c, &base, &fed, base.variable, base.count);
    table live = pass(c, &fed_in, &own, keep, keeps), dead = pass(c, &base, NULL, keep, keeps);
    c->live = lasting(c, &live);
    c->dead = lasting(c, &dead);
    rl_arena_rewind(scratch, mark);
    for (int d = 0; d < 2; d++) {
        c->walked[d] = rl_many(arena, c->count, bool);
        c->p[d] = rl_many(arena, c->count * (c->count + 1), double *);
    }
    return c;
}

/* ---- asking ---- */

static rl_end law_of(rl_chain *c, const rl_stretch *s, double current, int k)
{
    rl_end end = {.sort = RL_END_LAW, .element = -1};
    const rl_way *way = &s->way[0];
    rl_term *term = rl_many(c->scratch, way->count, rl_term);
    double rest = 0, nominal = 0;
    int terms = 0;
    for (int i = 0; i < way->count; i++) {
        rl_law law = c->model->node[way->element[i]].sound;
        int t = 0;
        rest += current * way->conductor[i];
        nominal += current * (way->conductor[i] + law.median);
        while (t < terms && term[t].log_spread != law.log_spread)
            t++;
        if (t == terms)
            term[terms++] = (rl_term){0, law.log_spread};
        term[t].scale += current * law.median;
    }
    if (k == 0) {
        end.law = (rl_true){.sort = RL_TRUE_WAY, .base = rest, .terms = terms, .term = term};
        return end;
    }
    const code *counts = &c->code[k];
    end.element = counts->element;
    end.law = (rl_true){.sort = RL_TRUE_COUNTS, .base = nominal, .scale = current, .median = counts->median,
                        .log_spread = counts->log_spread, .low = counts->low, .high = counts->high};
    return end;
}

static int place_of(const rl_chain *c, int element)
{
    for (int i = 0; i < c->count; i++)
        if (c->element[i] == element)
            return i;
    return -1;
}

bool rl_chain_ask(rl_chain *c, int from, int to, bool dead, rl_chain_ends *out)
{
    rl_stretch s;
    if (rl_stretch_make(c->scratch, c->model, c->load, from, to, dead, &s) != RL_STRETCH_OK || s.ways != 1)
        return false;
    const rl_way *way = &s.way[0];
    int first = place_of(c, way->element[0]), n = way->count;
    if (first < 0 || first + n > c->count)
        return false;
    for (int i = 0; i < n; i++)
        if (c->element[first + i] != way->element[i])
            return false;
    bool last = first + n == c->count + c->beyond;   /* the way ends there */
    bool known = last ? s.to < 0 : s.to == c->element[first + n];
    if (!dead && !known)
        return false;
    if (!c->walked[dead][first])
        walk(c, first, dead);
    const double *p = c->p[dead][first * (c->count + 1) + n];
    double current = dead ? 1 : c->model->node[c->load].info.current, sum = 0;
    out->end = rl_many(c->scratch, c->codes + 3, rl_end);
    out->p = rl_many(c->scratch, c->codes + 3, double);
    out->ends = c->codes + 3;
    for (int k = 0; k < c->codes + 2; k++) {
        out->p[k] = p[k];
        sum += p[k];
        out->end[k] = k <= c->codes ? law_of(c, &s, current, k) : (rl_end){.sort = RL_END_OPEN, .element = -1};
    }
    out->p[c->codes + 2] = fmax(0, 1 - sum);   /* nothing flows */
    out->end[c->codes + 2] = (rl_end){.sort = RL_END_LAW, .law = {.sort = RL_TRUE_FIXED}, .element = -1};
    return true;
}
