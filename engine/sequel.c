/* sequel.c: a case as it would be after a test; see sequel.h. */
#include "sequel.h"

#include "admit.h"

#include <assert.h>
#include <string.h>

enum { MOST_OUTCOMES = RL_MAX_LEVELS + 2 };

/* Lines are copied: what an observer keeps with a line lives as long as its case. */
static void copy_lines(rl_sequel *s, const rl_case *base)
{
    rl_case *c = &s->c;
    c->finding = rl_many(&c->arena, base->findings + 1, rl_finding *);
    c->finding_room = base->findings + 1;
    for (int i = 0; i < base->findings; i++) {
        c->finding[i] = rl_new(&c->arena, rl_finding);
        *c->finding[i] = *base->finding[i];
    }
    s->finding = rl_new(&c->arena, rl_finding);
    s->weight = rl_many(&c->arena, MOST_OUTCOMES, double);
    c->finding[c->findings++] = s->finding;
}

void rl_sequel_open(rl_sequel *s, const rl_case *base, jmp_buf *bail)
{
    s->c = *base;
    s->c.work = NULL;
    s->c.slot = NULL;
    rl_arena_init(&s->c.arena, &base->context->allocator, 0);
    s->open = true;
    s->c.arena.bail = bail;
    copy_lines(s, base);
    s->c.arena.bail = NULL;
}

void rl_sequel_close(rl_sequel *s)
{
    if (!s->open)
        return;
    rl_work_drop(&s->c);
    rl_arena_free(&s->c.arena);
    s->open = false;
}

int rl_test_outcomes(const rl_model *model, const rl_test *test)
{
    switch (rl_test_evidence(test->sort)) {
    case RL_E_BEHAVIOUR: return (int)model->kind[model->node[test->subject].info.kind].info.levels;
    case RL_E_INSPECTION: return (int)model->look[test->named].info.outcomes;
    case RL_E_DROP:
    case RL_E_SUPPLY: return model->volts.bands + 1;
    case RL_E_RESISTANCE: return model->ohms.bands + 2;
    default: return 2;
    }
}

void rl_sequel_take(rl_sequel *s, const rl_test *test, int outcome)
{
    rl_case *c = &s->c;
    int outcomes = rl_test_outcomes(c->model, test);
    assert(s->open && outcome < outcomes && outcomes <= MOST_OUTCOMES);
    rl_work_drop(c);
    memset(s->weight, 0, MOST_OUTCOMES * sizeof *s->weight);
    s->weight[outcome] = 1;
    *s->finding = (rl_finding){.sort = rl_test_evidence(test->sort), .occasion = c->occasions - 1, .key = test->text,
                               .subject = test->subject, .other = test->other, .named = test->named,
                               .weight = s->weight, .weights = outcomes, .first_named = outcome == 0,
                               .from = test->from, .to = test->to, .with = rl_test_conditions(test)};
    s->finding->line = (rl_line){.sort = RL_LINE_FINDING, .text = test->text, .occasion = (size_t)c->occasions - 1};
}
