/* held.c: rule and case files held in memory, and an allocator that counts.
 *
 * Invariant: `out` is the number of pieces that the library has and has not
 * given back; the loader's copies are counted as well.
 */
#include "held.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *take(void *user, size_t size)
{
    held *shelf = user;
    size_t call = ++shelf->asked;
    if (shelf->fail_at != 0 && (call == shelf->fail_at || (shelf->fail_on && call > shelf->fail_at))) {
        shelf->failed = true;
        return NULL;
    }
    void *piece = malloc(size);
    if (piece != NULL)
        shelf->out++;
    return piece;
}

static void give(void *user, void *piece)
{
    held *shelf = user;
    size_t before = shelf->out--;
    assert(piece != NULL && before > 0);
    (void)before;
    free(piece);
}

static rl_status read_held(void *user, const char *path, char **bytes, size_t *length)
{
    held *shelf = user;
    for (size_t i = 0; i < shelf->files; i++) {
        const held_file *file = &shelf->file[i];
        if (strcmp(file->path, path) != 0)
            continue;
        char *copy = take(shelf, file->length > 0 ? file->length : 1);
        if (copy == NULL)
            return RL_MEMORY;
        if (file->length > 0)
            memcpy(copy, file->text, file->length);
        *bytes = copy;
        *length = file->length;
        return RL_OK;
    }
    return RL_MISSING;
}

static void release(void *user, char *bytes)
{
    give(user, bytes);
}

static void hear(void *user, const rl_report *report)
{
    held *shelf = user;
    if (report->severity == RL_WARNING)
        shelf->warnings++;
    if (report->severity != RL_ERROR)
        return;
    if (shelf->errors++ == 0)
        snprintf(shelf->first_error, sizeof shelf->first_error, "%s:%zu:%zu: %s",
                 report->path == NULL ? "?" : report->path, report->line, report->column, report->text);
}

void held_put(held *shelf, const char *path, const char *text, size_t length)
{
    assert(shelf->files < HELD_FILES);
    shelf->file[shelf->files++] = (held_file){path, text, length};
}

void held_put_text(held *shelf, const char *path, const char *text)
{
    held_put(shelf, path, text, strlen(text));
}

rl_context *held_context(held *shelf, size_t memory_bound)
{
    rl_settings settings = {
        .take = take, .give = give, .memory_user = shelf,
        .sink = {hear, shelf}, .loader = {read_held, release, shelf},
        .memory_bound = memory_bound,
        .reading_bound = shelf->reading_bound,
    };
    rl_context *context = NULL;
    rl_status status = rl_context_new(&settings, &context);
    assert(status == RL_OK ? context != NULL : context == NULL);
    return status == RL_OK ? context : NULL;
}

static _Noreturn void give_up(const char *what, const char *why)
{
    fprintf(stderr, "%s: %s\n", what, why);
    abort();
}

rl_model *held_model(held *shelf, rl_context *context)
{
    rl_model *model = NULL;
    rl_status status = rl_model_read(context, "v.gnd", &model);
    if (status != RL_OK)
        give_up(rl_status_text(status), shelf->first_error);
    return model;
}

void held_say(rl_case *c, const char *text)
{
    while (*text != '\0') {
        size_t length = strcspn(text, "\n");
        if (length > 0 && rl_case_add(c, text, length, "said", 1) != RL_OK)
            give_up("not accepted", text);
        text += length + (text[length] == '\n');
    }
}

rl_case *held_case(rl_context *context, const rl_model *model, const char *text)
{
    rl_case *c = NULL;
    if (rl_case_new(context, model, "held", &c) != RL_OK)
        give_up("no case", text);
    held_say(c, text);
    return c;
}

size_t held_element(const rl_model *model, const char *id)
{
    int element = rl_model_find(model, id);
    if (element < 0)
        give_up("no element", id);
    return (size_t)element;
}

double held_fault(const rl_answer *answer, size_t element)
{
    return 1 - answer->belief[element].p[RL_SOUND];
}

const rl_test *held_test(const rl_test *tests, size_t count, const char *text)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(tests[i].text, text) == 0)
            return &tests[i];
    return NULL;
}
