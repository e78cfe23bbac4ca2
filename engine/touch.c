/* touch.c: which statements of the rules the findings of a case have used.
 *
 * Invariant: flags are those of rl_model_flags: elements, then symptoms, then
 * inspections; they are only ever set.  An element is reached by a finding
 * that depends on its state, or that names it.
 */
#include "touch.h"

#include "paths.h"

#include <assert.h>
#include <string.h>

typedef struct toucher {
    const rl_case *c;
    const rl_model *model;
    rl_arena *scratch;
    bool *flag;
} toucher;

static void mark_list(toucher *t, const int *list, int count)
{
    for (int i = 0; i < count; i++)
        t->flag[list[i]] = true;
}

static void touch_symptom(toucher *t, int sign)
{
    const rl_sign *s = &t->model->sign[sign];
    t->flag[t->model->nodes + sign] = true;
    for (int i = 0; i < s->causes; i++) {
        const rl_cause *cause = &s->cause[i];
        t->flag[cause->element] = true;
        if (cause->subject == RL_OF_RETURN)
            rl_mark_returns(t->model, cause->element, t->flag);
        if (cause->subject == RL_OF_FEED)
            rl_mark_feeds(t->scratch, t->model, cause->element, t->flag);
    }
}

static void touch_span(toucher *t, const rl_finding *f)
{
    rl_mark before = rl_arena_mark(t->scratch);
    rl_stretch stretch;
    bool dead = f->sort != RL_E_DROP;
    rl_stretch_fault fault = rl_stretch_make(t->scratch, t->model, f->subject, f->from, f->to, dead, &stretch);
    assert(fault == RL_STRETCH_OK);
    (void)fault;
    t->flag[f->subject] = true;
    for (int w = 0; w < stretch.ways; w++)
        mark_list(t, stretch.way[w].element, stretch.way[w].count);
    if (!dead) {
        mark_list(t, stretch.before, stretch.before_count);
        mark_list(t, f->also, f->also_count);
        rl_mark_feeds(t->scratch, t->model, f->subject, t->flag);
    }
    rl_arena_rewind(t->scratch, before);
}

static void touch_crosstalk(toucher *t, const rl_finding *f)
{
    rl_mark before = rl_arena_mark(t->scratch);
    int count;
    t->flag[f->subject] = t->flag[f->other] = true;
    const int *set = f->sort == RL_E_BACKFEED
                         ? rl_backfeed_set(t->scratch, t->model, f->subject, f->other, &count)
                         : rl_shared_returns(t->scratch, t->model, f->subject, f->other, &count);
    mark_list(t, set, count);
    if (f->sort == RL_E_PULL) {
        set = rl_shared_feeds(t->scratch, t->model, f->subject, f->other, &count);
        mark_list(t, set, count);
    }
    rl_arena_rewind(t->scratch, before);
}

/* Loads of the occasion with no line of their own, that return through the
 * element if one is named. */
static void touch_others(toucher *t, const rl_finding *others)
{
    rl_mark before = rl_arena_mark(t->scratch);
    bool *own = rl_many(t->scratch, t->model->nodes, bool);
    for (int i = 0; i < t->c->findings; i++) {
        const rl_finding *f = t->c->finding[i];
        if (f->sort == RL_E_BEHAVIOUR && f->occasion == others->occasion)
            own[f->subject] = true;
    }
    for (int i = 0; i < t->model->nodes; i++) {
        bool load = t->model->node[i].info.sort == RL_LOAD;
        if (load && !own[i] && (others->subject < 0 || rl_passes(t->model, i, others->subject)))
            rl_mark_load(t->scratch, t->model, i, t->flag);
    }
    rl_arena_rewind(t->scratch, before);
}

static void touch_finding(toucher *t, const rl_finding *f)
{
    switch (f->sort) {
    case RL_E_BEHAVIOUR: case RL_E_SUPPLY: rl_mark_load(t->scratch, t->model, f->subject, t->flag); break;
    case RL_E_SYMPTOM: touch_symptom(t, f->named); break;
    case RL_E_INSPECTION:
        t->flag[f->subject] = t->flag[t->model->nodes + t->model->signs + f->named] = true;
        break;
    case RL_E_BACKFEED: case RL_E_PULL: touch_crosstalk(t, f); break;
    case RL_E_DROP: case RL_E_RESISTANCE: case RL_E_CONTINUITY: touch_span(t, f); break;
    case RL_E_OTHERS: touch_others(t, f); break;
    case RL_E_FOUND:
        if (f->subject >= 0)
            t->flag[f->subject] = true;
        break;
    case RL_E_OPENED: case RL_E_EXPECT: case RL_E_OCCASION: break;
    }
}

void rl_touch_line(rl_arena *arena, const rl_case *c, const rl_finding *line, bool *flag)
{
    toucher t = { c, c->model, arena, flag };
    touch_finding(&t, line);
}

/* False: memory ran out. */
static bool touch_guarded(toucher *t)
{
    jmp_buf here;
    if (setjmp(here) != 0)
        return false;
    t->scratch->bail = &here;
    for (int i = 0; i < t->c->findings; i++)
        if (!t->c->finding[i]->line.replaced)
            touch_finding(t, t->c->finding[i]);
    return true;
}

rl_status rl_case_touch(rl_case *c, bool *touched)
{
    rl_arena scratch;
    rl_arena_init(&scratch, &c->context->allocator, 0);
    toucher t = { c, c->model, &scratch, touched };
    bool done = touch_guarded(&t);
    rl_arena_free(&scratch);
    return done ? RL_OK : RL_MEMORY;
}
