/* play.c: one play: tests are taken from the drawn vehicle, repairs are tried on it.
 *
 * Invariant: see play.h.  Minutes count each area's access once, whether it was
 * opened for a test or for a repair.
 */
#include "outlook.h"
#include "play.h"

#include <assert.h>
#include <string.h>

/* Lines have no place in a file. */
static rl_status say(rl_case *c, const char *line)
{
    return rl_case_add(c, line, strlen(line), NULL, 0);
}

/* The line of the one occasion. */
static const char *occasion_line(rl_bout *bout)
{
    rl_text line = {.arena = bout->arena};
    bool some = false;
    rl_put(&line, "occasion workshop");
    for (int e = 0; e < bout->model->nodes; e++) {
        if (!bout->mended[e])
            continue;
        rl_put(&line, some ? " and repaired " : " with repaired ");
        rl_put(&line, bout->model->node[e].info.id);
        some = true;
    }
    return line.bytes;
}

rl_status rl_bout_begin(rl_bout *bout)
{
    bout->mended = rl_many(bout->arena, bout->model->nodes, bool);
    const char *occasion = occasion_line(bout);
    rl_status status = rl_case_new(bout->context, bout->model, "", &bout->c);
    if (status == RL_OK)
        status = say(bout->c, occasion);
    if (status == RL_OK)
        status = rl_drawn_complain(bout->drawn, bout->c);
    if (status == RL_OK)
        bout->proof = rl_proof_minutes(bout->c);
    return status;
}

rl_status rl_bout_touch(rl_bout *bout, bool *touched)
{
    const rl_answer *answer;
    rl_status status = rl_case_answer(bout->c, &answer);
    for (int e = 0; status == RL_OK && e < bout->model->nodes; e++)
        touched[e] = answer->belief[e].touched;
    return status;
}

/* Nothing was tried yet. */
static void start(rl_bout *bout)
{
    size_t nodes = (size_t)bout->model->nodes;
    bout->score = (rl_play){.tests = 0};
    bout->suspect = rl_raw(bout->arena, nodes, bool);
    memcpy(bout->suspect, bout->touched, nodes * sizeof *bout->suspect);
    bout->open = rl_many(bout->arena, bout->model->areas + 1, bool);
}

void rl_bout_end(rl_bout *bout)
{
    rl_case_free(bout->c);
    bout->c = NULL;
}

/* ---- moves ---- */

static void open_areas(rl_bout *bout, const int *area, int count)
{
    for (int i = 0; i < count; i++) {
        if (area[i] < 0 || bout->open[area[i]])
            continue;
        bout->score.minutes += bout->model->area[area[i]].access;
        bout->open[area[i]] = true;
    }
}

/* Does a test; `heed`: what it shows is written down. */
static rl_status take(rl_bout *bout, const rl_test *test, bool heed)
{
    const char *line;
    bout->score.tests++;
    bout->score.minutes += test->check_minutes;
    open_areas(bout, test->areas, 2);
    if (!heed)
        return RL_OK;
    rl_status status = rl_drawn_take(bout->drawn, bout->c, test, &line);
    return status == RL_OK ? say(bout->c, line) : status;
}

/* The case anew, with what was mended held sound in its occasion.  While there are two
 * cases nothing is taken from the arena, whose bail knows of one. */
static rl_status hold_mended(rl_bout *bout)
{
    rl_case *fresh;
    const char *occasion = occasion_line(bout);
    rl_status status = rl_case_new(bout->context, bout->model, "", &fresh);
    if (status != RL_OK)
        return status;
    status = say(fresh, occasion);
    for (size_t i = 1; status == RL_OK && i < rl_case_lines(bout->c); i++)   /* line 0 is the occasion */
        status = say(fresh, rl_case_line(bout->c, i)->text);
    rl_case_free(bout->c);
    bout->c = fresh;
    return status;
}

static void spend_mending(rl_bout *bout, int element)
{
    const rl_element *info = &bout->model->node[element].info;
    assert(bout->suspect[element]);
    open_areas(bout, &info->area, 1);
    bout->score.minutes += rl_repair_minutes(info) + bout->proof;
    bout->suspect[element] = false;
}

static rl_status mend(rl_bout *bout, int element, bool *cured)
{
    spend_mending(bout, element);
    *cured = bout->cure[element];
    if (*cured)
        return RL_OK;
    bout->score.wrong++;
    bout->mended[element] = true;
    return hold_mended(bout);
}

static rl_scene scene_of(const rl_bout *bout)
{
    return (rl_scene){.model = bout->model, .suspect = bout->suspect, .above = bout->rule.above,
                      .may_test = bout->score.tests < bout->rule.most_tests};
}

/* ---- strategies ---- */

static rl_status play_advice(rl_bout *bout)
{
    rl_status status = RL_OK;
    for (bool cured = false; status == RL_OK && !cured;) {
        rl_move move;
        rl_mark mark = rl_arena_mark(bout->arena);
        rl_scene scene = scene_of(bout);
        status = rl_move_advised(&scene, bout->c, &move);
        if (status == RL_OK)
            status = move.test ? take(bout, move.test, true) : mend(bout, move.element, &cured);
        rl_arena_rewind(bout->arena, mark);
    }
    return status;
}

/* Mends the likeliest suspect while he is at fault with more than `above`. */
static rl_status mend_likely(rl_bout *bout, double above, bool *cured)
{
    rl_status status = RL_OK;
    while (status == RL_OK && !*cured) {
        double p;
        int element;
        rl_scene scene = scene_of(bout);
        status = rl_move_likeliest(&scene, bout->c, &element, &p);
        if (status != RL_OK || p <= above)
            break;
        status = mend(bout, element, cured);
    }
    return status;
}

/* Repairs in the order in which the findings so far have them. */
static rl_status mend_in_order(rl_bout *bout)
{
    bool cured = false;
    while (!cured) {
        double p;
        int element;
        rl_scene scene = scene_of(bout);
        rl_status status = rl_move_likeliest(&scene, bout->c, &element, &p);
        if (status != RL_OK)
            return status;
        spend_mending(bout, element);
        cured = bout->cure[element];
        bout->score.wrong += !cured;
    }
    return RL_OK;
}

/* What a point shows that nothing complained of depends on, tells nothing of the suspects. */
static rl_status play_walk(rl_bout *bout, const rl_test *walk, int walks)
{
    bool cured = false;
    rl_status status = mend_likely(bout, bout->rule.above, &cured);
    for (int i = 0; i < walks && status == RL_OK && !cured && bout->score.tests < bout->rule.most_tests; i++) {
        bool heed = bout->suspect[walk[i].sort == RL_TEST_INSPECTION ? walk[i].subject : walk[i].from];
        status = take(bout, &walk[i], heed);
        if (status == RL_OK && heed)
            status = mend_likely(bout, bout->rule.above, &cured);
    }
    return status == RL_OK && !cured ? mend_in_order(bout) : status;
}

rl_status rl_bout_play(rl_bout *bout, rl_strategy strategy, const rl_test *walk, int walks)
{
    assert(bout->c && bout->rule.above > 0);
    start(bout);
    switch (strategy) {
    case RL_ADVICE: return play_advice(bout);
    case RL_WALK: return play_walk(bout, walk, walks);
    case RL_LIKELIEST: return mend_in_order(bout);
    }
    return RL_USAGE;
}
