/* draw_line.c: what is noticed on a drawn vehicle, as lines of evidence.
 *
 * Invariant: a line reads back as what was drawn, and is made in the scratch
 * arena of the vehicle, which the next call empties.
 */
#include "admit.h"
#include "draw.h"

#include <assert.h>
#include <string.h>

static const char *const presence[] = { "absent", "present" };

static void say_seen(rl_text *line, const char *id, const char *outcome)
{
    rl_put(line, id);
    rl_put(line, " ");
    rl_put(line, outcome);
}

void rl_draw_line(rl_text *list, const char *id, const char *outcome)
{
    say_seen(list, id, outcome);
    rl_put(list, "\n");
}

void rl_draw_loads(rl_stage *stage, rl_text *list)
{
    const rl_model *m = stage->model;
    for (int e = 0; e < m->nodes; e++) {
        int level = rl_is_load(m, e) ? rl_stage_level(stage, e) : 0;
        if (level > 0)
            rl_draw_line(list, m->node[e].info.id, m->kind[m->node[e].info.kind].info.level[level]);
    }
}

void rl_draw_signs(rl_stage *stage, bool absent, rl_text *list)
{
    for (int s = 0; s < stage->model->signs; s++) {
        bool present = rl_stage_sign(stage, s);
        if (present || absent)
            rl_draw_line(list, stage->model->sign[s].info.id, presence[present]);
    }
}

rl_status rl_draw_add(rl_case *c, const rl_text *list)
{
    rl_status status = RL_OK;
    const char *line = list->bytes == NULL ? "" : list->bytes;
    while (*line != '\0' && status == RL_OK) {
        const char *end = strchr(line, '\n');
        assert(end != NULL);
        status = rl_case_add(c, line, (size_t)(end - line), NULL, 0);
        line = end + 1;
    }
    return status;
}

static rl_status complain(rl_drawn *drawn, void *argument)
{
    rl_case *c = argument;
    rl_stage stage;
    rl_text list = { .arena = &drawn->scratch };
    rl_stage_make(&stage, drawn, c);
    rl_draw_loads(&stage, &list);
    rl_draw_signs(&stage, false, &list);
    return rl_draw_add(c, &list);
}

rl_status rl_drawn_complain(rl_drawn *drawn, rl_case *c)
{
    assert(c->model == drawn->model);
    return rl_draw_run(drawn, complain, c);
}

/* ---- tests ---- */

/* The level stands behind the load, before the condition. */
static void take_level(rl_stage *stage, const rl_test *test, rl_random *random, rl_text *line)
{
    const rl_element *load = &stage->model->node[test->subject].info;
    rl_conditions with = rl_test_conditions(test);
    int level = rl_draw_level(stage, test->subject, &with, random);
    say_seen(line, load->id, stage->model->kind[load->kind].info.level[level]);
    rl_put(line, test->text + strlen(load->id));
}

void rl_draw_test(rl_stage *stage, const rl_test *test, rl_text *line)
{
    rl_random random = rl_draw_stream(stage->drawn, RL_FOR_OUTCOME, stage->occasion, test->text);
    bool pull = test->sort == RL_TEST_PULL;
    switch (test->sort) {
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER:
        take_level(stage, test, &random, line);
        break;
    case RL_TEST_SYMPTOM:
        say_seen(line, test->text, presence[rl_draw_sign(stage, test->named, &random)]);
        break;
    case RL_TEST_INSPECTION:
        say_seen(line, test->text,
                 stage->model->look[test->named].info.outcome[rl_draw_look(stage, test->named, test->subject, &random)]);
        break;
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL:
        say_seen(line, test->text, presence[rl_draw_crosstalk(stage, pull, test->subject, test->other, &random)]);
        break;
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY:
    case RL_TEST_SUPPLY:
        say_seen(line, test->text, "");
        rl_draw_reading(stage, test, stage->observer.kase->occasion[stage->occasion].battery, &random, line);
        break;
    }
}

typedef struct taking { const rl_case *c; const rl_test *test; const char *line; } taking;

static rl_status take_line(rl_drawn *drawn, void *argument)
{
    taking *t = argument;
    rl_stage stage;
    rl_text text = { .arena = &drawn->scratch };
    rl_stage_make(&stage, drawn, t->c);
    rl_draw_test(&stage, t->test, &text);
    t->line = text.bytes;
    return RL_OK;
}

rl_status rl_drawn_take(rl_drawn *drawn, const rl_case *c, const rl_test *test, const char **line)
{
    taking t = { c, test, NULL };
    assert(c->model == drawn->model);
    rl_status status = rl_draw_run(drawn, take_line, &t);
    *line = t.line;
    return status;
}
