/* lower_values.c: numbers with their units and ranges, rows of probabilities,
 * texts, and clauses that stand twice.
 *
 * Invariant: a value that leaves this file is finite and in its quantity's
 * range; a row that leaves it sums to 1 within 1e-9 and has no negative cell.
 */
#include "lower.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define LOW_ROW_SLACK 1e-9   /* over 100 % by no more than this is binary fractions */
#define LOW_ROW_DUST 1e-12   /* a rest below this is none */
#define LOW_LEAST 1e-12      /* what "above 0" still takes, so that quotients stay finite */
#define LOW_MOST 1e12

#define DIM(d) (1u << (d))

typedef struct quantity {
    const char *name;
    unsigned dimensions;
    const char *units;
    double low, high;
    const char *range;
} quantity;

#define ANY_SHARE (DIM(AST_PLAIN) | DIM(AST_PERCENT))
#define BELOW_ONE 0x1.fffffffffffffp-1

/* Indexed by low_quantity. */
static const quantity quantities[] = {
    [LOW_PROBABILITY] = { "a probability", ANY_SHARE, "a plain number or %", 0, 1, "from 0 to 1 (100%)" },
    [LOW_REVISION] = { "`revision`", DIM(AST_PLAIN), "a plain number", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_SUPPLY] = { "`supply`", DIM(AST_VOLT), "V", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_SUPPLY_SPREAD] = { "the supply's spread", ANY_SHARE, "a plain number or %", 0, BELOW_ONE,
                            "from 0 to below 1 (100%)" },
    [LOW_JOINT] = { "the resistance of a joint", DIM(AST_OHM), "ohm", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_JOINT_SPREAD] = { "the spread of a joint", DIM(AST_PLAIN), "a plain number", 1, 1e6, "from 1 to 1e6" },
    [LOW_LIMIT] = { "`limit`", DIM(AST_VOLT), "V", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_REPAIR] = { "`repair`", DIM(AST_TIME), "min, s or h", 0, LOW_MOST, "at least 0" },
    [LOW_CHECK] = { "`check`", DIM(AST_TIME), "min, s or h", 0, LOW_MOST, "at least 0" },
    [LOW_ACCESS] = { "`access`", DIM(AST_TIME), "min, s or h", 0, LOW_MOST, "at least 0" },
    [LOW_SECTION] = { "the area of a conductor", DIM(AST_SECTION), "mm2 or AWG", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_LENGTH] = { "the length of a conductor", DIM(AST_LENGTH), "m, cm or mm", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_DRAWS] = { "`draws`", DIM(AST_AMPERE) | DIM(AST_WATT), "A or W", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_SHORT] = { "`short of`", DIM(AST_VOLT), "V", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_RATED] = { "`rated`", DIM(AST_AMPERE), "A", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_TORQUE] = { "`torque`", DIM(AST_TORQUE), "Nm", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_UPTO] = { "`up to`", DIM(AST_AMPERE), "A", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_GRADE] = { "a grade", DIM(AST_OHM), "ohm", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_SHARE] = { "`reads`", ANY_SHARE, "a plain number or %", 0, BELOW_ONE, "from 0 to below 1 (100%)" },
    [LOW_PLUS_VOLTS] = { "`plus`", DIM(AST_VOLT), "V", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_PLUS_OHMS] = { "`plus`", DIM(AST_OHM), "ohm", LOW_LEAST, LOW_MOST, "above 0" },
    [LOW_BAND_VOLTS] = { "a band", DIM(AST_VOLT), "V", -LOW_MOST, LOW_MOST, "" },
    [LOW_BAND_OHMS] = { "a band", DIM(AST_OHM), "ohm", -LOW_MOST, LOW_MOST, "" },
    [LOW_BELOW] = { "`beeps below`", DIM(AST_OHM), "ohm", LOW_LEAST, LOW_MOST, "above 0" },
};

static const char *const dimension_units[] = {
    [AST_PLAIN] = "a plain number", [AST_PERCENT] = "%", [AST_VOLT] = "V", [AST_AMPERE] = "A",
    [AST_WATT] = "W", [AST_OHM] = "ohm", [AST_SECTION] = "mm2", [AST_LENGTH] = "m", [AST_TIME] = "min",
    [AST_TORQUE] = "Nm",
};

bool low_value(lower *l, const ast_number *number, low_quantity quantity_number, double *out)
{
    const quantity *q = &quantities[quantity_number];
    assert(isfinite(number->value));
    if (!(q->dimensions & DIM(number->dimension)))
        rl_say(l->diag, number->span, RL_MSG_UNIT, q->name, q->units, dimension_units[number->dimension]);
    else if (number->value > q->high && q->high >= LOW_MOST)
        rl_say(l->diag, number->span, RL_MSG_RANGE, q->name, "at most 1e12", NULL);
    else if (number->value < q->low && q->low < 0)
        rl_say(l->diag, number->span, RL_MSG_RANGE, q->name, "at least -1e12", NULL);
    else if (number->value < q->low && number->value > 0 && q->low <= LOW_LEAST)
        rl_say(l->diag, number->span, RL_MSG_RANGE, q->name, "at least 1e-12", NULL);
    else if (number->value < q->low || number->value > q->high)
        rl_say(l->diag, number->span, RL_MSG_RANGE, q->name, q->range, NULL);
    else {
        *out = number->value;
        return true;
    }
    return false;
}

double low_clause_value(lower *l, const ast_stmt *stmt, ast_clause_sort sort, low_quantity quantity_number,
                        double missing)
{
    const ast_clause *clause = low_clause(stmt, sort);
    double value = missing;
    if (clause != NULL)
        low_value(l, clause->number, quantity_number, &value);
    return value;
}

double *low_ascending(lower *l, const ast_number *list, low_quantity quantity_number, const char *what, int *count)
{
    double *out = rl_many(l->arena, RL_MAX_EDGES + 1, double);
    *count = 0;
    for (const ast_number *n = list; n != NULL; n = n->next) {
        if (*count == RL_MAX_EDGES) {   /* rows of outcomes have room for so many */
            rl_say(l->diag, n->span, RL_MSG_VALUES_MANY, what, NULL, NULL);
            break;
        }
        if (!low_value(l, n, quantity_number, &out[*count]))
            continue;
        if (*count > 0 && out[*count] <= out[*count - 1])
            rl_say(l->diag, n->span, RL_MSG_ASCEND, what, NULL, NULL);
        ++*count;
    }
    return out;
}

double low_rest(lower *l, double sum, rl_span at)
{
    double rest = 1 - sum;
    if (rest < -LOW_ROW_SLACK) {
        rl_text text = { .arena = l->scratch };
        rl_put_number(&text, sum * 100, 12);
        rl_say(l->diag, at, RL_MSG_ROW_OVER, text.bytes, NULL, NULL);
    }
    return rest < LOW_ROW_DUST ? 0 : rest;
}

static int level_index(const char *const *level, size_t levels, const char *text)
{
    for (size_t i = 0; i < levels; i++)
        if (strcmp(level[i], text) == 0)
            return (int)i;
    return -1;
}

/* The level that a cell is about, or -1 after saying what is wrong with it. */
static int cell_level(lower *l, const ast_cell *cell, const char *const *level, size_t levels,
                      const ast_cell *const *seen)
{
    const ast_word *name = cell->name;
    int i = level_index(level, levels, name->text);
    if (i < 0) {
        const char *near = rl_nearest(name->text, level + 1, levels - 1);
        rl_say(l->diag, name->span, near == NULL ? RL_MSG_NO_LEVEL : RL_MSG_NO_LEVEL_NEAR, name->text, near, NULL);
    } else if (i == 0) {
        rl_say(l->diag, name->span, RL_MSG_FIRST_LEVEL, name->text, NULL, NULL);
    } else if (seen[i] != NULL) {
        rl_say_also(l->diag, name->span, RL_MSG_CELL_TWICE, name->text, NULL, NULL, seen[i]->span);
    } else {
        return i;
    }
    return -1;
}

const double *low_row(lower *l, const ast_cell *cells, rl_span at, const char *const *level, size_t levels)
{
    assert(levels >= 1);
    double *row = rl_many(l->arena, levels, double), sum = 0;
    const ast_cell **seen = rl_many(l->scratch, levels, const ast_cell *);
    for (const ast_cell *cell = cells; cell != NULL; cell = cell->next) {
        int i = cell_level(l, cell, level, levels, seen);
        if (i < 0)
            continue;
        seen[i] = cell;
        low_value(l, cell->p, LOW_PROBABILITY, &row[i]);
        sum += row[i];
    }
    row[0] = low_rest(l, sum, at);
    return row;
}

const ast_clause *low_clause(const ast_stmt *stmt, ast_clause_sort sort)
{
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == sort)
            return c;
    return NULL;
}

const char *low_sort_words(ast_sort sort)
{
    static const char *const words[] = {
        [AST_VEHICLE] = "a vehicle", [AST_CLASS] = "a class", [AST_KIND] = "a kind", [AST_AREA] = "an area",
        [AST_POINT] = "a point", [AST_SPLICE] = "a splice", [AST_CONNECTOR] = "a connector",
        [AST_FEED] = "a feed", [AST_LOAD] = "a load", [AST_SYMPTOM] = "a symptom",
        [AST_INSPECTION] = "an inspection", [AST_BACKFEED_RULE] = "backfeed", [AST_PULL_RULE] = "pull",
        [AST_GRADES] = "grades", [AST_JOINT] = "joint", [AST_METER] = "this meter",
        [AST_BYPASS_RULE] = "bypass", [AST_JUMPER_RULE] = "jumper", [AST_SWAP_RULE] = "swap",
    };
    assert(sort < sizeof words / sizeof *words && words[sort] != NULL);
    return words[sort];
}

/* Where an earlier clause of this sort is remembered; NULL: it may come again. */
static const ast_clause **seen_place(const ast_clause *clause, const ast_clause *by_sort[64],
                                     const ast_clause *by_state[2][RL_STATES])
{
    switch (clause->sort) {
    case AST_C_NOTE: case AST_C_CAUTION: case AST_C_SOURCE: case AST_C_DONOT:
    case AST_C_WHEN: case AST_C_SHORT: case AST_C_CAUSE:
        return NULL;
    case AST_C_STATE: return &by_state[0][low_state(clause->state)];
    case AST_C_JOINT: return &by_state[1][low_state(clause->state)];
    default: return &by_sort[clause->sort];
    }
}

void low_check_clauses(lower *l, const ast_stmt *stmt)
{
    const ast_clause *by_sort[64] = { NULL }, *by_state[2][RL_STATES] = { { NULL } };
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next) {
        assert(c->sort < 64);
        const ast_clause **seen = seen_place(c, by_sort, by_state);
        if (seen != NULL && *seen != NULL)
            rl_say_also(l->diag, c->span, RL_MSG_CLAUSE_TWICE, NULL, NULL, NULL, (*seen)->span);
        else if (seen != NULL)
            *seen = c;
    }
}

const char *low_keep(lower *l, const char *text)
{
    return text == NULL ? NULL : rl_arena_copy(l->arena, text, strlen(text));
}

rl_texts low_texts(lower *l, const ast_stmt *stmt, ast_clause_sort sort)
{
    size_t count = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        count += c->sort == sort;
    if (count == 0)
        return (rl_texts){ NULL, 0 };
    const char **text = rl_many(l->arena, count, const char *);
    count = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (c->sort == sort)
            text[count++] = low_keep(l, c->text);
    return (rl_texts){ text, count };
}

rl_texts low_join(lower *l, rl_texts a, rl_texts b)
{
    if (a.count == 0 || b.count == 0)
        return a.count == 0 ? b : a;
    const char **text = rl_many(l->arena, a.count + b.count, const char *);
    memcpy(text, a.text, a.count * sizeof *text);
    memcpy(text + a.count, b.text, b.count * sizeof *text);
    return (rl_texts){ text, a.count + b.count };
}

const char *const *low_words(lower *l, const ast_word *words, size_t *count)
{
    *count = 0;
    for (const ast_word *w = words; w != NULL; w = w->next)
        ++*count;
    const char **text = rl_many(l->arena, *count + 1, const char *);
    size_t i = 0;
    for (const ast_word *w = words; w != NULL; w = w->next)
        text[i++] = low_keep(l, w->text);
    return text;
}

unsigned low_forbidden(const ast_stmt *stmt)
{
    static const char *const word[] = { "probe", "bypass", "jumper", "swap", "disconnect" };
    unsigned set = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        for (const ast_word *w = c->sort == AST_C_DONOT ? c->words : NULL; w != NULL; w = w->next)
            for (unsigned i = 0; i < 5; i++)
                if (strcmp(w->text, word[i]) == 0)
                    set |= 1u << i;
    return set;
}

rl_state low_state(ast_state state)
{
    assert(state != AST_NO_STATE);
    return (rl_state)state;
}

const char *low_state_word(ast_state state)
{
    return rl_state_text(low_state(state));
}

rl_law low_law(lower *l, const ast_clause *clause, rl_law missing)
{
    rl_law law = missing;
    double spread = 1;
    if (clause == NULL)
        return missing;
    if (clause->spread != NULL)
        low_value(l, clause->spread, LOW_JOINT_SPREAD, &spread);
    if (low_value(l, clause->number, LOW_JOINT, &law.median))
        law.log_spread = log(spread);
    return law;
}

void low_need(lower *l, const ast_stmt *stmt, const char *clause)
{
    rl_say(l->diag, stmt->name != NULL ? stmt->name->span : stmt->span, RL_MSG_CLAUSE_MISSING,
           low_sort_words(stmt->sort), clause, NULL);
}
