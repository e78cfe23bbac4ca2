/* draw_seen.c: drawing what is seen of loads, symptoms and joints.
 *
 * Invariant: rows, paths and causes are those that observe.c makes factors of;
 * here they are looked up for the one joint state that was drawn.
 */
#include "draw.h"

int rl_draw_level(rl_stage *stage, int load, const rl_conditions *with, rl_random *random)
{
    const rl_rows *rows = stage->model->rows->of_load[load];
    const rl_behaviour *kind = &stage->model->kind[rows->kind];
    rl_sides sides = rl_observe_sides(&stage->observer, stage->world, load, with);
    int back = rl_observe_row(&stage->frame, rl_stage_value(stage, sides.back));
    int fed = rl_observe_row(&stage->frame, rl_stage_value(stage, sides.fed));
    bool failed = rl_stage_value(stage, sides.own) != 0;
    double p[RL_MAX_LEVELS];
    rl_observe_levels(kind, rows->side[0][back], rows->side[1][fed], failed, p);
    return rl_random_pick(random, p, (int)kind->info.levels);
}

/* Whether some cause fires of those whose chance of none is `absent`. */
static bool fires(double absent, rl_random *random)
{
    return rl_random_unit(random) >= absent;
}

bool rl_draw_sign(rl_stage *stage, int sign, rl_random *random)
{
    const rl_sign *s = &stage->model->sign[sign];
    double absent = 1 - s->otherwise;
    for (int i = 0; i < s->causes; i++) {
        int expr = rl_observe_subject(&stage->observer, stage->world, &s->cause[i]);
        absent *= 1 - rl_observe_chance(&stage->observer, s->cause[i].p, expr, rl_stage_value(stage, expr));
    }
    return fires(absent, random);
}

int rl_draw_look(rl_stage *stage, int look, int element, rl_random *random)
{
    const rl_look *l = &stage->model->look[look];
    bool forced = rl_world_forces(stage->world, element);
    rl_state state = forced ? RL_SOUND : stage->drawn->state[element];   /* quiet or not */
    return rl_random_pick(random, l->row[state], (int)l->info.outcomes);
}

bool rl_draw_crosstalk(rl_stage *stage, bool pull, int a, int b, rl_random *random)
{
    const rl_crosstalk *rule = pull ? &stage->model->pull : &stage->model->backfeed;
    int expr[2], count = rl_observe_crosstalk(&stage->observer, stage->world, pull, a, b, expr);
    double absent = 1 - rule->otherwise;
    for (int i = 0; i < count; i++)
        absent *= 1 - rl_observe_chance(&stage->observer, rule->p, expr[i], rl_stage_value(stage, expr[i]));
    return fires(absent, random);
}
