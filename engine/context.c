/* context.c: where memory, files and messages come from; status names.
 *
 * Invariant: a context is never changed once made, so threads may share it.
 */
#include "model.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

static void *take_plain(void *user, size_t size)
{
    (void)user;
    return malloc(size);
}

static void give_plain(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static rl_allocator allocator_of(const rl_settings *settings)
{
    if (settings->take == NULL)
        return (rl_allocator){ take_plain, give_plain, NULL };
    return (rl_allocator){ settings->take, settings->give, settings->memory_user };
}

rl_status rl_context_new(const rl_settings *settings, rl_context **out)
{
    *out = NULL;
    if ((settings->take == NULL) != (settings->give == NULL))
        return RL_USAGE;
    rl_allocator a = allocator_of(settings);
    rl_context *context = a.take(a.user, sizeof *context);
    if (context == NULL)
        return RL_MEMORY;
    *context = (rl_context){ .settings = *settings, .allocator = a };
    if (settings->rules_folder != NULL) {
        size_t size = strlen(settings->rules_folder) + 1;
        context->rules_folder = a.take(a.user, size);
        if (context->rules_folder == NULL) {
            a.give(a.user, context);
            return RL_MEMORY;
        }
        memcpy(context->rules_folder, settings->rules_folder, size);
    }
    context->settings.rules_folder = context->rules_folder;
    *out = context;
    return RL_OK;
}

void rl_context_free(rl_context *context)
{
    if (context == NULL)
        return;
    rl_allocator a = context->allocator;
    assert(a.give != NULL);
    if (context->rules_folder != NULL)
        a.give(a.user, context->rules_folder);
    a.give(a.user, context);
}

const char *rl_status_text(rl_status status)
{
    switch (status) {
    case RL_OK: return "done";
    case RL_INPUT: return "the input is at fault";
    case RL_CONTRADICTION: return "the findings contradict each other";
    case RL_MISSING: return "there is no such file";
    case RL_REFUSED: return "the file cannot be read";
    case RL_MEMORY: return "out of memory";
    case RL_WIDE: return "the answer would need more memory than the bound allows";
    case RL_USAGE: return "the library was called wrongly";
    case RL_FOLDER: return "this is a folder, not a file";
    }
    return "unknown status";
}
