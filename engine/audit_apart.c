/* audit_apart.c: the tests that tell the faults of a group apart, and what is missing for those
 * that none does.
 *
 * Each time the test that tells most further pairs apart is taken, of equals the quickest: not
 * always the fewest tests, but none of them in vain.
 *
 * Invariant: classes are numbered from 0 on; members of one class have not been told apart by
 * the tests taken so far.
 */
#include "audit.h"

#include <assert.h>
#include <string.h>

/* Of classes with more members each is held against the first alone: pairs would be too many. */
enum { MOST_PAIRED = 32 };

typedef struct splitter {
    const rl_split *s;
    int *class, classes;       /* by member */
    int *order;                /* members, class by class */
    int *count;                /* by part of a test, all 0 between calls */
} splitter;

static void set_order(splitter *p)
{
    int at = 0;
    for (int c = 0; c < p->classes; c++)
        for (int i = 0; i < p->s->members; i++)
            if (p->class[i] == c)
                p->order[at++] = i;
    assert(at == p->s->members);
}

/* How many pairs that are together a test tells apart. */
static long gain_of(splitter *p, int test)
{
    const int *part = &p->s->part[(size_t)test * (size_t)p->s->members];
    long gain = 0;
    for (int from = 0, to; from < p->s->members; from = to) {
        for (to = from; to < p->s->members && p->class[p->order[to]] == p->class[p->order[from]]; to++)
            gain += to - from - p->count[part[p->order[to]]]++;
        for (int i = from; i < to; i++)
            p->count[part[p->order[i]]] = 0;
    }
    return gain;
}

/* The test that tells most; -1: none tells anything more. */
static int best_of(splitter *p)
{
    int best = -1;
    long most = 0;
    for (int t = 0; t < p->s->tests; t++) {
        const rl_test *test = p->s->test[t], *so_far = best >= 0 ? p->s->test[best] : NULL;
        long gain = gain_of(p, t);
        bool quicker = so_far && (test->minutes < so_far->minutes || (!(test->minutes > so_far->minutes) &&
                                                                      strcmp(test->text, so_far->text) < 0));
        if (gain > most || (gain == most && quicker)) {
            best = t;
            most = gain;
        }
    }
    return best;
}

/* Members are numbered anew, in their order: of one class are those that were and come out alike. */
static void refine(splitter *p, rl_arena *scratch, int test)
{
    const int *part = &p->s->part[(size_t)test * (size_t)p->s->members];
    int *fresh = rl_many(scratch, p->s->members, int);
    p->classes = 0;
    for (int i = 0; i < p->s->members; i++) {
        int twin = 0;
        while (twin < i && (p->class[twin] != p->class[i] || part[twin] != part[i]))
            twin++;
        fresh[i] = twin < i ? fresh[twin] : p->classes++;
    }
    memcpy(p->class, fresh, (size_t)p->s->members * sizeof *fresh);
    set_order(p);
}

static void add_teller(const splitter *p, rl_arena *arena, int test, rl_growing *list)
{
    const rl_test *taken = p->s->test[test];
    size_t *class = rl_many(arena, p->s->members, size_t);
    for (int i = 0; i < p->s->members; i++)
        class[i] = (size_t)p->class[i];
    rl_teller *t = rl_grow(arena, list, sizeof *t);
    *t = (rl_teller){rl_arena_copy(arena, taken->text, strlen(taken->text)), taken->minutes, class};
}

/* ---- who stays together ---- */

/* What would tell two members apart; the second may be a sound vehicle. */
static void add_pair(const rl_model *m, rl_arena *arena, const rl_alike *group, size_t first, size_t second,
                     rl_growing *list)
{
    bool sound = second == group->count;
    rl_fault two[2] = {group->faults[first], group->faults[sound ? first : second]};
    rl_alike pair = {.faults = two, .count = sound ? 1 : 2, .as_sound = sound, .element = -1, .other = -1};
    rl_audit_remedy(m, &pair);
    rl_untold *p = rl_grow(arena, list, sizeof *p);
    *p = (rl_untold){first, second, pair.remedy, pair.element, pair.other, pair.uninspected};
}

/* Those of a class with each other, or, if a sound vehicle is among them, each with that. */
static void pair_up(const splitter *p, const rl_model *m, rl_arena *arena, const rl_alike *group, rl_growing *list)
{
    for (int from = 0, to; from < p->s->members; from = to) {
        for (to = from + 1; to < p->s->members && p->class[p->order[to]] == p->class[p->order[from]]; to++)
            ;
        size_t last = (size_t)p->order[to - 1];
        bool with_sound = last == group->count;
        for (int i = from; i < to; i++)
            for (int k = with_sound ? to - 1 : i + 1; k < to && k > i; k++)
                if (with_sound || to - from <= MOST_PAIRED || i == from)
                    add_pair(m, arena, group, (size_t)p->order[i], (size_t)p->order[k], list);
    }
}

void rl_audit_apart(const rl_model *m, rl_arena *arena, rl_arena *scratch, const rl_split *split, rl_alike *group)
{
    rl_growing tellers = {NULL, 0, 0}, pairs = {NULL, 0, 0};
    splitter p = {.s = split, .classes = 1};
    assert(split->members == (int)group->count + group->as_sound);
    p.class = rl_many(scratch, split->members, int);
    p.order = rl_many(scratch, split->members, int);
    p.count = rl_many(scratch, split->members, int);
    set_order(&p);
    for (int test; (test = best_of(&p)) >= 0;) {
        refine(&p, scratch, test);
        add_teller(&p, arena, test, &tellers);
    }
    pair_up(&p, m, arena, group, &pairs);
    group->teller = tellers.at;
    group->tellers = tellers.count;
    group->pair = pairs.at;
    group->pairs = pairs.count;
}
