/* draw_stage.c: a drawn vehicle in one world: streams, activities, rows of paths.
 *
 * Invariant: see draw.h.  The paths are the expressions of expr.h, so a drawn
 * vehicle has the returns and feeds that findings are weighed with.
 */
#include "draw.h"

#include <assert.h>

rl_random rl_draw_stream(const rl_drawn *d, rl_purpose purpose, int occasion, const char *text)
{
    const uint64_t key[] = { d->seed, d->number, d->attempt, purpose, (uint64_t)occasion, rl_random_word(text) };
    return rl_random_make(key, sizeof key / sizeof *key);
}

void rl_draw_activities(rl_drawn *d, int occasion)
{
    rl_random random = rl_draw_stream(d, RL_FOR_ACTIVITY, occasion, "");
    for (int e = 0; e < d->model->nodes; e++)
        d->active[e] = rl_random_unit(&random) >= d->model->node[e].quiet;
    d->occasion = occasion;
}

/* Empties the scratch arena first. */
rl_status rl_draw_run(rl_drawn *d, rl_draw_task *task, void *argument)
{
    jmp_buf here;
    if (setjmp(here) != 0) {
        d->scratch.bail = NULL;
        return RL_MEMORY;
    }
    rl_arena_rewind(&d->scratch, d->base);
    d->scratch.bail = &here;
    rl_status status = task(d, argument);
    d->scratch.bail = NULL;
    return status;
}

/* ---- a look at the vehicle ---- */

static int frame_bin(const rl_frame *frame, int bin)
{
    for (int b = 0; b < frame->bins; b++)
        if (frame->bin[b] == bin)
            return b;
    assert(false);   /* a bin that was drawn has mass, so the frame has it */
    return 0;
}

static int row_of(const rl_stage *stage, int element)
{
    const rl_drawn *d = stage->drawn;
    switch (d->state[element]) {
    case RL_SOUND: break;
    case RL_FAILED: return 1;
    case RL_LOOSE: return d->active[element] ? 1 : 0;
    case RL_CORRODED: return 2 + frame_bin(&stage->frame, d->bin[element]);
    case RL_OPEN: return stage->frame.rows - 1;
    }
    return 0;
}

void rl_stage_set(rl_stage *stage)
{
    assert(stage->drawn->occasion == stage->occasion);
    for (int e = 0; e < stage->model->nodes; e++)
        stage->row[e] = row_of(stage, e);
    stage->known = 0;
}

static int evaluate(const rl_stage *stage, const rl_expr *x)
{
    const int *value = stage->value;
    switch (x->sort) {
    case RL_X_SOUND: break;
    case RL_X_ELEMENT:
    case RL_X_LOAD: return stage->row[x->a];
    case RL_X_FAILED: return stage->exprs.failed_row[value[x->a]];
    case RL_X_CALM: return stage->exprs.calm_row[value[x->a]];
    case RL_X_MAX: return rl_frame_max(2, value[x->a], value[x->b]);
    case RL_X_MIN: return rl_frame_min(2, value[x->a], value[x->b]);
    }
    return 0;
}

int rl_stage_value(rl_stage *stage, int expr)
{
    const rl_exprs *exprs = &stage->exprs;
    if (stage->room < exprs->room) {
        stage->room = exprs->room;
        stage->value = rl_many(stage->arena, stage->room, int);
        stage->known = 0;
    }
    for (; stage->known < exprs->count; stage->known++)   /* parts come before the whole */
        stage->value[stage->known] = evaluate(stage, &exprs->at[stage->known]);
    return stage->value[expr];
}

/* The last occasion of the case; with no case the first one. */
void rl_stage_make(rl_stage *stage, rl_drawn *d, const rl_case *c)
{
    static const bool used[1] = { true };
    rl_arena *arena = &d->scratch;
    int occasion = c ? c->occasions - 1 : 0;
    *stage = (rl_stage){ .drawn = d, .model = d->model, .arena = arena, .occasion = occasion };
    rl_frame_make(&stage->frame, arena, d->model, used, 1);
    rl_exprs_make(&stage->exprs, arena, &stage->frame);
    stage->observer = (rl_observer){ .arena = arena, .kase = c, .model = d->model, .frame = &stage->frame,
                                     .exprs = &stage->exprs };
    stage->world = c ? rl_observe_world(&stage->observer, occasion, NULL)
                     : rl_exprs_world(&stage->exprs, NULL, 0, NULL, 0);
    stage->row = rl_many(arena, d->model->nodes, int);
    if (d->occasion != occasion)
        rl_draw_activities(d, occasion);
    rl_stage_set(stage);
}

int rl_stage_level(rl_stage *stage, int load)
{
    rl_random random = rl_draw_stream(stage->drawn, RL_FOR_OUTCOME, stage->occasion, stage->model->node[load].info.id);
    return rl_draw_level(stage, load, NULL, &random);
}

bool rl_stage_sign(rl_stage *stage, int sign)
{
    rl_random random = rl_draw_stream(stage->drawn, RL_FOR_OUTCOME, stage->occasion, stage->model->sign[sign].info.id);
    return rl_draw_sign(stage, sign, &random);
}
