/* chain.c: see chain.h.
 *
 * Invariant: the elements stand in an order that every way from the load keeps;
 * a span's elements are a run of them.  A state of the march is what counts so
 * far in each way of the whole return: 0 nothing, 1 .. codes a candidate, codes + 1
 * open.  Ways that part only beyond a span are in the same state.
 */
#include "chain.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { MOST_CODES = 200, MOST_STATES = 4096, MOST_ELEMENTS = 64 };

typedef struct tuple { uint8_t code[RL_MAX_WAYS]; } tuple;

/* States that a march can be in, each once, and where each leads. */
typedef struct machine {
    int states, room;
    tuple *state;
    int **after;              /* by state: by set of ways and code; -1: not yet */
    int *slot, slots;         /* a hash table of the states, + 1 */
} machine;

/* How likely each state is at the end of a span. */
typedef struct outcome { int states; const int *state; const double *p; } outcome;

/* How one sort of reading marches. */
typedef struct chain_course {
    rl_ladder ladder;
    uint64_t *keep;           /* by element: places still needed behind it */
    bool *walked;             /* by from */
    outcome *at;              /* by from * (count + 1) + where it ends */
} chain_course;

struct rl_chain {
    const rl_bearings *shared;
    const rl_model *model;
    const rl_frame *frame;
    int load, count;
    int element[MOST_ELEMENTS + 1];           /* one more where a span may end before it */
    bool beyond;                              /* there is one more */
    int sets, *set_of;                        /* numbers of sets of ways, and each element's */
    uint32_t set[MOST_ELEMENTS];
    rl_stretch whole;                         /* from the wire to the end of the chain */
    int *start[RL_MAX_WAYS];                  /* by way, by element: how many of the way's stand before it */
    const rl_given *of_element[MOST_ELEMENTS];
    const rl_given *of_return[MOST_ELEMENTS + 1];   /* R(to); NULL: no span ends there */
    int codes;
    rl_candidate *code;
    int *code_of;                             /* [element][row] */
    double *current[2];                       /* the load's own, as often as a way is long; of a dead circuit */
    machine machine;
    chain_course course[2];                   /* by dead */
    rl_ladder all;                            /* with what the load itself hangs on */
    const rl_given *own[2];                   /* feed path, load */
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
    rl_arena *arena = c->shared->arena;
    uint32_t in[MOST_ELEMENTS] = {0};
    c->set_of = rl_many(arena, c->count, int);
    for (int w = 0; w < c->whole.ways; w++) {
        const rl_way *way = &c->whole.way[w];
        c->start[w] = rl_many(arena, c->count + 1, int);
        for (int i = 0, n = 0; i <= c->count; i++) {
            c->start[w][i] = n;
            if (i < c->count && n < way->count && way->element[n] == c->element[i]) {
                in[i] |= 1u << w;
                n++;
            }
        }
    }
    for (int i = 0; i < c->count; i++) {
        int s = 0;
        while (s < c->sets && c->set[s] != in[i])
            s++;
        if (s == c->sets)
            c->set[c->sets++] = in[i];
        c->set_of[i] = s;
    }
}

/* ---- laws ---- */

/* Whether a span may end before the element at this place. */
static bool may_end(const rl_chain *c, int i)
{
    return i > 0 && rl_on_every(c->model, c->load, c->element[i]);
}

/* Laws of all that is read; false: one hangs on too much, or two on one element. */
static bool set_laws(rl_chain *c)
{
    const rl_bearings *s = c->shared;
    rl_exprs *exprs = s->observer->exprs;
    rl_bench *bench = s->givens->bench;
    bool *marked = rl_many(s->scratch, c->model->nodes, bool), *copy = rl_many(s->scratch, c->model->nodes, bool);
    int expr[2] = {rl_expr_load_feed(exprs, s->world, c->load), rl_expr_element(exprs, s->world, c->load)};
    for (int i = 0; i < 2; i++)
        if (!rl_probe_apart(bench, s->scratch, expr[i], marked) || !(c->own[i] = rl_given_of(s->givens, expr[i])))
            return false;
    for (int i = 0; i < c->count + c->beyond; i++) {
        int e = c->element[i], self = rl_expr_element(exprs, s->world, e);
        if (may_end(c, i)) {   /* a connector has no parent: its own state */
            bool connector = c->model->node[e].info.sort == RL_CONNECTOR;
            int back = connector ? self : rl_expr_return(exprs, s->world, e);
            memcpy(copy, marked, (size_t)c->model->nodes * sizeof *copy);
            if (!rl_probe_apart(bench, s->scratch, back, copy) || !(c->of_return[i] = rl_given_of(s->givens, back)))
                return false;
        }
        if (i < c->count && (!rl_probe_apart(bench, s->scratch, self, marked) ||
                             !(c->of_element[i] = rl_given_of(s->givens, self))))
            return false;
    }
    return true;
}

static int code_for(rl_chain *c, const rl_candidate *fresh)
{
    for (int i = 1; i <= c->codes; i++)
        if (rl_candidate_same(&c->code[i], fresh))
            return i;
    c->code[++c->codes] = *fresh;
    return c->codes;
}

/* Candidates for a current of 1 A: what is greater is so for any. */
static bool set_codes(rl_chain *c)
{
    const rl_frame *frame = c->frame;
    c->code = rl_many(c->shared->arena, c->count * (frame->bins + 1) + 1, rl_candidate);
    c->code_of = rl_many(c->shared->arena, c->count * frame->rows, int);
    for (int i = 0; i < c->count; i++) {
        const rl_node *node = &c->model->node[c->element[i]];
        for (int bin = -1; bin < frame->bins; bin++) {
            if (bin >= 0 && node->bin_mass[frame->bin[bin]] <= 0)
                continue;   /* cannot be */
            rl_candidate fresh = rl_candidate_make(frame, c->element[i], bin, 1);
            c->code_of[i * frame->rows + bin + 2] = code_for(c, &fresh);
        }
    }
    for (int i = 0; i < c->count; i++)
        c->code_of[(i + 1) * frame->rows - 1] = c->codes + 1;
    return c->codes + 2 <= MOST_CODES;
}

/* ---- the machine ---- */

static int slot_of(const machine *m, const tuple *t)
{
    uint32_t h = 2166136261u;
    for (int w = 0; w < RL_MAX_WAYS; w++)
        h = (h ^ t->code[w]) * 16777619u;
    for (h ^= h >> 15;; h++) {
        h &= (uint32_t)(m->slots - 1);
        if (m->slot[h] == 0 || memcmp(&m->state[m->slot[h] - 1], t, sizeof *t) == 0)
            return (int)h;
    }
}

/* The number of a state; there is always room for one more. */
static int state_for(rl_chain *c, const tuple *t)
{
    machine *m = &c->machine;
    int slot = slot_of(m, t);
    if (m->slot[slot] > 0)
        return m->slot[slot] - 1;
    assert(m->states < m->room);
    m->state[m->states] = *t;
    m->slot[slot] = ++m->states;
    return m->states - 1;
}

/* Room for `more` further states; false: there would be too many. */
static bool reserve(rl_chain *c, int more)
{
    machine *m = &c->machine;
    if (m->states + more <= m->room)
        return true;
    int room = m->room ? m->room : 64;
    while (room < m->states + more)
        room *= 2;
    if (room > 2 * MOST_STATES)
        return false;
    machine wide = {.states = m->states, .room = room, .slots = 4 * room};
    wide.state = rl_many(c->shared->arena, room, tuple);
    wide.after = rl_many(c->shared->arena, room, int *);
    wide.slot = rl_many(c->shared->arena, wide.slots, int);
    for (int s = 0; s < m->states; s++) {
        wide.state[s] = m->state[s];
        wide.after[s] = m->after[s];
        wide.slot[slot_of(&wide, &m->state[s])] = s + 1;
    }
    *m = wide;
    return true;
}

static tuple with_code(const rl_chain *c, tuple t, uint32_t set, int code)
{
    int open = c->codes + 1;
    for (int w = 0; w < c->whole.ways; w++) {
        int now = t.code[w];
        if ((set >> w & 1u) && now != open && (code == open || now == 0 || c->code[code].value > c->code[now].value))
            t.code[w] = (uint8_t)code;
    }
    return t;
}

/* The state after an element of this set of ways brings in a code. */
static int state_after(rl_chain *c, int state, int set, int code)
{
    machine *m = &c->machine;
    int each = c->codes + 2;
    if (code == 0)
        return state;
    if (!m->after[state]) {
        m->after[state] = rl_many(c->shared->arena, c->sets * each, int);
        memset(m->after[state], -1, (size_t)(c->sets * each) * sizeof(int));
    }
    int *after = &m->after[state][set * each + code];
    if (*after < 0) {
        tuple t = with_code(c, m->state[state], c->set[set], code);
        *after = state_for(c, &t);
    }
    return *after;
}

/* ---- the march ---- */

/* States of a march at hand: their numbers in the machine. */
typedef struct roster { int count; int *state; } roster;

/* Reads element i. */
static bool read_element(rl_chain *c, rl_march *m, roster *now, int i, uint64_t keep)
{
    int rows = c->of_element[i]->rows;
    rl_arena *scratch = c->shared->scratch;
    if (!reserve(c, now->count * rows))
        return false;
    int *next = rl_many(scratch, now->count * rows, int), *local = rl_many(scratch, c->machine.room, int);
    roster then = {0, rl_many(scratch, now->count * rows, int)};
    for (int s = 0; s < now->count; s++)
        for (int row = 0; row < rows; row++) {
            int after = state_after(c, now->state[s], c->set_of[i], c->code_of[i * c->frame->rows + row]);
            if (local[after] == 0) {
                then.state[then.count++] = after;
                local[after] = then.count;
            }
            next[s * rows + row] = local[after] - 1;
        }
    *now = then;
    return rl_march_read(m, c->of_element[i], next, then.count, keep);
}

/* What has come about where a span ends before element i. */
static void note(rl_chain *c, const rl_march *m, const roster *now, const rl_given *flows, outcome *out)
{
    rl_arena *arena = c->shared->arena;
    double *p = rl_many(arena, now->count, double);
    int *state = rl_many(arena, now->count, int);
    memcpy(state, now->state, (size_t)now->count * sizeof *state);
    rl_march_sum(m, flows, p);
    *out = (outcome){now->count, state, p};
}

/* What a course reads at element i comes in, whether it is asked about or not. */
static bool bring_at(const rl_chain *c, rl_march *m, int i, bool dead)
{
    const rl_given *flows = dead ? NULL : c->of_return[i];
    return (!flows || rl_march_bring(m, flows)) && (i == c->count || rl_march_bring(m, c->of_element[i]));
}

/* The load draws at `from`, or (dead) what lies before does not matter. */
static bool come_to(const rl_chain *c, rl_march *m, int from, bool dead)
{
    const chain_course *course = &c->course[dead];
    rl_march_start(m, c->shared->scratch, &course->ladder);
    for (int i = 0; i < from; i++)
        if (!bring_at(c, m, i, dead) || !rl_march_pass(m, dead ? NULL : c->of_element[i], course->keep[i]))
            return false;
    return true;
}

static bool march(rl_chain *c, int from, bool dead)
{
    chain_course *course = &c->course[dead];
    outcome *at = &course->at[from * (c->count + 1)];
    tuple nothing = {{0}};
    rl_march m;
    if (!reserve(c, 1) || !come_to(c, &m, from, dead))
        return false;
    int first = state_for(c, &nothing);
    roster now = {1, &first};
    for (int i = from; i <= c->count; i++) {
        if (!bring_at(c, &m, i, dead))
            return false;
        if (i > from)
            note(c, &m, &now, dead ? NULL : c->of_return[i], &at[i]);
        if (i < c->count && !read_element(c, &m, &now, i, course->keep[i]))
            return false;
    }
    return true;
}

/* ---- making ---- */

/* The net's variables that stand for parts of a path. */
static void list_parts(const rl_bench *bench, int expr, rl_wanted *out)
{
    rl_expr x = bench->exprs.at[expr];
    int variable = rl_network_variable(&bench->network, expr);
    if (variable >= 0)
        rl_wanted_put(out, variable, 0);
    if (x.sort != RL_X_MAX && x.sort != RL_X_MIN)
        return;
    list_parts(bench, x.a, out);
    list_parts(bench, x.b, out);
}

/* The ladder in the order in which a march comes to need the variables; *keep: before what
 * only the load itself and its feed hang on. */
static bool make_ladder(rl_chain *c, rl_ladder *ladder, int *keep)
{
    const rl_bearings *s = c->shared;
    rl_wanted wanted = {.count = 0}, further = {.count = 0};
    const rl_given *together[2 * MOST_ELEMENTS + 3];
    int togethers = 0;
    for (int i = 0; i < c->count + c->beyond; i++) {
        if (i < c->count)
            rl_wanted_add(&wanted, together[togethers++] = c->of_element[i], i);
        if (c->of_return[i])
            rl_wanted_add(&wanted, together[togethers++] = c->of_return[i], i);
    }
    int marched = wanted.count;
    for (int i = 0; i < 2; i++)
        rl_wanted_add(&wanted, together[togethers++] = c->own[i], c->count + 3);
    list_parts(s->givens->bench, rl_expr_return(s->observer->exprs, s->world, c->element[0]), &further);
    if (!rl_ladder_make(ladder, s->ladders, &wanted, &further, together, togethers))
        return false;
    *keep = ladder->count;
    for (int i = marched; i < wanted.count; i++) {
        int place = rl_ladder_place(ladder, wanted.variable[i]);
        *keep = place < *keep ? place : *keep;
    }
    return true;
}

static void set_keep(rl_chain *c, bool dead)
{
    const rl_given *law[2 * MOST_ELEMENTS + 2];
    int at[2 * MOST_ELEMENTS + 2];
    rl_route route = {0, law, at};
    for (int i = 0; i < c->count + c->beyond; i++)
        for (int k = 0; k < 2; k++) {
            at[route.laws] = i;
            law[route.laws++] = k == 0 ? (dead ? NULL : c->of_return[i]) : i < c->count ? c->of_element[i] : NULL;
        }
    c->course[dead].keep = rl_many(c->shared->arena, c->count, uint64_t);
    rl_route_keep(&route, &c->course[dead].ladder, c->course[dead].keep, c->count);
}

static bool set_courses(rl_chain *c)
{
    rl_arena *arena = c->shared->arena;
    int keep;
    if (!make_ladder(c, &c->all, &keep))
        return false;
    rl_ladder_condition(&c->course[0].ladder, arena, c->shared->scratch, &c->all, keep, c->own, 2);
    c->course[1].ladder = c->all;
    c->course[1].ladder.count = keep;   /* what only the load hangs on sums to 1 */
    for (int dead = 0; dead < 2; dead++) {
        set_keep(c, dead);
        c->course[dead].walked = rl_many(arena, c->count, bool);
        c->course[dead].at = rl_many(arena, c->count * (c->count + 1), outcome);
    }
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
    *c = (rl_chain){.shared = bearings, .model = bearings->observer->model, .frame = bearings->observer->frame, .load = load};
    if (!find_whole(c) || !set_laws(c) || !set_codes(c) || !set_courses(c))
        return NULL;
    set_ways(c);
    set_currents(c);
    return c;
}

const rl_ladder *rl_chain_ladder(const rl_chain *chain)
{
    return &chain->all;
}

/* ---- asking ---- */

/* The part of a way that lies in the span. */
static rl_way part_of_way(const rl_chain *c, int w, int first, int end)
{
    const rl_way *way = &c->whole.way[w];
    int from = c->start[w][first];
    return (rl_way){c->start[w][end] - from, &way->element[from], &way->conductor[from]};
}

/* The first element of the way that brings the code in. */
static int counting_element(const rl_chain *c, const rl_way *way, int code)
{
    for (int i = 0; i < way->count; i++) {
        const int *of = &c->code_of[place_of(c, way->element[i]) * c->frame->rows];
        for (int row = 1; row < c->frame->rows - 1; row++)
            if (of[row] == code)
                return way->element[i];
    }
    return -1;
}

/* The way of least nominal value, or -1: all are open. */
static int counting_way(const rl_chain *c, const tuple *state, const double *base, double current)
{
    int best = -1;
    double least = INFINITY;
    for (int w = 0; w < c->whole.ways; w++) {
        int code = state->code[w];
        double nominal = base[w] + (code > 0 ? current * c->code[code].value : 0);
        if (code <= c->codes && (best < 0 || nominal < least)) {
            best = w;
            least = nominal;
        }
    }
    return best;
}

static rl_end end_for(const rl_chain *c, const rl_way *way, int w, int code, bool dead)
{
    rl_candidate counts = c->code[code];
    if (code > 0) {
        counts.scale = c->current[dead][0];
        counts.element = counting_element(c, &way[w], code);
    }
    rl_end end = rl_way_end(c->shared->scratch, c->model, &way[w], c->current[dead], code > 0 ? &counts : NULL);
    end.way = w;
    return end;
}

/* Ends from states: those in which the same code of the same way counts are one. */
static void set_ends(const rl_chain *c, const outcome *o, int first, int last, bool dead, rl_chain_ends *out)
{
    rl_arena *scratch = c->shared->scratch;
    int ways = c->whole.ways, each = c->codes + 1, open = ways * each;
    int *number = rl_many(scratch, open + 1, int);
    double base[RL_MAX_WAYS], sum = 0;
    rl_way *way = rl_many(scratch, ways, rl_way);
    for (int w = 0; w < ways; w++) {
        way[w] = part_of_way(c, w, first, last);
        base[w] = rl_way_base(c->model, &way[w], c->current[dead]);
    }
    double *p = rl_many(scratch, o->states + 1, double);
    *out = (rl_chain_ends){0, rl_many(scratch, o->states + 1, rl_end), p, way};
    for (int s = 0; s < o->states; s++) {
        if (!(o->p[s] > 0))
            continue;
        const tuple *state = &c->machine.state[o->state[s]];
        int w = counting_way(c, state, base, c->current[dead][0]), kind = w < 0 ? open : w * each + state->code[w];
        if (number[kind] == 0) {
            number[kind] = ++out->ends;
            out->end[out->ends - 1] = w < 0 ? (rl_end){.sort = RL_END_OPEN, .element = -1}
                                            : end_for(c, way, w, state->code[w], dead);
        }
        p[number[kind] - 1] += o->p[s];
        sum += o->p[s];
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

bool rl_chain_ask(rl_chain *c, int from, int to, bool dead, rl_chain_ends *out)
{
    int first, last;
    if (!find_span(c, from, to, dead, &first, &last))
        return false;
    chain_course *course = &c->course[dead];
    if (!course->walked[first]) {
        rl_mark mark = rl_arena_mark(c->shared->scratch);
        course->walked[first] = true;
        if (!march(c, first, dead))
            memset(&course->at[first * (c->count + 1)], 0, (size_t)(c->count + 1) * sizeof *course->at);
        rl_arena_rewind(c->shared->scratch, mark);
    }
    const outcome *o = &course->at[first * (c->count + 1) + last];
    if (!o->state)
        return false;
    set_ends(c, o, first, last, dead, out);
    return true;
}
