/* machine.c: see machine.h.
 *
 * Invariant: states are numbered by the tuples they stand for; one that could not be made
 * is kept with no state.
 */
#include "machine.h"

#include <string.h>

enum { MOST_STATES = 4096 };

void rl_machine_start(rl_machine *machine)
{
    static const rl_tuple nothing[1];
    *machine = (rl_machine){.last = {.element = -1}, .states = 1, .state = nothing};
}

/* ---- codes ---- */

static int code_for(rl_candidate *code, int *codes, const rl_candidate *fresh)
{
    for (int i = 1; i <= *codes; i++)
        if (rl_candidate_same(&code[i], fresh))
            return i;
    code[++*codes] = *fresh;
    return *codes;
}

/* What the element can bring in; false: too many codes. */
static bool set_codes(rl_machine *m, const rl_machine *before, rl_arena *arena, const rl_frame *frame)
{
    int *code_of = rl_many(arena, frame->rows, int);
    rl_candidate *code = rl_raw(arena, before->codes + frame->bins + 2, rl_candidate);
    m->codes = before->codes;
    if (m->codes > 0)
        memcpy(&code[1], &before->code[1], (size_t)m->codes * sizeof *code);
    for (int bin = -1; bin < frame->bins && !m->last.gate; bin++) {
        if (bin >= 0 && frame->model->node[m->last.element].bin_mass[frame->bin[bin]] <= 0)
            continue;   /* cannot be */
        rl_candidate fresh = rl_candidate_make(frame, m->last.element, bin, 1);
        code_of[bin + 2] = code_for(code, &m->codes, &fresh);
    }
    code_of[frame->rows - 1] = RL_CODE_OPEN;
    m->code = code;
    m->code_of = code_of;
    return m->codes < RL_CODE_OPEN;
}

/* ---- states ---- */

/* Of equals the one nearer to the load counts, which is read later. */
static rl_tuple with_code(const rl_machine *m, rl_tuple t, int code)
{
    for (int w = 0; code > 0 && m->last.ways >> w; w++) {
        int now = t.code[w];
        if ((m->last.ways >> w & 1u) && now != RL_CODE_OPEN &&
            (code == RL_CODE_OPEN || now == 0 || m->code[code].value >= m->code[now].value))
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
static bool set_states(rl_machine *m, const rl_machine *before, rl_arena *arena, rl_arena *scratch, int rows)
{
    int most = before->states * rows, slots = 16, ways = 1;
    while (slots < 2 * most)
        slots *= 2;
    while (ways < RL_MAX_WAYS && m->last.all >> ways)
        ways++;
    int *next = rl_raw(arena, most, int);
    roster r = {.ways = ways, .slot = rl_many(scratch, slots, int), .slots = slots, .state = rl_raw(scratch, most, rl_tuple)};
    for (int row = 0; row < rows; row++)
        for (int s = 0; s < before->states; s++) {
            rl_tuple after = with_code(m, before->state[s], m->code_of[row]);
            next[row * before->states + s] = number_of(&r, &after);
        }
    rl_tuple *state = rl_raw(arena, r.states, rl_tuple);
    memcpy(state, r.state, (size_t)r.states * sizeof *state);
    m->next = next;
    m->before = before->states;
    m->state = state;
    m->states = r.states <= MOST_STATES ? r.states : 0;
    return m->states > 0;
}

/* ---- the tree ---- */

/* Whether two elements bring in the same. */
static bool are_alike(const rl_model *model, int a, int b)
{
    const rl_node *x = &model->node[a], *y = &model->node[b];
    return a == b || (x->bin_mass == y->bin_mass && x->bin_median == y->bin_median &&   /* those of one class */
                      memcmp(&x->corroded, &y->corroded, sizeof x->corroded) == 0);
}

static bool reads_alike(const rl_model *model, const rl_reading *a, const rl_reading *b)
{
    return a->gate == b->gate && a->ways == b->ways && a->all == b->all && (a->gate || are_alike(model, a->element, b->element));
}

rl_machine *rl_machine_behind(rl_machine *before, rl_arena *arena, rl_arena *scratch, const rl_frame *frame,
                              const rl_reading *reading)
{
    for (rl_machine *m = before->child; m; m = m->sibling)
        if (reads_alike(frame->model, &m->last, reading))
            return m->states > 0 ? m : NULL;
    rl_machine *m = rl_new(arena, rl_machine);
    *m = (rl_machine){.last = *reading, .sibling = before->child};
    before->child = m;
    rl_mark mark = rl_arena_mark(scratch);
    bool made = set_codes(m, before, arena, frame) && set_states(m, before, arena, scratch, frame->rows);
    rl_arena_rewind(scratch, mark);
    return made ? m : NULL;
}
