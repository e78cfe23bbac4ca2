/* chain.c: see chain.h.
 *
 * Invariant: the elements stand in an order that every way from the load keeps;
 * a span's elements are a run of them.  They are read from the battery toward the
 * load; where each is read stands a knot of the trunk.
 */
#include "chain.h"
#include "cut.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { MOST_ELEMENTS = 64 };

struct rl_chain {
    const rl_bearings *shared;
    rl_trunk *trunk;
    const rl_model *model;
    const rl_frame *frame;
    int load, count;
    int element[MOST_ELEMENTS + 1];           /* one more where a span may end before it */
    bool beyond;                              /* there is one more */
    rl_stretch whole;                         /* from the wire to the end of the chain */
    uint32_t in[MOST_ELEMENTS];               /* the ways each element is in */
    int *start[RL_MAX_WAYS];                  /* by way, by element: how many of the way's stand before it */
    const rl_given *of_element[MOST_ELEMENTS];
    const rl_given *of_gate;                  /* R of the one more */
    const rl_given *own[2];                   /* feed path, load */
    bool tried[2], told[2];                   /* by dead: whether it was read, and the chain can say */
    double *current[2];                       /* the load's own, as often as a way is long; of a dead circuit */
    rl_knot *knot[2][MOST_ELEMENTS + 1];      /* by dead: where each element is read, and what is before all */
    double *own_rows;                         /* [cell of the wire's knot][row of the feed path][row of the load] */
    rl_chain_ends *dead;                      /* ends of spans of a dead circuit, by first * (count + 1) + last */
    double *wire[2];                          /* by dead; [cell of the knot before the wire's][row] */
    double *draws[MOST_ELEMENTS];             /* by cell of a knot: that nothing nearer to the load keeps it from drawing */
};

/* ---- the elements and their order ---- */

static int place_of(const rl_chain *c, int element)
{
    for (int i = 0; i < c->count + c->beyond; i++)
        if (c->element[i] == element)
            return i;
    return -1;
}

static void insert_element(rl_chain *c, int at, int element)
{
    memmove(&c->element[at + 1], &c->element[at], (size_t)(c->count - at) * sizeof c->element[0]);
    c->element[at] = element;
    c->count++;
}

/* A way's new elements go behind the one before; false: no one order serves all ways. */
static bool merge_way(rl_chain *c, const rl_way *way)
{
    int before = -1;
    for (int i = 0; i < way->count; i++) {
        int at = place_of(c, way->element[i]);
        if (at < 0) {
            if (c->count == MOST_ELEMENTS)
                return false;
            at = before + 1;
            insert_element(c, at, way->element[i]);
        } else if (at <= before) {
            return false;
        }
        before = at;
    }
    return true;
}

/* The longest stretch from the wire that has few enough ways. */
static bool find_whole(rl_chain *c)
{
    const rl_node *node = &c->model->node[c->load];
    for (int i = node->on_every_count; i > 0; i--) {
        int to = i < node->on_every_count ? node->on_every[i] : -1;
        rl_mark mark = rl_arena_mark(c->shared->arena);
        if (rl_stretch_make(c->shared->arena, c->model, c->load, -1, to, false, &c->whole) == RL_STRETCH_OK) {
            bool good = true;
            for (int w = 0; w < c->whole.ways && good; w++)
                good = merge_way(c, &c->whole.way[w]);
            if (good)
                c->element[c->count] = to;
            c->beyond = to >= 0;
            return good;
        }
        rl_arena_rewind(c->shared->arena, mark);
    }
    return false;
}

/* Which ways each element is in, and where each way stands at it. */
static void set_ways(rl_chain *c)
{
    for (int w = 0; w < c->whole.ways; w++) {
        const rl_way *way = &c->whole.way[w];
        c->start[w] = rl_raw(c->shared->arena, c->count + 1, int);
        for (int i = 0, n = 0; i <= c->count; i++) {
            c->start[w][i] = n;
            if (i < c->count && n < way->count && way->element[n] == c->element[i]) {
                c->in[i] |= 1u << w;
                n++;
            }
        }
    }
}

/* Whether an element names a connector of the chain that another element names too. */
static bool meets_twice(const rl_chain *c, int *named_by, int element)
{
    const rl_node *node = &c->model->node[element];
    for (int w = 0; w < node->way_count; w++)
        for (int v = 0; v < node->way[w].via_count; v++) {
            int place = place_of(c, node->way[w].via[v]);
            if (place >= 0 && named_by[place] > 0 && named_by[place] != element + 1)
                return true;
            if (place >= 0)
                named_by[place] = element + 1;
        }
    return false;
}

/* Whether what lies from each element on to the battery is what the chain has behind it. */
static bool is_plain(const rl_chain *c)
{
    int named_by[MOST_ELEMENTS + 1] = {0};
    for (int i = 0; i < c->count; i++)
        if (meets_twice(c, named_by, c->element[i]))
            return false;
    return true;
}

/* ---- laws ---- */

/* The law of an expression, apart from all that was marked; NULL: it is not, or hangs on too much. */
static const rl_given *law_apart(const rl_chain *c, int expr, bool *marked)
{
    const rl_bearings *s = c->shared;
    return rl_probe_apart(s->givens->bench, s->scratch, expr, marked) ? rl_given_of(s->givens, expr) : NULL;
}

/* Laws of all that is read; false: one hangs on too much, or two on one element. */
static bool set_laws(rl_chain *c)
{
    const rl_bearings *s = c->shared;
    rl_exprs *exprs = s->observer->exprs;
    bool *marked = rl_many(s->scratch, c->model->nodes, bool);
    c->own[0] = law_apart(c, rl_expr_load_feed(exprs, s->world, c->load), marked);
    c->own[1] = law_apart(c, rl_expr_element(exprs, s->world, c->load), marked);
    bool good = c->own[0] && c->own[1];
    for (int i = 0; i < c->count && good; i++) {
        c->of_element[i] = law_apart(c, rl_expr_element(exprs, s->world, c->element[i]), marked);
        good = c->of_element[i] != NULL;
    }
    if (!good || !c->beyond)
        return good;
    int e = c->element[c->count];   /* a connector has no parent: its own state */
    bool connector = c->model->node[e].info.sort == RL_CONNECTOR;
    int back = connector ? rl_expr_element(exprs, s->world, e) : rl_expr_return(exprs, s->world, e);
    c->of_gate = law_apart(c, back, marked);
    return c->of_gate != NULL;
}

/* ---- reading the elements ---- */

/* What is read, from the battery on: where there is one more element, whether the return from
 * there on is open; the elements; last, what the load draws by.  Nothing but elements where the
 * circuit is dead. */
typedef struct course {
    bool gate, own;
    int readings;                             /* of elements and of the gate; the load's own comes behind them */
    rl_wanted wanted;
    rl_given stop[MOST_ELEMENTS + 1];         /* by reading: no law, but variables that come in there, because
                                               * behind them others may be left */
    const rl_given *law[2 * MOST_ELEMENTS + 4];
    int at[2 * MOST_ELEMENTS + 4], laws;
    rl_ladder ladder;
    uint64_t keep[MOST_ELEMENTS + 2];
    bool met[RL_LADDER_MOST];
    int live, place[RL_LADDER_MOST];          /* what came in and was not left behind */
} course;

/* The reading of the element at place i of the chain. */
static int reading_of(const rl_chain *c, const course *o, int i)
{
    return c->count - 1 - i + o->gate;
}

static void add_stop(course *o, int reading, int variable)
{
    rl_given *stop = &o->stop[reading];
    if (stop->count < RL_INPUTS)
        stop->variable[stop->count++] = variable;
}

/* What is read at a reading, one after the other: at most two laws. */
static int laws_at(const rl_chain *c, const course *o, int reading, const rl_given *law[2])
{
    if (reading == o->readings) {
        law[0] = c->own[0];
        law[1] = c->own[1];
        return o->own ? 2 : 0;
    }
    law[0] = o->gate && reading == 0 ? c->of_gate : c->of_element[c->count - 1 - reading + o->gate];
    return 1;
}

/* The net's variables for the elements themselves, as far as they are read. */
static void list_elements(const rl_chain *c, const course *o, int reading, rl_wanted *out)
{
    const rl_bearings *s = c->shared;
    for (int i = c->count; i-- > 0 && reading_of(c, o, i) <= reading;) {
        int expr = rl_expr_element(s->observer->exprs, s->world, c->element[i]);
        int variable = rl_network_variable(&s->givens->bench->network, expr);
        if (variable >= 0)
            rl_wanted_put(out, variable, 0);
    }
}

/* What separates what is held from what is yet to be read: not elements that were read, if it
 * can be had without much cheaper, so that they are left behind soon. */
static bool find_stop(const rl_chain *c, const course *o, int reading, const rl_wanted *held, rl_wanted *cut)
{
    const rl_given *law[2];
    rl_wanted later = {.count = 0}, elements = {.count = 0};
    for (int k = reading + 1; k <= o->readings; k++)
        for (int i = laws_at(c, o, k, law); i-- > 0;)
            rl_wanted_add(&later, law[i], 0);
    list_elements(c, o, reading, &elements);
    return !held->full && !later.full && rl_cut_find(c->shared->ladders, held, &later, &elements, cut);
}

/* Where these come in, what was read before may be left behind. */
static void stop_at_cuts(const rl_chain *c, course *o)
{
    rl_wanted held = {.count = 0}, cut;
    const rl_given *law[2];
    for (int r = 0; r < o->readings; r++) {
        for (int i = laws_at(c, o, r, law); i-- > 0;)
            rl_wanted_add(&held, law[i], 0);
        if (!find_stop(c, o, r, &held, &cut))
            return;
        for (int i = 0; i < cut.count; i++)
            add_stop(o, r, cut.variable[i]);
        held = cut;
    }
}

static void add_law(course *o, const rl_given *law, int reading)
{
    o->law[o->laws] = law;
    o->at[o->laws++] = reading;
    rl_wanted_add(&o->wanted, law, 2 * reading);   /* no two readings are mixed */
}

/* The ladder of what is read and of the stops; false: too large. */
static bool find_course(const rl_chain *c, course *o, bool dead)
{
    enum { MOST_LAWS = 1 << 21 };
    bool gate = !dead && c->beyond;
    const rl_given *law[2];
    *o = (course){.gate = gate, .own = !dead, .readings = c->count + gate};
    stop_at_cuts(c, o);
    for (int r = 0; r <= o->readings; r++) {
        for (int i = laws_at(c, o, r, law); i-- > 0;)
            add_law(o, law[i], r);
        if (r < o->readings)
            add_law(o, &o->stop[r], r);
    }
    if (!rl_ladder_lay(&o->ladder, c->shared->ladders, &o->wanted, MOST_LAWS))
        return false;
    rl_route route = {o->laws, o->law, o->at};
    rl_route_keep(&route, &o->ladder, o->keep, o->readings + 1);
    return true;
}

static void bring_place(course *o, rl_turn *turn, int place)
{
    const rl_rung *rung = o->ladder.rung[place];
    if (o->met[place])
        return;
    o->met[place] = true;
    for (int i = 0; i < rung->parents; i++)
        bring_place(o, turn, rl_ladder_place(&o->ladder, rung->parent[i]));
    turn->rung[turn->rungs++] = rung;
    o->place[o->live++] = place;
}

/* What a law hangs on comes in; what nothing later needs is left behind. */
static void bring(course *o, rl_turn *turn, int reading)
{
    int live = 0;
    const rl_given *list[2] = {turn->law, &o->stop[reading]};
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < list[i]->count; k++)
            bring_place(o, turn, rl_ladder_place(&o->ladder, list[i]->variable[k]));
    for (int i = 0; i < o->live; i++) {
        if (!(o->keep[reading] >> o->place[i] & 1u))
            continue;
        const rl_rung *rung = o->ladder.rung[o->place[i]];
        turn->live[live] = rung->variable;
        turn->live_size[live] = rung->size;
        o->place[live++] = o->place[i];
    }
    turn->lives = o->live = live;
}

/* The knot at which the element at place i is read, or (the gate) the one more. */
static rl_knot *read_next(rl_chain *c, course *o, rl_knot *before, int i, int reading)
{
    uint32_t all = (uint32_t)((1ull << c->whole.ways) - 1);
    bool gate = i == c->count;
    rl_turn turn = {.element = c->element[i], .gate = gate, .ways = gate ? all : c->in[i], .all = all,
                    .law = gate ? c->of_gate : c->of_element[i]};
    bring(o, &turn, reading);
    return rl_knot_behind(c->trunk, before, &turn);
}

/* Adds what an entry of the spread makes of the rows of the feed path and of the load. */
static void add_rows(const rl_given *const own[2], const double *feed, const double *load, double p, double *out)
{
    for (int f = 0; f < own[0]->rows; f++)
        for (int l = 0; l < own[1]->rows; l++)
            *out++ += p * feed[f] * load[l];
}

/* What the load draws by, given the cell of the last knot; false: too large. */
static bool set_own(rl_chain *c, course *o, const rl_knot *last)
{
    rl_turn turn = {.rungs = 0};
    rl_mark mark = rl_arena_mark(c->shared->scratch);
    rl_spread s;
    int each = c->own[0]->rows * c->own[1]->rows;
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < c->own[i]->count; k++)
            bring_place(o, &turn, rl_ladder_place(&o->ladder, c->own[i]->variable[k]));
    rl_spread_start(&s, c->shared->scratch, last);
    for (int i = 0; i < turn.rungs; i++)
        if (!rl_spread_bring(&s, turn.rung[i]))
            return false;
    rl_strides reach[2];
    for (int i = 0; i < 2; i++)
        reach[i] = rl_spread_strides(&s, c->own[i]->count, c->own[i]->variable, c->own[i]->size, (size_t)c->own[i]->rows);
    c->own_rows = rl_many(c->shared->arena, last->cells * each, double);
    for (int e = 0; e < s.entries; e++)
        add_rows(c->own, &c->own[0]->p[rl_strides_at(&reach[0], &s, e)], &c->own[1]->p[rl_strides_at(&reach[1], &s, e)], s.p[e],
                 &c->own_rows[s.cell[e] * each]);
    rl_arena_rewind(c->shared->scratch, mark);
    return true;
}

/* That the feed is not open and the load has not failed, by cell of the wire's knot. */
static double *own_draws(const rl_chain *c)
{
    int feeds = c->own[0]->rows, loads = c->own[1]->rows, cells = c->knot[0][0]->cells;
    double *out = rl_many(c->shared->arena, cells, double);
    for (int cell = 0; cell < cells; cell++)
        for (int f = 0; f < feeds - 1; f++)
            for (int l = 0; l < loads - 1; l++)
                out[cell] += c->own_rows[(cell * feeds + f) * loads + l];
    return out;
}

/* That the load draws, by cell of a knot: what is nearer to it is not open. */
static void set_draws(rl_chain *c)
{
    c->draws[0] = own_draws(c);
    for (int i = 1; i < c->count; i++) {
        const rl_knot *nearer = c->knot[0][i - 1];
        int open = nearer->turn.law->rows - 1;
        double *out = c->draws[i] = rl_many(c->shared->arena, c->knot[0][i]->cells, double);
        for (int cell = 0; cell < c->knot[0][i]->cells; cell++)
            for (int k = nearer->start[cell]; k < nearer->start[cell + 1]; k++)
                if (nearer->passage[k].row != open)
                    out[cell] += nearer->passage[k].p * c->draws[i - 1][nearer->passage[k].to];
    }
}

/* By cell of the knot before the wire's: the wire in each row, and that the load draws then. */
static void set_wire(rl_chain *c, bool dead)
{
    const rl_knot *wire = c->knot[dead][0];
    int rows = wire->turn.law->rows;
    double *out = c->wire[dead] = rl_many(c->shared->arena, wire->before->cells * rows, double);
    for (int cell = 0; cell < wire->before->cells; cell++, out += rows)
        for (int i = wire->start[cell]; i < wire->start[cell + 1]; i++)
            out[wire->passage[i].row] += wire->passage[i].p * (dead ? 1 : c->draws[0][wire->passage[i].to]);
}

static bool read_all(rl_chain *c, bool dead)
{
    course o;
    rl_knot **knot = c->knot[dead];
    if (!find_course(c, &o, dead))
        return false;
    knot[c->count] = &c->trunk->root;
    if (o.gate)
        knot[c->count] = read_next(c, &o, knot[c->count], c->count, 0);
    for (int i = c->count; i-- > 0 && knot[i + 1];)
        knot[i] = read_next(c, &o, knot[i + 1], i, reading_of(c, &o, i));
    if (!knot[0] || dead)
        return knot[0] != NULL;
    if (!set_own(c, &o, knot[0]))
        return false;
    set_draws(c);
    return true;
}

static void set_currents(rl_chain *c)
{
    for (int dead = 0; dead < 2; dead++) {
        c->current[dead] = rl_many(c->shared->arena, c->count, double);
        for (int i = 0; i < c->count; i++)
            c->current[dead][i] = dead ? 1 : c->model->node[c->load].info.current;
    }
}

rl_chain *rl_chain_make(const rl_bearings *bearings, int load)
{
    rl_chain *c = rl_new(bearings->arena, rl_chain);
    *c = (rl_chain){.shared = bearings, .trunk = bearings->trunk, .model = bearings->observer->model,
                    .frame = bearings->observer->frame, .load = load};
    if (!find_whole(c) || !is_plain(c) || !set_laws(c))
        return NULL;
    set_ways(c);
    set_currents(c);
    c->dead = rl_many(bearings->arena, c->count * (c->count + 1), rl_chain_ends);
    return c;
}

/* ---- asking ---- */

/* Reads the elements when that is first asked for. */
static bool can_tell(rl_chain *c, bool dead)
{
    if (!c->tried[dead]) {
        rl_mark mark = rl_arena_mark(c->shared->scratch);
        c->tried[dead] = true;
        c->told[dead] = read_all(c, dead);
        if (c->told[dead])
            set_wire(c, dead);
        rl_arena_rewind(c->shared->scratch, mark);
    }
    return c->told[dead];
}

/* The part of a way that lies in the span. */
static rl_way part_of_way(const rl_chain *c, int w, int first, int end)
{
    const rl_way *way = &c->whole.way[w];
    int from = c->start[w][first];
    return (rl_way){c->start[w][end] - from, &way->element[from], &way->conductor[from]};
}

/* The first element of the way that brings the code in. */
static int counting_element(const rl_chain *c, const rl_way *way, int code, bool dead)
{
    for (int i = 0; i < way->count; i++) {
        const int *of = c->knot[dead][place_of(c, way->element[i])]->code_of;
        for (int row = 1; row < c->frame->rows - 1; row++)
            if (of[row] == code)
                return way->element[i];
    }
    return -1;
}

/* The way of least nominal value, or -1: all are open. */
static int counting_way(const rl_chain *c, const rl_knot *knot, const rl_tuple *state, const double *base, double current)
{
    int best = -1;
    double least = INFINITY;
    for (int w = 0; w < c->whole.ways; w++) {
        int code = state->code[w];
        if (code == RL_CODE_OPEN)
            continue;
        double nominal = base[w] + (code > 0 ? current * knot->code[code].value : 0);
        if (best < 0 || nominal < least) {
            best = w;
            least = nominal;
        }
    }
    return best;
}

static rl_end end_for(const rl_chain *c, rl_arena *arena, const rl_knot *knot, const rl_way *way, int w, int code, bool dead)
{
    rl_candidate counts = {.element = -1};
    if (code > 0) {
        counts = knot->code[code];
        counts.scale = c->current[dead][0];
        counts.element = counting_element(c, &way[w], code, dead);
    }
    rl_end end = rl_way_end(arena, c->model, &way[w], c->current[dead], code > 0 ? &counts : NULL);
    end.way = w;
    return end;
}

/* Ends from states: those in which the same code of the same way counts are one. */
static void set_ends(const rl_chain *c, const double *state, int first, int last, bool dead, rl_chain_ends *out)
{
    rl_arena *arena = dead ? c->shared->arena : c->shared->scratch;
    const rl_knot *knot = c->knot[dead][first];
    int ways = c->whole.ways, each = knot->codes + 1, open = ways * each;
    int *number = rl_many(c->shared->scratch, open + 1, int), most = (open < knot->states ? open + 1 : knot->states) + 1;
    double base[RL_MAX_WAYS], sum = 0, *p = rl_many(arena, most, double);
    rl_way *way = rl_raw(arena, ways, rl_way);
    for (int w = 0; w < ways; w++) {
        way[w] = part_of_way(c, w, first, last);
        base[w] = rl_way_base(c->model, &way[w], c->current[dead]);
    }
    *out = (rl_chain_ends){0, rl_raw(arena, most, rl_end), p, way};
    for (int s = 0; s < knot->states; s++) {
        if (!(state[s] > 0))
            continue;
        int w = counting_way(c, knot, &knot->state[s], base, c->current[dead][0]);
        int kind = w < 0 ? open : w * each + knot->state[s].code[w];
        if (number[kind] == 0) {
            number[kind] = ++out->ends;
            out->end[out->ends - 1] = w < 0 ? (rl_end){.sort = RL_END_OPEN, .element = -1}
                                            : end_for(c, arena, knot, way, w, knot->state[s].code[w], dead);
        }
        p[number[kind] - 1] += state[s];
        sum += state[s];
    }
    out->end[out->ends] = (rl_end){.sort = RL_END_LAW, .law = {.sort = RL_TRUE_FIXED}, .element = -1};
    p[out->ends++] = fmax(0, 1 - sum);   /* nothing flows */
}

/* Where the span begins and ends among the elements; false: not in the chain. */
static bool find_span(const rl_chain *c, int from, int to, bool dead, int *first, int *last)
{
    if (to < 0 && dead)
        to = rl_last_element(c->model, c->load);
    *first = from < 0 ? 0 : place_of(c, from);
    *last = to >= 0 ? place_of(c, to) : dead || c->beyond ? -1 : c->count;
    return *first >= 0 && *first < c->count && *last > *first;
}

/* Adds weighted numbers to others. */
static void add_weighted(double *restrict to, const double *restrict from, int count, double weight)
{
    for (int i = 0; i < count; i++)
        to[i] += from[i] * weight;
}

/* States of a span that begins at the wire: the last element is the load's own, and is read
 * for each span by itself. */
static void read_wire(const rl_chain *c, const double *counts, bool dead, double *out)
{
    const rl_knot *wire = c->knot[dead][0];
    int rows = wire->turn.law->rows, before = wire->before->states;
    const double *weight = c->wire[dead];
    double *sum = rl_many(c->shared->scratch, rows * before, double);
    for (int cell = 0; cell < wire->before->cells; cell++, counts += before)
        for (int row = 0; row < rows; row++, weight++)
            if (*weight > 0)
                add_weighted(&sum[row * before], counts, before, *weight);
    for (int i = 0; i < rows * before; i++)
        out[wire->next[i]] += sum[i];
}

/* Probability of each state of the machine over a span. */
static const double *states_of(const rl_chain *c, int first, int last, bool dead)
{
    rl_knot *knot = c->knot[dead][first > 0 ? first : 1];
    const double *counts = rl_knot_counts(c->trunk, knot, c->knot[dead][last], !dead);
    double *out = rl_many(c->shared->scratch, c->knot[dead][first]->states, double);
    if (first == 0) {
        read_wire(c, counts, dead, out);
        return out;
    }
    for (int cell = 0; cell < knot->cells; cell++)
        add_weighted(out, &counts[cell * knot->states], knot->states, dead ? 1 : c->draws[first][cell]);
    return out;
}

bool rl_chain_ask(rl_chain *c, int from, int to, bool dead, rl_chain_ends *out)
{
    int first, last;
    if (!find_span(c, from, to, dead, &first, &last) || !can_tell(c, dead))
        return false;
    rl_chain_ends *kept = dead ? &c->dead[first * (c->count + 1) + last] : out;   /* resistance and continuity ask the same */
    if (!dead || !kept->end)
        set_ends(c, states_of(c, first, last, dead), first, last, dead, kept);
    *out = *kept;
    return true;
}

/* ---- the worst of the elements ---- */

const double *rl_chain_worst(rl_chain *c, int to)
{
    rl_arena *scratch = c->shared->scratch;
    int last = place_of(c, to), rows = c->frame->rows, each = c->own[0]->rows * c->own[1]->rows;
    if (last < 1 || !can_tell(c, false))
        return NULL;
    const rl_knot *knot = c->knot[0][last];
    double *p = rl_many(scratch, knot->cells * rows, double), *out = rl_many(scratch, rows * each, double);
    for (int cell = 0; cell < knot->cells; cell++)
        p[cell * rows] = knot->prior[cell];
    for (int i = last; i-- > 0;) {
        const double *from = p;
        knot = c->knot[0][i];
        p = rl_many(scratch, knot->cells * rows, double);
        for (int cell = 0; cell < knot->before->cells; cell++, from += rows)
            for (int k = knot->start[cell]; k < knot->start[cell + 1]; k++)
                for (int row = 0; row < rows; row++) {
                    int worst = row > knot->passage[k].row ? row : knot->passage[k].row;
                    p[knot->passage[k].to * rows + worst] += from[row] * knot->passage[k].p;
                }
    }
    for (int cell = 0; cell < knot->cells; cell++)
        for (int row = 0; row < rows; row++)
            for (int k = 0; k < each; k++)
                out[row * each + k] += p[cell * rows + row] * c->own_rows[cell * each + k];
    return out;
}
