/* draw.c: vehicles drawn from the priors of their rules.
 *
 * Invariant: states, bins and the first occasion's activities and looks are
 * drawn together until something is complained of (rejection, so the law is
 * the prior given a complaint, exactly); whatever is asked later is drawn in
 * the state that was accepted.  A public function sets the bail of each arena
 * it uses and leaves none set.
 */
#include "draw.h"

#include <assert.h>
#include <string.h>

/* After so many vehicles without a complaint none is looked for any longer. */
enum { MOST_ATTEMPTS = 100000 };

/* ---- states ---- */

/* Two draws for each element, whatever it is: one element's rules change no other's draws. */
static void draw_states(rl_drawn *d)
{
    rl_random random = rl_draw_stream(d, RL_FOR_STATES, 0, "");
    for (int e = 0; e < d->model->nodes; e++) {
        const rl_node *node = &d->model->node[e];
        d->state[e] = (rl_state)rl_random_pick(&random, node->info.prior, RL_STATES);
        double bin = rl_random_unit(&random), sum = 0;
        d->bin[e] = 0;
        if (d->state[e] != RL_CORRODED)
            continue;
        for (int b = 0; b < d->model->bins; b++) {
            if (node->bin_mass[b] > 0 && bin >= sum)
                d->bin[e] = b;
            sum += node->bin_mass[b];
        }
    }
}

/* ---- drawing until something is complained of ---- */

static bool complained(rl_stage *stage)
{
    const rl_model *m = stage->model;
    for (int e = 0; e < m->nodes; e++)
        if (rl_is_load(m, e) && rl_stage_level(stage, e) > 0)
            return true;
    for (int s = 0; s < m->signs; s++)
        if (rl_stage_sign(stage, s))
            return true;
    return false;
}

static bool row_leaves_first(const double *row)
{
    return row != NULL && row[0] < 1;
}

/* Whether some row of the kind has another level than the first. */
static bool kind_misbehaves(const rl_behaviour *kind)
{
    bool some = row_leaves_first(kind->failed) || row_leaves_first(kind->otherwise);
    for (int side = 0; side < 2; side++)
        for (int s = 0; s < RL_STATES; s++)
            some = some || row_leaves_first(kind->row[side][s]);
    for (int i = 0; i < kind->shortfalls; i++)
        some = some || row_leaves_first(kind->shortfall[i].row);
    return some;
}

/* Whether there is anything to complain of at all: a vehicle of which nothing
 * can be said is not drawn a hundred thousand times. */
static bool can_complain(const rl_model *m)
{
    for (int e = 0; e < m->nodes; e++)
        if (rl_is_load(m, e) && kind_misbehaves(&m->kind[m->node[e].info.kind]))
            return true;
    return m->signs > 0;
}

static bool draw_until_complaint(rl_drawn *d)
{
    rl_stage stage;
    if (!can_complain(d->model))
        return false;
    draw_states(d);
    rl_stage_make(&stage, d, NULL);
    while (!complained(&stage)) {
        if (++d->attempt == MOST_ATTEMPTS)
            return false;
        draw_states(d);
        rl_draw_activities(d, 0);
        rl_stage_set(&stage);
    }
    return true;
}

static void say_none(rl_drawn *d)
{
    rl_diag diag;
    rl_diag_init(&diag, &d->scratch, &d->context->settings.sink, d->context->settings.error_limit);
    uint32_t source = rl_diag_source(&diag, d->model->source[0], "", 0);
    rl_say(&diag, (rl_span){ source, 0, 0, 1, 1 }, RL_MSG_NO_COMPLAINT, d->model->vehicle.id, NULL, NULL);
}

static rl_status draw_guarded(rl_drawn *d)
{
    jmp_buf here;
    if (setjmp(here) != 0)
        return RL_MEMORY;
    d->arena.bail = d->scratch.bail = &here;
    int nodes = d->model->nodes;
    d->state = rl_many(&d->arena, nodes, rl_state);
    d->bin = rl_many(&d->arena, nodes, int);
    d->active = rl_many(&d->arena, nodes, bool);
    d->fault = rl_many(&d->arena, nodes, rl_fault);
    rl_arena_get(&d->scratch, 1);
    d->base = rl_arena_mark(&d->scratch);
    bool found = draw_until_complaint(d);
    if (!found)
        say_none(d);
    d->arena.bail = d->scratch.bail = NULL;
    return found ? RL_OK : RL_INPUT;
}

/* ---- the public face ---- */

rl_status rl_drawn_new(rl_context *context, const rl_model *model, uint64_t seed, uint64_t number, rl_drawn **out)
{
    rl_allocator *memory = &context->allocator;
    rl_drawn *d = memory->take(memory->user, sizeof *d);
    *out = NULL;
    if (d == NULL)
        return RL_MEMORY;
    *d = (rl_drawn){ .context = context, .model = model, .seed = seed, .number = number, .occasion = -1 };
    rl_arena_init(&d->arena, memory, 0);
    rl_arena_init(&d->scratch, memory, 0);
    rl_status status = draw_guarded(d);
    if (status == RL_OK)
        *out = d;
    else
        rl_drawn_free(d);
    return status;
}

void rl_drawn_free(rl_drawn *drawn)
{
    if (drawn == NULL)
        return;
    rl_allocator memory = drawn->context->allocator;
    rl_arena_free(&drawn->scratch);
    rl_arena_free(&drawn->arena);
    memory.give(memory.user, drawn);
}

rl_status rl_drawn_faults(rl_drawn *drawn, const rl_fault **out, size_t *count)
{
    *out = drawn->fault;
    *count = 0;
    for (int e = 0; e < drawn->model->nodes; e++)
        if (drawn->state[e] != RL_SOUND)
            drawn->fault[(*count)++] = (rl_fault){ (size_t)e, drawn->state[e] };
    return RL_OK;
}

void rl_drawn_repair(rl_drawn *drawn, size_t element)
{
    assert(element < (size_t)drawn->model->nodes);
    drawn->state[element] = RL_SOUND;
}
