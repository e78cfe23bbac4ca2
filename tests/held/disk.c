/* disk.c: a context that reads from the disk.
 *
 * Invariant: nothing is handed back in case of an error; the program stops at once.
 */
#include "disk.h"

#include <stdio.h>
#include <stdlib.h>

static rl_status read_file(void *user, const char *path, char **bytes, size_t *length)
{
    (void)user;
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        return RL_MISSING;
    rl_status status = RL_REFUSED;
    if (fseek(file, 0, SEEK_END) == 0) {
        long end = ftell(file);
        rewind(file);
        *bytes = end < 0 ? NULL : malloc((size_t)end + 1);
        if (*bytes != NULL) {
            *length = fread(*bytes, 1, (size_t)end, file);
            status = RL_OK;
        }
    }
    fclose(file);
    return status;
}

static void release(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

static void say(void *user, const rl_report *report)
{
    (void)user;
    if (report->severity == RL_ERROR)
        fprintf(stderr, "%s:%zu:%zu: error: %s\n", report->path == NULL ? "?" : report->path, report->line,
                report->column, report->text);
}

void disk_must(rl_status status, const char *what)
{
    if (status == RL_OK)
        return;
    fprintf(stderr, "%s: %s\n", what, rl_status_text(status));
    exit(1);
}

rl_context *disk_context(const char *rules_folder)
{
    rl_settings settings = {.sink = {say, NULL}, .loader = {read_file, release, NULL}, .rules_folder = rules_folder};
    rl_context *context = NULL;
    disk_must(rl_context_new(&settings, &context), "context");
    return context;
}

rl_model *disk_model(rl_context *context, const char *path)
{
    rl_model *model = NULL;
    disk_must(rl_model_read(context, path, &model), path);
    return model;
}

rl_case *disk_case(rl_context *context, const rl_model *model, const char *path)
{
    rl_book *book = NULL;
    disk_must(rl_book_read(context, model, path, &book), path);
    return rl_book_case(book, 0);
}
