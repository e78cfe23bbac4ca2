/* ast.c: the builders of the syntax tree, one for each sort of node.
 *
 * Invariant: a node is whole when its builder returns it; later only its
 * `next` is set, by the list that takes it.  Units become dimensions here.
 */
#include "builder.h"

#include <assert.h>
#include <math.h>
#include <string.h>

ast_word *rl_ast_word(rl_parser *p, rl_span span, const char *text)
{
    assert(text != NULL);
    ast_word *word = rl_new(p->arena, ast_word);
    word->span = span;
    word->text = text;
    return word;
}

ast_number *rl_ast_number(rl_parser *p, rl_span span, const char *text, double value)
{
    assert(isfinite(value));
    ast_number *number = rl_new(p->arena, ast_number);
    number->span = span;
    number->text = text;
    number->value = value;
    return number;
}

/* ---- units ---- */

typedef struct unit {
    const char *text;
    ast_dimension dimension;
    double times, divided;     /* to the unit that ast.h names; division is exact where a factor is not */
} unit;

static const unit units[] = {
    {"V", AST_VOLT, 1, 1},       {"mV", AST_VOLT, 1, 1000},
    {"A", AST_AMPERE, 1, 1},     {"mA", AST_AMPERE, 1, 1000},
    {"W", AST_WATT, 1, 1},
    {"ohm", AST_OHM, 1, 1},      {"mohm", AST_OHM, 1, 1000},       {"kohm", AST_OHM, 1000, 1},
    {"\xce\xa9", AST_OHM, 1, 1}, {"m\xce\xa9", AST_OHM, 1, 1000},  {"k\xce\xa9", AST_OHM, 1000, 1},
    {"\xe2\x84\xa6", AST_OHM, 1, 1}, {"m\xe2\x84\xa6", AST_OHM, 1, 1000}, {"k\xe2\x84\xa6", AST_OHM, 1000, 1},
    {"mm2", AST_SECTION, 1, 1},     {"mm\xc2\xb2", AST_SECTION, 1, 1},   {"AWG", AST_SECTION, 1, 1},
    {"m", AST_LENGTH, 1, 1},     {"cm", AST_LENGTH, 1, 100},       {"mm", AST_LENGTH, 1, 1000},
    {"min", AST_TIME, 1, 1},     {"s", AST_TIME, 1, 60},           {"h", AST_TIME, 60, 1},
    {"Nm", AST_TORQUE, 1, 1},
};
enum { UNITS = sizeof units / sizeof *units };

static const unit *find_unit(const char *text)
{
    for (size_t i = 0; i < UNITS; i++)
        if (strcmp(units[i].text, text) == 0)
            return &units[i];
    return NULL;
}

static ast_number *unknown_unit(rl_parser *p, const ast_word *word)
{
    const char *known[UNITS];
    for (size_t i = 0; i < UNITS; i++)
        known[i] = units[i].text;
    const char *near = rl_nearest(word->text, known, UNITS);
    if (near != NULL && word->text[0] == 'M' && near[0] == 'm')
        near = NULL;  /* mega is no slip of milli */
    rl_parse_fault(p, word->span, near != NULL ? RL_MSG_UNIT_NEAR : RL_MSG_NO_UNIT, rl_parse_quote(p, word->span), near);
    return NULL;
}

/* The area of American wire gauge n: (pi/4) (0.127 mm x 92^((36-n)/39))^2. */
static double gauge_area(double n)
{
    const double quarter_pi = 0.78539816339744830962;
    double diameter = 0.127 * pow(92, (36 - n) / 39);
    return quarter_pi * diameter * diameter;
}

/* "0000" would read as 0: the plain numbers are written without leading zeros. */
static bool is_gauge(const ast_number *number)
{
    size_t digits = strspn(number->text, "0123456789");
    if (number->text[digits] == '/')
        return true;
    return number->text[digits] == '\0' && (digits == 1 || number->text[0] != '0') && number->value <= 40;
}

static const char *with_unit(rl_parser *p, const char *number, const char *space, const char *symbol)
{
    size_t head = strlen(number), gap = strlen(space), tail = strlen(symbol);
    char *text = rl_arena_raw(p->arena, head + gap + tail + 1);
    memcpy(text, number, head);
    memcpy(text + head, space, gap);
    memcpy(text + head + gap, symbol, tail + 1);
    return text;
}

ast_number *rl_ast_quantity(rl_parser *p, rl_span span, ast_number *number, ast_word *word)
{
    const unit *found = find_unit(word->text);
    if (found == NULL)
        return unknown_unit(p, word);
    bool gauge = strcmp(found->text, "AWG") == 0;
    if (gauge ? !is_gauge(number) : strchr(number->text, '/') != NULL) {
        rl_parse_fault(p, number->span, gauge ? RL_MSG_GAUGE : RL_MSG_GAUGE_UNIT,
                       rl_parse_quote(p, number->span), NULL);
        return NULL;
    }
    double value = gauge ? gauge_area(number->value) : number->value * found->times / found->divided;
    if (!isfinite(value)) {
        rl_parse_fault(p, span, RL_MSG_NUMBER_LARGE, rl_parse_quote(p, span), NULL);
        return NULL;
    }
    number->value = value;
    number->span = span;
    number->dimension = found->dimension;
    number->text = with_unit(p, number->text, " ", word->text);
    return number;
}

ast_number *rl_ast_percent(rl_parser *p, rl_span span, ast_number *number)
{
    number->value /= 100;
    number->span = span;
    number->dimension = AST_PERCENT;
    number->text = with_unit(p, number->text, "", "%");
    return number;
}

/* ---- parts of statements ---- */

ast_cell *rl_ast_cell(rl_parser *p, rl_span span, ast_word *name, ast_number *share)
{
    ast_cell *cell = rl_new(p->arena, ast_cell);
    cell->span = span;
    cell->name = name;
    cell->p = share;
    return cell;
}

ast_path *rl_ast_path(rl_parser *p, ast_path path, rl_span span)
{
    assert(path.parent != NULL && (path.area == NULL) == (path.length == NULL));
    ast_path *made = rl_arena_raw(p->arena, sizeof *made);
    *made = path;
    made->span = span;
    return made;
}

ast_condition *rl_ast_condition(rl_parser *p, rl_span span, ast_condition_sort sort, ast_word *element)
{
    ast_condition *condition = rl_new(p->arena, ast_condition);
    condition->span = span;
    condition->sort = sort;
    condition->element = element;
    return condition;
}

ast_clause *rl_ast_clause(rl_parser *p, rl_span span, ast_clause clause)
{
    ast_clause *made = rl_arena_raw(p->arena, sizeof *made);
    *made = clause;
    made->span = span;
    return made;
}

ast_clause *rl_ast_extend(ast_clause *clause, rl_span span)
{
    clause->span = span;
    return clause;
}

/* ---- statements ---- */

ast_stmt *rl_ast_stmt(rl_parser *p, rl_span span, ast_stmt stmt)
{
    ast_stmt *made = rl_arena_raw(p->arena, sizeof *made);
    *made = stmt;
    made->span = span;
    return made;
}

ast_stmt *rl_ast_language(rl_parser *p, rl_span span, ast_number *number)
{
    if (p->statements != 1) {
        rl_parse_fault(p, span, RL_MSG_LANGUAGE_FIRST, NULL, NULL);
        return NULL;
    }
    if (number->value < 1 || number->value != floor(number->value)) {
        rl_parse_fault(p, number->span, RL_MSG_LANGUAGE_NUMBER, NULL, NULL);
        return NULL;
    }
    if (number->value > 1) {
        /* What follows may be in words that we do not know: say no more. */
        rl_parse_fault(p, number->span, RL_MSG_LANGUAGE_LATER, rl_parse_written(p, number->span), NULL);
        p->file->refused = true;
        return NULL;
    }
    return rl_ast_stmt(p, span, (ast_stmt){.sort = AST_LANGUAGE, .number = number});
}

void rl_ast_append(rl_parser *p, ast_stmt *stmt)
{
    ast_file *file = p->file;
    assert(stmt != NULL && stmt->next == NULL);
    if (file->last == NULL)
        file->first = stmt;
    else
        file->last->next = stmt;
    file->last = stmt;
    file->count++;
}
