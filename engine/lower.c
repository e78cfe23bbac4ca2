/* lower.c: from a rule file to a model; the pipeline, stage by stage.
 *
 * Invariant: whatever happens (a fault, no memory), the loader gets back what
 * it lent and the scratch arena is freed; the model is handed out whole or not
 * at all.
 */
#include "lower.h"

#include <assert.h>
#include <string.h>

/* Paths by source number, for places that are named after the reading. */
static void keep_sources(lower *l)
{
    const char **path = rl_many(l->arena, l->diag->source_count, const char *);
    for (uint32_t i = 0; i < l->diag->source_count; i++)
        path[i] = low_keep(l, l->diag->sources[i].path);
    l->model->source = path;
}

bool rl_lower(rl_model *model, rl_diag *diag, const char *path, low_loan **loans)
{
    lower *l = rl_new(diag->arena, lower);
    assert(model->nodes == 0 && diag->arena->bail != NULL && model->arena.bail != NULL);
    *l = (lower){ .context = model->context, .diag = diag, .scratch = diag->arena, .arena = &model->arena,
                  .model = model, .loans = loans };
    if (!low_read(l, path) || rl_diag_full(diag))
        return false;
    low_declare(l);
    low_vehicle_rules(l);
    low_class_rules(l);
    low_kind_rules(l);
    low_number_elements(l);
    low_element_rules(l);
    low_sign_rules(l);
    low_test_rules(l);
    low_say_missed(l);
    low_check(l);
    if (diag->errors > 0)
        return false;
    keep_sources(l);
    rl_model_freeze(model, l->scratch);
    return true;
}

/* One call of rl_model_read; outside the function that jumps back lands in. */
typedef struct reading {
    rl_arena scratch;
    rl_diag diag;
    rl_model *model;
    low_loan *loans;
} reading;

static rl_model *empty_model(rl_context *context, jmp_buf *bail)
{
    rl_arena arena;
    rl_arena_init(&arena, &context->allocator, 0);
    arena.bail = bail;
    rl_model *model = rl_new(&arena, rl_model);
    model->arena = arena;
    model->context = context;
    return model;
}

static rl_status run(reading *r, rl_context *context, const char *path)
{
    jmp_buf bail;
    if (setjmp(bail) != 0)
        return RL_MEMORY;
    r->scratch.bail = &bail;
    rl_diag_init(&r->diag, &r->scratch, &context->settings.sink, context->settings.error_limit);
    r->model = empty_model(context, &bail);
    bool good = rl_lower(r->model, &r->diag, path, &r->loans);
    r->model->arena.bail = NULL;
    return good ? RL_OK : RL_INPUT;
}

rl_status rl_model_read(rl_context *context, const char *path, rl_model **out)
{
    reading r = { .model = NULL, .loans = NULL };
    const rl_loader *loader = &context->settings.loader;
    *out = NULL;
    if (path == NULL || loader->read == NULL)
        return RL_USAGE;
    rl_arena_init(&r.scratch, &context->allocator, 0);
    rl_status status = run(&r, context, path);
    for (const low_loan *loan = r.loans; loan != NULL; loan = loan->next)
        if (loader->release != NULL)
            loader->release(loader->user, loan->bytes);
    rl_arena_free(&r.scratch);
    if (status == RL_OK)
        *out = r.model;
    else
        rl_model_free(r.model);
    return status;
}
