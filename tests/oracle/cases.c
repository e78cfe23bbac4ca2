/* cases.c: statements of evidence to findings.
 *
 * Invariant: each finding carries the weight of every outcome (or a quantity),
 * with `sure` and `said` applied; `others` lines have become one finding for
 * each load that they reach; what a later line replaces is marked.
 */
#include "inside.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

enum { KEY = 512, MOST_FINDINGS = 256 };

/* ---- keys: the canonical line up to the outcome ---- */

static void add(char *key, const char *before, const char *text)
{
    assert(strlen(key) + strlen(before) + strlen(text) + 1 < KEY);
    strcat(key, before);
    strcat(key, text);
}

static void add_conditions(const oc_model *m, const oc_watch *w, char *key)
{
    const char *glue = " with ";
    if (w->bypass) {
        add(key, glue, "bypass");
        glue = " and ";
    }
    for (int e = 0; w->bypass_at != NULL && e < m->elements; e++)
        if (w->bypass_at[e]) {
            add(key, glue, "bypass at ");
            add(key, "", m->element[e].id);
            glue = " and ";
        }
    for (int e = 0; w->repaired != NULL && e < m->elements; e++)
        if (w->repaired[e]) {
            add(key, glue, "repaired ");
            add(key, "", m->element[e].id);
            glue = " and ";
        }
    if (w->swap) {
        add(key, glue, "swap");
        glue = " and ";
    }
    if (w->jumper)
        add(key, glue, "jumper");
}

static void add_also(const oc_model *m, const oc_watch *w, char *key)
{
    const char *glue = " also ";
    for (int e = 0; w->also != NULL && e < m->elements; e++)
        if (w->also[e]) {
            add(key, glue, m->element[e].id);
            glue = ", ";
        }
}

static const char *first_word(const oc_model *m, const oc_watch *w)
{
    switch (w->sort) {
    case OC_INSPECTION: return m->inspection[w->named].id;
    case OC_SYMPTOM: return m->symptom[w->named].id;
    case OC_BACKFEED: return "backfeed";
    case OC_PULL: return "pull";
    case OC_DROP: return "drop";
    case OC_RESISTANCE: return "resistance";
    case OC_CONTINUITY: return "continuity";
    case OC_SUPPLY: return "supply";
    default: return "";
    }
}

const char *oc_key(oc_model *m, const oc_watch *w)
{
    char key[KEY] = "";
    add(key, "", first_word(m, w));
    if (w->subject >= 0)
        add(key, key[0] == '\0' ? "" : " ", m->element[w->subject].id);
    if (w->other >= 0)
        add(key, " to ", m->element[w->other].id);
    if (w->from >= 0)
        add(key, " from ", m->element[w->from].id);
    if (w->to >= 0)
        add(key, " to ", m->element[w->to].id);
    add_also(m, w, key);
    add_conditions(m, w, key);
    return rl_arena_copy(&m->arena, key, strlen(key));
}

/* ---- one statement ---- */

static int must_find(const oc_model *m, const ast_word *word)
{
    int e = oc_find(m, word->text);
    assert(e >= 0);
    return e;
}

static void flag(oc_model *m, bool **set, const ast_word *element)
{
    if (*set == NULL)
        *set = rl_many(&m->arena, m->elements, bool);
    (*set)[must_find(m, element)] = true;
}

static void condition(oc_model *m, oc_watch *w, const ast_condition *k)
{
    switch (k->sort) {
    case AST_BYPASS: w->bypass = true; break;
    case AST_SWAP: w->swap = true; break;
    case AST_JUMPER: w->jumper = true; break;
    case AST_BYPASS_AT: flag(m, &w->bypass_at, k->element); break;
    case AST_REPAIRED: flag(m, &w->repaired, k->element); break;
    }
}

static void conditions(oc_model *m, oc_watch *w, const ast_stmt *s)
{
    const ast_clause *c = oc_clause(s, AST_C_WITH);
    for (const ast_condition *k = c == NULL ? NULL : c->conditions; k != NULL; k = k->next)
        condition(m, w, k);
}

static bool chosen(const ast_stmt *s, const char *outcome)
{
    bool in = false;
    for (const ast_word *o = s->outcomes; o != NULL; o = o->next)
        in = in || strcmp(o->text, outcome) == 0;
    return in != s->negated;
}

static void weigh(const oc_case *c, oc_finding *f, const ast_stmt *s, int count, const char *const *name)
{
    const ast_clause *sure = oc_clause(s, AST_C_SURE);
    double p = sure != NULL ? sure->number->value : c->occasion[f->watch.occasion].said;
    for (int i = 0; i < count; i++)
        f->weight[i] = chosen(s, name[i]) ? p : 1 - p;
    f->names_first = chosen(s, name[0]);
}

static const char *const presence[] = {"absent", "present"}, *const beep[] = {"silent", "beeps"};

static int symptom_named(const oc_model *m, const char *id)
{
    for (int i = 0; i < m->symptoms; i++)
        if (strcmp(m->symptom[i].id, id) == 0)
            return i;
    return -1;
}

static int inspection_named(const oc_model *m, const char *id)
{
    for (int i = 0; i < m->inspections; i++)
        if (strcmp(m->inspection[i].id, id) == 0)
            return i;
    return -1;
}

static void read_seen(oc_case *c, oc_finding *f, const ast_stmt *s)
{
    oc_model *m = c->model;
    oc_watch *w = &f->watch;
    w->named = s->name2 != NULL ? inspection_named(m, s->name->text) : symptom_named(m, s->name->text);
    if (s->name2 != NULL) {
        const oc_inspection *look = &m->inspection[w->named];
        w->sort = OC_INSPECTION;
        w->subject = must_find(m, s->name2);
        weigh(c, f, s, look->outcomes, look->outcome);
    } else if (w->named >= 0) {
        w->sort = OC_SYMPTOM;
        weigh(c, f, s, 2, presence);
    } else {
        w->sort = OC_BEHAVIOUR;
        w->subject = must_find(m, s->name);
        conditions(m, w, s);
        f->plain = oc_clause(s, AST_C_WITH) == NULL;
        const oc_kind *k = &m->kind[m->element[w->subject].kind];
        weigh(c, f, s, k->levels, k->level);
    }
}

static void read_pair(oc_case *c, oc_finding *f, const ast_stmt *s)
{
    f->watch.sort = s->sort == AST_BACKFEED ? OC_BACKFEED : OC_PULL;
    f->watch.subject = must_find(c->model, s->name);
    f->watch.other = must_find(c->model, oc_clause(s, AST_C_TO)->words);
    weigh(c, f, s, 2, presence);
}

static void read_ends(oc_model *m, oc_watch *w, const ast_stmt *s)
{
    const ast_clause *from = oc_clause(s, AST_C_FROM), *to = oc_clause(s, AST_C_TO);
    const ast_clause *also = oc_clause(s, AST_C_ALSO), *at = oc_clause(s, AST_C_AT);
    w->from = from == NULL ? -1 : must_find(m, from->words);
    w->to = to == NULL ? -1 : must_find(m, to->words);
    w->at = at == NULL ? 0 : at->number->value;
    if (also != NULL)
        w->also = rl_many(&m->arena, m->elements, bool);
    for (const ast_word *a = also == NULL ? NULL : also->words; a != NULL; a = a->next)
        w->also[must_find(m, a)] = true;
    if (w->sort == OC_SUPPLY)
        return;
    bool fits = oc_span(m, w);
    assert(fits);
    (void)fits;
    if (w->from == m->element[w->subject].wire)
        w->from = -1;
    if (w->sort != OC_DROP && w->to == w->last)
        w->to = -1;
}

static void read_reading(oc_case *c, oc_finding *f, const ast_stmt *s)
{
    oc_watch *w = &f->watch;
    w->sort = s->sort == AST_DROP ? OC_DROP : s->sort == AST_SUPPLY ? OC_SUPPLY
            : s->sort == AST_RESISTANCE ? OC_RESISTANCE : OC_CONTINUITY;
    w->subject = must_find(c->model, s->name);
    read_ends(c->model, w, s);
    if (w->sort == OC_CONTINUITY) {
        for (int i = 0; i < 2; i++)
            f->weight[i] = chosen(s, beep[i]) ? 1 : 0;
        return;
    }
    f->quantity = true;
    f->open = s->number == NULL;
    f->value = f->open ? 0 : s->number->value;
}

/* Whether the statement is a finding on one thing; `f` is filled. */
static bool read_finding(oc_case *c, oc_finding *f, const ast_stmt *s)
{
    f->line = s->span.line;
    f->watch.occasion = c->occasions - 1;
    f->watch.subject = f->watch.other = f->watch.named = -1;
    f->watch.from = f->watch.to = -1;
    switch (s->sort) {
    case AST_SEEN: read_seen(c, f, s); return true;
    case AST_BACKFEED: case AST_PULL: read_pair(c, f, s); return true;
    case AST_DROP: case AST_SUPPLY: case AST_RESISTANCE: case AST_CONTINUITY:
        read_reading(c, f, s);
        return true;
    default: return false;
    }
}

static void keep_finding(oc_case *c, oc_finding f)
{
    f.watch.key = oc_key(c->model, &f.watch);
    for (int i = 0; i < c->findings; i++) {
        oc_finding *old = &c->finding[i];
        if (old->watch.occasion == f.watch.occasion && strcmp(old->watch.key, f.watch.key) == 0)
            old->replaced = true;
    }
    assert(c->findings < MOST_FINDINGS);
    c->finding[c->findings++] = f;
}

/* ---- occasions and others ---- */

static void read_occasion(oc_case *c, const ast_stmt *s, bool fresh)
{
    if (!fresh)
        c->occasions++;
    assert(c->occasions <= OC_OCCASIONS);
    oc_occasion *o = &c->occasion[c->occasions - 1];
    const ast_clause *said = oc_clause(s, AST_C_SAID), *battery = oc_clause(s, AST_C_BATTERY);
    o->said = said == NULL ? 1 : said->number->value;
    o->battery = battery == NULL ? 0 : battery->number->value;
    oc_watch scratch = {0};
    conditions(c->model, &scratch, s);
    o->repaired = scratch.repaired;
}

static bool has_line(const oc_case *c, int occasion, int load)
{
    for (int i = 0; i < c->findings; i++) {
        const oc_watch *w = &c->finding[i].watch;
        if (w->sort == OC_BEHAVIOUR && w->occasion == occasion && w->subject == load && !c->finding[i].from_others)
            return true;
    }
    return false;
}

/* A load that two `others` lines of one occasion reach is seen once. */
static void read_others(oc_case *c, int occasion, const ast_stmt *s, bool *reached)
{
    const oc_model *m = c->model;
    int through = s->name == NULL ? -1 : must_find(m, s->name);
    for (int l = 0; l < m->elements; l++) {
        if (m->element[l].sort != RL_LOAD || reached[l] || has_line(c, occasion, l))
            continue;
        if (through >= 0 && !m->element[l].some[through])
            continue;
        reached[l] = true;
        oc_finding f = {.line = s->span.line, .from_others = true, .names_first = true, .weight = {1}};
        f.watch = (oc_watch){.sort = OC_BEHAVIOUR, .occasion = occasion, .subject = l, .other = -1,
                             .named = -1, .from = -1, .to = -1};
        f.watch.key = oc_key(c->model, &f.watch);
        assert(c->findings < MOST_FINDINGS);
        c->finding[c->findings++] = f;
    }
}

static const ast_stmt *after_case(const ast_stmt *s)
{
    do
        s = s->next;
    while (s != NULL && s->sort != AST_CASE);
    return s;
}

/* The occasion of each statement is counted again: `others` come after all lines. */
static void all_others(oc_case *c, const ast_stmt *begin, const ast_stmt *end)
{
    int occasion = 0, lines = 0;
    bool *reached = rl_many(&c->model->arena, c->model->elements, bool);
    for (const ast_stmt *s = begin->next; s != end; s = s->next, lines++) {
        if (s->sort == AST_OCCASION) {
            occasion += lines > 0;
            memset(reached, 0, (size_t)c->model->elements * sizeof *reached);
        } else if (s->sort == AST_OTHERS) {
            read_others(c, occasion, s, reached);
        }
    }
}

static oc_case *read_case(oc_model *m, const ast_stmt *begin, const ast_stmt *end)
{
    oc_case *c = rl_new(&m->arena, oc_case);
    c->model = m;
    c->name = begin->text;
    c->occasions = 1;
    c->occasion[0].said = 1;
    c->opened = rl_many(&m->arena, m->areas + 1, bool);
    c->finding = rl_many(&m->arena, MOST_FINDINGS, oc_finding);
    for (const ast_stmt *s = begin->next; s != end; s = s->next) {
        oc_finding f = {0};
        if (s->sort == AST_OCCASION)
            read_occasion(c, s, s == begin->next);
        else if (s->sort == AST_OPENED)
            c->opened[oc_area_index(m, s->name->text)] = true;
        else if (read_finding(c, &f, s))
            keep_finding(c, f);
    }
    all_others(c, begin, end);
    return c;
}

oc_case **oc_cases_read(oc_model *m, const char *path, size_t *count)
{
    const ast_file *file = oc_parse(m, path);
    *count = 0;
    if (file == NULL)
        return NULL;
    oc_case **out = rl_many(&m->arena, file->count + 1, oc_case *);
    const ast_stmt *s = file->first;
    while (s != NULL && s->sort != AST_CASE)
        s = s->next;
    while (s != NULL) {
        const ast_stmt *end = after_case(s);
        out[(*count)++] = read_case(m, s, end);
        s = end;
    }
    return out;
}

const char *oc_case_name(const oc_case *c) { return c->name; }
