/* print.c: syntax tree to canonical text.
 *
 * Invariant: parse(print(tree)) is the same tree but for spans, so that
 * print(parse(text)) is a fixed point.  A line of evidence is one line; a
 * statement of rules is one line where it fits, else its clauses fill indented
 * lines and rows of probabilities stand one below the other.
 */
#include "parse.h"

#include <assert.h>
#include <string.h>

enum { WIDTH = 100, INDENT = 4, WIDEST_KEY = 32 };

typedef struct printer {
    rl_text *out;
    rl_text piece;    /* a clause on its way to `out` */
    size_t column;    /* characters on the last line of `out` */
} printer;

static const char *const state_words[] = {"sound", "loose", "corroded", "open", "failed"};
static const char *const side_words[] = {"", "return ", "feed "};

/* ---- pieces: text without line ends ---- */

static void put_quoted(rl_text *text, const char *string)
{
    rl_put(text, "\"");
    for (const char *s = string; *s != '\0';) {
        size_t plain = strcspn(s, "\"\\");
        rl_put_bytes(text, s, plain);
        s += plain;
        if (*s != '\0') {
            rl_put(text, "\\");
            rl_put_bytes(text, s++, 1);
        }
    }
    rl_put(text, "\"");
}

static void put_pair(rl_text *text, const char *word, const char *rest)
{
    rl_put(text, word);
    rl_put(text, " ");
    rl_put(text, rest);
}

static void put_words(rl_text *text, const ast_word *words, const char *between)
{
    for (const ast_word *w = words; w != NULL; w = w->next) {
        if (w != words)
            rl_put(text, between);
        rl_put(text, w->text);
    }
}

static void put_numbers(rl_text *text, const ast_number *numbers)
{
    for (const ast_number *n = numbers; n != NULL; n = n->next) {
        if (n != numbers)
            rl_put(text, ", ");
        rl_put(text, n->text);
    }
}

static void put_cell(rl_text *text, const ast_cell *cell)
{
    put_pair(text, cell->name->text, cell->p->text);
}

static void put_paths(rl_text *text, const ast_path *paths)
{
    for (const ast_path *path = paths; path != NULL; path = path->next) {
        if (path != paths)
            rl_put(text, " or ");
        rl_put(text, path->parent->text);
        if (path->via != NULL) {
            rl_put(text, " via ");
            put_words(text, path->via, ", ");
        }
        if (path->area != NULL) {
            put_pair(text, " by", path->area->text);
            put_pair(text, "", path->length->text);
        }
    }
}

static void put_conditions(rl_text *text, const ast_condition *conditions)
{
    static const char *const words[] = {"bypass", "bypass at ", "repaired ", "swap", "jumper"};
    rl_put(text, "with ");
    for (const ast_condition *c = conditions; c != NULL; c = c->next) {
        if (c != conditions)
            rl_put(text, " and ");
        rl_put(text, words[c->sort]);
        if (c->element != NULL)
            rl_put(text, c->element->text);
    }
}

/* ---- clauses ---- */

/* How a clause begins that is a word and then a number, words or a string. */
static const char *const openings[] = {
    [AST_C_REVISION] = "revision",   [AST_C_SUPPLY] = "supply",     [AST_C_QUIET] = "quiet",
    [AST_C_FAILED] = "failed",       [AST_C_LIMIT] = "limit",       [AST_C_REPAIR] = "repair",
    [AST_C_BY] = "by",               [AST_C_BEHAVES] = "behaves",   [AST_C_DRAWS] = "draws",
    [AST_C_CHECK] = "check",         [AST_C_SHORT] = "short of",    [AST_C_OTHERWISE] = "otherwise",
    [AST_C_ACCESS] = "access",       [AST_C_CLASS] = "class",       [AST_C_KIND] = "kind",
    [AST_C_IN] = "in",               [AST_C_OPERATED] = "operated by", [AST_C_WIRE_CLASS] = "wire class",
    [AST_C_RETURNS] = "returns through", [AST_C_FED] = "fed by",    [AST_C_RATED] = "rated",
    [AST_C_TORQUE] = "torque",       [AST_C_UPTO] = "up to",        [AST_C_NOTE] = "note",
    [AST_C_CAUTION] = "caution",     [AST_C_SOURCE] = "source",     [AST_C_DONOT] = "do not",
    [AST_C_OF] = "of",               [AST_C_SHOWS] = "shows",       [AST_C_READS] = "reads",
    [AST_C_MISREAD] = "misread",     [AST_C_ZERO] = "zero",         [AST_C_LEAKS] = "leaks",
    [AST_C_BANDS] = "bands",         [AST_C_ABOVE] = "above",       [AST_C_SURE] = "sure",
    [AST_C_SAID] = "said",           [AST_C_BATTERY] = "battery",   [AST_C_FROM] = "from",
    [AST_C_TO] = "to",               [AST_C_AT] = "at",             [AST_C_ALSO] = "also",
};

/* Words, then numbers, then a string: whatever the clause has of them. */
static void put_simple(rl_text *text, const ast_clause *clause)
{
    rl_put(text, openings[clause->sort]);
    if (clause->words != NULL) {
        rl_put(text, " ");
        put_words(text, clause->words, ", ");
    }
    if (clause->number != NULL) {
        rl_put(text, " ");
        put_numbers(text, clause->number);
    }
    if (clause->second != NULL)
        put_pair(text, clause->sort == AST_C_READS ? " plus" : "", clause->second->text);
    if (clause->spread != NULL)
        put_pair(text, " spread", clause->spread->text);
    if (clause->text != NULL) {
        rl_put(text, " ");
        put_quoted(text, clause->text);
    }
    if (clause->path != NULL) {
        rl_put(text, " ");
        put_paths(text, clause->path);
    }
}

static void put_joint(rl_text *text, const ast_clause *clause)
{
    put_pair(text, state_words[clause->state], clause->number->text);
    if (clause->spread != NULL)
        put_pair(text, " spread", clause->spread->text);
}

/* What stands before the cells of a row. */
static void put_key(rl_text *text, const ast_clause *clause)
{
    if (clause->sort == AST_C_WHEN) {
        rl_put(text, "when ");
        rl_put(text, side_words[clause->side]);
        rl_put(text, state_words[clause->state]);
    } else if (clause->sort == AST_C_CAUSE) {
        rl_put(text, "from ");
        rl_put(text, side_words[clause->side]);
        rl_put(text, clause->side == AST_BOTH_SIDES ? "" : "of ");
        rl_put(text, clause->words->text);
    } else {
        put_simple(text, clause);
    }
}

static void put_clause(rl_text *text, const ast_clause *clause)
{
    switch (clause->sort) {
    case AST_C_STATE:
        put_pair(text, state_words[clause->state], clause->number->text);
        return;
    case AST_C_JOINT:
        rl_put(text, "joint ");
        put_joint(text, clause);
        return;
    case AST_C_WITH:
        put_conditions(text, clause->conditions);
        return;
    default:
        put_key(text, clause);
        for (const ast_cell *cell = clause->cells; cell != NULL; cell = cell->next) {
            rl_put(text, cell == clause->cells ? " " : "  ");
            put_cell(text, cell);
        }
    }
}

/* ---- lines of evidence ---- */

static bool is_end(const ast_clause *clause)
{
    return clause->sort == AST_C_FROM || clause->sort == AST_C_TO;
}

static void put_clauses(rl_text *text, const ast_stmt *stmt, bool ends)
{
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next)
        if (is_end(c) == ends) {
            rl_put(text, stmt->sort == AST_OCCASION ? "  " : " ");
            if (c->sort == AST_C_BELOW)
                put_pair(text, "below", c->number->text);
            else
                put_clause(text, c);
        }
}

static void put_outcome(rl_text *text, const ast_stmt *stmt)
{
    if (stmt->negated)
        rl_put(text, " not");
    if (stmt->outcomes != NULL) {
        rl_put(text, " ");
        put_words(text, stmt->outcomes, " or ");
    }
    if (stmt->number != NULL)
        put_pair(text, "", stmt->number->text);
}

static void put_case(rl_text *text, const ast_stmt *stmt)
{
    rl_put(text, "case ");
    put_quoted(text, stmt->text);
    put_pair(text, " on", stmt->name->text);
}

static void put_found(rl_text *text, const ast_stmt *stmt)
{
    rl_put(text, stmt->only ? "found only " : "found ");
    if (stmt->name == NULL)
        rl_put(text, "nothing");
    else
        put_pair(text, stmt->name->text, state_words[stmt->state]);
}

static void put_expect(rl_text *text, const ast_stmt *stmt)
{
    put_pair(text, "expect", stmt->name->text);
    if (stmt->clauses == NULL)
        rl_put(text, " leads");
}

static const char *verb(ast_sort sort)
{
    switch (sort) {
    case AST_BACKFEED: return "backfeed ";
    case AST_PULL: return "pull ";
    case AST_DROP: return "drop ";
    case AST_RESISTANCE: return "resistance ";
    case AST_SUPPLY: return "supply ";
    case AST_CONTINUITY: return "continuity ";
    case AST_OPENED: return "opened ";
    case AST_OCCASION: return "occasion ";
    default: return "";
    }
}

static void put_subject(rl_text *text, const ast_stmt *stmt)
{
    rl_put(text, verb(stmt->sort));
    rl_put(text, stmt->name->text);
    if (stmt->name2 != NULL)
        put_pair(text, "", stmt->name2->text);
}

static void put_evidence(rl_text *text, const ast_stmt *stmt)
{
    if (stmt->sort == AST_CASE) {
        put_case(text, stmt);
    } else if (stmt->sort == AST_FOUND) {
        put_found(text, stmt);
    } else if (stmt->sort == AST_EXPECT) {
        put_expect(text, stmt);
    } else if (stmt->sort == AST_OTHERS) {
        rl_put(text, stmt->name == NULL ? "others" : "others of ");
        rl_put(text, stmt->name == NULL ? "" : stmt->name->text);
        rl_put(text, " work");
    } else {
        put_subject(text, stmt);
    }
    if (stmt->label != NULL) {
        rl_put(text, " ");
        put_quoted(text, stmt->label);
    }
    put_clauses(text, stmt, true);
    put_outcome(text, stmt);
    put_clauses(text, stmt, false);
}

/* ---- rules ---- */

static const char *opening(ast_sort sort)
{
    static const char *const words[] = {
        [AST_LANGUAGE] = "language",     [AST_INCLUDE] = "include",       [AST_REMOVE] = "remove",
        [AST_VEHICLE] = "vehicle",       [AST_CLASS] = "class",           [AST_KIND] = "kind",
        [AST_AREA] = "area",             [AST_POINT] = "point",           [AST_SPLICE] = "splice",
        [AST_CONNECTOR] = "connector",   [AST_FEED] = "feed",             [AST_LOAD] = "load",
        [AST_SYMPTOM] = "symptom",       [AST_INSPECTION] = "inspection", [AST_BACKFEED_RULE] = "backfeed",
        [AST_PULL_RULE] = "pull",        [AST_GRADES] = "grades",         [AST_JOINT] = "joint",
        [AST_METER] = "meter",           [AST_BYPASS_RULE] = "bypass",    [AST_JUMPER_RULE] = "jumper",
        [AST_SWAP_RULE] = "swap",
    };
    assert(sort < AST_CASE);
    return words[sort];
}

static void put_head(rl_text *text, const ast_stmt *stmt)
{
    rl_put(text, opening(stmt->sort));
    if (stmt->name != NULL)
        put_pair(text, "", stmt->name->text);
    if (stmt->number != NULL) {
        rl_put(text, " ");
        put_numbers(text, stmt->number);
    }
    const char *string = stmt->sort == AST_INCLUDE ? stmt->text : stmt->label;
    if (string != NULL) {
        rl_put(text, " ");
        put_quoted(text, string);
    }
}

/* A clause as it stands in this statement: the first of `joint` goes on from
 * the word itself, and a beeper's limit has a word more. */
static void put_rule_clause(rl_text *text, const ast_stmt *stmt, const ast_clause *clause)
{
    if (stmt->sort == AST_JOINT && clause->sort == AST_C_JOINT)
        put_joint(text, clause);
    else if (stmt->sort == AST_JOINT && clause == stmt->clauses) {
        put_pair(text, state_words[clause->state], "");
        put_clause(text, clause);
    } else if (clause->sort == AST_C_BELOW)
        put_pair(text, "beeps below", clause->number->text);
    else
        put_clause(text, clause);
}

static size_t characters(const rl_text *text)
{
    size_t count = 0;
    for (size_t i = 0; i < text->length; i++)
        count += ((unsigned char)text->bytes[i] & 0xc0) != 0x80;
    return count;
}

static void send_piece(printer *p)
{
    rl_put_bytes(p->out, p->piece.bytes, p->piece.length);
    p->column += characters(&p->piece);
    p->piece.length = 0;
}

static void put_blanks(printer *p, size_t count)
{
    for (; count > 0; count--) {
        rl_put(p->out, " ");
        p->column++;
    }
}

static void new_line(printer *p, size_t indent)
{
    rl_put(p->out, "\n");
    p->column = 0;
    put_blanks(p, indent);
}

static const char *gap(const ast_stmt *stmt, const ast_clause *clause)
{
    return stmt->sort == AST_JOINT && clause == stmt->clauses ? " " : "  ";
}

/* The statement on one line, if it fits. */
static bool print_on_one_line(printer *p, const ast_stmt *stmt)
{
    put_head(&p->piece, stmt);
    for (const ast_clause *c = stmt->clauses; c != NULL && p->piece.length <= 4 * WIDTH; c = c->next) {
        rl_put(&p->piece, gap(stmt, c));
        put_rule_clause(&p->piece, stmt, c);
    }
    bool fits = characters(&p->piece) <= WIDTH;
    if (fits)
        send_piece(p);
    p->piece.length = 0;
    return fits;
}

static bool is_row(const ast_clause *clause)
{
    return clause->cells != NULL;
}

static size_t key_width(printer *p, const ast_stmt *stmt)
{
    size_t widest = 0;
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next) {
        if (!is_row(c))
            continue;
        put_key(&p->piece, c);
        size_t width = characters(&p->piece);
        p->piece.length = 0;
        if (width > widest && width <= WIDEST_KEY)
            widest = width;
    }
    return widest;
}

static void print_row(printer *p, const ast_clause *clause, size_t width)
{
    new_line(p, INDENT);
    put_key(&p->piece, clause);
    send_piece(p);
    size_t cells = INDENT + width;
    if (p->column < cells)
        put_blanks(p, cells - p->column);
    for (const ast_cell *cell = clause->cells; cell != NULL; cell = cell->next) {
        put_cell(&p->piece, cell);
        if (p->column + 2 + characters(&p->piece) > WIDTH && cell != clause->cells)
            new_line(p, cells);
        put_blanks(p, 2);
        send_piece(p);
    }
}

static void print_on_lines(printer *p, const ast_stmt *stmt)
{
    size_t width = key_width(p, stmt);
    bool after_row = false;
    put_head(&p->piece, stmt);
    send_piece(p);
    for (const ast_clause *c = stmt->clauses; c != NULL; c = c->next) {
        if (is_row(c)) {
            print_row(p, c, width);
            after_row = true;
            continue;
        }
        put_rule_clause(&p->piece, stmt, c);
        if (after_row || p->column + 2 + characters(&p->piece) > WIDTH)
            new_line(p, INDENT);
        else
            put_blanks(p, strlen(gap(stmt, c)));
        send_piece(p);
        after_row = false;
    }
}

static void print_statement(printer *p, const ast_stmt *stmt)
{
    p->column = 0;
    if (stmt->sort >= AST_CASE) {
        put_evidence(&p->piece, stmt);
        send_piece(p);
        return;
    }
    bool table = stmt->sort == AST_KIND || stmt->sort == AST_INSPECTION;
    if (table || !print_on_one_line(p, stmt))
        print_on_lines(p, stmt);
}

void rl_print_statement(rl_text *out, const ast_stmt *stmt)
{
    printer p = {.out = out, .piece = {.arena = out->arena}};
    print_statement(&p, stmt);
}

/* Statements of one group stand without a blank line between them. */
static int group(const ast_stmt *stmt)
{
    switch (stmt->sort) {
    case AST_LANGUAGE: case AST_INCLUDE: case AST_REMOVE:
        return AST_LANGUAGE;
    case AST_POINT: case AST_SPLICE: case AST_CONNECTOR:
        return AST_POINT;
    case AST_VEHICLE: case AST_CLASS: case AST_KIND: case AST_AREA: case AST_FEED: case AST_LOAD:
    case AST_SYMPTOM: case AST_INSPECTION:
        return (int)stmt->sort;
    default:
        return stmt->sort < AST_CASE ? AST_BACKFEED_RULE : AST_CASE;
    }
}

void rl_print_file(rl_text *out, const ast_file *file)
{
    printer p = {.out = out, .piece = {.arena = out->arena}};
    const ast_stmt *last = NULL;
    rl_put(out, "");
    for (const ast_stmt *stmt = file->first; stmt != NULL; stmt = stmt->next) {
        if (last != NULL && (stmt->sort == AST_CASE || group(stmt) != group(last)))
            rl_put(out, "\n");
        print_statement(&p, stmt);
        rl_put(out, "\n");
        last = stmt;
    }
}
