/* trunk.c: see trunk.h.
 *
 * Invariant: a table over cells and states is worked out at most once, from
 * that of the knot before.  States are numbered by the tuples they stand for, and
 * whatever a span that ends nearer can be in, the whole return can be in too.
 */
#include "trunk.h"

#include <assert.h>
#include <string.h>

/* Combinations while an element is read; cells of a knot, live or not; cells x states of a table. */
enum { MOST_ENTRIES = 1 << 20, MOST_CELLS = 1 << 14, MOST_COUNTS = 1 << 21, MOST_STATES = 4096 };

void rl_trunk_make(rl_trunk *trunk, rl_arena *arena, rl_arena *scratch, const rl_frame *frame)
{
    static const double certain[1] = {1};
    static const rl_tuple nothing[1];
    *trunk = (rl_trunk){.arena = arena, .scratch = scratch, .frame = frame};
    trunk->root = (rl_knot){.turn = {.element = -1}, .cells = 1, .prior = certain, .states = 1, .state = nothing};
    for (int flows = 0; flows < 2; flows++)
        trunk->root.counts[flows] = rl_many(arena, 1, const double *);
}

/* ---- combinations of values ---- */

void rl_spread_start(rl_spread *spread, rl_arena *arena, const rl_knot *knot)
{
    size_t values = (size_t)(knot->cells * knot->turn.lives);
    *spread = (rl_spread){.arena = arena, .names = knot->turn.lives, .entries = knot->cells};
    memcpy(spread->name, knot->turn.live, (size_t)spread->names * sizeof *spread->name);
    spread->cell = rl_raw(arena, knot->cells, int);
    spread->p = rl_raw(arena, knot->cells, double);
    spread->value = rl_raw(arena, values, uint16_t);
    if (values > 0)
        memcpy(spread->value, knot->digit, values * sizeof *spread->value);
    for (int c = 0; c < knot->cells; c++) {
        spread->cell[c] = c;
        spread->p[c] = 1;
    }
}

rl_strides rl_spread_strides(const rl_spread *spread, int count, const int *variable, const int *size, size_t last)
{
    rl_strides r = {.count = count};
    for (int i = count; i-- > 0; last *= (size_t)size[i]) {
        int place = 0;
        while (spread->name[place] != variable[i]) {
            place++;
            assert(place < spread->names);
        }
        r.place[i] = place;
        r.step[i] = last;
    }
    return r;
}

/* How many entries there will be, at the most. */
static size_t count_entries(const rl_spread *s, const rl_rung *rung, const rl_strides *r)
{
    size_t count = (size_t)s->entries * (size_t)rung->size;
    if (count <= MOST_ENTRIES)
        return count;
    count = 0;
    for (int e = 0; e < s->entries; e++) {
        const double *p = &rung->p[rl_strides_at(r, s, e)];
        for (int v = 0; v < rung->size; v++)
            count += p[v] > 0;
    }
    return count;
}

bool rl_spread_bring(rl_spread *s, const rl_rung *rung)
{
    rl_strides r = rl_spread_strides(s, rung->parents, rung->parent, rung->parent_size, (size_t)rung->size);
    size_t entries = count_entries(s, rung, &r), names = (size_t)s->names;
    if (entries > MOST_ENTRIES || s->names == 2 * RL_LADDER_MOST)
        return false;
    int *cell = rl_raw(s->arena, entries, int), *c = cell;
    double *p = rl_raw(s->arena, entries, double), *q = p;
    uint16_t *value = rl_raw(s->arena, entries * (names + 1), uint16_t), *d = value;
    for (int e = 0; e < s->entries; e++) {
        const double *law = &rung->p[rl_strides_at(&r, s, e)];
        for (int v = 0; v < rung->size; v++) {
            if (!(law[v] > 0))
                continue;
            *c++ = s->cell[e];
            *q++ = s->p[e] * law[v];
            for (size_t i = 0; i < names; i++)
                *d++ = s->value[(size_t)e * names + i];
            *d++ = (uint16_t)v;
        }
    }
    s->cell = cell;
    s->p = p;
    s->value = value;
    s->entries = (int)(c - cell);
    s->name[s->names++] = rung->variable;
    return true;
}

/* ---- passages ---- */

/* Sums of one cell of the knot before, and the numbers of the cells that can be. */
typedef struct landing {
    int rows;
    int *number;                   /* by cell: + 1 */
    int *cell, cells;              /* by number */
    double *sum;                   /* [cell][row] */
    int *touched, touches;         /* places in `sum` */
} landing;

/* Cells of the variables that stay, whether they can be or not; 0: too many. */
static size_t count_cells(const rl_turn *turn)
{
    size_t cells = 1;
    for (int i = 0; i < turn->lives && cells <= MOST_CELLS; i++)
        cells *= (size_t)turn->live_size[i];
    return cells <= MOST_CELLS ? cells : 0;
}

/* What has come together for a cell of the knot before. */
static void close_cell(landing *l, rl_passage *passage, int *passages)
{
    for (int i = 0; i < l->touches; i++) {
        int at = l->touched[i], cell = at / l->rows;
        if (l->number[cell] == 0) {
            l->cell[l->cells] = cell;
            l->number[cell] = ++l->cells;
        }
        passage[(*passages)++] = (rl_passage){at % l->rows, l->number[cell] - 1, l->sum[at]};
        l->sum[at] = 0;
    }
    l->touches = 0;
}

static void add_entry(landing *l, const double *law, double p, size_t cell)
{
    for (int row = 0; row < l->rows; row++) {
        if (!(law[row] > 0))
            continue;
        int at = (int)cell * l->rows + row;
        if (!(l->sum[at] > 0))
            l->touched[l->touches++] = at;
        l->sum[at] += p * law[row];
    }
}

static void set_digits(rl_knot *k, rl_arena *arena, const landing *l)
{
    const rl_turn *turn = &k->turn;
    uint16_t *digit = rl_raw(arena, l->cells * turn->lives, uint16_t);
    for (int c = 0; c < l->cells; c++)
        for (int i = turn->lives, rest = l->cell[c]; i-- > 0; rest /= turn->live_size[i])
            digit[c * turn->lives + i] = (uint16_t)(rest % turn->live_size[i]);
    k->cells = l->cells;
    k->digit = digit;
}

/* From what the knot before holds, the law and the variables that stay to passages. */
static void set_passages(rl_knot *k, rl_arena *arena, const rl_spread *s, landing *l)
{
    const rl_turn *turn = &k->turn;
    rl_strides law = rl_spread_strides(s, turn->law->count, turn->law->variable, turn->law->size, (size_t)l->rows);
    rl_strides to = rl_spread_strides(s, turn->lives, turn->live, turn->live_size, 1);
    int *start = rl_raw(arena, k->before->cells + 1, int), passages = 0, e = 0;
    rl_passage *passage = rl_raw(s->arena, s->entries * l->rows, rl_passage);
    for (int cell = 0; cell < k->before->cells; cell++) {
        start[cell] = passages;
        for (; e < s->entries && s->cell[e] == cell; e++)
            add_entry(l, &turn->law->p[rl_strides_at(&law, s, e)], s->p[e], rl_strides_at(&to, s, e));
        close_cell(l, passage, &passages);
    }
    start[k->before->cells] = passages;
    rl_passage *kept = rl_raw(arena, passages, rl_passage);
    if (passages > 0)
        memcpy(kept, passage, (size_t)passages * sizeof *kept);
    k->start = start;
    k->passage = kept;
    set_digits(k, arena, l);
}

/* False: too large. */
static bool make_passages(rl_trunk *t, rl_knot *k)
{
    size_t cells = count_cells(&k->turn);
    rl_spread s;
    rl_spread_start(&s, t->scratch, k->before);
    for (int i = 0; i < k->turn.rungs; i++)
        if (!rl_spread_bring(&s, k->turn.rung[i]))
            return false;
    if (cells == 0)
        return false;
    int rows = k->turn.law->rows, most = (int)cells * rows;
    landing l = {.rows = rows, .number = rl_many(t->scratch, cells, int), .cell = rl_raw(t->scratch, cells, int),
                 .sum = rl_many(t->scratch, most, double), .touched = rl_raw(t->scratch, most, int)};
    set_passages(k, t->arena, &s, &l);
    double *prior = rl_many(t->arena, k->cells, double);
    for (int cell = 0; cell < k->before->cells; cell++)
        for (int i = k->start[cell]; i < k->start[cell + 1]; i++)
            prior[k->passage[i].to] += k->before->prior[cell] * k->passage[i].p;
    k->prior = prior;
    return true;
}

/* ---- states ---- */

static int code_for(rl_candidate *code, int *codes, const rl_candidate *fresh)
{
    for (int i = 1; i <= *codes; i++)
        if (rl_candidate_same(&code[i], fresh))
            return i;
    code[++*codes] = *fresh;
    return *codes;
}

/* What the element can bring in; false: too many codes. */
static bool set_codes(rl_trunk *t, rl_knot *k)
{
    const rl_frame *frame = t->frame;
    const rl_knot *before = k->before;
    int room = before->codes + frame->bins + 2, *code_of = rl_many(t->arena, frame->rows, int);
    rl_candidate *code = rl_raw(t->arena, room, rl_candidate);
    k->codes = before->codes;
    if (k->codes > 0)
        memcpy(&code[1], &before->code[1], (size_t)k->codes * sizeof *code);
    for (int bin = -1; bin < frame->bins && !k->turn.gate; bin++) {
        if (bin >= 0 && frame->model->node[k->turn.element].bin_mass[frame->bin[bin]] <= 0)
            continue;   /* cannot be */
        rl_candidate fresh = rl_candidate_make(frame, k->turn.element, bin, 1);
        code_of[bin + 2] = code_for(code, &k->codes, &fresh);
    }
    code_of[frame->rows - 1] = RL_CODE_OPEN;
    k->code = code;
    k->code_of = code_of;
    return k->codes < RL_CODE_OPEN;
}

/* Of equals the one nearer to the load counts, which is read later. */
static rl_tuple with_code(const rl_knot *k, rl_tuple t, int code)
{
    for (int w = 0; code > 0 && k->turn.ways >> w; w++) {
        int now = t.code[w];
        if ((k->turn.ways >> w & 1u) && now != RL_CODE_OPEN &&
            (code == RL_CODE_OPEN || now == 0 || k->code[code].value >= k->code[now].value))
            t.code[w] = (uint8_t)code;
    }
    return t;
}

/* States found so far: a hash table of their numbers, + 1. */
typedef struct roster { int ways, states, *slot, slots; rl_tuple *state; } roster;

static int number_of(roster *r, const rl_tuple *t)
{
    uint32_t h = 2166136261u;
    for (int w = 0; w < r->ways; w++)
        h = (h ^ t->code[w]) * 16777619u;
    for (h ^= h >> 15;; h++) {
        int *slot = &r->slot[h & (uint32_t)(r->slots - 1)];
        if (*slot == 0) {
            r->state[r->states] = *t;
            *slot = ++r->states;
        }
        if (memcmp(&r->state[*slot - 1], t, sizeof *t) == 0)
            return *slot - 1;
    }
}

/* Where each state leads; false: too many. */
static bool set_states(rl_trunk *t, rl_knot *k)
{
    int rows = t->frame->rows, before = k->before->states, slots = 16, ways = 1;
    if (!set_codes(t, k))
        return false;
    while (slots < 2 * before * rows)
        slots *= 2;
    while (ways < RL_MAX_WAYS && k->turn.all >> ways)
        ways++;
    int *next = rl_raw(t->arena, before * rows, int);
    roster r = {.ways = ways, .slot = rl_many(t->scratch, slots, int), .slots = slots, .state = rl_raw(t->scratch, before * rows, rl_tuple)};
    for (int row = 0; row < rows; row++)
        for (int s = 0; s < before; s++) {
            rl_tuple after = with_code(k, k->before->state[s], k->code_of[row]);
            next[row * before + s] = number_of(&r, &after);
        }
    rl_tuple *state = rl_raw(t->arena, r.states, rl_tuple);
    memcpy(state, r.state, (size_t)r.states * sizeof *state);
    k->next = next;
    k->states = r.states;
    k->state = state;
    return r.states <= MOST_STATES && (size_t)r.states * (size_t)k->cells <= MOST_COUNTS;
}

/* ---- knots ---- */

static bool same_turn(const rl_turn *a, const rl_turn *b)
{
    return a->element == b->element && a->gate == b->gate && a->ways == b->ways && a->all == b->all &&
           a->law == b->law && a->rungs == b->rungs && a->lives == b->lives &&
           memcmp(a->rung, b->rung, (size_t)a->rungs * sizeof(const rl_rung *)) == 0 &&
           memcmp(a->live, b->live, (size_t)a->lives * sizeof(int)) == 0;
}

rl_knot *rl_knot_behind(rl_trunk *t, rl_knot *before, const rl_turn *turn)
{
    for (rl_knot *k = before->child; k; k = k->sibling)
        if (same_turn(&k->turn, turn))
            return k->states > 0 ? k : NULL;
    rl_knot *k = rl_new(t->arena, rl_knot);
    *k = (rl_knot){.turn = *turn, .before = before, .sibling = before->child, .depth = before->depth + 1};
    before->child = k;
    rl_mark mark = rl_arena_mark(t->scratch);
    bool made = make_passages(t, k) && set_states(t, k);
    rl_arena_rewind(t->scratch, mark);
    if (!made) {
        k->states = 0;             /* and so it will be found */
        return NULL;
    }
    for (int flows = 0; flows < 2; flows++)
        k->counts[flows] = rl_many(t->arena, k->depth + 1, const double *);
    return k;
}

/* ---- tables ---- */

/* The table behind one more element. */
static void read_on(rl_trunk *t, const rl_knot *k, const double *from, double *out)
{
    int before = k->before->states, *met = rl_raw(t->scratch, before, int);
    for (int cell = 0; cell < k->before->cells; cell++, from += before) {
        int count = 0;
        for (int s = 0; s < before; s++)
            if (from[s] > 0)
                met[count++] = s;
        for (int i = k->start[cell]; i < k->start[cell + 1] && count > 0; i++) {
            const rl_passage *way = &k->passage[i];
            const int *next = &k->next[way->row * before];
            double *to = &out[(size_t)way->to * (size_t)k->states];
            for (int m = 0; m < count; m++)
                to[next[met[m]]] += from[met[m]] * way->p;
        }
    }
}

/* At a connector only its own state matters, as design §3 has it: it has no return. */
static double flows_past(const rl_knot *k, const double *whole, int cell)
{
    double sum = 0;
    for (int s = 0; s < k->states; s++)
        if (!rl_tuple_open(&k->state[s], k->turn.all))
            sum += whole[cell * k->states + s];
    return sum;
}

static void start_flowing(rl_trunk *t, rl_knot *k, double *out)
{
    const rl_model *model = t->frame->model;
    bool alone = !k->turn.gate && model->node[k->turn.element].info.sort == RL_CONNECTOR;
    if (alone) {
        for (int cell = 0; cell < k->before->cells; cell++)
            for (int i = k->start[cell]; i < k->start[cell + 1]; i++)
                if (k->passage[i].row != k->turn.law->rows - 1)
                    out[k->passage[i].to * k->states] += k->before->prior[cell] * k->passage[i].p;
        return;
    }
    const double *whole = rl_knot_counts(t, k, &t->root, true);
    for (int cell = 0; cell < k->cells; cell++)
        out[cell * k->states] = flows_past(k, whole, cell);
}

const double *rl_knot_counts(rl_trunk *t, rl_knot *k, const rl_knot *end, bool flows)
{
    const double **kept = &k->counts[flows][end->depth];
    if (*kept)
        return *kept;
    double *out = rl_many(t->arena, k->cells * k->states, double);
    if (k != end) {
        assert(k->before);
        const double *from = rl_knot_counts(t, k->before, end, flows);
        rl_mark mark = rl_arena_mark(t->scratch);
        read_on(t, k, from, out);
        rl_arena_rewind(t->scratch, mark);
    } else if (flows && k->before) {
        start_flowing(t, k, out);
    } else {
        for (int cell = 0; cell < k->cells; cell++)
            out[cell * k->states] = k->prior[cell];
    }
    *kept = out;
    return out;
}
