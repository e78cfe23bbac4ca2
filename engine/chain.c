/* chain.c: see chain.h.
 *
 * The elements are read from the battery toward the load by two walks along the trunk.  One
 * holds on to what the elements hang on alone, and serves dead circuits.  The other holds
 * on to what the load draws by as well, as far as what is left to read hangs on that no more:
 * there the load's own is summed away, and it goes on as the first one does.
 *
 * Invariant: a table at an element is over the cells of its knot and the states of its machine.
 */
#include "chain.h"
#include "cut.h"
#include "strand.h"

#include <assert.h>
#include <math.h>
#include <string.h>

struct rl_chain {
    const rl_bearings *shared;
    rl_trunk *trunk;
    const rl_model *model;
    const rl_frame *frame;
    int load;
    rl_strand strand;
    const rl_given *own[2];                   /* feed path, load */
    bool tried[2], told[2];                   /* by dead: whether it was read, and the chain can say */
    double *current[2];                       /* the load's own, as often as a way is long; of a dead circuit */
    rl_knot *knot[2][RL_STRAND_MOST + 1];     /* by dead: where each element is read, and what is before all */
    int parting;                              /* the element with which what the load draws by is summed away */
    rl_knot *kept;                            /* its knot with the rows of that kept; NULL: not asked yet */
    double well;                              /* that the load has not failed, where nothing hangs together with that */
    rl_chain_ends *dead;                      /* ends of spans of a dead circuit, by first * (count + 1) + last */
    double *wire[2];                          /* by dead; [cell of the knot before the wire's][row] */
    double *draws[RL_STRAND_MOST];            /* by cell of a knot: that nothing nearer to the load keeps it from drawing */
};

/* ---- laws ---- */

/* The law of an expression, apart from all that was marked; NULL: it is not, or hangs on too much. */
static const rl_given *law_apart(const rl_chain *c, int expr, bool *marked)
{
    const rl_bearings *s = c->shared;
    return rl_probe_apart(s->givens->bench, s->scratch, expr, marked) ? rl_given_of(s->givens, expr) : NULL;
}

static int expr_of(const rl_chain *c, int element)
{
    return rl_expr_element(c->shared->observer->exprs, c->shared->world, element);
}

/* Whether all that is read has a law; false: one hangs on too much, or two on one element. */
static bool have_laws(rl_chain *c)
{
    const rl_bearings *s = c->shared;
    rl_exprs *exprs = s->observer->exprs;
    bool *marked = rl_many(s->scratch, c->model->nodes, bool);
    c->own[0] = law_apart(c, rl_expr_load_feed(exprs, s->world, c->load), marked);
    c->own[1] = law_apart(c, expr_of(c, c->load), marked);
    bool good = c->own[0] && c->own[1];
    for (int i = 0; i < c->strand.count && good; i++)
        good = law_apart(c, expr_of(c, c->strand.element[i]), marked) != NULL;
    if (!good || !c->strand.beyond)
        return good;
    int e = c->strand.element[c->strand.count];   /* a connector has no parent: its own state */
    bool connector = c->model->node[e].info.sort == RL_CONNECTOR;
    return law_apart(c, connector ? expr_of(c, e) : rl_expr_return(exprs, s->world, e), marked) != NULL;
}

static void set_currents(rl_chain *c)
{
    for (int dead = 0; dead < 2; dead++) {
        c->current[dead] = rl_many(c->shared->arena, c->strand.count, double);
        for (int i = 0; i < c->strand.count; i++)
            c->current[dead][i] = dead ? 1 : c->model->node[c->load].info.current;
    }
}

rl_chain *rl_chain_make(const rl_bearings *bearings, int load)
{
    rl_chain *c = rl_new(bearings->arena, rl_chain);
    *c = (rl_chain){.shared = bearings, .trunk = bearings->trunk, .model = bearings->observer->model,
                    .frame = bearings->observer->frame, .load = load};
    if (!rl_strand_make(&c->strand, bearings->arena, c->model, load) || !have_laws(c))
        return NULL;
    int count = c->strand.count;
    set_currents(c);
    c->dead = rl_many(bearings->arena, count * (count + 1), rl_chain_ends);
    return c;
}

/* ---- the two walks ---- */

static void mark_law(bool *marks, const rl_given *law)
{
    for (int i = 0; i < law->count; i++)
        marks[law->variable[i]] = true;
}

/* By variable of the net: whether what is read behind the element at place i hangs on it; with
 * `own` what the load draws by is still to come too. */
static bool *later_than(const rl_chain *c, int i, bool own)
{
    const rl_bearings *s = c->shared;
    bool *later = rl_many(s->scratch, s->ladders->variables + 1, bool);
    for (int k = 0; k < i; k++)
        mark_law(later, rl_given_of(s->givens, expr_of(c, c->strand.element[k])));
    for (int side = 0; side < 2 && own; side++)
        mark_law(later, c->own[side]);
    return later;
}

static void add_own(const rl_chain *c, int turn, rl_wanted *out)
{
    for (int side = 0; side < 2; side++)
        rl_wanted_add(out, c->own[side], turn);
}

/* The knot of the element at place i; NULL: too large. */
static rl_knot *read_element(rl_chain *c, rl_knot *before, int i, bool own, double most)
{
    const rl_strand *strand = &c->strand;
    bool gate = i == strand->count;
    rl_reading reading = {strand->element[i], gate, gate ? strand->all : strand->in[i], strand->all};
    rl_hold hold = {.later = later_than(c, i, own), .owns = own, .most = most};
    if (own)
        add_own(c, 0, &hold.own);
    return rl_knot_behind(c->trunk, before, &reading, &hold);
}

/* The same for a dead circuit: with what the load draws by where that is read all the same and
 * to do without would be a burden. */
static rl_knot *read_alone(rl_chain *c, rl_knot *before, int i)
{
    rl_knot *knot = read_element(c, before, i, false, RL_TRUNK_CHEAP);
    if (!knot)
        knot = read_element(c, before, i, true, RL_TRUNK_MOST);
    return knot ? knot : read_element(c, before, i, false, RL_TRUNK_MOST);
}

static bool read_dead(rl_chain *c)
{
    rl_knot **knot = c->knot[1], *root = &c->trunk->root;
    knot[c->strand.count] = c->strand.beyond ? read_alone(c, root, c->strand.count) : root;
    for (int i = c->strand.count; i-- > 0 && knot[i + 1];)
        knot[i] = read_alone(c, knot[i + 1], i);
    return knot[0] != NULL;
}

static void list_live(const rl_knot *knot, int turn, rl_wanted *out)
{
    for (int i = 0; i < knot->lives; i++)
        rl_wanted_put(out, knot->live[i], turn);
}

/* Whether what is read behind the element at place i hangs on nothing more of what the load draws
 * by, nor on what is held before it, given what the walk of a dead circuit holds there. */
static bool part_at(const rl_chain *c, int i)
{
    rl_ladders *ladders = c->shared->ladders;
    bool *later = later_than(c, i, false), apart = true;
    rl_wanted behind = {.count = 0}, here = {.count = 0};
    list_live(c->knot[1][i], 0, &behind);
    list_live(c->knot[0][i + 1], 0, &here);
    rl_wanted_add(&here, c->knot[1][i]->law, 0);
    add_own(c, 0, &here);
    rl_cut_spread(ladders, later, &behind);
    for (int k = 0; k < here.count; k++)
        apart = apart && !later[here.variable[k]];
    return apart && !here.full;
}

/* ---- the parting ---- */

/* Whether a law leaves no choice. */
static bool is_certain(const rl_rung *rung)
{
    for (size_t i = 0; i < rung->cells; i++)
        if (rung->p[i] > 0 && rung->p[i] < 1)
            return false;
    return true;
}

/* Whether what a knot holds on to follows from what is listed, and if so by which laws.  Then
 * nothing else has to do with it. */
static bool follows_from(const rl_chain *c, const rl_knot *knot, const rl_wanted *list, rl_ladder *ladder)
{
    rl_wanted wanted = *list;
    list_live(knot, 4, &wanted);   /* behind all that is listed */
    if (!rl_ladder_lay(ladder, c->shared->ladders, &wanted, RL_TRUNK_MOST))
        return false;
    for (int i = list->count; i < ladder->count; i++)
        if (!is_certain(ladder->rung[i]))
            return false;
    return true;
}

/* Combinations of what is read with an element and what the load draws by, but for the variable of `last`,
 * which is nobody's but the load's own (NULL: there is none); false: laws come to more cells. */
static bool spread_own(const rl_chain *c, const rl_knot *before, const rl_knot *knot, double most, rl_spread *s,
                       const rl_rung **last)
{
    rl_wanted wanted = {.count = 0}, here;
    rl_ladder ladder, live;
    list_live(before, 0, &wanted);
    rl_wanted_add(&wanted, knot->law, 2);
    bool follows = follows_from(c, knot, &wanted, &live);
    if (!follows)
        list_live(knot, 2, &wanted);
    here = wanted;
    add_own(c, 4, &wanted);
    if (!rl_ladder_lay(&ladder, c->shared->ladders, &wanted, most))
        return false;
    *last = wanted.count > here.count ? ladder.rung[--ladder.count] : NULL;
    rl_spread_start(s, c->shared->scratch, before->lives, before->live, before->cells, before->digit);
    return rl_spread_climb(s, &ladder) && (!follows || rl_spread_climb(s, &live));
}

/* That what a law is of is not in its last row. */
static double flow(const rl_given *law, const double *row)
{
    double sum = 0;
    for (int i = 0; i < law->rows - 1; i++)
        sum += row[i];
    return sum;
}

static int own_rows(const rl_chain *c)
{
    return c->own[0]->rows * c->own[1]->rows;
}

/* Whether the load itself hangs together with anything; else its part is left to the last. */
static bool load_matters(const rl_chain *c)
{
    return c->own[1]->count > 0;
}

/* Where a law's cells stand for an entry, and how far apart the values of the last variable are (0: it is not of it). */
typedef struct own_law { const rl_given *law; rl_strides at; size_t step; } own_law;

static own_law law_over(const rl_given *law, const rl_spread *s, const rl_rung *last)
{
    own_law o = {.law = law};
    size_t step = (size_t)law->rows;
    for (int i = law->count; i-- > 0; step *= (size_t)law->size[i]) {
        int place = 0;
        if (last && law->variable[i] == last->variable) {
            o.step = step;
            continue;
        }
        while (s->name[place] != law->variable[i]) {
            place++;
            assert(place < s->names);
        }
        o.at.place[o.at.count] = place;
        o.at.step[o.at.count++] = step;
    }
    return o;
}

/* Adds what a value of the last variable makes of an entry. */
static void add_weight(const rl_chain *c, double p, const double *feed, const double *load, bool rows, double *out)
{
    if (!rows) {
        *out += p * flow(c->own[0], feed) * (load_matters(c) ? flow(c->own[1], load) : 1);
        return;
    }
    for (int f = 0; f < c->own[0]->rows; f++)
        for (int l = 0; l < c->own[1]->rows; l++)
            *out++ += p * feed[f] * load[l];
}

/* By entry: that the load draws, as far as that matters; with `rows` each row of the feed path and of the load. */
static const double *weigh_own(const rl_chain *c, const rl_spread *s, const rl_rung *last, bool rows)
{
    static const double certain[1] = {1};
    int each = rows ? own_rows(c) : 1;
    double *weight = rl_many(s->arena, s->entries * each, double);
    own_law feed = law_over(c->own[0], s, last), load = law_over(c->own[1], s, last);
    rl_strides of = {.count = 0};
    if (last)
        of = rl_spread_strides(s, last->parents, last->parent, last->parent_size, (size_t)last->size);
    for (int e = 0; e < s->entries; e++) {
        const double *p = last ? &last->p[rl_strides_at(&of, s, e)] : certain;
        const double *fed = &feed.law->p[rl_strides_at(&feed.at, s, e)], *own = &load.law->p[rl_strides_at(&load.at, s, e)];
        for (size_t v = 0; v < (last ? (size_t)last->size : 1); v++)
            if (p[v] > 0)
                add_weight(c, p[v], fed + v * feed.step, own + v * load.step, rows, &weight[e * each]);
    }
    return weight;
}

/* The knot of the element at place i at which what the load draws by is summed away; with `rows` its
 * rows are kept apart.  NULL: too large. */
static rl_knot *part(const rl_chain *c, int i, double most, bool rows)
{
    rl_knot *before = c->knot[0][i + 1];
    const rl_knot *like = c->knot[1][i];
    const rl_rung *last;
    rl_spread s;
    if (!spread_own(c, before, like, most, &s, &last))
        return NULL;
    return rl_knot_across(c->trunk, before, like, &s, rows ? own_rows(c) : 1, weigh_own(c, &s, last, rows));
}

/* The same for all loads that draw by the same. */
static rl_knot *part_with_others(const rl_chain *c, int i, double most)
{
    const rl_given *own[2] = {c->own[0], load_matters(c) ? c->own[1] : NULL};
    rl_knot *knot = rl_knot_kept(c->knot[0][i + 1], c->knot[1][i], own);
    if (knot || !(knot = part(c, i, most, false)))
        return knot;
    rl_knot_keep(knot, c->knot[1][i], own);
    return knot;
}

/* Behind the parting the two walks are one, but for how likely each cell is. */
static void go_on(rl_chain *c, int parting)
{
    c->parting = parting;
    c->well = load_matters(c) ? 1 : flow(c->own[1], c->own[1]->p);
    for (int i = parting; i-- > 1;)
        c->knot[0][i] = rl_knot_follow(c->trunk, c->knot[0][i + 1], c->knot[1][i]);
    if (parting > 0)
        c->knot[0][0] = c->knot[1][0];   /* its passages are all that is asked of it */
}

/* The walk with what the load draws by, as far as the parting; behind that, the other's.  It parts
 * as soon as that is no burden, at the last with the wire. */
static bool walk_live(rl_chain *c)
{
    rl_knot **knot = c->knot[0], *root = &c->trunk->root;
    int i = c->strand.count;
    knot[i] = c->strand.beyond ? read_element(c, root, i, true, RL_TRUNK_MOST) : root;
    while (i-- > 0 && knot[i + 1]) {
        knot[i] = part_at(c, i) ? part_with_others(c, i, i > 0 ? RL_TRUNK_CHEAP : RL_TRUNK_MOST) : NULL;
        if (knot[i]) {
            go_on(c, i);
            return true;
        }
        knot[i] = read_element(c, knot[i + 1], i, true, RL_TRUNK_MOST);
    }
    return false;
}

/* ---- whether the load draws ---- */

/* By cell of the knot before: that the element is not open, nor what is nearer to the load. */
static double *draws_past(const rl_chain *c, const rl_knot *nearer, const double *draws)
{
    int open = nearer->law->rows - 1;
    double *out = rl_many(c->shared->arena, nearer->before->cells, double);
    for (int cell = 0; cell < nearer->before->cells; cell++)
        for (int k = nearer->start[cell]; k < nearer->start[cell + 1]; k++)
            if (nearer->passage[k].row != open)
                out[cell] += nearer->passage[k].p * (draws ? draws[nearer->passage[k].to] : c->well);
    return out;
}

/* That the load draws, by cell of a knot: what is nearer to it is not open. */
static void set_draws(rl_chain *c)
{
    for (int i = 1; i < c->strand.count; i++)
        c->draws[i] = draws_past(c, c->knot[0][i - 1], c->draws[i - 1]);
}

/* By cell of the knot before the wire's: the wire in each row, and that the load draws. */
static void set_wire(rl_chain *c, bool dead)
{
    const rl_knot *wire = c->knot[dead][0];
    int rows = wire->law->rows;
    double *out = c->wire[dead] = rl_many(c->shared->arena, wire->before->cells * rows, double);
    for (int cell = 0; cell < wire->before->cells; cell++, out += rows)
        for (int i = wire->start[cell]; i < wire->start[cell + 1]; i++)
            out[wire->passage[i].row] += wire->passage[i].p * (dead ? 1 : c->well);
}

/* Reads the elements when that is first asked for; the dead circuit before the other. */
static bool can_tell(rl_chain *c, bool dead)
{
    if (c->tried[dead] || (!dead && !can_tell(c, true)))
        return c->told[dead];
    rl_mark mark = rl_arena_mark(c->shared->scratch);
    c->tried[dead] = true;
    c->told[dead] = dead ? read_dead(c) : walk_live(c);
    if (c->told[dead])
        set_wire(c, dead);
    if (c->told[0])
        set_draws(c);
    rl_arena_rewind(c->shared->scratch, mark);
    return c->told[dead];
}

/* ---- asking ---- */

/* The span that is asked about, and its ways. */
typedef struct span {
    int first, last;
    bool dead;
    const rl_machine *machine;
    rl_way *way;
    double base[RL_MAX_WAYS];                 /* what is nominal over each but for what counts */
    double current;
} span;

/* The first element of the way that brings the code in. */
static int counting_element(const rl_chain *c, const span *s, int w, int code)
{
    for (int i = s->first; i < s->last; i++) {
        const int *of = c->knot[s->dead][i]->machine->code_of;
        for (int row = 1; row < c->frame->rows - 1 && (c->strand.in[i] >> w & 1u); row++)
            if (of[row] == code)
                return c->strand.element[i];
    }
    return -1;
}

/* The way of least nominal value, or -1: all are open. */
static int counting_way(const rl_chain *c, const span *s, const rl_tuple *state)
{
    int best = -1;
    double least = INFINITY;
    if (c->strand.whole.ways == 1)
        return state->code[0] == RL_CODE_OPEN ? -1 : 0;
    for (int w = 0; w < c->strand.whole.ways; w++) {
        int code = state->code[w];
        if (code == RL_CODE_OPEN)
            continue;
        double nominal = s->base[w] + (code > 0 ? s->current * s->machine->code[code].value : 0);
        if (best < 0 || nominal < least) {
            best = w;
            least = nominal;
        }
    }
    return best;
}

static rl_end end_for(const rl_chain *c, rl_arena *arena, const span *s, int w, int code)
{
    rl_end end;
    if (code > 0) {
        rl_candidate counts = s->machine->code[code];
        counts.scale = s->current;
        counts.element = counting_element(c, s, w, code);
        end = rl_candidate_end(&counts, s->base[w]);
    } else {
        end = rl_way_end(arena, c->model, &s->way[w], c->current[s->dead], NULL);
    }
    end.way = w;
    return end;
}

static void set_span_ways(const rl_chain *c, rl_arena *arena, span *s)
{
    int ways = c->strand.whole.ways;
    s->way = rl_raw(arena, ways, rl_way);
    for (int w = 0; w < ways; w++) {
        s->way[w] = rl_strand_part(&c->strand, w, s->first, s->last);
        s->base[w] = rl_way_base(c->model, &s->way[w], c->current[s->dead]);
    }
}

/* Ends from states: those in which the same code of the same way counts are one. */
static void set_ends(const rl_chain *c, const double *state, span *s, rl_chain_ends *out)
{
    rl_arena *arena = s->dead ? c->shared->arena : c->shared->scratch;
    int each = s->machine->codes + 1, open = c->strand.whole.ways * each, states = s->machine->states;
    int *number = rl_many(c->shared->scratch, open + 1, int), most = (open < states ? open + 1 : states) + 1;
    double sum = 0, *p = rl_many(arena, most, double);
    set_span_ways(c, arena, s);
    *out = (rl_chain_ends){0, rl_raw(arena, most, rl_end), p, s->way};
    for (int i = 0; i < states; i++) {
        if (!(state[i] > 0))
            continue;
        const rl_tuple *tuple = &s->machine->state[i];
        int w = counting_way(c, s, tuple), kind = w < 0 ? open : w * each + tuple->code[w];
        if (number[kind] == 0) {
            number[kind] = ++out->ends;
            out->end[out->ends - 1] = w < 0 ? (rl_end){.sort = RL_END_OPEN, .element = -1} : end_for(c, arena, s, w, tuple->code[w]);
        }
        p[number[kind] - 1] += state[i];
        sum += state[i];
    }
    out->end[out->ends] = (rl_end){.sort = RL_END_LAW, .law = {.sort = RL_TRUE_FIXED}, .element = -1};
    p[out->ends++] = fmax(0, 1 - sum);   /* nothing flows */
}

/* Where the span begins and ends among the elements; false: not in the chain. */
static bool find_span(const rl_chain *c, int from, int to, bool dead, int *first, int *last)
{
    const rl_strand *strand = &c->strand;
    if (to < 0 && dead)
        to = rl_last_element(c->model, c->load);
    *first = from < 0 ? 0 : rl_strand_place(strand, from);
    *last = to >= 0 ? rl_strand_place(strand, to) : dead || strand->beyond ? -1 : strand->count;
    return *first >= 0 && *first < strand->count && *last > *first;
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
    int rows = wire->law->rows, before = wire->machine->before;
    const double *weight = c->wire[dead];
    double *sum = rl_many(c->shared->scratch, rows * before, double);
    for (int cell = 0; cell < wire->before->cells; cell++, counts += before)
        for (int row = 0; row < rows; row++, weight++)
            if (*weight > 0)
                add_weighted(&sum[row * before], counts, before, *weight);
    for (int i = 0; i < rows * before; i++)
        out[wire->machine->next[i]] += sum[i];
}

/* Probability of each state of the machine over a span. */
static const double *states_of(rl_chain *c, int first, int last, bool dead)
{
    int i = first > 0 ? first : 1;
    const double *counts = rl_knot_counts(c->trunk, c->knot[dead][i], c->knot[dead][last], !dead);
    double *out = rl_many(c->shared->scratch, c->knot[dead][first]->machine->states, double);
    if (first == 0) {
        read_wire(c, counts, dead, out);
        return out;
    }
    int states = c->knot[dead][i]->machine->states;
    for (int cell = 0; cell < c->knot[dead][i]->cells; cell++)
        add_weighted(out, &counts[cell * states], states, dead ? 1 : c->draws[first][cell]);
    return out;
}

bool rl_chain_ask(rl_chain *c, int from, int to, bool dead, rl_chain_ends *out)
{
    int first, last;
    if (!find_span(c, from, to, dead, &first, &last) || !can_tell(c, dead))
        return false;
    rl_chain_ends *kept = dead ? &c->dead[first * (c->strand.count + 1) + last] : out;   /* resistance and continuity ask the same */
    span s = {.first = first, .last = last, .dead = dead, .machine = c->knot[dead][first]->machine, .current = c->current[dead][0]};
    if (!dead || !kept->end)
        set_ends(c, states_of(c, first, last, dead), &s, kept);
    *out = *kept;
    return true;
}

/* ---- the worst of the elements ---- */

/* The table [cell][worst row so far] behind one more element; one that does not count changes no row. */
static double *worst_past(const rl_chain *c, const rl_knot *knot, const double *from, bool counts)
{
    int rows = c->frame->rows;
    double *out = rl_many(c->shared->scratch, knot->cells * rows, double);
    for (int cell = 0; cell < knot->before->cells; cell++, from += rows)
        for (int k = knot->start[cell]; k < knot->start[cell + 1]; k++)
            for (int row = 0; row < rows; row++) {
                int worst = !counts || row > knot->passage[k].row ? row : knot->passage[k].row;
                out[knot->passage[k].to * rows + worst] += from[row] * knot->passage[k].p;
            }
    return out;
}

/* The table at the parting's knot, with the rows of what the load draws by: [row of its own][cell][worst row]. */
static double *worst_at_parting(const rl_chain *c, const rl_knot *parting, int last)
{
    int i = c->parting + 1 > last ? c->parting + 1 : last, rows = c->frame->rows;
    const rl_knot *knot = c->knot[0][i];
    double *p = rl_many(c->shared->scratch, knot->cells * rows, double);
    for (int cell = 0; cell < knot->cells; cell++)
        p[cell * rows] = knot->prior[cell];
    while (--i > c->parting)
        p = worst_past(c, c->knot[0][i], p, true);
    return worst_past(c, parting, p, c->parting < last);
}

const double *rl_chain_worst(rl_chain *c, int to)
{
    int last = rl_strand_place(&c->strand, to), rows = c->frame->rows, each = own_rows(c);
    if (last < 1 || !can_tell(c, false))
        return NULL;
    if (!c->kept && !(c->kept = part(c, c->parting, RL_TRUNK_MOST, true)))
        return NULL;
    double *p = worst_at_parting(c, c->kept, last), *out = rl_many(c->shared->scratch, rows * each, double);
    for (int copy = 0, cells = c->kept->cells / each; copy < each; copy++) {
        double *own = &p[copy * cells * rows];
        for (int i = c->parting; i-- > 0;)
            own = worst_past(c, c->knot[0][i], own, i < last);
        for (int cell = 0; cell < c->knot[1][0]->cells; cell++)
            for (int row = 0; row < rows; row++)
                out[row * each + copy] += own[cell * rows + row];
    }
    return out;
}
