/* case.c: a case that lines are added to and taken from.
 *
 * Invariant: a public function sets the bail of every arena it uses and leaves
 * none set; after RL_INPUT or RL_MEMORY the case says what it said before.
 * Whatever changes the lines drops what was answered of them.
 */
#include "evidence.h"
#include "work.h"

#include "../grammar/parse.h"

#include <assert.h>
#include <string.h>

/* ---- cases ---- */

void ev_case_init(rl_case *c, rl_context *context, const rl_model *model)
{
    *c = (rl_case){ .context = context, .model = model, .occasions = 1, .name = "" };
    c->occasion[0].said = 1;
    rl_arena_init(&c->arena, &context->allocator, 0);
}

void ev_case_done(rl_case *c)
{
    rl_work_drop(c);
    rl_arena_free(&c->arena);
}

static const char *keep(rl_arena *arena, const char *text)
{
    return text == NULL ? NULL : rl_arena_copy(arena, text, strlen(text));
}

bool ev_fits(rl_diag *diag, const rl_model *model, const ast_stmt *stmt)
{
    if (strcmp(stmt->name->text, model->vehicle.id) == 0)
        return true;
    rl_say(diag, stmt->name->span, RL_MSG_EV_OTHER_VEHICLE, stmt->name->text, model->vehicle.id, NULL);
    return false;
}

void ev_name_case(rl_case *c, const ast_stmt *stmt)
{
    const char *name = keep(&c->arena, stmt->text), *label = keep(&c->arena, stmt->label);
    c->name = name;
    c->label = label;
}

static bool set_name(rl_case *c, const char *name)
{
    jmp_buf here;
    if (setjmp(here) != 0)
        return false;
    c->arena.bail = &here;
    c->name = keep(&c->arena, name == NULL ? "" : name);
    c->arena.bail = NULL;
    return true;
}

rl_status rl_case_new(rl_context *context, const rl_model *model, const char *name, rl_case **out)
{
    rl_allocator *memory = &context->allocator;
    rl_case *c = memory->take(memory->user, sizeof *c);
    *out = NULL;
    if (c == NULL)
        return RL_MEMORY;
    ev_case_init(c, context, model);
    if (!set_name(c, name)) {
        rl_case_free(c);
        return RL_MEMORY;
    }
    *out = c;
    return RL_OK;
}

void rl_case_free(rl_case *c)
{
    if (c == NULL)
        return;
    rl_allocator memory = c->context->allocator;
    ev_case_done(c);
    memory.give(memory.user, c);
}

void rl_case_rest(rl_case *c)
{
    rl_work_drop(c);
}

const char *rl_case_name(const rl_case *c)
{
    return c->name;
}

const char *rl_case_label(const rl_case *c)
{
    return c->label;
}

bool rl_case_damaged(const rl_case *c)
{
    return c->damaged;
}

size_t rl_case_lines(const rl_case *c)
{
    return (size_t)c->findings;
}

const rl_line *rl_case_line(const rl_case *c, size_t index)
{
    assert(index < (size_t)c->findings);
    return &c->finding[index]->line;
}

/* ---- adding and taking back ---- */

/* One call of rl_case_add: what it needs until it returns. */
typedef struct addition {
    rl_case *c;
    rl_arena scratch;
    rl_diag diag;
    rl_sink sink;              /* moves the lines of messages */
    const char *text, *path;
    size_t length, line;
    rl_mark before;
    rl_status status;
} addition;

/* The parser counts lines from 1; the caller says where the text stands. */
static void say_moved(void *user, const rl_report *report)
{
    addition *a = user;
    const rl_sink *sink = &a->c->context->settings.sink;
    rl_report moved = *report;
    if (moved.line > 0 && a->line > 0)
        moved.line += a->line - 1;
    if (sink->say != NULL)
        sink->say(sink->user, &moved);
}

static rl_status add_statement(addition *a, const ast_stmt *stmt)
{
    rl_case *c = a->c;
    if (stmt->sort == AST_CASE) {
        if (!ev_fits(&a->diag, c->model, stmt))
            return RL_INPUT;
        ev_name_case(c, stmt);
        return RL_OK;
    }
    if (!rl_lower_line(c, &a->diag, stmt))
        return RL_INPUT;
    rl_line *line = &c->finding[c->findings - 1]->line;
    line->line += a->line > 0 ? a->line - 1 : 0;
    rl_work_outdate(c);
    return RL_OK;
}

/* False: memory ran out. */
static bool add_guarded(addition *a)
{
    jmp_buf here;
    if (setjmp(here) != 0)
        return false;
    assert(a->c->arena.bail == NULL);   /* no call is inside another of the same case */
    a->c->arena.bail = a->scratch.bail = &here;
    ev_room(a->c);
    a->before = rl_arena_mark(&a->c->arena);
    uint32_t source = rl_diag_source(&a->diag, a->path, a->text, a->length);
    const ast_file *file = rl_parse(&a->scratch, &a->diag, source);
    a->status = RL_OK;
    if (file->damaged || a->diag.errors > 0)
        a->status = RL_INPUT;
    else if (file->count > 1) {
        rl_say(&a->diag, file->first->next->span, RL_MSG_EV_ONE_LINE, NULL, NULL, NULL);
        a->status = RL_INPUT;
    } else if (file->first != NULL)
        a->status = add_statement(a, file->first);
    return true;
}

rl_status rl_case_add(rl_case *c, const char *text, size_t length, const char *path, size_t line)
{
    addition a = { .c = c, .text = text, .path = path, .length = length, .line = line };
    a.before = rl_arena_mark(&c->arena);
    a.sink = (rl_sink){ say_moved, &a };
    rl_arena_init(&a.scratch, &c->context->allocator, 0);
    rl_diag_init(&a.diag, &a.scratch, &a.sink, c->context->settings.error_limit);
    if (!add_guarded(&a)) {
        rl_arena_rewind(&c->arena, a.before);
        a.status = RL_MEMORY;
    }
    rl_arena_free(&a.scratch);
    c->arena.bail = NULL;
    return a.status;
}

rl_status rl_case_withdraw(rl_case *c, size_t index)
{
    if (index >= (size_t)c->findings)
        return RL_USAGE;
    const rl_finding *gone = c->finding[index];
    for (int i = 0; i < c->findings && gone->sort == RL_E_OCCASION; i++)
        if (c->finding[i] != gone && c->finding[i]->occasion == gone->occasion)
            return RL_USAGE;
    ev_withdraw(c, (int)index);
    rl_work_drop(c);
    return RL_OK;
}

/* ---- what was found ---- */

static rl_fault *collect_found(rl_case *c, size_t *count, bool *only)
{
    rl_fault *fault = rl_many(&c->arena, c->findings, rl_fault);
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->sort != RL_E_FOUND || f->line.replaced)
            continue;
        *only = *only || f->only || f->subject < 0;
        if (f->subject >= 0)
            fault[(*count)++] = (rl_fault){ (size_t)f->subject, f->state };
    }
    return fault;
}

rl_status rl_case_found(rl_case *c, const rl_fault **out, size_t *count, bool *only)
{
    jmp_buf here;
    *out = NULL;
    *count = 0;
    *only = false;
    if (setjmp(here) != 0) {
        c->arena.bail = NULL;
        return RL_MEMORY;
    }
    c->arena.bail = &here;
    *out = collect_found(c, count, only);
    c->arena.bail = NULL;
    return RL_OK;
}

