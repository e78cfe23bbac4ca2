/* lower_classes.c: areas and classes.
 *
 * Invariant: every area and class that stands has its index, in the order of
 * declaration, whether or not it is free of faults.
 */
#include "lower.h"

#include <assert.h>

/* Gives the standing declarations of a space their indices; how many there are. */
static int number_keys(lower *l, low_space space)
{
    int count = 0;
    for (int i = 0; i < l->keys; i++)
        if (l->key[i].space == space && l->key[i].standing != NULL)
            l->key[i].index = count++;
    return count;
}

static void lower_area(lower *l, const ast_stmt *stmt, rl_area *area)
{
    area->id = low_keep(l, stmt->name->text);
    area->label = stmt->label != NULL ? low_keep(l, stmt->label) : area->id;
    area->access = low_clause_value(l, stmt, AST_C_ACCESS, LOW_ACCESS, 0);
    area->forbidden = low_forbidden(stmt);
    area->cautions = low_texts(l, stmt, AST_C_CAUTION);
    area->notes = low_texts(l, stmt, AST_C_NOTE);
}

static void lower_prior(lower *l, const ast_stmt *stmt, double prior[RL_STATES])
{
    double sum = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next) {
        if (c->sort != AST_C_STATE)
            continue;
        assert(c->state == AST_LOOSE || c->state == AST_CORRODED || c->state == AST_OPEN);
        double *p = &prior[low_state(c->state)];
        low_value(l, c->number, LOW_PROBABILITY, p);
        sum += *p;
    }
    prior[RL_SOUND] = low_rest(l, sum, stmt->name->span);
}

static const ast_clause *joint_clause(const ast_stmt *stmt, ast_state state)
{
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == AST_C_JOINT && c->state == state)
            return c;
    return NULL;
}

static double lower_conductor(lower *l, const ast_stmt *stmt)
{
    const ast_clause *by = low_clause(stmt, AST_C_BY);
    double area = 0, length = 0;
    if (by == NULL)
        return 0;
    bool known = low_value(l, by->number, LOW_SECTION, &area);
    known = low_value(l, by->second, LOW_LENGTH, &length) && known;
    return known ? rl_conductor_ohm(area, length) : 0;
}

static void lower_class(lower *l, const ast_stmt *stmt, low_class *klass)
{
    const ast_clause *repair = low_clause(stmt, AST_C_REPAIR);
    klass->id = low_keep(l, stmt->name->text);
    lower_prior(l, stmt, klass->prior);
    klass->quiet = low_clause_value(l, stmt, AST_C_QUIET, LOW_PROBABILITY, l->quiet);
    klass->sound = low_law(l, joint_clause(stmt, AST_SOUND), l->model->sound);
    klass->corroded = low_law(l, joint_clause(stmt, AST_CORRODED), l->model->corroded);
    klass->conductor = lower_conductor(l, stmt);
    klass->limit = low_clause_value(l, stmt, AST_C_LIMIT, LOW_LIMIT, RL_USUAL_LIMIT);
    klass->repair_minutes = low_clause_value(l, stmt, AST_C_REPAIR, LOW_REPAIR, -1);
    klass->repair_text = repair == NULL ? NULL : low_keep(l, repair->text);
    klass->cautions = low_texts(l, stmt, AST_C_CAUTION);
    klass->notes = low_texts(l, stmt, AST_C_NOTE);
    klass->sources = low_texts(l, stmt, AST_C_SOURCE);
    rl_model_bins(l->model, klass->corroded, &klass->bin_mass, &klass->bin_median);
}

void low_class_rules(lower *l)
{
    l->model->areas = number_keys(l, LOW_AREAS);
    l->model->area = rl_many(l->arena, l->model->areas + 1, rl_area);
    l->classes = number_keys(l, LOW_CLASSES);
    l->klass = rl_many(l->scratch, l->classes + 1, low_class);
    for (int i = 0; i < l->keys; i++) {
        const low_key *key = &l->key[i];
        if (key->standing == NULL)
            continue;
        if (key->space == LOW_AREAS)
            lower_area(l, key->standing, &l->model->area[key->index]);
        if (key->space == LOW_CLASSES)
            lower_class(l, key->standing, &l->klass[key->index]);
    }
}
