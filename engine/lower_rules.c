/* lower_rules.c: the statements that stand once: vehicle, grades, joints,
 * meters, actions, backfeed and pull.
 *
 * Invariant: what a statement does not say has the default of the language
 * (check 1 min, spread 0, no limit) by the time this file is done with it.
 */
#include "lower.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static void lower_vehicle(lower *l)
{
    const ast_stmt *stmt = low_single(l, "vehicle");
    rl_vehicle *vehicle = &l->model->vehicle;
    if (stmt == NULL)
        return;
    vehicle->id = low_keep(l, stmt->name->text);
    vehicle->label = stmt->label != NULL ? low_keep(l, stmt->label) : vehicle->id;
    const ast_clause *revision = low_clause(stmt, AST_C_REVISION), *supply = low_clause(stmt, AST_C_SUPPLY);
    double ignored;
    if (revision != NULL && low_value(l, revision->number, LOW_REVISION, &ignored))
        vehicle->revision = low_keep(l, revision->number->text);
    if (supply == NULL) {
        low_need(l, stmt, "supply");
        return;
    }
    low_value(l, supply->number, LOW_SUPPLY, &vehicle->supply);
    if (supply->spread != NULL)
        low_value(l, supply->spread, LOW_SUPPLY_SPREAD, &vehicle->supply_spread);
}

static void lower_joints(lower *l)
{
    const ast_stmt *sound = low_single(l, "joint sound"), *corroded = low_single(l, "joint corroded");
    const ast_stmt *loose = low_single(l, "joint loose"), *open = low_single(l, "joint open");
    rl_law none = { 0, 0 };
    l->model->sound = low_law(l, sound == NULL ? NULL : low_clause(sound, AST_C_JOINT), none);
    l->model->corroded = low_law(l, corroded == NULL ? NULL : low_clause(corroded, AST_C_JOINT), none);
    if (loose != NULL)
        l->quiet = low_clause_value(l, loose, AST_C_QUIET, LOW_PROBABILITY, 0);
    if (open != NULL)
        l->model->leaks = low_clause_value(l, open, AST_C_LEAKS, LOW_PROBABILITY, 0);
}

/* The bins' edges: 0, the grades, infinity. */
static void lower_grades(lower *l)
{
    const ast_stmt *stmt = low_single(l, "grades");
    int count = 0;
    const double *grade = stmt == NULL ? NULL : low_ascending(l, stmt->number, LOW_GRADE, "grades", &count);
    double *edge = rl_many(l->arena, count + 2, double);
    if (count > 0)
        memcpy(edge + 1, grade, (size_t)count * sizeof *edge);
    edge[count + 1] = INFINITY;
    l->model->edge = edge;
    l->model->bins = count + 1;
}

void low_vehicle_rules(lower *l)
{
    lower_vehicle(l);
    lower_joints(l);
    lower_grades(l);
}

/* `reads` and `bands` of a meter in volts or ohms. */
static void lower_scale(lower *l, const ast_stmt *stmt, bool volts, rl_meter *meter)
{
    const ast_clause *reads = low_clause(stmt, AST_C_READS), *bands = low_clause(stmt, AST_C_BANDS);
    if (reads == NULL || reads->second == NULL)
        low_need(l, stmt, "reads … plus …");
    if (reads != NULL && reads->number != NULL)
        low_value(l, reads->number, LOW_SHARE, &meter->share);
    if (reads != NULL && reads->second != NULL)
        low_value(l, reads->second, volts ? LOW_PLUS_VOLTS : LOW_PLUS_OHMS, &meter->plus);
    if (bands != NULL)
        meter->band = low_ascending(l, bands->number, volts ? LOW_BAND_VOLTS : LOW_BAND_OHMS, "bands", &meter->bands);
}

static void lower_meter(lower *l, const char *text, rl_meter *meter)
{
    const ast_stmt *stmt = low_single(l, text);
    meter->check = 1;
    if (stmt == NULL)
        return;
    meter->given = true;
    meter->check = low_clause_value(l, stmt, AST_C_CHECK, LOW_CHECK, 1);
    meter->misread = low_clause_value(l, stmt, AST_C_MISREAD, LOW_PROBABILITY, 0);
    meter->zero = low_clause_value(l, stmt, AST_C_ZERO, LOW_PROBABILITY, 0);
    if (meter->misread + meter->zero >= 1)
        rl_say(l->diag, stmt->span, RL_MSG_METER_FULL, NULL, NULL, NULL);
    if (strcmp(text, "meter beeper") != 0)
        lower_scale(l, stmt, strcmp(text, "meter volts") == 0, meter);
    else if (low_clause(stmt, AST_C_BELOW) == NULL)
        low_need(l, stmt, "beeps below");
    else
        meter->limit = low_clause_value(l, stmt, AST_C_BELOW, LOW_BELOW, 0);
}

static void lower_action(lower *l, const char *text, rl_action *action)
{
    const ast_stmt *stmt = low_single(l, text);
    *action = (rl_action){ .given = stmt != NULL, .check = 1, .up_to = INFINITY };
    if (stmt == NULL)
        return;
    action->check = low_clause_value(l, stmt, AST_C_CHECK, LOW_CHECK, 1);
    if (stmt->sort == AST_SWAP_RULE && low_clause(stmt, AST_C_UPTO) != NULL)
        rl_say(l->diag, low_clause(stmt, AST_C_UPTO)->span, RL_MSG_NO_LIMIT, NULL, NULL, NULL);
    action->up_to = low_clause_value(l, stmt, AST_C_UPTO, LOW_UPTO, INFINITY);
}

static void lower_crosstalk(lower *l, const char *text, rl_crosstalk *crosstalk)
{
    const ast_stmt *stmt = low_single(l, text);
    crosstalk->check = 1;
    if (stmt == NULL)
        return;
    crosstalk->given = true;
    crosstalk->check = low_clause_value(l, stmt, AST_C_CHECK, LOW_CHECK, 1);
    crosstalk->otherwise = low_clause_value(l, stmt, AST_C_OTHERWISE, LOW_PROBABILITY, 0);
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == AST_C_STATE)
            low_value(l, c->number, LOW_PROBABILITY, &crosstalk->p[low_state(c->state)]);
}

void low_test_rules(lower *l)
{
    rl_model *m = l->model;
    lower_meter(l, "meter volts", &m->volts);
    lower_meter(l, "meter ohms", &m->ohms);
    lower_meter(l, "meter beeper", &m->beeper);
    lower_action(l, "bypass", &m->bypass);
    lower_action(l, "jumper", &m->jumper);
    lower_action(l, "swap", &m->swap);
    lower_crosstalk(l, "backfeed", &m->backfeed);
    lower_crosstalk(l, "pull", &m->pull);
}
