/* lower_elements.c: points, splices, connectors, feeds, loads and their wires.
 *
 * Invariant: elements are numbered in the order of declaration before any is
 * filled, so a name may be used before it is declared; a load is followed by
 * its wire, which shares its statement.
 */
#include "lower.h"

#include <assert.h>
#include <string.h>

static bool element_sort(ast_sort sort, rl_sort *out)
{
    switch (sort) {
    case AST_POINT: *out = RL_POINT; return true;
    case AST_SPLICE: *out = RL_SPLICE; return true;
    case AST_CONNECTOR: *out = RL_CONNECTOR; return true;
    case AST_FEED: *out = RL_FEED; return true;
    case AST_LOAD: *out = RL_LOAD; return true;
    default: return false;
    }
}

static void name_element(lower *l, int index, const ast_stmt *stmt, rl_sort sort)
{
    rl_node *node = &l->model->node[index];
    l->node_stmt[index] = stmt;
    node->span = stmt->name->span;
    node->info = (rl_element){ .sort = sort, .area = -1, .wire = -1, .load = -1, .kind = -1,
                               .limit = RL_USUAL_LIMIT, .repair_minutes = -1 };
    node->coil = -1;
    node->feed.parent = -1;
    node->info.id = low_keep(l, stmt->name->text);
    node->info.label = stmt->label != NULL ? low_keep(l, stmt->label) : node->info.id;
}

static const char *with_suffix(lower *l, const char *text, const char *suffix)
{
    rl_text out = { .arena = l->arena };
    rl_put(&out, text);
    rl_put(&out, suffix);
    return out.bytes;
}

static void name_wire(lower *l, int load, const ast_stmt *stmt)
{
    rl_element *owner = &l->model->node[load].info;
    name_element(l, load + 1, stmt, RL_WIRE);
    rl_element *wire = &l->model->node[load + 1].info;
    wire->id = with_suffix(l, owner->id, ".wire");
    wire->label = with_suffix(l, owner->label, " ground wire");
    wire->load = load;
    owner->wire = load + 1;
}

void low_number_elements(lower *l)
{
    rl_model *m = l->model;
    rl_sort sort;
    for (int i = 0; i < l->keys; i++) {
        low_key *key = &l->key[i];
        if (key->space != LOW_THINGS || key->standing == NULL || !element_sort(key->standing->sort, &sort))
            continue;
        key->index = m->nodes;
        m->nodes += sort == RL_LOAD ? 2 : 1;
    }
    m->node = rl_many(l->arena, m->nodes + 1, rl_node);
    l->node_stmt = rl_many(l->scratch, m->nodes + 1, const ast_stmt *);
    for (int i = 0; i < l->keys; i++) {
        const low_key *key = &l->key[i];
        if (key->space != LOW_THINGS || key->standing == NULL || !element_sort(key->standing->sort, &sort))
            continue;
        name_element(l, key->index, key->standing, sort);
        if (sort == RL_LOAD)
            name_wire(l, key->index, key->standing);
    }
}

/* ---- what elements of all sorts have ---- */

/* The class an element names, else that of its sort; NULL after saying that there is none. */
static const low_class *class_of(lower *l, const ast_clause *clause, const char *usual, rl_span at)
{
    if (clause != NULL) {
        int index = low_named(l, LOW_CLASSES, clause->words);
        return index < 0 ? NULL : &l->klass[index];
    }
    int key = low_key_of(l, LOW_CLASSES, usual);
    if (key >= 0 && l->key[key].standing != NULL)
        return &l->klass[l->key[key].index];
    if (!low_excused(l, usual) && rl_names_get(l->said, 0, usual) < 0) {
        rl_names_put(l->said, 0, usual, 0);
        rl_say(l->diag, at, RL_MSG_NO_USUAL_CLASS, usual, NULL, NULL);
    }
    return NULL;
}

static void take_class(rl_node *node, const low_class *klass)
{
    node->info.class_name = klass->id;
    memcpy(node->info.prior, klass->prior, sizeof node->info.prior);
    node->info.limit = klass->limit;
    node->info.repair_minutes = klass->repair_minutes;
    node->info.repair_text = klass->repair_text;
    node->info.cautions = klass->cautions;
    node->info.notes = klass->notes;
    node->info.sources = klass->sources;
    node->quiet = klass->quiet;
    node->sound = klass->sound;
    node->corroded = klass->corroded;
    node->bin_mass = klass->bin_mass;
    node->bin_median = klass->bin_median;
}

/* The element's own words go before those of its class or kind. */
static void take_own(lower *l, const ast_stmt *stmt, rl_element *info)
{
    const ast_clause *repair = low_clause(stmt, AST_C_REPAIR);
    info->cautions = low_join(l, low_texts(l, stmt, AST_C_CAUTION), info->cautions);
    info->notes = low_join(l, low_texts(l, stmt, AST_C_NOTE), info->notes);
    info->sources = low_join(l, low_texts(l, stmt, AST_C_SOURCE), info->sources);
    info->forbidden = low_forbidden(stmt);
    if (repair != NULL && low_value(l, repair->number, LOW_REPAIR, &info->repair_minutes))
        info->repair_text = low_keep(l, repair->text);
}

static void take_area(lower *l, rl_element *info, int area)
{
    info->area = area;
    if (area < 0)
        return;
    info->forbidden |= l->model->area[area].forbidden;
    info->cautions = low_join(l, info->cautions, l->model->area[area].cautions);
}

static int area_of(lower *l, const ast_stmt *stmt)
{
    const ast_clause *in = low_clause(stmt, AST_C_IN);
    return in == NULL ? -1 : low_named(l, LOW_AREAS, in->words);
}

/* ---- ways ---- */

static void lower_via(lower *l, const ast_word *words, rl_alternative *way)
{
    size_t count = 0;
    for (const ast_word *w = words; w != NULL; w = w->next)
        count++;
    int *via = rl_many(l->arena, count + 1, int);
    for (const ast_word *w = words; w != NULL; w = w->next) {
        int connector = low_element(l, w, 1u << RL_CONNECTOR, "a connector");
        bool twice = false;
        for (int i = 0; i < way->via_count; i++)
            twice = twice || via[i] == connector;
        if (twice && connector >= 0)
            rl_say(l->diag, w->span, RL_MSG_VIA_TWICE, w->text, NULL, NULL);
        else if (connector >= 0)
            via[way->via_count++] = connector;
    }
    way->via = via;
}

/* One alternative; false if its parent is no element that it may lead to. */
static bool lower_way(lower *l, const ast_path *path, unsigned sorts, const char *wanted, const low_class *klass,
                      rl_alternative *way)
{
    double area = 0, length = 0;
    *way = (rl_alternative){ .parent = low_element(l, path->parent, sorts, wanted) };
    lower_via(l, path->via, way);
    if (path->area == NULL) {
        way->conductor = klass == NULL ? 0 : klass->conductor;
    } else {
        bool known = low_value(l, path->area, LOW_SECTION, &area);
        if (low_value(l, path->length, LOW_LENGTH, &length) && known)
            way->conductor = rl_conductor_ohm(area, length);
    }
    return way->parent >= 0;
}

static void lower_returns(lower *l, const ast_stmt *stmt, const low_class *klass, rl_node *node)
{
    const ast_clause *returns = low_clause(stmt, AST_C_RETURNS);
    int count = 0;
    if (returns == NULL)
        return;
    for (const ast_path *p = returns->path; p != NULL; p = p->next)
        count++;
    rl_alternative *way = rl_many(l->arena, count, rl_alternative);
    node->way = way;
    for (const ast_path *p = returns->path; p != NULL; p = p->next)
        if (lower_way(l, p, 1u << RL_POINT | 1u << RL_SPLICE, "a point or splice", klass, &way[node->way_count]))
            node->way_count++;
}

/* The way of `fed by`; parent -1 where there is none. */
static rl_alternative lower_fed(lower *l, const ast_stmt *stmt, const low_class *klass)
{
    const ast_clause *fed = low_clause(stmt, AST_C_FED);
    rl_alternative way = { .parent = -1 };
    if (fed != NULL)
        lower_way(l, fed->path, 1u << RL_FEED, "a feed", klass, &way);
    return way;
}

/* ---- element by element ---- */

static void lower_feed(lower *l, const ast_stmt *stmt, const low_class *klass, rl_node *node)
{
    const ast_clause *coil = low_clause(stmt, AST_C_OPERATED);
    rl_alternative *way = rl_new(l->arena, rl_alternative);
    *way = lower_fed(l, stmt, klass);
    node->way = way;
    node->way_count = way->parent >= 0;
    node->info.rated = low_clause_value(l, stmt, AST_C_RATED, LOW_RATED, 0);
    if (coil != NULL)
        node->coil = low_element(l, coil->words, 1u << RL_LOAD, "a load");
}

/* Points, splices, connectors and feeds. */
static void lower_joint(lower *l, const ast_stmt *stmt, rl_node *node)
{
    const low_class *klass = class_of(l, low_clause(stmt, AST_C_CLASS), rl_sort_text(node->info.sort),
                                      stmt->name->span);
    if (klass != NULL)
        take_class(node, klass);
    take_own(l, stmt, &node->info);
    take_area(l, &node->info, area_of(l, stmt));
    node->info.torque = low_clause_value(l, stmt, AST_C_TORQUE, LOW_TORQUE, 0);
    if (node->info.sort == RL_FEED)
        lower_feed(l, stmt, klass, node);
    else
        lower_returns(l, stmt, klass, node);
}

static void take_kind(lower *l, const ast_stmt *stmt, rl_element *info)
{
    const ast_clause *clause = low_clause(stmt, AST_C_KIND);
    if (clause == NULL)
        low_need(l, stmt, "kind");
    else
        info->kind = low_named(l, LOW_KINDS, clause->words);
    if (info->kind < 0)
        return;
    const low_kind *kind = &l->kind[info->kind];
    info->class_name = l->model->kind[info->kind].info.id;
    info->prior[RL_FAILED] = kind->failed < 0 ? 0 : kind->failed;
    info->current = kind->current;
    info->repair_minutes = kind->repair_minutes;
    info->repair_text = kind->repair_text;
    info->cautions = kind->cautions;
    info->notes = kind->notes;
    info->sources = kind->sources;
}

static void lower_load(lower *l, const ast_stmt *stmt, rl_node *node)
{
    rl_element *info = &node->info;
    take_kind(l, stmt, info);
    info->prior[RL_FAILED] = low_clause_value(l, stmt, AST_C_FAILED, LOW_PROBABILITY, info->prior[RL_FAILED]);
    info->prior[RL_SOUND] = 1 - info->prior[RL_FAILED];
    double own = low_current(l, stmt);
    if (own > 0)
        info->current = own;
    take_own(l, stmt, info);
    take_area(l, info, area_of(l, stmt));
    node->feed = lower_fed(l, stmt, NULL);
}

/* After its load: a wire lies in the load's area and is as untouchable. */
static void lower_wire(lower *l, const ast_stmt *stmt, rl_node *node)
{
    const rl_element *owner = &l->model->node[node->info.load].info;
    const low_class *klass = class_of(l, low_clause(stmt, AST_C_WIRE_CLASS), "wire", stmt->name->span);
    if (klass != NULL)
        take_class(node, klass);
    take_area(l, &node->info, owner->area);
    node->info.forbidden = owner->forbidden;
    lower_returns(l, stmt, klass, node);
}

void low_element_rules(lower *l)
{
    for (int i = 0; i < l->model->nodes; i++) {
        rl_node *node = &l->model->node[i];
        assert(l->node_stmt[i] != NULL);
        if (node->info.sort == RL_LOAD)
            lower_load(l, l->node_stmt[i], node);
        else if (node->info.sort == RL_WIRE)
            lower_wire(l, l->node_stmt[i], node);
        else
            lower_joint(l, l->node_stmt[i], node);
    }
}
