/* lower_kinds.c: kinds, symptoms and inspections: what is seen, and how often.
 *
 * Invariant: a kind and an inspection have at least one level or outcome, all
 * different, even after a fault, so that every row over them has cells.
 */
#include "lower.h"

#include <assert.h>
#include <string.h>


/* Levels or outcomes of a statement.  One nameless level after a fault, so
 * that *count > 1 tells that rows can be read. */
static const char *const *lower_levels(lower *l, const ast_stmt *stmt, ast_clause_sort sort, const char *clause,
                                       size_t *count)
{
    static const char *const one[] = { "" };
    const ast_clause *words = low_clause(stmt, sort);
    size_t n = 0;
    *count = 1;
    if (words == NULL) {
        low_need(l, stmt, clause);
        return one;
    }
    for (const ast_word *w = words->words; w != NULL && n <= RL_MAX_LEVELS; w = w->next, n++)
        for (const ast_word *v = words->words; v != w; v = v->next)
            if (strcmp(v->text, w->text) == 0)
                rl_say_also(l->diag, w->span, RL_MSG_LEVEL_TWICE, w->text, NULL, NULL, v->span);
    if (n < 2 || n > RL_MAX_LEVELS) {
        rl_say(l->diag, words->span, n < 2 ? RL_MSG_LEVELS_FEW : RL_MSG_LEVELS_MANY, clause, NULL, NULL);
        return one;
    }
    return low_words(l, words->words, count);
}

/* A row with the clause it came from, to tell duplicates. */
typedef struct given_row { const ast_clause *clause; const double *row; } given_row;

/* Notes a row in its place; a second for the same place is an error. */
static void give_row(lower *l, given_row *place, const ast_clause *clause, const double *row)
{
    if (place->clause != NULL) {
        rl_say_also(l->diag, clause->span, RL_MSG_ROW_TWICE, NULL, NULL, NULL, place->clause->span);
        return;
    }
    *place = (given_row){ clause, row };
}

/* `when [return|feed] STATE` of a kind. */
static void lower_when(lower *l, rl_behaviour *kind, const ast_clause *c, given_row given[3][RL_STATES])
{
    const double *row = low_row(l, c->cells, c->span, kind->info.level, kind->info.levels);
    assert(c->state != AST_SOUND && (c->state != AST_FAILED || c->side == AST_BOTH_SIDES));
    give_row(l, &given[c->side][low_state(c->state)], c, row);
}

/* `short of` rows, sorted by volts while they come in. */
static void lower_short(lower *l, rl_behaviour *kind, const ast_clause *c, rl_shortfall *list)
{
    const double *row = low_row(l, c->cells, c->span, kind->info.level, kind->info.levels);
    double volts = 0;
    if (!low_value(l, c->number, LOW_SHORT, &volts))
        return;
    int at = kind->shortfalls;
    while (at > 0 && list[at - 1].volts > volts)
        at--;
    if (at > 0 && list[at - 1].volts >= volts) {
        rl_say(l->diag, c->number->span, RL_MSG_SHORT_TWICE, c->number->text, NULL, NULL);
        return;
    }
    memmove(list + at + 1, list + at, (size_t)(kind->shortfalls - at) * sizeof *list);
    list[at] = (rl_shortfall){ volts, row };
    kind->shortfalls++;
}

static void lower_kind_rows(lower *l, const ast_stmt *stmt, rl_behaviour *kind)
{
    given_row given[3][RL_STATES] = { { { NULL, NULL } } };
    int shorts = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        shorts += c->sort == AST_C_SHORT;
    rl_shortfall *list = rl_many(l->arena, shorts + 1, rl_shortfall);
    kind->shortfall = list;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next) {
        if (c->sort == AST_C_WHEN)
            lower_when(l, kind, c, given);
        if (c->sort == AST_C_SHORT)
            lower_short(l, kind, c, list);
    }
    for (int side = 0; side < 2; side++)
        for (int state = RL_LOOSE; state <= RL_OPEN; state++) {
            const double *own = given[side == 0 ? AST_RETURN_SIDE : AST_FEED_SIDE][state].row;
            kind->row[side][state] = own != NULL ? own : given[AST_BOTH_SIDES][state].row;
        }
    double *first = rl_many(&l->model->arena, kind->info.levels, double);
    first[0] = 1;   /* a cause without a row draws the first level */
    kind->failed = given[AST_BOTH_SIDES][RL_FAILED].row;
    if (kind->failed == NULL)
        kind->failed = first;
    const ast_clause *otherwise = low_clause(stmt, AST_C_OTHERWISE);
    kind->otherwise = first;
    if (otherwise != NULL)
        kind->otherwise = low_row(l, otherwise->cells, otherwise->span, kind->info.level, kind->info.levels);
}

/* `draws` in ampere, 0 if not said. */
double low_current(lower *l, const ast_stmt *stmt)
{
    const ast_clause *draws = low_clause(stmt, AST_C_DRAWS);
    double value = 0;
    if (draws == NULL || !low_value(l, draws->number, LOW_DRAWS, &value))
        return 0;
    if (draws->number->dimension == AST_AMPERE)
        return value;
    double supply = l->model->vehicle.supply;
    return supply > 0 ? value / supply : 0;
}

static void lower_kind(lower *l, const ast_stmt *stmt, rl_behaviour *kind, low_kind *extra)
{
    const ast_clause *repair = low_clause(stmt, AST_C_REPAIR);
    kind->info.id = low_keep(l, stmt->name->text);
    kind->info.label = stmt->label != NULL ? low_keep(l, stmt->label) : kind->info.id;
    kind->span = stmt->name->span;
    kind->info.check = low_clause_value(l, stmt, AST_C_CHECK, LOW_CHECK, 1);
    kind->info.level = lower_levels(l, stmt, AST_C_BEHAVES, "behaves", &kind->info.levels);
    if (kind->info.levels > 1)
        lower_kind_rows(l, stmt, kind);
    extra->stmt = stmt;
    extra->failed = low_clause_value(l, stmt, AST_C_FAILED, LOW_PROBABILITY, -1);
    extra->current = low_current(l, stmt);
    extra->repair_minutes = low_clause_value(l, stmt, AST_C_REPAIR, LOW_REPAIR, -1);
    extra->repair_text = repair == NULL ? NULL : low_keep(l, repair->text);
    extra->cautions = low_texts(l, stmt, AST_C_CAUTION);
    extra->notes = low_texts(l, stmt, AST_C_NOTE);
    extra->sources = low_texts(l, stmt, AST_C_SOURCE);
    extra->shortfall = low_clause(stmt, AST_C_SHORT);
}

void low_kind_rules(lower *l)
{
    rl_model *m = l->model;
    for (int i = 0; i < l->keys; i++)
        if (l->key[i].space == LOW_KINDS && l->key[i].standing != NULL)
            l->key[i].index = m->kinds++;
    m->kind = rl_many(l->arena, m->kinds + 1, rl_behaviour);
    l->kind = rl_many(l->scratch, m->kinds + 1, low_kind);
    for (int i = 0; i < l->keys; i++) {
        const low_key *key = &l->key[i];
        if (key->space == LOW_KINDS && key->standing != NULL)
            lower_kind(l, key->standing, &m->kind[key->index], &l->kind[key->index]);
    }
}

/* ---- symptoms ---- */

/* Whether a state can be a cause's: `failed` of loads alone, the joints' states of all others. */
static bool state_fits(const rl_cause *cause, const char *state, rl_state *out)
{
    bool load = cause->subject == RL_OF_LOAD;
    for (int s = RL_SOUND; s < RL_STATES; s++)
        if (strcmp(state, rl_state_text((rl_state)s)) == 0) {
            *out = (rl_state)s;
            return s == RL_SOUND || load == (s == RL_FAILED);
        }
    return false;
}

static void lower_cause_states(lower *l, const ast_clause *c, rl_cause *cause)
{
    const ast_cell *seen[RL_STATES] = { NULL };
    for (const ast_cell *cell = c->cells; cell != NULL; cell = cell->next) {
        rl_state state;
        if (!state_fits(cause, cell->name->text, &state)) {
            rl_say(l->diag, cell->name->span,
                   cause->subject == RL_OF_LOAD ? RL_MSG_LOAD_STATE : RL_MSG_JOINT_STATE, cell->name->text,
                   NULL, NULL);
            continue;
        }
        if (seen[state] != NULL) {
            rl_say_also(l->diag, cell->name->span, RL_MSG_CELL_TWICE, cell->name->text, NULL, NULL,
                        seen[state]->span);
            continue;
        }
        seen[state] = cell;
        low_value(l, cell->p, LOW_PROBABILITY, &cause->p[state]);
    }
}

static bool lower_cause(lower *l, const ast_clause *c, rl_cause *cause)
{
    bool path = c->side != AST_BOTH_SIDES;
    cause->element = low_element(l, c->words, path ? 1u << RL_LOAD : LOW_ANY_ELEMENT, path ? "a load" : "an element");
    if (cause->element < 0)
        return false;
    cause->subject = c->side == AST_RETURN_SIDE                                       ? RL_OF_RETURN
                     : c->side == AST_FEED_SIDE                                       ? RL_OF_FEED
                     : l->model->node[cause->element].info.sort == RL_LOAD            ? RL_OF_LOAD
                                                                                      : RL_OF_ELEMENT;
    lower_cause_states(l, c, cause);
    return true;
}

static void lower_symptom(lower *l, const ast_stmt *stmt, rl_sign *sign)
{
    sign->info.id = low_keep(l, stmt->name->text);
    sign->info.label = stmt->label != NULL ? low_keep(l, stmt->label) : sign->info.id;
    sign->info.check = low_clause_value(l, stmt, AST_C_CHECK, LOW_CHECK, 1);
    sign->info.cautions = low_texts(l, stmt, AST_C_CAUTION);
    sign->info.notes = low_texts(l, stmt, AST_C_NOTE);
    sign->span = stmt->name->span;
    sign->otherwise = low_clause_value(l, stmt, AST_C_OTHERWISE, LOW_PROBABILITY, 0);
    int count = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        count += c->sort == AST_C_CAUSE;
    rl_cause *cause = rl_many(l->arena, count + 1, rl_cause);
    sign->cause = cause;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == AST_C_CAUSE && lower_cause(l, c, &cause[sign->causes]))
            sign->causes++;
}

/* ---- inspections ---- */

static unsigned lower_sorts(lower *l, const ast_stmt *stmt)
{
    const ast_clause *of = low_clause(stmt, AST_C_OF);
    unsigned set = 0;
    if (of == NULL)
        low_need(l, stmt, "of");
    for (const ast_word *w = of == NULL ? NULL : of->words; w != NULL; w = w->next)
        for (int sort = 0; sort < RL_SORTS; sort++)
            if (strcmp(w->text, rl_sort_text((rl_sort)sort)) == 0)
                set |= 1u << sort;
    return set;
}

static void lower_look_row(lower *l, const ast_clause *c, rl_look *look, given_row given[RL_STATES])
{
    bool load = look->info.sorts & 1u << RL_LOAD, joint = look->info.sorts & ~(1u << RL_LOAD);
    const double *row = low_row(l, c->cells, c->span, look->info.outcome, look->info.outcomes);
    assert(c->side == AST_BOTH_SIDES);
    if (c->state != AST_SOUND && look->info.sorts != 0 && !(c->state == AST_FAILED ? load : joint))
        rl_say(l->diag, c->span, RL_MSG_WHEN_NONE, low_state_word(c->state), NULL, NULL);
    else
        give_row(l, &given[low_state(c->state)], c, row);
}

static void lower_inspection(lower *l, const ast_stmt *stmt, rl_look *look)
{
    given_row given[RL_STATES] = { { NULL, NULL } };
    look->info.id = low_keep(l, stmt->name->text);
    look->info.label = stmt->label != NULL ? low_keep(l, stmt->label) : look->info.id;
    look->info.check = low_clause_value(l, stmt, AST_C_CHECK, LOW_CHECK, 1);
    look->span = stmt->name->span;
    look->info.sorts = lower_sorts(l, stmt);
    look->info.outcome = lower_levels(l, stmt, AST_C_SHOWS, "shows", &look->info.outcomes);
    if (look->info.outcomes < 2)
        return;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == AST_C_WHEN)
            lower_look_row(l, c, look, given);
    const double *first = low_row(l, NULL, stmt->span, look->info.outcome, look->info.outcomes);
    for (int s = RL_SOUND; s < RL_STATES; s++)
        look->row[s] = given[s].row != NULL ? given[s].row : first;
}

void low_sign_rules(lower *l)
{
    rl_model *m = l->model;
    for (int i = 0; i < l->keys; i++) {
        low_key *key = &l->key[i];
        if (key->standing != NULL && key->standing->sort == AST_SYMPTOM)
            key->index = m->signs++;
        if (key->standing != NULL && key->standing->sort == AST_INSPECTION)
            key->index = m->looks++;
    }
    m->sign = rl_many(l->arena, m->signs + 1, rl_sign);
    m->look = rl_many(l->arena, m->looks + 1, rl_look);
    for (int i = 0; i < l->keys; i++) {
        const low_key *key = &l->key[i];
        if (key->standing != NULL && key->standing->sort == AST_SYMPTOM)
            lower_symptom(l, key->standing, &m->sign[key->index]);
        if (key->standing != NULL && key->standing->sort == AST_INSPECTION)
            lower_inspection(l, key->standing, &m->look[key->index]);
    }
}
