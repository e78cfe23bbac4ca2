/* builder.h: what lexer.l, grammar.y, ast.c and parse.c share, and nobody else.
 *
 * Invariant: one rl_parser serves one text.  A statement that an error was
 * reported in is `broken` until its end: nothing more is said about it.
 */
#ifndef RL_BUILDER_H
#define RL_BUILDER_H

#include "ast.h"

#include <stdbool.h>

/* Lists while they grow: the actions append, the owner takes `first`. */
#define AST_LIST(T)                                                     \
    typedef struct T##_list {                                           \
        T *first, *last;                                                \
    } T##_list;                                                         \
    static inline T##_list T##_one(T *item)                             \
    {                                                                   \
        return (T##_list){item, item};                                  \
    }                                                                   \
    static inline T##_list T##_add(T##_list list, T *item)              \
    {                                                                   \
        if (list.last == NULL)                                          \
            return T##_one(item);                                       \
        list.last->next = item;                                         \
        return (T##_list){list.first, item};                            \
    }
AST_LIST(ast_word)
AST_LIST(ast_number)
AST_LIST(ast_cell)
AST_LIST(ast_path)
AST_LIST(ast_condition)
AST_LIST(ast_clause)
#undef AST_LIST

static inline ast_clause_list ast_clause_join(ast_clause_list a, ast_clause_list b)
{
    if (a.first == NULL || b.first == NULL)
        return a.first == NULL ? b : a;
    a.last->next = b.first;
    return (ast_clause_list){a.first, b.last};
}

/* Parts of a line of evidence: what was seen, and of `backfeed` and `pull` the rest. */
typedef struct ast_seen {
    ast_word *outcomes;
    bool negated;
} ast_seen;
typedef struct ast_crossed {
    ast_seen seen;
    ast_clause_list clauses;
} ast_crossed;

typedef struct rl_token {
    int kind;
    rl_span span;
    const char *text;          /* of a word; else NULL */
} rl_token;

union RL_GRAMMAR_STYPE;  /* of bison: the value of a token */

typedef struct rl_parser {
    rl_arena *arena;
    rl_diag *diag;
    ast_file *file;
    uint32_t source;
    const char *original;      /* the source as it was given */
    char *copy;                /* what flex reads: bad bytes are RL_BAD_BYTE */
    size_t length;
    bool bad_bytes;            /* there is at least one of them */
    size_t most_memory;        /* that the arena may hold */
    void *scanner;
    /* where the lexer stands */
    uint32_t offset, line, column;
    /* the statement that is being read */
    size_t statements;         /* begun so far, this one included */
    bool open, broken;
    size_t tokens;             /* of the statement, delivered so far */
    rl_token first, second, last;
    bool ended;                /* of the text */
    ast_word *half_last;
} rl_parser;

enum { RL_BAD_BYTE = 0x7f };

/* ---- lexer.l ---- */
void rl_lexer_open(rl_parser *p);
int rl_lexer_scan(union RL_GRAMMAR_STYPE *value, rl_span *span, void *scanner);

/* ---- parse.c ---- */
/* The next token for bison: END where a statement ends, 0 at the end of the text. */
int rl_parse_token(rl_parser *p, union RL_GRAMMAR_STYPE *value, rl_span *span);
/* The statement was given up: its name counts as declared. */
void rl_parse_drop(rl_parser *p);
/* Whether a control character begins at `text`, of which `left` > 0 bytes are left. */
bool rl_parse_is_control(const char *text, size_t left);

/* ---- fault.c ---- */
/* Says a message about the statement unless it is broken, and breaks it. */
void rl_parse_fault(rl_parser *p, rl_span at, rl_message id, const char *one, const char *two);
/* What was written at `span`, clipped; the same in quotes. */
const char *rl_parse_written(rl_parser *p, rl_span span);
const char *rl_parse_quote(rl_parser *p, rl_span span);
/* Whether nothing but blanks stands before `span` on its line. */
bool rl_parse_first_of_line(const rl_parser *p, rl_span span);
/* Says what was found and what could have stood there.  `expected`: aliases of
 * grammar.y in its order; at_end: the statement ended too early. */
void rl_parse_unexpected(rl_parser *p, rl_span at, bool at_end, const char *const *expected, size_t count);

/* ---- ast.c: one builder for each sort of node ---- */
ast_word *rl_ast_word(rl_parser *p, rl_span span, const char *text);
ast_number *rl_ast_number(rl_parser *p, rl_span span, const char *text, double value);
/* NULL (and said) if the unit is unknown or does not go with the number. */
ast_number *rl_ast_quantity(rl_parser *p, rl_span span, ast_number *number, ast_word *unit);
ast_number *rl_ast_percent(rl_parser *p, rl_span span, ast_number *number);
ast_cell *rl_ast_cell(rl_parser *p, rl_span span, ast_word *name, ast_number *share);
ast_path *rl_ast_path(rl_parser *p, ast_path path, rl_span span);
ast_condition *rl_ast_condition(rl_parser *p, rl_span span, ast_condition_sort sort, ast_word *element);
ast_clause *rl_ast_clause(rl_parser *p, rl_span span, ast_clause clause);
/* The clause begins earlier than its builder knew. */
ast_clause *rl_ast_extend(ast_clause *clause, rl_span span);
ast_stmt *rl_ast_stmt(rl_parser *p, rl_span span, ast_stmt stmt);
/* NULL (and said) if the language is not ours or the statement not the first. */
ast_stmt *rl_ast_language(rl_parser *p, rl_span span, ast_number *number);
void rl_ast_append(rl_parser *p, ast_stmt *stmt);

#endif
