/* evidence.c: one statement of evidence becomes one line of a case.
 *
 * Invariant: a line is looked at first, as far as its errors allow, without
 * changing what the case says; only a line without errors is put in (commit),
 * and from its first store to the case on nothing can fail.
 */
#include "evidence.h"

#include "paths.h"

#include <assert.h>
#include <math.h>
#include <string.h>

void ev_fault(ev_line *l, rl_span at, rl_message id, const char *one, const char *two, const char *three)
{
    rl_say(l->diag, at, id, one, two, three);
    l->bad = true;
}

const ast_clause *ev_clause(const ast_stmt *stmt, ast_clause_sort sort)
{
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == sort)
            return c;
    return NULL;
}

enum { MOST_HINTED = 4, SHORTEST_PART = 3 };

/* `a`, `b` and 3 more */
static void put_names(rl_text *text, const char *const *name, size_t count)
{
    for (size_t i = 0; i < count && i < MOST_HINTED; i++) {
        rl_put(text, i == 0 ? "`" : i + 1 == count ? "` and `" : "`, `");
        rl_put(text, name[i]);
    }
    rl_put(text, "`");
    if (count > MOST_HINTED) {
        rl_put(text, " and ");
        rl_put_count(text, count - MOST_HINTED);
        rl_put(text, " more");
    }
}

/* What was probably meant: the nearest name, or the names that have this in them. */
const char *ev_hint(ev_line *l, const char *text, unsigned sorts)
{
    const char *held[MOST_HINTED];
    size_t count = 1;
    if (rl_diag_full(l->diag))
        return "";
    held[0] = rl_nearest_name(l->scratch, l->model, text, sorts);
    if (held[0] == NULL)
        count = strlen(text) < SHORTEST_PART ? 0 : rl_names_with(l->scratch, l->model, text, sorts, held, MOST_HINTED);
    if (count == 0)
        return "";
    rl_text hint = { .arena = l->scratch };
    rl_put(&hint, count == 1 ? "; did you mean " : "; it is part of ");
    put_names(&hint, held, count);
    rl_put(&hint, count == 1 ? "?" : "");
    return hint.bytes;
}

/* What stands in the place of a load, and the loads that return through it. */
static const char *no_load(ev_line *l, int element)
{
    const rl_model *m = l->model;
    const char *through[MOST_HINTED];
    size_t count = 0;
    bool *mark = rl_many(l->scratch, m->nodes, bool);
    rl_text hint = { .arena = l->scratch };
    rl_put(&hint, "; it is a ");
    rl_put(&hint, rl_sort_text(m->node[element].info.sort));
    for (int i = 0; i < m->nodes && !rl_diag_full(l->diag); i++) {
        if (m->node[i].info.sort != RL_LOAD)
            continue;
        memset(mark, 0, (size_t)m->nodes * sizeof *mark);
        rl_mark_returns(m, i, mark);
        if (!mark[element])
            continue;
        if (count < MOST_HINTED)
            through[count] = m->node[i].info.id;
        count++;
    }
    if (count > 0) {
        rl_put(&hint, ", on the return of ");
        put_names(&hint, through, count);
    }
    return hint.bytes;
}

int ev_load(ev_line *l, const ast_word *word)
{
    int load = rl_find_load(l->model, word->text), element = rl_find_element(l->model, word->text);
    if (load < 0)
        ev_fault(l, word->span, RL_MSG_EV_NO_LOAD, word->text,
                 element >= 0 ? no_load(l, element) : ev_hint(l, word->text, RL_NAME_LOAD), NULL);
    return load;
}

int ev_element(ev_line *l, const ast_word *word, unsigned hint)
{
    int element = rl_find_element(l->model, word->text);
    if (element < 0)
        ev_fault(l, word->span, RL_MSG_EV_NO_ELEMENT, word->text, ev_hint(l, word->text, hint), NULL);
    return element;
}

bool ev_probability(ev_line *l, const ast_number *number, double *out)
{
    bool plain = number->dimension == AST_PLAIN || number->dimension == AST_PERCENT;
    if (!plain || !(number->value >= 0 && number->value <= 1)) {
        ev_fault(l, number->span, RL_MSG_EV_PROBABILITY, number->text, NULL, NULL);
        return false;
    }
    *out = number->value;
    return true;
}

bool ev_quantity(ev_line *l, const ast_number *number, ast_dimension dimension, const char *what,
                 const char *units, double low, double high, double *out)
{
    if (number->dimension != dimension) {
        ev_fault(l, number->span, RL_MSG_EV_UNIT, what, units, number->text);
        return false;
    }
    if (!(number->value >= low && number->value <= high)) {
        ev_fault(l, number->span, RL_MSG_EV_RANGE, what, number->text, NULL);
        return false;
    }
    *out = number->value;
    return true;
}

/* ---- occasions, areas, found, expect ---- */

/* The place of an earlier line, which may have been read from another file or
 * typed long ago. */
static rl_span place_of(ev_line *l, const rl_finding *f)
{
    rl_span place = { .line = (uint32_t)f->line.line, .column = f->span.column };
    place.source = rl_diag_source(l->diag, f->line.path, "", 0);
    return place;
}

static void occasion_twice(ev_line *l)
{
    const char *name = l->stmt->name->text;
    for (int i = 0; i < l->c->findings; i++) {
        const rl_finding *f = l->c->finding[i];
        const char *id = l->c->occasion[f->occasion].id;
        if (f->sort == RL_E_OCCASION && strcmp(id, name) == 0)
            rl_say_also(l->diag, l->stmt->name->span, RL_MSG_EV_OCCASION_TWICE, name, NULL, NULL, place_of(l, f));
    }
    l->bad = true;
}

static void occasion_name(ev_line *l)
{
    const char *name = l->stmt->name->text, *label = l->stmt->label;
    for (int i = 0; i < l->c->occasions; i++)
        if (l->c->occasion[i].id != NULL && strcmp(l->c->occasion[i].id, name) == 0)
            occasion_twice(l);
    if (l->c->findings > 0 && l->c->occasions == RL_MAX_OCCASIONS)
        ev_fault(l, l->stmt->name->span, RL_MSG_EV_OCCASIONS, NULL, NULL, NULL);
    l->fresh.id = rl_arena_copy(l->arena, name, strlen(name));
    if (label != NULL)
        l->fresh.label = rl_arena_copy(l->arena, label, strlen(label));
}

static void clauses_once(ev_line *l)
{
    for (const ast_clause *c = l->stmt->clauses; c != NULL; c = c->next) {
        const ast_clause *first = ev_clause(l->stmt, c->sort);
        if (first == c)
            continue;
        rl_say_also(l->diag, c->span, RL_MSG_CLAUSE_TWICE, NULL, NULL, NULL, first->span);
        l->bad = true;
    }
}

static void occasion(ev_line *l)
{
    const ast_clause *said = ev_clause(l->stmt, AST_C_SAID), *battery = ev_clause(l->stmt, AST_C_BATTERY);
    const ast_clause *with = ev_clause(l->stmt, AST_C_WITH);
    rl_conditions conditions = { .bypass_at = -1 };
    l->fresh = (rl_occasion){ .said = 1 };
    occasion_name(l);
    clauses_once(l);
    if (said != NULL && ev_probability(l, said->number, &l->fresh.said) && l->fresh.said < 0.5)
        rl_say(l->diag, said->number->span, RL_MSG_EV_SURE_LOW, said->number->text, NULL, NULL);
    if (battery != NULL)
        ev_quantity(l, battery->number, AST_VOLT, "the battery", "V or mV", 1e-3, 1e6, &l->fresh.battery);
    if (with != NULL)
        ev_conditions(l, with, &conditions);
    l->fresh.repaired = conditions.repaired;
    l->fresh.repaired_count = conditions.repaired_count;
    l->finding->sort = RL_E_OCCASION;
    l->finding->occasion = l->c->findings == 0 ? 0 : l->c->occasions;
}

static void others(ev_line *l)
{
    const ast_word *name = l->stmt->name;
    l->finding->sort = RL_E_OTHERS;
    if (name == NULL)
        return;
    int element = ev_element(l, name, RL_NAME_JOINT | RL_NAME_WIRE);
    if (element < 0)
        return;
    rl_sort sort = l->model->node[element].info.sort;
    if (sort == RL_LOAD || sort == RL_FEED)
        ev_fault(l, name->span, RL_MSG_EV_OTHERS_SORT, rl_sort_text(sort), name->text, NULL);
    l->finding->subject = element;
}

static void opened(ev_line *l)
{
    const ast_word *name = l->stmt->name;
    l->finding->sort = RL_E_OPENED;
    l->finding->subject = rl_find_area(l->model, name->text);
    if (l->finding->subject < 0)
        ev_fault(l, name->span, RL_MSG_EV_NO_AREA, name->text, ev_hint(l, name->text, RL_NAME_AREA), NULL);
}

/* A `found` line must go together with the one before it, and so with all. */
static void found_beside(ev_line *l)
{
    const rl_finding *last = NULL;
    for (int i = l->c->findings - 1; i >= 0 && last == NULL; i--)
        if (l->c->finding[i]->sort == RL_E_FOUND && !l->c->finding[i]->line.replaced)
            last = l->c->finding[i];
    if (last == NULL)
        return;
    if ((last->subject < 0) != (l->stmt->name == NULL))
        ev_fault(l, l->stmt->span, RL_MSG_EV_FOUND_NOTHING, NULL, NULL, NULL);
    else if (last->only != l->stmt->only)
        rl_say(l->diag, l->stmt->span, RL_MSG_EV_FOUND_ONLY, NULL, NULL, NULL);
}

static rl_state state_of(ast_state state)
{
    switch (state) {
    case AST_LOOSE: return RL_LOOSE;
    case AST_CORRODED: return RL_CORRODED;
    case AST_OPEN: return RL_OPEN;
    case AST_FAILED: return RL_FAILED;
    case AST_SOUND: case AST_NO_STATE: break;
    }
    return RL_SOUND;
}

static void found(ev_line *l)
{
    rl_finding *f = l->finding;
    const ast_word *name = l->stmt->name;
    f->sort = RL_E_FOUND;
    f->only = l->stmt->only;
    found_beside(l);
    if (name == NULL)
        return;
    f->subject = ev_element(l, name, RL_NAME_ELEMENT);
    f->state = state_of(l->stmt->state);
    if (f->subject < 0 || f->state == RL_SOUND)
        return;
    bool load = l->model->node[f->subject].info.sort == RL_LOAD;
    if (load != (f->state == RL_FAILED))
        ev_fault(l, l->stmt->span, load ? RL_MSG_EV_LOAD_STATE : RL_MSG_EV_JOINT_STATE, name->text,
                 rl_state_text(f->state), NULL);
}

static void expect(ev_line *l)
{
    const ast_clause *above = ev_clause(l->stmt, AST_C_ABOVE), *below = ev_clause(l->stmt, AST_C_BELOW);
    l->finding->sort = RL_E_EXPECT;
    l->finding->subject = ev_element(l, l->stmt->name, RL_NAME_ELEMENT);
    l->finding->expect = above ? 1 : below ? -1 : 0;
    if (above || below)
        ev_probability(l, above ? above->number : below->number, &l->finding->value);
}

/* ---- from a statement to the case ---- */

static rl_line_sort public_sort(rl_evidence sort)
{
    switch (sort) {
    case RL_E_OCCASION: return RL_LINE_OCCASION;
    case RL_E_OPENED: return RL_LINE_OPENED;
    case RL_E_FOUND: return RL_LINE_FOUND;
    case RL_E_EXPECT: return RL_LINE_EXPECT;
    default: return RL_LINE_FINDING;
    }
}

static void look_at(ev_line *l)
{
    switch (l->stmt->sort) {
    case AST_OCCASION: occasion(l); break;
    case AST_SEEN: ev_seen(l); break;
    case AST_OTHERS: others(l); break;
    case AST_BACKFEED: case AST_PULL: ev_crosstalk(l); break;
    case AST_DROP: case AST_RESISTANCE: case AST_SUPPLY: case AST_CONTINUITY: ev_reading(l); break;
    case AST_OPENED: opened(l); break;
    case AST_FOUND: found(l); break;
    case AST_EXPECT: expect(l); break;
    default: ev_fault(l, l->stmt->span, RL_MSG_EV_RULE_IN_CASE, NULL, NULL, NULL);
    }
}

/* ---- which line of an observation counts: a hash table of them, the later ones winning ---- */

/* What was found holds for the whole case, everything else for its occasion. */
static int scope(const rl_finding *f)
{
    return f->sort == RL_E_FOUND ? -1 : f->occasion;
}

static bool same_observation(const rl_finding *a, const rl_finding *b)
{
    return scope(a) == scope(b) && strcmp(a->key, b->key) == 0;
}

/* The place where the observation is, or would be put: the table is never full. */
static rl_finding **place_in(rl_finding **slot, int slots, const rl_finding *f)
{
    uint32_t hash = 2166136261u ^ (uint32_t)scope(f), mask = (uint32_t)slots - 1;
    for (const char *p = f->key; *p != '\0'; p++)
        hash = (hash ^ (unsigned char)*p) * 16777619u;
    uint32_t i = (hash ^ hash >> 15) & mask;
    while (slot[i] != NULL && !same_observation(slot[i], f))
        i = (i + 1) & mask;
    return &slot[i];
}

static void fill(const rl_case *c, rl_finding **slot, int slots)
{
    memset(slot, 0, (size_t)slots * sizeof *slot);
    for (int i = 0; i < c->findings; i++)
        *place_in(slot, slots, c->finding[i]) = c->finding[i];
}

/* Room for one more line, the case's meaning unchanged. */
void ev_room(rl_case *c)
{
    if (c->findings < c->finding_room)
        return;
    int room = c->finding_room > 0 ? 2 * c->finding_room : 16;
    rl_finding **finding = rl_many(&c->arena, room, rl_finding *);
    rl_finding **slot = rl_many(&c->arena, 2 * room, rl_finding *);
    if (c->findings > 0)
        memcpy(finding, c->finding, (size_t)c->findings * sizeof *finding);
    fill(c, slot, 2 * room);
    c->finding = finding;
    c->finding_room = room;
    c->slot = slot;
}

static void commit(ev_line *l)
{
    rl_case *c = l->c;
    assert(c->findings < c->finding_room);
    rl_finding **place = place_in(c->slot, 2 * c->finding_room, l->finding), *first = *place;
    if (first != NULL) {
        rl_say_also(l->diag, l->stmt->span, RL_MSG_EV_REPLACED, l->finding->key, NULL, NULL, place_of(l, first));
        first->line.replaced = true;
    }
    *place = l->finding;
    if (l->finding->sort == RL_E_OCCASION) {
        c->occasion[l->finding->occasion] = l->fresh;
        c->occasions = l->finding->occasion + 1;
        assert(c->occasions <= RL_MAX_OCCASIONS);
    }
    c->finding[c->findings++] = l->finding;
}

static void describe(ev_line *l)
{
    rl_finding *f = l->finding;
    const char *path = l->diag->sources[l->stmt->span.source].path;
    f->line.sort = public_sort(f->sort);
    f->line.occasion = (size_t)f->occasion;
    f->line.line = l->stmt->span.line;
    f->line.path = path == NULL ? NULL : rl_arena_copy(l->arena, path, strlen(path));
    ev_write(l);
}

bool rl_lower_line(rl_case *c, rl_diag *diag, const ast_stmt *stmt)
{
    assert(stmt->sort != AST_CASE && c->occasions >= 1);
    ev_room(c);
    rl_mark before = rl_arena_mark(&c->arena);
    ev_line l = { .c = c, .model = c->model, .diag = diag, .arena = &c->arena, .scratch = diag->arena, .stmt = stmt };
    rl_finding *f = l.finding = rl_new(l.arena, rl_finding);
    f->occasion = c->occasions - 1;
    f->span = stmt->span;
    f->subject = f->other = f->named = f->from = f->to = f->with.bypass_at = -1;
    look_at(&l);
    if (l.bad) {
        rl_arena_rewind(&c->arena, before);
        return false;
    }
    describe(&l);
    commit(&l);
    return true;
}

/* ---- taking back ---- */

bool ev_placeholder(rl_case *c)
{
    if (c->findings == 0)
        return true;
    if (c->occasions == RL_MAX_OCCASIONS)
        return false;
    c->occasion[c->occasions++] = (rl_occasion){ .said = 1 };
    return true;
}

static bool occasion_is_empty(const rl_case *c, int occasion)
{
    for (int i = 0; i < c->findings; i++)
        if (c->finding[i]->occasion == occasion)
            return false;
    return true;
}

static void drop_occasion(rl_case *c, int occasion)
{
    assert(occasion < c->occasions);
    if (c->occasions == 1) {
        c->occasion[0] = (rl_occasion){ .said = 1 };
        return;
    }
    for (int i = occasion; i + 1 < c->occasions; i++)
        c->occasion[i] = c->occasion[i + 1];
    c->occasions--;
    for (int i = 0; i < c->findings; i++) {
        rl_finding *f = c->finding[i];
        if (f->occasion > occasion)
            f->line.occasion = (size_t)--f->occasion;
    }
}

void ev_withdraw(rl_case *c, int index)
{
    assert(index >= 0 && index < c->findings);
    rl_finding *gone = c->finding[index];
    c->findings--;
    memmove(&c->finding[index], &c->finding[index + 1], (size_t)(c->findings - index) * sizeof *c->finding);
    if (occasion_is_empty(c, gone->occasion) && (gone->sort == RL_E_OCCASION || c->occasion[gone->occasion].id == NULL))
        drop_occasion(c, gone->occasion);
    fill(c, c->slot, 2 * c->finding_room);
    for (int i = 0; i < c->findings; i++)
        c->finding[i]->line.replaced = *place_in(c->slot, 2 * c->finding_room, c->finding[i]) != c->finding[i];
}
