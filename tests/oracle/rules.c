/* rules.c: files to one list of statements: includes read once, statements
 * that are declared again put in the first one's place, `remove` done.
 *
 * Invariant: after oc_gather the list holds each declaration once, in the
 * order in which the elements count as declared.
 */
#include "inside.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *slurp(oc_model *m, const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        return NULL;
    char *bytes = NULL;
    if (fseek(file, 0, SEEK_END) == 0) {
        long end = ftell(file);
        rewind(file);
        if (end >= 0) {
            bytes = rl_arena_get(&m->arena, (size_t)end + 1);
            *length = fread(bytes, 1, (size_t)end, file);
        }
    }
    fclose(file);
    return bytes;
}

/* The tree of a file, or NULL where it cannot be read or has errors. */
const ast_file *oc_parse(oc_model *m, const char *path)
{
    size_t length = 0;
    const char *bytes = slurp(m, path, &length);
    if (bytes == NULL)
        return NULL;
    const char *kept = rl_arena_copy(&m->arena, path, strlen(path));
    uint32_t source = rl_diag_source(&m->diag, kept, bytes, length);
    const ast_file *file = rl_parse(&m->arena, &m->diag, source);
    return file->damaged ? NULL : file;
}

static const char *beside(oc_model *m, const char *path, const char *name)
{
    const char *slash = strrchr(path, '/');
    size_t folder = slash == NULL ? 0 : (size_t)(slash - path) + 1;
    char *out = rl_arena_get(&m->arena, folder + strlen(name) + 1);
    memcpy(out, path, folder);
    strcpy(out + folder, name);
    return out;
}

/* Statements of one space with one name say the same thing again. */
static int space_of(ast_sort sort)
{
    switch (sort) {
    case AST_POINT: case AST_SPLICE: case AST_CONNECTOR: case AST_FEED: case AST_LOAD:
    case AST_SYMPTOM: case AST_INSPECTION:
        return AST_POINT;
    default:
        return (int)sort;
    }
}

static bool same_joint(const ast_stmt *a, const ast_stmt *b)
{
    return a->clauses->sort == b->clauses->sort && a->clauses->state == b->clauses->state;
}

static bool same_subject(const ast_stmt *a, const ast_stmt *b)
{
    if (space_of(a->sort) != space_of(b->sort))
        return false;
    if (a->sort == AST_JOINT)
        return same_joint(a, b);
    if (a->sort == AST_VEHICLE || a->name == NULL || b->name == NULL)
        return true;
    return strcmp(a->name->text, b->name->text) == 0;
}

static void put(oc_model *m, const ast_stmt *s)
{
    for (size_t i = 0; i < m->stmts; i++)
        if (same_subject(m->stmt[i], s)) {
            m->stmt[i] = s;
            return;
        }
    assert(m->stmts < 4096);
    m->stmt[m->stmts++] = s;
}

static void take_away(oc_model *m, const char *name)
{
    for (size_t i = 0; i < m->stmts; i++) {
        if (space_of(m->stmt[i]->sort) != AST_POINT || strcmp(m->stmt[i]->name->text, name) != 0)
            continue;
        memmove(&m->stmt[i], &m->stmt[i + 1], (m->stmts - i - 1) * sizeof *m->stmt);
        m->stmts--;
        return;
    }
}

static bool gather(oc_model *m, const char *path, int depth);

static bool seen_before(oc_model *m, const char *path)
{
    for (uint32_t i = 0; i < m->diag.source_count; i++)
        if (strcmp(m->diag.sources[i].path, path) == 0)
            return true;
    return false;
}

static bool gather_statement(oc_model *m, const char *path, const ast_stmt *s, int depth)
{
    if (s->sort == AST_INCLUDE) {
        const char *inner = beside(m, path, s->text);
        return seen_before(m, inner) || gather(m, inner, depth + 1);
    }
    if (s->sort == AST_REMOVE)
        take_away(m, s->name->text);
    else if (s->sort != AST_LANGUAGE)
        put(m, s);
    return true;
}

static bool gather(oc_model *m, const char *path, int depth)
{
    if (depth > 16)
        return false;
    const ast_file *file = oc_parse(m, path);
    if (file == NULL)
        return false;
    for (const ast_stmt *s = file->first; s != NULL; s = s->next)
        if (!gather_statement(m, path, s, depth))
            return false;
    return true;
}

/* ---- small questions ---- */

int oc_find(const oc_model *m, const char *id)
{
    for (int e = 0; e < m->elements; e++)
        if (strcmp(m->element[e].id, id) == 0)
            return e;
    return -1;
}

int oc_area_index(const oc_model *m, const char *id)
{
    for (int a = 0; a < m->areas; a++)
        if (strcmp(m->area[a].id, id) == 0)
            return a;
    return -1;
}

const ast_clause *oc_clause(const ast_stmt *s, ast_clause_sort sort)
{
    for (const ast_clause *c = s->clauses; c != NULL; c = c->next)
        if (c->sort == sort)
            return c;
    return NULL;
}

unsigned oc_forbidden(const ast_stmt *s)
{
    static const char *const word[] = {"probe", "bypass", "jumper", "swap", "disconnect"};
    unsigned out = 0;
    for (const ast_clause *c = s->clauses; c != NULL; c = c->next) {
        if (c->sort != AST_C_DONOT)
            continue;
        for (const ast_word *w = c->words; w != NULL; w = w->next)
            for (unsigned i = 0; i < 5; i++)
                if (strcmp(w->text, word[i]) == 0)
                    out |= 1u << i;
    }
    return out;
}

/* ---- public ---- */

static void deaf(void *user, const rl_report *report)
{
    (void)user;
    if (report->severity == RL_ERROR)
        fprintf(stderr, "oracle: %s:%zu:%zu: %s\n", report->path == NULL ? "?" : report->path,
                report->line, report->column, report->text);
}

static void *take(void *user, size_t size)
{
    (void)user;
    void *piece = malloc(size);
    if (piece == NULL)
        abort();
    return piece;
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

oc_model *oc_model_read(const char *path)
{
    oc_model *m = calloc(1, sizeof *m);
    if (m == NULL)
        abort();
    rl_arena_init(&m->arena, &(rl_allocator){take, give, NULL}, 0);
    m->sink = (rl_sink){deaf, NULL};
    rl_diag_init(&m->diag, &m->arena, &m->sink, 100);
    m->stmt = rl_many(&m->arena, 4096, const ast_stmt *);
    if (!gather(m, path, 0)) {
        oc_model_free(m);
        return NULL;
    }
    oc_resolve(m);
    oc_ways(m);
    return m;
}

void oc_model_free(oc_model *m)
{
    if (m == NULL)
        return;
    rl_arena_free(&m->arena);
    free(m);
}

int oc_model_elements(const oc_model *m) { return m->elements; }
const char *oc_model_id(const oc_model *m, int element) { return m->element[element].id; }
bool oc_model_is_load(const oc_model *m, int element) { return m->element[element].sort == RL_LOAD; }
