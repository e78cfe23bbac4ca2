/* include.c: reads a rule file with all that it includes.
 *
 * Invariant: every file is read once, and only from below two folders: that of
 * the first file and the installed rules folder.  Paths are worked out as
 * strings, component by component, before any file is asked for, so nothing
 * outside those folders is ever named to the loader.
 */
#include "lower.h"

#include "../grammar/parse.h"

#include <assert.h>
#include <string.h>

/* How many bytes of `path` name its folder, the last '/' included. */
static size_t folder_length(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == NULL ? 0 : (size_t)(slash - path) + 1;
}

/* Appends the components of `text` to the normalised path out[0, *length);
 * false if ".." climbs out.  `out` has room for both and a '/' for each. */
static bool follow(char *out, size_t *length, const char *text, size_t text_length)
{
    const char *end = text + text_length;
    while (text < end) {
        const char *slash = memchr(text, '/', (size_t)(end - text));
        size_t n = (size_t)((slash == NULL ? end : slash) - text);
        if (n == 2 && memcmp(text, "..", 2) == 0) {
            if (*length == 0)
                return false;
            do
                --*length;
            while (*length > 0 && out[*length - 1] != '/');
        } else if (n > 0 && !(n == 1 && text[0] == '.')) {
            memcpy(out + *length, text, n);
            *length += n;
            out[(*length)++] = '/';
        }
        text += slash == NULL ? n : n + 1;
    }
    return true;
}

/* `text` as seen from the folder of `inside`, normalised; NULL if that is no
 * path below the top. */
static const char *path_below(rl_arena *arena, const char *inside, const char *text)
{
    size_t folder = folder_length(inside), n = strlen(text), length = 0;
    char *out = rl_arena_raw(arena, folder + n + 3);
    if (text[0] == '/' || !follow(out, &length, inside, folder) || !follow(out, &length, text, n) ||
        length == 0)
        return NULL;
    out[length - 1] = '\0';
    return out;
}

static const char *joined(rl_arena *arena, const char *top, const char *inside)
{
    rl_text text = { .arena = arena };
    rl_put(&text, top);
    rl_put(&text, inside);
    return text.bytes;
}

/* Asks the loader; the bytes are noted as lent before anything else can fail. */
static rl_status fetch(lower *l, const char *path, const char **bytes, size_t *length)
{
    const rl_loader *loader = &l->context->settings.loader;
    low_loan *loan = rl_new(l->scratch, low_loan);
    rl_status status = loader->read(loader->user, path, &loan->bytes, length);
    if (status == RL_MEMORY)
        longjmp(*l->scratch->bail, 1);
    if (status != RL_OK)
        return status;
    loan->next = *l->loans;
    *l->loans = loan;
    *bytes = loan->bytes;
    return RL_OK;
}

static int add_file(lower *l, const char *top, const char *inside)
{
    if (l->files == l->file_room) {
        int room = l->file_room == 0 ? 8 : 2 * l->file_room;
        low_file *file = rl_many(l->scratch, room, low_file);
        if (l->files > 0)
            memcpy(file, l->file, (size_t)l->files * sizeof *file);
        l->file = file;
        l->file_room = room;
    }
    l->file[l->files] = (low_file){ .path = joined(l->scratch, top, inside), .inside = inside, .top = top };
    l->file[l->files].reach = rl_many(l->scratch, LOW_MAX_FILES / 64, uint64_t);
    return l->files++;
}

static int file_called(const lower *l, const char *path)
{
    for (int i = 0; i < l->files; i++)
        if (strcmp(l->file[i].path, path) == 0)
            return i;
    return -1;
}

static void add_item(lower *l, const ast_stmt *stmt, int file)
{
    if (l->items == l->item_room) {
        int room = l->item_room == 0 ? 256 : 2 * l->item_room;
        low_stmt *item = rl_many(l->scratch, room, low_stmt);
        if (l->items > 0)
            memcpy(item, l->item, (size_t)l->items * sizeof *item);
        l->item = item;
        l->item_room = room;
    }
    l->item[l->items++] = (low_stmt){ stmt, file, -1 };
}

/* "a -> b -> a": the files being read, from `target` on, and it again. */
static const char *cycle_text(const lower *l, int target)
{
    rl_text text = { .arena = l->scratch };
    for (int i = target; i < l->files; i++) {
        if (!l->file[i].open)
            continue;
        rl_put(&text, l->file[i].path);
        rl_put(&text, " -> ");
    }
    rl_put(&text, l->file[target].path);
    return text.bytes;
}

static void enter(lower *l, int file, const char *bytes, size_t length, int depth);

/* Whether reading on is pointless: enough errors, or too much to read; that was said. */
static bool no_more(const lower *l)
{
    return rl_diag_full(l->diag) || l->full;
}

/* Whether one more file may be read; says why not. */
static bool room_for_file(lower *l, const ast_stmt *stmt, int depth)
{
    rl_text limit = { .arena = l->scratch };
    rl_put_count(&limit, depth >= LOW_MAX_DEPTH ? LOW_MAX_DEPTH : LOW_MAX_FILES);
    if (depth >= LOW_MAX_DEPTH)
        rl_say(l->diag, stmt->span, RL_MSG_INCLUDE_DEPTH, limit.bytes, NULL, NULL);
    else if (l->files >= LOW_MAX_FILES)
        rl_say(l->diag, stmt->span, RL_MSG_INCLUDE_FILES, limit.bytes, NULL, NULL);
    else
        return true;
    l->unread = true;
    return false;
}

/* The file `inside` below `top`, read now unless it was before; -1 if there is
 * none (*status says why), or it may not be read (said; *status RL_OK). */
static int try_file(lower *l, const ast_stmt *stmt, const char *top, const char *inside, int depth,
                    rl_status *status)
{
    *status = RL_OK;
    const char *path = joined(l->scratch, top, inside);
    int file = file_called(l, path);
    if (file >= 0 && l->file[file].open) {
        rl_say(l->diag, stmt->span, RL_MSG_INCLUDE_CYCLE, cycle_text(l, file), NULL, NULL);
        return -1;
    }
    if (file >= 0 || !room_for_file(l, stmt, depth))
        return file;
    const char *bytes = NULL;
    size_t length = 0;
    *status = fetch(l, path, &bytes, &length);
    if (*status != RL_OK)
        return -1;
    file = add_file(l, top, inside);
    enter(l, file, bytes, length, depth + 1);
    return file;
}

/* The rules folder as a top, with its '/'; NULL if there is none. */
static const char *rules_top(const lower *l)
{
    const char *folder = l->context->rules_folder;
    if (folder == NULL || folder[0] == '\0')
        return NULL;
    return joined(l->scratch, folder, folder[strlen(folder) - 1] == '/' ? "" : "/");
}

static void include(lower *l, int outer, const ast_stmt *stmt, int depth)
{
    const char *inside = path_below(l->scratch, l->file[outer].inside, stmt->text);
    if (inside == NULL) {
        rl_say(l->diag, stmt->span, RL_MSG_INCLUDE_CLIMBS, stmt->text, NULL, NULL);
        l->unread = true;
        return;
    }
    rl_status status;
    int file = try_file(l, stmt, l->file[outer].top, inside, depth, &status);
    const char *top = rules_top(l), *trade = path_below(l->scratch, "", stmt->text);
    if (status == RL_MISSING && top != NULL && trade != NULL)
        file = try_file(l, stmt, top, trade, depth, &status);
    if (status != RL_OK) {
        rl_message id = status == RL_MISSING ? RL_MSG_INCLUDE_MISSING
                        : status == RL_FOLDER ? RL_MSG_INCLUDE_FOLDER : RL_MSG_INCLUDE_REFUSED;
        rl_say(l->diag, stmt->span, id, stmt->text, NULL, NULL);
        l->unread = true;
    }
    if (file < 0)
        return;
    uint64_t *reach = l->file[outer].reach;
    reach[file / 64] |= (uint64_t)1 << (file % 64);
    for (int i = 0; i < LOW_MAX_FILES / 64; i++)
        reach[i] |= l->file[file].reach[i];
}

/* Parses a file and goes through its statements. */
static void enter(lower *l, int file, const char *bytes, size_t length, int depth)
{
    assert(depth <= LOW_MAX_DEPTH);
    uint32_t source = rl_diag_source(l->diag, l->file[file].path, bytes, length);
    size_t most = l->context->settings.reading_bound > 0 ? l->context->settings.reading_bound : AST_MAX_MEMORY;
    ast_file *tree = rl_parse_within(l->scratch, l->diag, source, most);
    l->file[file].tree = tree;
    l->file[file].open = true;
    l->damaged = l->damaged || tree->damaged;
    l->unread = l->unread || tree->refused;
    l->full = l->full || (tree->refused && l->scratch->used > most);
    for (const ast_stmt *s = tree->first; s != NULL && !no_more(l); s = s->next) {
        if (s->sort == AST_INCLUDE)
            include(l, file, s, depth);
        else
            add_item(l, s, file);
    }
    l->file[file].open = false;
}

bool low_read(lower *l, const char *path)
{
    const char *bytes = NULL;
    size_t length = 0, folder = folder_length(path);
    rl_status status = fetch(l, path, &bytes, &length);
    if (status != RL_OK) {
        rl_span start = { rl_diag_source(l->diag, path, "", 0), 0, 0, 1, 1 };
        rl_message id = status == RL_MISSING ? RL_MSG_FILE_MISSING
                        : status == RL_FOLDER ? RL_MSG_FILE_FOLDER : RL_MSG_FILE_REFUSED;
        rl_say(l->diag, start, id, path, NULL, NULL);
        return false;
    }
    const char *top = rl_arena_copy(l->scratch, path, folder);
    enter(l, add_file(l, top, path + folder), bytes, length, 0);
    return !l->full;
}

bool low_includes(const lower *l, int outer, int inner)
{
    return (l->file[outer].reach[inner / 64] >> (inner % 64) & 1) != 0;
}
