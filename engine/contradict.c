/* contradict.c: a smallest set of findings that contradict each other.
 *
 * Any set that keeps its complement consistent must be hit by every
 * contradiction.  So: take a smallest set of lines that hits all such sets
 * known so far; if it contradicts itself it is a smallest contradiction; if
 * not, let it grow until no line can be added, and what is left is one more
 * set to hit.
 *
 * Invariant: no contradicting set is smaller than the hitting set at hand.
 */
#include "bounded.h"

#include <assert.h>
#include <math.h>
#include <string.h>

typedef struct hunt {
    rl_case *c;
    rl_arena *arena;
    int lines;               /* of evidence */
    int *line;               /* their numbers in the case */
    bool **set;              /* each must be hit; by place in `line` */
    int sets, room;
} hunt;

static bool consistent(const hunt *h, const bool *chosen)
{
    rl_mark mark = rl_arena_mark(h->arena);
    bool *left_out = rl_many(h->arena, h->c->findings + 1, bool);
    for (int i = 0; i < h->lines; i++)
        left_out[h->line[i]] = !chosen[i];
    rl_bench *bench = rl_new(h->arena, rl_bench);
    rl_status status = rl_bench_make(bench, h->arena, h->c, left_out);
    rl_bounded *b;
    if (status == RL_OK)
        status = rl_bench_collect(bench);
    else if (status == RL_WIDE)
        status = rl_bounded_look(&b, h->arena, bench);
    rl_arena_rewind(h->arena, mark);
    return status != RL_CONTRADICTION;
}

static const bool *set_not_hit(const hunt *h, const bool *chosen)
{
    for (int s = 0; s < h->sets; s++) {
        bool hit = false;
        for (int i = 0; i < h->lines && !hit; i++)
            hit = chosen[i] && h->set[s][i];
        if (!hit)
            return h->set[s];
    }
    return NULL;
}

/* Hits all sets with at most `most` further lines. */
static bool hit_all(const hunt *h, bool *chosen, int most)
{
    const bool *open = set_not_hit(h, chosen);
    if (!open)
        return true;
    for (int i = 0; i < h->lines && most > 0; i++) {
        if (!open[i] || chosen[i])
            continue;
        chosen[i] = true;
        if (hit_all(h, chosen, most - 1))
            return true;
        chosen[i] = false;
    }
    return false;
}

static void add_set(hunt *h, const bool *kept)
{
    if (h->sets == h->room) {
        int room = h->room ? h->room * 2 : 16;
        bool **more = rl_many(h->arena, room, bool *);
        for (int s = 0; s < h->sets; s++)
            more[s] = h->set[s];
        h->set = more;
        h->room = room;
    }
    bool *set = rl_many(h->arena, h->lines, bool);
    for (int i = 0; i < h->lines; i++)
        set[i] = !kept[i];
    h->set[h->sets++] = set;
}

/* Adds every line that stays consistent with what is there. */
static void let_grow(const hunt *h, bool *kept)
{
    for (int i = 0; i < h->lines; i++) {
        if (kept[i])
            continue;
        kept[i] = true;
        if (!consistent(h, kept))
            kept[i] = false;
    }
}

static void find_smallest(hunt *h, bool *chosen)
{
    size_t bytes = (size_t)h->lines * sizeof *chosen;
    for (int most = 0;;) {
        memset(chosen, 0, bytes);
        if (!hit_all(h, chosen, most)) {
            most++;
            assert(most <= h->lines);
            continue;
        }
        if (!consistent(h, chosen))
            return;
        let_grow(h, chosen);
        add_set(h, chosen);
    }
}

static void work_out(rl_case *c, rl_work *work)
{
    hunt h = {.c = c, .arena = &work->arena};
    h.line = rl_many(h.arena, c->findings + 1, int);
    for (int i = 0; i < c->findings; i++)
        if (c->finding[i]->sort <= RL_E_OTHERS && !c->finding[i]->line.replaced)
            h.line[h.lines++] = i;
    bool *chosen = rl_many(h.arena, h.lines + 1, bool);
    find_smallest(&h, chosen);
    size_t *list = rl_many(h.arena, h.lines + 1, size_t);
    size_t count = 0;
    for (int i = 0; i < h.lines; i++)
        if (chosen[i])
            list[count++] = (size_t)h.line[i];
    work->contradicting = list;
    work->contradicting_count = count;
    work->contradicted = true;
}

typedef struct lines_question {
    const size_t **lines;
    size_t *count;
} lines_question;

static rl_status answer_lines(rl_case *c, void *argument)
{
    lines_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status == RL_OK)
        return RL_USAGE;   /* they do not contradict each other */
    if (status != RL_CONTRADICTION)
        return status;
    if (!work->contradicted)
        work_out(c, work);
    *q->lines = work->contradicting;
    *q->count = work->contradicting_count;
    return RL_OK;
}

rl_status rl_case_contradiction(rl_case *c, const size_t **lines, size_t *count)
{
    lines_question q = {lines, count};
    *lines = NULL;
    *count = 0;
    return rl_ask(c, answer_lines, &q);
}
