/* trunk.c: see trunk.h.
 *
 * Invariant: a table over cells and states is worked out at most once, from
 * that of the knot before.
 */
#include "trunk.h"
#include "cut.h"

#include <assert.h>
#include <string.h>

/* Cells of a knot, live or not; cells x states of a table. */
enum { MOST_CELLS = 1 << 14, MOST_COUNTS = 1 << 21 };

/* A knot asked for behind another; NULL: it was too large. */
typedef struct rl_branch {
    struct rl_branch *next;
    rl_reading reading;
    rl_hold hold;
    rl_knot *knot;
} rl_branch;

void rl_trunk_make(rl_trunk *trunk, rl_arena *arena, rl_givens *givens, rl_ladders *ladders, rl_exprs *exprs, rl_world *world)
{
    static const double certain[1] = {1};
    static const int first[1] = {1};
    *trunk = (rl_trunk){.arena = arena, .scratch = givens->scratch, .givens = givens, .ladders = ladders, .exprs = exprs,
                        .world = world, .frame = exprs->frame};
    rl_machine_start(&trunk->machine);
    trunk->root = (rl_knot){.reading = {.element = -1}, .cells = 1, .prior = certain, .number = first, .machine = &trunk->machine};
    for (int flows = 0; flows < 2; flows++)
        trunk->root.counts[flows] = rl_many(arena, 1, const double *);
}

/* ---- what is held ---- */

/* What comes in at a knot, and what is kept. */
typedef struct grip { rl_ladder ladder; rl_wanted live; } grip;

/* The net's variables for the elements themselves that were read. */
static void list_elements(const rl_trunk *t, const rl_knot *before, int element, rl_wanted *out)
{
    const rl_network *network = &t->givens->bench->network;
    int variable = rl_network_variable(network, rl_expr_element(t->exprs, t->world, element));
    if (variable >= 0)
        rl_wanted_put(out, variable, 0);
    if (before->reading.element >= 0)
        list_elements(t, before->before, before->reading.element, out);
}

static double cells_of(const rl_trunk *t, const rl_wanted *list)
{
    double cells = 1;
    for (int i = 0; i < list->count; i++)
        cells *= rl_net_size(t->ladders->bench->network.net, list->variable[i]);
    return cells;
}

/* The return of what is read here, as far as the way there is but one: an expression, or 0. */
static int return_of(const rl_trunk *t, const rl_knot *k)
{
    enum { MOST_READ = 64 };
    int element[MOST_READ], count = 0;
    if (t->frame->model->node[k->reading.element].info.sort != RL_CONNECTOR)
        return rl_expr_return(t->exprs, t->world, k->reading.element);
    for (; k->before && k->reading.all == 1 && !k->reading.gate && count < MOST_READ; k = k->before)
        element[count++] = k->reading.element;
    return k->before ? 0 : rl_expr_worst(t->exprs, t->world, element, count);
}

/* Whether all that is read later lies behind the return of what is read now. */
static bool lies_behind(const rl_trunk *t, const rl_knot *k, const rl_wanted *held, const bool *later, rl_wanted *cut)
{
    int variable = rl_network_variable(&t->givens->bench->network, return_of(t, k));
    bool *met = rl_raw(t->scratch, t->ladders->variables + 1, bool), apart = variable >= 0;
    *cut = (rl_wanted){.count = 0};
    if (!apart)
        return false;
    rl_wanted_put(cut, variable, 0);
    memcpy(met, later, (size_t)t->ladders->variables * sizeof *met);
    rl_cut_spread(t->ladders, met, cut);
    for (int i = 0; i < held->count; i++)
        apart = apart && !met[held->variable[i]];
    return apart;
}

/* What separates what is held here from what is read later; false: of too many variables. */
static bool find_live(rl_trunk *t, const rl_knot *k, const rl_wanted *held, const rl_hold *hold, rl_wanted *live)
{
    enum { FEW_CELLS = 8, GOOD_CELLS = 72, SHARED_CELLS = 512 };   /* a cut that is no load's own serves others */
    rl_wanted elements = {.count = 0}, barred;
    if (cells_of(t, held) > FEW_CELLS && lies_behind(t, k, held, hold->later, live))
        return true;
    list_elements(t, k->before, k->reading.element, &elements);
    barred = elements;
    for (int i = 0; i < hold->own.count; i++)
        rl_wanted_put(&barred, hold->own.variable[i], 0);
    if (hold->owns && rl_cut_find(t->ladders, held, hold->later, &barred, SHARED_CELLS, live) && cells_of(t, live) <= SHARED_CELLS)
        return true;
    return rl_cut_find(t->ladders, held, hold->later, &elements, GOOD_CELLS, live) && cells_of(t, live) <= MOST_CELLS;
}

/* False: too large. */
static bool find_grip(rl_trunk *t, const rl_knot *k, const rl_hold *hold, grip *g)
{
    rl_wanted wanted = {.count = 0};
    for (int i = 0; i < k->before->lives; i++)
        rl_wanted_put(&wanted, k->before->live[i], 0);
    rl_wanted_add(&wanted, k->law, 2);   /* what is held already stands before what comes in */
    if (wanted.full || !find_live(t, k, &wanted, hold, &g->live))
        return false;
    for (int i = 0; i < g->live.count; i++)
        rl_wanted_put(&wanted, g->live.variable[i], 2);
    return rl_ladder_lay(&g->ladder, t->ladders, &wanted, hold->most);
}

static bool holds(const rl_knot *k, int variable)
{
    for (int i = 0; i < k->lives; i++)
        if (k->live[i] == variable)
            return true;
    return false;
}

static void set_grip(rl_trunk *t, rl_knot *k, const grip *g)
{
    const rl_net *net = t->ladders->bench->network.net;
    int *live = rl_raw(t->arena, g->live.count, int), *size = rl_raw(t->arena, g->live.count, int);
    k->rung = rl_raw(t->arena, g->ladder.count, const rl_rung *);
    for (int i = 0; i < g->ladder.count; i++)
        if (!holds(k->before, g->ladder.rung[i]->variable))
            k->rung[k->rungs++] = g->ladder.rung[i];
    for (int i = 0; i < g->live.count; i++) {
        live[i] = g->live.variable[i];
        size[i] = rl_net_size(net, live[i]);
    }
    k->lives = g->live.count;
    k->live = live;
    k->live_size = size;
}

/* ---- passages ---- */

/* Sums of one cell of the knot before, and where they lead. */
typedef struct landing {
    int rows, each;
    int cells;                     /* live or not */
    int *number;                   /* by cell: + 1; 0: cannot be, or (`fresh`) was not met yet */
    bool fresh;                    /* numbers are given as cells are met */
    int numbers, *cell;            /* by number */
    double *sum;                   /* [each][cell][row] */
    int *touched, touches;         /* places in `sum` */
} landing;

static landing landing_for(rl_arena *scratch, const rl_knot *k, int each)
{
    landing l = {.rows = k->law->rows, .each = each, .cells = 1};
    for (int i = 0; i < k->lives; i++)
        l.cells *= k->live_size[i];
    l.cell = rl_raw(scratch, l.cells, int);
    l.sum = rl_many(scratch, each * l.cells * l.rows, double);
    l.touched = rl_raw(scratch, each * l.cells * l.rows, int);
    return l;
}

/* What has come together for a cell of the knot before. */
static void close_cell(landing *l, int numbers, rl_passage *passage, int *passages)
{
    for (int i = 0; i < l->touches; i++) {
        int at = l->touched[i], cell = at / l->rows % l->cells, copy = at / l->rows / l->cells;
        if (l->number[cell] == 0 && l->fresh) {
            l->cell[l->numbers] = cell;
            l->number[cell] = ++l->numbers;
        }
        if (l->number[cell] > 0)
            passage[(*passages)++] = (rl_passage){at % l->rows, copy * numbers + l->number[cell] - 1, l->sum[at]};
        l->sum[at] = 0;
    }
    l->touches = 0;
}

static void add_entry(landing *l, const double *law, double p, int cell)
{
    for (int row = 0; row < l->rows; row++) {
        if (!(law[row] > 0))
            continue;
        int at = cell * l->rows + row;
        if (!(l->sum[at] > 0))
            l->touched[l->touches++] = at;
        l->sum[at] += p * law[row];
    }
}

/* From what the knot before holds, the law and the variables that stay to passages. */
static void set_passages(rl_knot *k, rl_arena *arena, const rl_spread *s, landing *l, const double *weight)
{
    const rl_given *law = k->law;
    rl_strides of_law = rl_spread_strides(s, law->count, law->variable, law->size, (size_t)l->rows);
    rl_strides to = rl_spread_strides(s, k->lives, k->live, k->live_size, 1);
    int *start = rl_raw(arena, k->before->cells + 1, int), passages = 0, e = 0;
    rl_passage *passage = rl_raw(s->arena, s->entries * l->each * l->rows, rl_passage);
    for (int cell = 0; cell < k->before->cells; cell++) {
        start[cell] = passages;
        for (; e < s->entries && s->cell[e] == cell; e++)
            for (int i = 0; i < l->each; i++) {
                double p = weight ? s->p[e] * weight[e * l->each + i] : s->p[e];
                if (p > 0)
                    add_entry(l, &law->p[rl_strides_at(&of_law, s, e)], p, i * l->cells + (int)rl_strides_at(&to, s, e));
            }
        close_cell(l, k->cells, passage, &passages);
    }
    start[k->before->cells] = passages;
    rl_passage *kept = rl_raw(arena, passages, rl_passage);
    if (passages > 0)
        memcpy(kept, passage, (size_t)passages * sizeof *kept);
    k->start = start;
    k->passage = kept;
}

static void set_digits(rl_knot *k, rl_arena *arena, const landing *l)
{
    uint16_t *digit = rl_raw(arena, l->numbers * k->lives, uint16_t);
    for (int c = 0; c < l->numbers; c++)
        for (int i = k->lives, rest = l->cell[c]; i-- > 0; rest /= k->live_size[i])
            digit[c * k->lives + i] = (uint16_t)(rest % k->live_size[i]);
    k->cells = l->numbers;
    k->digit = digit;
    k->number = l->number;
}

static void set_prior(rl_knot *k, rl_arena *arena)
{
    double *prior = rl_many(arena, k->cells, double);
    for (int cell = 0; cell < k->before->cells; cell++)
        for (int i = k->start[cell]; i < k->start[cell + 1]; i++)
            prior[k->passage[i].to] += k->before->prior[cell] * k->passage[i].p;
    k->prior = prior;
}

/* What lies behind it, and its tables: none yet. */
static void start_knot(rl_trunk *t, rl_knot *k)
{
    k->depth = k->before->depth + 1;
    k->branch = NULL;
    k->follower = NULL;
    for (int flows = 0; flows < 2; flows++)
        k->counts[flows] = rl_many(t->arena, k->depth + 1, const double *);
}

/* False: too large. */
static bool make_passages(rl_trunk *t, rl_knot *k)
{
    rl_spread s;
    rl_spread_start(&s, t->scratch, k->before->lives, k->before->live, k->before->cells, k->before->digit);
    for (int i = 0; i < k->rungs; i++)
        if (!rl_spread_bring(&s, k->rung[i]))
            return false;
    landing l = landing_for(t->scratch, k, 1);
    l.number = rl_many(t->arena, l.cells, int);
    l.fresh = true;
    set_passages(k, t->arena, &s, &l, NULL);
    set_digits(k, t->arena, &l);
    set_prior(k, t->arena);
    return (size_t)k->machine->states * (size_t)k->cells <= MOST_COUNTS;
}

rl_knot *rl_knot_across(rl_trunk *t, rl_knot *before, const rl_knot *like, const rl_spread *spread, int each,
                        const double *weight)
{
    rl_knot *k = rl_new(t->arena, rl_knot);
    landing l = landing_for(t->scratch, like, each);
    *k = *like;
    k->before = before;
    l.number = rl_raw(t->scratch, l.cells, int);
    memcpy(l.number, like->number, (size_t)l.cells * sizeof *l.number);
    set_passages(k, t->arena, spread, &l, weight);
    k->cells = each * like->cells;
    set_prior(k, t->arena);
    start_knot(t, k);
    return k;
}

static void add_follower(rl_knot *before, rl_knot *k, const rl_knot *like)
{
    k->like = like->start;
    k->next = before->follower;
    before->follower = k;
}

void rl_knot_keep(rl_knot *across, const rl_knot *like, const rl_given *const own[2])
{
    across->own[0] = own[0];
    across->own[1] = own[1];
    add_follower(across->before, across, like);
}

rl_knot *rl_knot_kept(const rl_knot *before, const rl_knot *like, const rl_given *const own[2])
{
    for (rl_knot *k = before->follower; k; k = k->next)
        if (k->like == like->start && k->own[0] == own[0] && k->own[1] == own[1])
            return k;
    return NULL;
}

rl_knot *rl_knot_follow(rl_trunk *t, rl_knot *before, const rl_knot *like)
{
    static const rl_given *const none[2];
    rl_knot *k = rl_knot_kept(before, like, none);
    assert(before->cells == like->before->cells);
    if (k)
        return k;
    k = rl_new(t->arena, rl_knot);
    *k = *like;
    k->before = before;
    set_prior(k, t->arena);
    start_knot(t, k);
    add_follower(before, k, like);
    return k;
}

/* ---- knots ---- */

static bool same_reading(const rl_reading *a, const rl_reading *b)
{
    return a->element == b->element && a->gate == b->gate && a->ways == b->ways && a->all == b->all;
}

/* A knot that reads the same and holds the same, whatever for; NULL: there is none. */
static rl_knot *find_like(const rl_knot *k)
{
    for (const rl_branch *b = k->before->branch; b; b = b->next) {
        rl_knot *other = b->knot;
        if (other && same_reading(&other->reading, &k->reading) && other->lives == k->lives && other->rungs == k->rungs &&
            (k->lives == 0 || memcmp(other->live, k->live, (size_t)k->lives * sizeof *k->live) == 0) &&
            (k->rungs == 0 || memcmp(other->rung, k->rung, (size_t)k->rungs * sizeof *k->rung) == 0))
            return other;
    }
    return NULL;
}

/* The law of what is read; a connector has no parent: its own state. */
static const rl_given *law_of(const rl_trunk *t, const rl_reading *reading)
{
    bool path = reading->gate && t->frame->model->node[reading->element].info.sort != RL_CONNECTOR;
    return rl_given_of(t->givens, path ? rl_expr_return(t->exprs, t->world, reading->element)
                                       : rl_expr_element(t->exprs, t->world, reading->element));
}

/* NULL: too large. */
static rl_knot *make_knot(rl_trunk *t, rl_knot *before, const rl_reading *reading, const rl_hold *hold)
{
    rl_machine *machine = rl_machine_behind(before->machine, t->arena, t->scratch, t->frame, reading);
    rl_knot *k = rl_new(t->arena, rl_knot), *like;
    grip g;
    *k = (rl_knot){.before = before, .reading = *reading, .law = law_of(t, reading), .machine = machine};
    if (!k->law || !machine || !find_grip(t, k, hold, &g))
        return NULL;
    set_grip(t, k, &g);
    like = find_like(k);
    if (like || !make_passages(t, k))
        return like;
    start_knot(t, k);
    return k;
}

static bool same_hold(const rl_trunk *t, const rl_hold *a, const rl_hold *b)
{
    return a->owns == b->owns && a->most <= b->most && a->most >= b->most &&
           memcmp(a->later, b->later, (size_t)t->ladders->variables * sizeof *a->later) == 0;
}

rl_knot *rl_knot_behind(rl_trunk *t, rl_knot *before, const rl_reading *reading, const rl_hold *hold)
{
    for (const rl_branch *b = before->branch; b; b = b->next)
        if (same_reading(&b->reading, reading) && same_hold(t, &b->hold, hold))
            return b->knot;
    rl_branch *fresh = rl_new(t->arena, rl_branch);
    bool *later = rl_raw(t->arena, t->ladders->variables, bool);
    if (t->ladders->variables > 0)
        memcpy(later, hold->later, (size_t)t->ladders->variables * sizeof *later);
    rl_mark mark = rl_arena_mark(t->scratch);
    rl_knot *knot = make_knot(t, before, reading, hold);
    rl_arena_rewind(t->scratch, mark);
    *fresh = (rl_branch){before->branch, *reading, *hold, knot};
    fresh->hold.later = later;
    before->branch = fresh;
    return knot;
}

/* ---- tables ---- */

/* The table behind one more element: adds to it. */
static void read_on(const rl_knot *k, const double *from, double *out, rl_arena *scratch)
{
    rl_mark mark = rl_arena_mark(scratch);
    const rl_machine *machine = k->machine;
    int before = machine->before, *met = rl_raw(scratch, before, int);
    for (int cell = 0; cell < k->before->cells; cell++, from += before) {
        int count = 0;
        for (int s = 0; s < before; s++)
            if (from[s] > 0)
                met[count++] = s;
        for (int i = k->start[cell]; i < k->start[cell + 1] && count > 0; i++) {
            const rl_passage *way = &k->passage[i];
            const int *next = &machine->next[way->row * before];
            double *to = &out[(size_t)way->to * (size_t)machine->states];
            for (int m = 0; m < count; m++)
                to[next[met[m]]] += from[met[m]] * way->p;
        }
    }
    rl_arena_rewind(scratch, mark);
}

static double flows_past(const rl_knot *k, const double *whole, int cell)
{
    const rl_machine *machine = k->machine;
    double sum = 0;
    for (int s = 0; s < machine->states; s++)
        if (!rl_tuple_open(&machine->state[s], k->reading.all))
            sum += whole[cell * machine->states + s];
    return sum;
}

/* A table that begins here, where the return from here on is not open; at a connector only its
 * own state matters, as design §3 has it: it has no return. */
static void start_flowing(rl_trunk *t, rl_knot *k, double *out)
{
    int states = k->machine->states;
    bool alone = !k->reading.gate && t->frame->model->node[k->reading.element].info.sort == RL_CONNECTOR;
    const double *whole = alone ? NULL : rl_knot_counts(t, k, &t->root, true);
    for (int cell = 0; cell < k->cells && !alone; cell++)
        out[cell * states] = flows_past(k, whole, cell);
    for (int cell = 0; cell < k->before->cells && alone; cell++)
        for (int i = k->start[cell]; i < k->start[cell + 1]; i++)
            if (k->passage[i].row != k->law->rows - 1)
                out[k->passage[i].to * states] += k->before->prior[cell] * k->passage[i].p;
}

const double *rl_knot_counts(rl_trunk *t, rl_knot *k, const rl_knot *end, bool flows)
{
    const double **kept = &k->counts[flows][end->depth];
    if (*kept)
        return *kept;
    double *out = rl_many(t->arena, k->cells * k->machine->states, double);
    if (k != end) {
        assert(k->before);
        read_on(k, rl_knot_counts(t, k->before, end, flows), out, t->scratch);
    } else if (flows && k->before) {
        start_flowing(t, k, out);
    } else {
        for (int cell = 0; cell < k->cells; cell++)
            out[cell * k->machine->states] = k->prior[cell];
    }
    *kept = out;
    return out;
}
