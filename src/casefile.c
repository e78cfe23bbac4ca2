/* casefile.c: the case of the prompt as text.  Invariant: see casefile.h. */
#include "casefile.h"

#include "files.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

static void remember(casefile *f, size_t origin)
{
    if (f->lines == f->room) {
        f->room = f->room * 2 + 16;
        f->origin = tool_grow(f->origin, f->room, sizeof *f->origin);
    }
    f->origin[f->lines++] = origin;
}

void casefile_begin(casefile *f, const rl_case *c)
{
    assert(f->lines == 0);
    for (size_t i = 0; i < rl_case_lines(c); i++)
        remember(f, rl_case_line(c, i)->line);
}

void casefile_added(casefile *f)
{
    remember(f, 0);
}

void casefile_withdrawn(casefile *f, size_t index)
{
    assert(index < f->lines);
    if (f->origin[index] > 0) {
        f->cut = tool_grow(f->cut, f->cuts + 1, sizeof *f->cut);
        f->cut[f->cuts++] = f->origin[index];
    }
    f->lines--;
    memmove(f->origin + index, f->origin + index + 1, (f->lines - index) * sizeof *f->origin);
}

void casefile_free(casefile *f)
{
    free(f->bytes);
    free(f->origin);
    free(f->cut);
    text_free(&f->written);
    *f = (casefile){ 0 };
}

static void put_string(text *out, const char *string)
{
    text_add(out, "\"");
    for (; *string != '\0'; string++)
        text_add(out, *string == '"' || *string == '\\' ? "\\%c" : "%c", *string);
    text_add(out, "\"");
}

static void put_header(text *out, const rl_model *model, const rl_case *c)
{
    text_add(out, "case ");
    put_string(out, rl_case_name(c));
    text_add(out, " on %s", rl_model_vehicle(model)->id);
    if (rl_case_label(c) != NULL) {
        text_add(out, " ");
        put_string(out, rl_case_label(c));
    }
    text_add(out, "\n");
}

void casefile_whole(text *out, const rl_model *model, const rl_case *c)
{
    put_header(out, model, c);
    for (size_t i = 0; i < rl_case_lines(c); i++)
        text_add(out, "%s\n", rl_case_line(c, i)->text);
}

static bool is_cut(const casefile *f, size_t line)
{
    for (size_t i = 0; i < f->cuts; i++)
        if (f->cut[i] == line)
            return true;
    return false;
}

/* Whether a line goes on with the statement before it: indented, and more than a comment. */
static bool goes_on(const char *line, size_t length)
{
    size_t at = 0;
    while (at < length && (line[at] == ' ' || line[at] == '\t' || line[at] == '\r'))
        at++;
    return at > 0 && at < length && line[at] != '#';
}

/* The file without the statements that were taken back. */
static void put_kept(const casefile *f, text *out)
{
    bool cutting = false;
    size_t number = 1;
    for (size_t at = 0; at < f->length; number++) {
        const char *end = memchr(f->bytes + at, '\n', f->length - at);
        size_t length = end != NULL ? (size_t)(end - f->bytes) + 1 - at : f->length - at;
        size_t shown = end != NULL ? length - 1 : length;
        bool blank = shown == 0 || f->bytes[at] == '#' || f->bytes[at] == '\r';
        bool first = !blank && f->bytes[at] != ' ' && f->bytes[at] != '\t';
        if (first)
            cutting = is_cut(f, number);
        if (!cutting || !(first || goes_on(f->bytes + at, shown)))
            text_put(out, f->bytes + at, length);
        at += length;
    }
}

void casefile_update(const casefile *f, text *out, const rl_model *model, const rl_case *c)
{
    assert(f->lines == rl_case_lines(c));
    if (f->bytes != NULL)
        put_kept(f, out);
    if (out->length > 0 && out->bytes[out->length - 1] != '\n')
        text_add(out, "\n");
    if (!f->loaded)
        put_header(out, model, c);
    for (size_t i = 0; i < f->lines; i++)
        if (f->origin[i] == 0)
            text_add(out, "%s\n", rl_case_line(c, i)->text);
}

bool casefile_unchanged(const casefile *f)
{
    assert(f->path != NULL);
    bool saved = f->written.bytes != NULL;
    const char *expected = saved ? f->written.bytes : f->bytes;
    size_t length = 0, most = saved ? f->written.length : f->length;
    char *bytes = NULL;
    rl_status status = file_read(f->path, most, &bytes, &length);
    if (status != RL_OK)
        return status == RL_MISSING && expected == NULL;
    bool same = expected != NULL && length == most && memcmp(bytes, expected, length) == 0;
    free(bytes);
    return same;
}
