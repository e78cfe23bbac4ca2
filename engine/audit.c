/* audit.c: an audit of the rules, from outside, and what its parts share.
 *
 * Invariant: a report is made whole or not at all.
 */
#include "audit.h"

#include <assert.h>
#include <string.h>

void *rl_grow(rl_arena *arena, rl_growing *list, size_t size)
{
    if (list->count == list->room) {
        size_t room = list->room ? 2 * list->room : 8;
        void *more = rl_arena_array(arena, room, size);
        if (list->count > 0)
            memcpy(more, list->at, list->count * size);
        list->at = more;
        list->room = room;
    }
    return (char *)list->at + size * list->count++;
}

static rl_status add_line(rl_audit *a, const char *const *word, int words)
{
    rl_text line = {.arena = &a->scratch};
    for (int i = 0; i < words; i++)
        rl_put(&line, word[i]);
    return rl_case_add(a->kase, line.bytes, line.length, NULL, 0);
}

/* Every load that has another level is amiss, and nothing was seen since: so
 * every test that there is can be listed. */
static rl_status make_case(rl_audit *a)
{
    rl_status status = rl_case_new(a->context, &a->plain, "audit", &a->kase);
    for (int e = 0; e < a->model->nodes && status == RL_OK; e++) {
        const rl_element *info = &a->model->node[e].info;
        if (info->sort != RL_LOAD || a->model->kind[info->kind].info.levels < 2)
            continue;
        status = add_line(a, (const char *[]){info->id, " not ", a->model->kind[info->kind].info.level[0]}, 3);
    }
    return status == RL_OK ? add_line(a, (const char *[]){"occasion bare"}, 1) : status;
}

static rl_status make_report(rl_audit *a, size_t draws, uint64_t seed)
{
    jmp_buf bail;
    if (setjmp(bail) != 0)
        return RL_MEMORY;
    a->arena.bail = a->work.bail = a->scratch.bail = a->vehicle.scratch.bail = &bail;
    a->vehicle.base = rl_arena_mark(&a->vehicle.scratch);
    rl_status status = make_case(a);
    if (status != RL_OK)
        return status;
    rl_audit_alike(a);
    rl_audit_rows(a);
    rl_audit_shape(a);
    status = rl_audit_bits(a, draws, seed);
    a->arena.bail = NULL;
    return status;
}

rl_status rl_audit_new(rl_context *context, const rl_model *model, size_t draws, uint64_t seed, rl_audit **out)
{
    rl_allocator memory = context->allocator;
    *out = NULL;
    if (draws < 2)
        return RL_USAGE;
    rl_audit *a = memory.take(memory.user, sizeof *a);
    if (a == NULL)
        return RL_MEMORY;
    *a = (rl_audit){.context = context, .model = model, .plain = *model};
    a->plain.backfeed.given = a->plain.pull.given = false;
    rl_arena_init(&a->arena, &memory, 0);
    rl_arena_init(&a->work, &memory, 0);
    rl_arena_init(&a->scratch, &memory, 0);
    a->vehicle = (rl_drawn){.context = context, .model = &a->plain};
    rl_arena_init(&a->vehicle.scratch, &memory, 0);
    rl_status status = make_report(a, draws, seed);
    rl_arena_free(&a->vehicle.scratch);
    rl_arena_free(&a->scratch);
    rl_arena_free(&a->work);
    rl_case_free(a->drawn);
    rl_case_free(a->kase);
    a->drawn = a->kase = NULL;
    if (status != RL_OK) {
        rl_audit_free(a);
        return status;
    }
    *out = a;
    return RL_OK;
}

const rl_audit_report *rl_audit_get(const rl_audit *audit)
{
    assert(audit != NULL);
    return &audit->report;
}

void rl_audit_free(rl_audit *audit)
{
    if (audit == NULL)
        return;
    rl_allocator memory = audit->context->allocator;
    rl_arena_free(&audit->arena);
    memory.give(memory.user, audit);
}
