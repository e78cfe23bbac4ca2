/* names.c: statements to tables: classes, kinds, elements, signs, meters.
 *
 * Invariant: elements stand in the order of declaration, a load followed by
 * its wire; all probabilities of a row sum to 1 with the first outcome.
 */
#include "inside.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Round the clauses `c` of statement `s` that are of this sort. */
#define EACH(c, s, wanted) \
    for (const ast_clause *c = (s)->clauses; c != NULL; c = c->next) if (c->sort == (wanted))

static double number_or(const ast_stmt *s, ast_clause_sort sort, double missing)
{
    const ast_clause *c = oc_clause(s, sort);
    return c == NULL ? missing : c->number->value;
}

static const char *word_of(const ast_stmt *s, ast_clause_sort sort)
{
    const ast_clause *c = oc_clause(s, sort);
    return c == NULL ? NULL : c->words->text;
}

static int index_of(int count, const char *const *list, const char *text)
{
    for (int i = 0; i < count; i++)
        if (strcmp(list[i], text) == 0)
            return i;
    return -1;
}

static rl_state state_of(ast_state s)
{
    assert(s != AST_NO_STATE);
    return (rl_state)s;
}

static rl_state state_named(const char *text)
{
    static const char *const name[] = {"sound", "loose", "corroded", "open", "failed"};
    int i = index_of(5, name, text);
    assert(i >= 0);
    return (rl_state)i;
}

static int copy_words(const ast_word *w, const char **out)
{
    int n = 0;
    for (; w != NULL; w = w->next) {
        assert(n < OC_LEVELS);
        out[n++] = w->text;
    }
    return n;
}

/* The first outcome takes what the cells leave. */
static void fill_row(const ast_cell *cells, int count, const char *const *name, double *row)
{
    double rest = 0;
    memset(row, 0, OC_LEVELS * sizeof *row);
    for (const ast_cell *c = cells; c != NULL; c = c->next) {
        int i = index_of(count, name, c->name->text);
        assert(i > 0);
        row[i] = c->p->value;
        rest += c->p->value;
    }
    row[0] = rest >= 1 ? 0 : 1 - rest;
}

static void cells_by_state(const ast_cell *cells, double *p)
{
    for (const ast_cell *c = cells; c != NULL; c = c->next)
        p[state_named(c->name->text)] = c->p->value;
}

static oc_law law_of(const ast_clause *c)
{
    return (oc_law){c->number->value, c->spread == NULL ? 0 : log(c->spread->value)};
}

static double conductor(double area, double length) { return 0.0172414 * length / area; }

/* ---- statements that stand alone ---- */

static void read_joint(oc_model *m, const ast_stmt *s)
{
    const ast_clause *c = s->clauses;
    if (c->sort == AST_C_QUIET)
        m->quiet = c->number->value;
    else if (c->sort == AST_C_LEAKS)
        m->leaks = c->number->value;
    else if (state_of(c->state) == RL_SOUND)
        m->sound = law_of(c);
    else
        m->corroded = law_of(c);
}

static void read_meter(oc_model *m, const ast_stmt *s)
{
    oc_meter *meter = strcmp(s->name->text, "volts") == 0 ? &m->volts
                    : strcmp(s->name->text, "ohms") == 0 ? &m->ohms : &m->beeper;
    const ast_clause *reads = oc_clause(s, AST_C_READS), *bands = oc_clause(s, AST_C_BANDS);
    meter->given = true;
    meter->check = number_or(s, AST_C_CHECK, 1);
    meter->misread = number_or(s, AST_C_MISREAD, 0);
    meter->zero = number_or(s, AST_C_ZERO, 0);
    meter->limit = number_or(s, AST_C_BELOW, 0);
    if (reads != NULL) {
        meter->share = reads->number->value;
        meter->plus = reads->second->value;
    }
    if (bands != NULL)
        for (const ast_number *n = bands->number; n != NULL; n = n->next) {
            assert(meter->bands < OC_BANDS);
            meter->band[meter->bands++] = n->value;
        }
}

static void read_crosstalk(oc_crosstalk *x, const ast_stmt *s)
{
    x->given = true;
    x->check = number_or(s, AST_C_CHECK, 1);
    x->otherwise = number_or(s, AST_C_OTHERWISE, 0);
    EACH(c, s, AST_C_STATE)
        x->p[state_of(c->state)] = c->number->value;
}

static void read_grades(oc_model *m, const ast_stmt *s)
{
    int n = 0;
    for (const ast_number *edge = s->number; edge != NULL; edge = edge->next) {
        assert(n + 2 < OC_BINS);
        m->edge[++n] = edge->value;
    }
    m->bins = n + 1;
    m->edge[m->bins] = INFINITY;
}

static void read_action(oc_action *a, const ast_stmt *s)
{
    a->check = number_or(s, AST_C_CHECK, 1);
    a->up_to = number_or(s, AST_C_UPTO, INFINITY);
}

static void read_vehicle(oc_model *m, const ast_stmt *s)
{
    const ast_clause *c = oc_clause(s, AST_C_SUPPLY);
    assert(c != NULL);
    m->supply = c->number->value;
    m->spread = c->spread == NULL ? 0 : c->spread->value;
}

static void read_alone(oc_model *m, const ast_stmt *s)
{
    switch (s->sort) {
    case AST_VEHICLE: read_vehicle(m, s); break;
    case AST_JOINT: read_joint(m, s); break;
    case AST_GRADES: read_grades(m, s); break;
    case AST_METER: read_meter(m, s); break;
    case AST_BACKFEED_RULE: read_crosstalk(&m->backfeed, s); break;
    case AST_PULL_RULE: read_crosstalk(&m->pull, s); break;
    case AST_BYPASS_RULE: read_action(&m->bypass, s); break;
    case AST_JUMPER_RULE: read_action(&m->jumper, s); break;
    case AST_SWAP_RULE: read_action(&m->swap, s); break;
    default: break;
    }
}

/* ---- classes, kinds, areas, inspections ---- */

static void read_class(oc_model *m, const ast_stmt *s)
{
    oc_class *k = &m->class_[m->classes++];
    k->id = s->name->text;
    k->prior[RL_SOUND] = 1;
    EACH(c, s, AST_C_STATE) {
        k->prior[state_of(c->state)] = c->number->value;
        k->prior[RL_SOUND] -= c->number->value;
    }
    k->has_quiet = oc_clause(s, AST_C_QUIET) != NULL;
    k->quiet = number_or(s, AST_C_QUIET, 0);
    EACH(c, s, AST_C_JOINT)
        *(state_of(c->state) == RL_SOUND ? &k->sound : &k->corroded) = law_of(c);
    EACH(c, s, AST_C_BY)
        k->conductor = conductor(c->number->value, c->second->value);
}

static void read_when(oc_kind *k, const ast_clause *c)
{
    int state = (int)state_of(c->state);
    if (state == RL_FAILED) {
        fill_row(c->cells, k->levels, k->level, k->failed);
        return;
    }
    for (int side = 0; side < 2; side++) {
        ast_side own = side == 0 ? AST_RETURN_SIDE : AST_FEED_SIDE;
        bool both = c->side == AST_BOTH_SIDES;
        /* `given` is 2-valued: a row for this side wins whichever comes first. */
        if (c->side != own && !(both && !k->given[side][state]))
            continue;
        k->given[side][state] = true;
        fill_row(c->cells, k->levels, k->level, k->row[side][state]);
    }
}

static void read_shortfall(oc_model *m, oc_kind *k, const ast_stmt *s)
{
    k->shortfall = rl_many(&m->arena, 32, oc_shortfall);
    EACH(c, s, AST_C_SHORT) {
        int i = k->shortfalls++;
        assert(i < 32);
        for (; i > 0 && k->shortfall[i - 1].volts > c->number->value; i--)
            k->shortfall[i] = k->shortfall[i - 1];
        k->shortfall[i].volts = c->number->value;
        fill_row(c->cells, k->levels, k->level, k->shortfall[i].row);
    }
}

static double amperes(const oc_model *m, const ast_clause *c)
{
    if (c == NULL)
        return 0;
    return c->number->dimension == AST_WATT ? c->number->value / m->supply : c->number->value;
}

static void read_kind(oc_model *m, const ast_stmt *s)
{
    oc_kind *k = &m->kind[m->kinds++];
    k->id = s->name->text;
    k->levels = copy_words(oc_clause(s, AST_C_BEHAVES)->words, k->level);
    k->check = number_or(s, AST_C_CHECK, 1);
    k->failed_prior = number_or(s, AST_C_FAILED, 0);
    k->current = amperes(m, oc_clause(s, AST_C_DRAWS));
    k->failed[0] = k->otherwise[0] = 1;
    /* first the rows of one side, so that they win over those of both */
    EACH(c, s, AST_C_WHEN)
        if (c->side != AST_BOTH_SIDES)
            read_when(k, c);
    EACH(c, s, AST_C_WHEN)
        if (c->side == AST_BOTH_SIDES)
            read_when(k, c);
    EACH(c, s, AST_C_OTHERWISE)
        fill_row(c->cells, k->levels, k->level, k->otherwise);
    read_shortfall(m, k, s);
}

static void read_area(oc_model *m, const ast_stmt *s)
{
    m->area[m->areas++] = (oc_area){s->name->text, number_or(s, AST_C_ACCESS, 0), oc_forbidden(s)};
}

static void read_inspection(oc_model *m, const ast_stmt *s)
{
    static const char *const sort[] = {"point", "splice", "connector", "wire", "feed", "load"};
    oc_inspection *look = &m->inspection[m->inspections++];
    look->id = s->name->text;
    look->check = number_or(s, AST_C_CHECK, 1);
    look->outcomes = copy_words(oc_clause(s, AST_C_SHOWS)->words, look->outcome);
    for (const ast_word *w = oc_clause(s, AST_C_OF)->words; w != NULL; w = w->next) {
        int i = index_of(6, sort, w->text);
        assert(i >= 0);
        look->sorts |= 1u << i;
    }
    for (int state = 0; state < RL_STATES; state++)
        look->row[state][0] = 1;
    EACH(c, s, AST_C_WHEN)
        fill_row(c->cells, look->outcomes, look->outcome, look->row[state_of(c->state)]);
}

static void read_tables(oc_model *m, const ast_stmt *s)
{
    switch (s->sort) {
    case AST_CLASS: read_class(m, s); break;
    case AST_KIND: read_kind(m, s); break;
    case AST_AREA: read_area(m, s); break;
    case AST_INSPECTION: read_inspection(m, s); break;
    default: break;
    }
}

/* ---- elements ---- */

static const oc_class *class_named(const oc_model *m, const char *id)
{
    for (int i = 0; i < m->classes; i++)
        if (strcmp(m->class_[i].id, id) == 0)
            return &m->class_[i];
    abort();   /* a class that no statement declares: the file is not valid */
}

static void fill_bins(const oc_model *m, oc_element *e)
{
    if (!(e->corroded.median > 0)) {
        assert(m->bins == 1);
        e->bin[0] = 1;
        return;
    }
    double sum = 0;
    for (int b = 0; b < m->bins; b++) {
        double mass = oc_mass(e->corroded, m->edge[b], m->edge[b + 1]);
        e->bin[b] = mass > OC_NO_MASS ? mass : 0;
        sum += e->bin[b];
        if (e->bin[b] > 0)
            e->bin_median[b] = oc_cut_median(e->corroded, m->edge[b], m->edge[b + 1]);
    }
    for (int b = 0; b < m->bins; b++)
        e->bin[b] /= sum;
}

static void of_class(const oc_model *m, oc_element *e, const char *id)
{
    const oc_class *k = class_named(m, id);
    memcpy(e->prior, k->prior, sizeof e->prior);
    e->quiet = k->has_quiet ? k->quiet : m->quiet;
    e->sound = k->sound.median > 0 ? k->sound : m->sound;
    e->corroded = k->corroded.median > 0 ? k->corroded : m->corroded;
    fill_bins(m, e);
}

static oc_element *add(oc_model *m, const char *id, rl_sort sort)
{
    oc_element *e = &m->element[m->elements++];
    e->id = id;
    e->sort = sort;
    e->area = e->coil = e->load = e->wire = e->kind = -1;
    e->feed.parent = -1;
    return e;
}

static int kind_index(const oc_model *m, const char *id)
{
    for (int i = 0; i < m->kinds; i++)
        if (strcmp(m->kind[i].id, id) == 0)
            return i;
    abort();   /* a load without a kind */
}

static void add_wire(oc_model *m, const ast_stmt *s, int load)
{
    char *id = rl_arena_get(&m->arena, strlen(s->name->text) + 6);
    sprintf(id, "%s.wire", s->name->text);
    oc_element *e = add(m, id, RL_WIRE);
    const char *class_ = word_of(s, AST_C_WIRE_CLASS);
    of_class(m, e, class_ == NULL ? "wire" : class_);
    e->load = load;
    e->area = m->element[load].area;
    e->forbidden = m->element[load].forbidden;
}

static void add_load(oc_model *m, const ast_stmt *s)
{
    int load = m->elements;
    oc_element *e = add(m, s->name->text, RL_LOAD);
    e->kind = kind_index(m, word_of(s, AST_C_KIND));
    const oc_kind *k = &m->kind[e->kind];
    e->prior[RL_FAILED] = number_or(s, AST_C_FAILED, k->failed_prior);
    e->prior[RL_SOUND] = 1 - e->prior[RL_FAILED];
    const ast_clause *draws = oc_clause(s, AST_C_DRAWS);
    e->current = draws != NULL ? amperes(m, draws) : k->current;
    e->wire = load + 1;
    const char *area = word_of(s, AST_C_IN);
    e->area = area == NULL ? -1 : oc_area_index(m, area);
    e->forbidden = oc_forbidden(s) | (e->area >= 0 ? m->area[e->area].forbidden : 0);
    add_wire(m, s, load);
}

static void add_element(oc_model *m, const ast_stmt *s)
{
    static const char *const own[] = {"point", "splice", "connector", "wire", "feed"};
    rl_sort sort = s->sort == AST_POINT ? RL_POINT : s->sort == AST_SPLICE ? RL_SPLICE
                 : s->sort == AST_CONNECTOR ? RL_CONNECTOR : RL_FEED;
    oc_element *e = add(m, s->name->text, sort);
    const char *class_ = word_of(s, AST_C_CLASS), *area = word_of(s, AST_C_IN);
    of_class(m, e, class_ == NULL ? own[sort] : class_);
    e->area = area == NULL ? -1 : oc_area_index(m, area);
    e->forbidden = oc_forbidden(s) | (e->area >= 0 ? m->area[e->area].forbidden : 0);
}

static void add_elements(oc_model *m, const ast_stmt *s)
{
    switch (s->sort) {
    case AST_POINT: case AST_SPLICE: case AST_CONNECTOR: case AST_FEED: add_element(m, s); break;
    case AST_LOAD: add_load(m, s); break;
    default: break;
    }
}

/* ---- links between elements, and symptoms ---- */

static int must_find(const oc_model *m, const char *id)
{
    int e = oc_find(m, id);
    assert(e >= 0);
    return e;
}

static oc_alternative path(oc_model *m, const ast_path *p, double missing)
{
    oc_alternative a = {must_find(m, p->parent->text), 0, rl_many(&m->arena, OC_WAY, int), missing};
    for (const ast_word *v = p->via; v != NULL; v = v->next) {
        assert(a.vias < OC_WAY);
        a.via[a.vias++] = must_find(m, v->text);
    }
    if (p->area != NULL)
        a.conductor = conductor(p->area->value, p->length->value);
    return a;
}

static void link_returns(oc_model *m, const ast_stmt *s, oc_element *e, const char *class_)
{
    const ast_clause *c = oc_clause(s, AST_C_RETURNS);
    if (c == NULL)
        return;
    double missing = class_named(m, class_)->conductor;
    e->alternative = rl_many(&m->arena, 16, oc_alternative);
    for (const ast_path *p = c->path; p != NULL; p = p->next) {
        assert(e->alternatives < 16);
        e->alternative[e->alternatives++] = path(m, p, missing);
    }
}

static void link_feed(oc_model *m, const ast_stmt *s, oc_element *e)
{
    const ast_clause *c = oc_clause(s, AST_C_FED);
    if (c != NULL)
        e->feed = path(m, c->path, 0);
    const char *coil = word_of(s, AST_C_OPERATED);
    if (coil != NULL)
        e->coil = must_find(m, coil);
}

static void read_causes(oc_model *m, const ast_stmt *s)
{
    oc_symptom *y = &m->symptom[m->symptoms++];
    y->id = s->name->text;
    y->check = number_or(s, AST_C_CHECK, 1);
    y->otherwise = number_or(s, AST_C_OTHERWISE, 0);
    y->cause = rl_many(&m->arena, 64, oc_cause);
    EACH(c, s, AST_C_CAUSE) {
        assert(y->causes < 64);
        oc_cause *k = &y->cause[y->causes++];
        k->subject = c->side == AST_BOTH_SIDES ? OC_ELEMENT
                   : c->side == AST_RETURN_SIDE ? OC_RETURN : OC_FEED;
        k->element = must_find(m, c->words->text);
        cells_by_state(c->cells, k->p);
    }
}

static void link_all(oc_model *m, const ast_stmt *s)
{
    if (s->sort == AST_SYMPTOM) {
        read_causes(m, s);
        return;
    }
    int i = s->name == NULL ? -1 : oc_find(m, s->name->text);
    if (s->sort == AST_LOAD) {
        const char *wire = word_of(s, AST_C_WIRE_CLASS);
        link_returns(m, s, &m->element[i + 1], wire == NULL ? "wire" : wire);
        link_feed(m, s, &m->element[i]);
    } else if (s->sort == AST_FEED) {
        link_feed(m, s, &m->element[i]);
    } else if (s->sort == AST_POINT || s->sort == AST_SPLICE) {
        const char *class_ = word_of(s, AST_C_CLASS);
        const char *own = s->sort == AST_POINT ? "point" : "splice";
        link_returns(m, s, &m->element[i], class_ == NULL ? own : class_);
    }
}

void oc_resolve(oc_model *m)
{
    m->bins = 1;
    m->edge[1] = INFINITY;
    m->bypass = m->jumper = m->swap = (oc_action){1, INFINITY};
    m->element = rl_many(&m->arena, 2 * m->stmts + 1, oc_element);
    m->class_ = rl_many(&m->arena, m->stmts + 1, oc_class);
    m->kind = rl_many(&m->arena, m->stmts + 1, oc_kind);
    m->symptom = rl_many(&m->arena, m->stmts + 1, oc_symptom);
    m->inspection = rl_many(&m->arena, m->stmts + 1, oc_inspection);
    m->area = rl_many(&m->arena, m->stmts + 1, oc_area);
    void (*const pass[])(oc_model *, const ast_stmt *) = {read_alone, read_tables, add_elements, link_all};
    for (int i = 0; i < 4; i++)
        for (size_t k = 0; k < m->stmts; k++)
            pass[i](m, m->stmt[k]);
}
