/* book.c: the cases of a file.
 *
 * Invariant: one bad case does not touch the others.  A statement that the
 * parser dropped damages the case it stood in, and if it was a `case` or an
 * `occasion` line, what follows it goes to a case or an occasion of its own
 * and never to the one before.
 */
#include "evidence.h"

#include "../grammar/parse.h"

#include <assert.h>
#include <string.h>

enum { MOST_LINES = 100000 };   /* of a case */

/* A statement that the parser dropped. */
typedef struct dropped {
    uint32_t line;             /* where it begins */
    ast_sort sort;             /* AST_CASE, AST_OCCASION; anything else: AST_SEEN */
    struct dropped *next;
} dropped;

/* One reading of a case file. */
typedef struct reading {
    rl_context *context;
    const rl_model *model;
    const char *path;
    rl_book *book;
    int room;                  /* of book->kase */
    rl_case *c;                /* the case at hand; NULL: none yet */
    bool skip;                 /* its lines are not looked at */
    bool own;                  /* cases of other vehicles are passed over */
    bool passing;              /* such a one is at hand */
    bool cut;                  /* the text was too much already, which was said */
    bool full;                 /* the cases took too much memory: nothing more is looked at */
    size_t lines;              /* of the case at hand */
    size_t used;               /* bytes of the cases before it */
    bool homeless, ruled;      /* a line, a rule before the first case was said already */
    rl_arena scratch;
    rl_diag diag;
    rl_sink sink;              /* notes which statements were dropped */
    dropped *first, **last;
    size_t offset;             /* where the search for their beginnings stands */
    uint32_t line, start_line; /* its line, and that of the last beginning */
    size_t start;
    char *bytes;
    jmp_buf *bail;
    rl_status status;
} reading;

/* ---- what the parser dropped ---- */

static bool begins(const rl_source *source, size_t at, const char *word)
{
    size_t length = strlen(word);
    if (source->length - at < length || memcmp(source->text + at, word, length) != 0)
        return false;
    return source->length - at == length || strchr(" \t\r\n\"#", source->text[at + length]) != NULL;
}

/* Finds the beginning of the statement that line `line` is of: the last line
 * so far whose first column holds something. */
static void find_start(reading *r, const rl_source *source, size_t line)
{
    while (r->offset < source->length && r->line <= line) {
        const char *at = source->text + r->offset;
        if (strchr(" \t\r\n#", *at) == NULL) {
            r->start = r->offset;
            r->start_line = r->line;
        }
        const char *end = memchr(at, '\n', source->length - r->offset);
        r->offset = end == NULL ? source->length : (size_t)(end + 1 - source->text);
        r->line++;
    }
}

static void say_noted(void *user, const rl_report *report)
{
    reading *r = user;
    const rl_sink *sink = &r->context->settings.sink;
    if (sink->say != NULL)
        sink->say(sink->user, report);
    if (r->last == NULL || report->severity != RL_ERROR)
        return;
    const rl_source *source = &r->diag.sources[0];
    find_start(r, source, report->line);
    dropped *d = rl_new(&r->book->arena, dropped);   /* scratch is rewound behind a message */
    d->line = r->start_line;
    d->sort = begins(source, r->start, "case")       ? AST_CASE
              : begins(source, r->start, "occasion") ? AST_OCCASION
                                                     : AST_SEEN;
    *r->last = d;
    r->last = &d->next;
}

/* ---- cases ---- */

static void begin_case(reading *r)
{
    rl_book *book = r->book;
    if (book->cases == r->room) {
        int room = r->room > 0 ? 2 * r->room : 16;
        rl_case **kase = rl_many(&book->arena, room, rl_case *);
        if (book->cases > 0)
            memcpy(kase, book->kase, (size_t)book->cases * sizeof *kase);
        book->kase = kase;
        r->room = room;
    }
    assert(r->bail != NULL);
    if (r->c != NULL) {
        r->c->arena.bail = NULL;
        r->used += r->c->arena.used;
    }
    rl_case *c = rl_new(&book->arena, rl_case);
    ev_case_init(c, r->context, r->model);
    c->arena.bail = r->bail;
    book->kase[book->cases++] = r->c = c;
    r->skip = r->passing = false;
    r->lines = 0;
}

/* What comes after a lost `occasion` line was not seen in the occasion before. */
static void lose_occasion(reading *r)
{
    r->c->damaged = true;
    if (!ev_placeholder(r->c))
        r->skip = true;
}

/* Bytes that all cases of a file may take. */
static size_t most_memory(const reading *r)
{
    size_t bound = r->context->settings.reading_bound;
    return bound > 0 ? bound : AST_MAX_MEMORY;
}

/* False, said once, where the file is too much. */
static bool in_bounds(reading *r, const ast_stmt *stmt)
{
    if (r->full)
        return false;
    if (r->used + r->book->arena.used + (r->c != NULL ? r->c->arena.used : 0) > most_memory(r)) {
        if (!r->cut)
            rl_say(&r->diag, stmt->span, RL_MSG_CASES_MUCH, NULL, NULL, NULL);
        r->full = true;
    } else if (r->c != NULL && !r->skip && !r->passing && stmt->sort != AST_CASE && r->lines++ == MOST_LINES) {
        rl_say(&r->diag, stmt->span, RL_MSG_CASE_LINES, NULL, NULL, NULL);
        r->skip = true;
    } else {
        return true;
    }
    r->status = RL_INPUT;
    if (r->c != NULL)
        r->c->damaged = true;
    return false;
}

static void take_dropped(reading *r, const dropped *d)
{
    r->status = RL_INPUT;
    if (r->full)
        return;
    if (d->sort == AST_CASE)
        begin_case(r);
    if (r->c == NULL || r->passing)
        return;
    r->c->damaged = true;
    if (d->sort == AST_OCCASION && !r->skip)
        lose_occasion(r);
}

static void take_outside(reading *r, const ast_stmt *stmt)
{
    if (stmt->sort == AST_LANGUAGE)
        return;
    bool rule = stmt->sort < AST_CASE;
    if (rule ? !r->ruled : !r->homeless)
        rl_say(&r->diag, stmt->span, rule ? RL_MSG_EV_RULE_IN_CASE : RL_MSG_EV_NO_CASE, NULL, NULL, NULL);
    r->homeless = r->homeless || !rule;
    r->ruled = r->ruled || rule;
    r->status = RL_INPUT;
}

/* Whether the statement is, or belongs to, a case of another vehicle that is passed over. */
static bool passes(reading *r, const ast_stmt *stmt)
{
    if (stmt->sort == AST_CASE) {
        r->passing = r->own && strcmp(stmt->name->text, r->model->vehicle.id) != 0;
        r->book->passed += r->passing;
    }
    return r->passing;
}

static void take(reading *r, const ast_stmt *stmt)
{
    if (passes(r, stmt) || !in_bounds(r, stmt))
        return;
    if (stmt->sort == AST_CASE) {
        begin_case(r);
        ev_name_case(r->c, stmt);
        r->skip = r->c->damaged = !ev_fits(&r->diag, r->model, stmt);
    } else if (r->c == NULL) {
        take_outside(r, stmt);
    } else if (!r->skip && !rl_lower_line(r->c, &r->diag, stmt)) {
        r->c->damaged = true;
        if (stmt->sort == AST_OCCASION)
            lose_occasion(r);
    }
    if (r->c != NULL && r->c->damaged)
        r->status = RL_INPUT;
}

/* Returns the first that is not before the line; several faults of one statement drop it once. */
static const dropped *take_dropped_before(reading *r, const dropped *d, uint32_t line)
{
    for (uint32_t last = 0; d != NULL && d->line < line; d = d->next) {
        if (d->line != last)
            take_dropped(r, d);
        last = d->line;
    }
    return d;
}

static void take_all(reading *r, const ast_file *file)
{
    bool cut_short = rl_diag_full(&r->diag);   /* what was dropped after that is not known */
    const dropped *d = r->first;
    for (const ast_stmt *stmt = file->first; stmt != NULL; stmt = stmt->next) {
        d = take_dropped_before(r, d, stmt->span.line);
        if (d == NULL && cut_short)
            return;
        take(r, stmt);
        /* What the parser found fault with and did not drop. */
        for (; d != NULL && d->line == stmt->span.line; d = d->next)
            if (r->c != NULL && !r->passing)
                r->c->damaged = true;
    }
    take_dropped_before(r, d, UINT32_MAX);
}

/* ---- the file ---- */

static void say_unread(reading *r, rl_status status)
{
    rl_span start = { rl_diag_source(&r->diag, r->path, "", 0), 0, 0, 1, 1 };
    rl_message id = status == RL_MISSING ? RL_MSG_FILE_MISSING
                    : status == RL_FOLDER ? RL_MSG_FILE_FOLDER : RL_MSG_FILE_REFUSED;
    rl_say(&r->diag, start, id, r->path, NULL, NULL);
    r->status = RL_INPUT;
}

/* Sets bytes, or status. */
static bool fetch(reading *r, size_t *length)
{
    const rl_loader *loader = &r->context->settings.loader;
    rl_status status = loader->read(loader->user, r->path, &r->bytes, length);
    if (status == RL_OK)
        return true;
    r->bytes = NULL;
    if (status == RL_MEMORY)
        r->status = RL_MEMORY;
    else
        say_unread(r, status);
    return false;
}

static bool read_guarded(reading *r)
{
    jmp_buf here;
    size_t length = 0;
    if (setjmp(here) != 0)
        return false;
    r->bail = r->book->arena.bail = r->scratch.bail = &here;
    if (!fetch(r, &length))
        return r->status != RL_MEMORY;
    uint32_t source = rl_diag_source(&r->diag, r->path, r->bytes, length);
    assert(source == 0);
    r->last = &r->first;
    const ast_file *file = rl_parse_within(&r->scratch, &r->diag, source, r->context->settings.reading_bound);
    r->last = NULL;
    r->cut = file->refused;
    r->status = file->damaged || r->diag.errors > 0 ? RL_INPUT : RL_OK;
    take_all(r, file);
    r->book->arena.bail = NULL;
    if (r->c != NULL)
        r->c->arena.bail = NULL;
    return true;
}

static rl_book *new_book(rl_context *context)
{
    rl_allocator *memory = &context->allocator;
    rl_book *book = memory->take(memory->user, sizeof *book);
    if (book == NULL)
        return NULL;
    *book = (rl_book){ 0 };
    rl_arena_init(&book->arena, memory, 0);
    return book;
}

static rl_status read_book(rl_context *context, const rl_model *model, const char *path, bool own, rl_book **out)
{
    reading r = { .context = context, .model = model, .path = path, .own = own, .line = 1, .start_line = 1 };
    *out = NULL;
    r.book = new_book(context);
    if (r.book == NULL)
        return RL_MEMORY;
    r.sink = (rl_sink){ say_noted, &r };
    rl_arena_init(&r.scratch, &context->allocator, 0);
    rl_diag_init(&r.diag, &r.scratch, &r.sink, context->settings.error_limit);
    if (!read_guarded(&r))
        r.status = RL_MEMORY;
    rl_arena_free(&r.scratch);
    bool unread = r.bytes == NULL;
    if (!unread)
        context->settings.loader.release(context->settings.loader.user, r.bytes);
    if (unread || r.status == RL_MEMORY)
        rl_book_free(r.book);
    else
        *out = r.book;
    return r.status;
}

rl_status rl_book_read(rl_context *context, const rl_model *model, const char *path, rl_book **out)
{
    return read_book(context, model, path, false, out);
}

rl_status rl_book_read_own(rl_context *context, const rl_model *model, const char *path, rl_book **out)
{
    return read_book(context, model, path, true, out);
}

size_t rl_book_passed(const rl_book *book)
{
    return book->passed;
}

void rl_book_free(rl_book *book)
{
    if (book == NULL)
        return;
    rl_allocator memory = book->arena.allocator;
    for (int i = 0; i < book->cases; i++)
        ev_case_done(book->kase[i]);
    rl_arena_free(&book->arena);
    memory.give(memory.user, book);
}

size_t rl_book_count(const rl_book *book)
{
    return (size_t)book->cases;
}

rl_case *rl_book_case(const rl_book *book, size_t index)
{
    assert(index < (size_t)book->cases);
    return book->kase[index];
}
