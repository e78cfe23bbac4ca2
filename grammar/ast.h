/* ast.h: the syntax tree, one node for each statement of a file.
 *
 * Invariant: the tree says what was written, in the order it was written, and
 * means nothing yet: names are words, quantities carry the dimension of their
 * unit.  All nodes live in the arena of the parse.
 */
#ifndef RL_AST_H
#define RL_AST_H

#include "../engine/arena.h"
#include "../engine/diag.h"

/* The dimension of a quantity.  `value` of a number is in the unit named. */
typedef enum ast_dimension {
    AST_PLAIN,      /* a bare number: 3, 0.3 */
    AST_PERCENT,    /* value is the fraction: 30% -> 0.3 */
    AST_VOLT, AST_AMPERE, AST_WATT, AST_OHM,
    AST_SECTION,    /* mm2; AWG is converted */
    AST_LENGTH,     /* m */
    AST_TIME,       /* min */
    AST_TORQUE      /* Nm */
} ast_dimension;

typedef struct ast_number {
    rl_span span;
    double value;
    ast_dimension dimension;
    const char *text;          /* as written, number and unit: "0.75 mm2" */
    struct ast_number *next;
} ast_number;

/* A name, or a word of the language standing where a name may (a state as an
 * outcome, a sort after `of`, a test after `do not`).  "tail_left.wire" is one word. */
typedef struct ast_word {
    rl_span span;
    const char *text;
    struct ast_word *next;
} ast_word;

typedef enum ast_state { AST_NO_STATE = -1, AST_SOUND, AST_LOOSE, AST_CORRODED, AST_OPEN, AST_FAILED } ast_state;
typedef enum ast_side { AST_BOTH_SIDES, AST_RETURN_SIDE, AST_FEED_SIDE } ast_side;

/* One cell of a row: `dim 15%` or (state cells of class, from, backfeed) `loose 40%`. */
typedef struct ast_cell {
    rl_span span;
    ast_word *name;
    ast_number *p;
    struct ast_cell *next;
} ast_cell;

/* One alternative of `returns through` or the way of `fed by`. */
typedef struct ast_path {
    rl_span span;
    ast_word *parent;
    ast_word *via;             /* list, may be NULL */
    ast_number *area, *length; /* `by`, or NULL */
    struct ast_path *next;     /* the next after `or` */
} ast_path;

/* One condition of `with`: bypass | bypass at E | repaired E | swap | jumper */
typedef enum ast_condition_sort { AST_BYPASS, AST_BYPASS_AT, AST_REPAIRED, AST_SWAP, AST_JUMPER } ast_condition_sort;
typedef struct ast_condition {
    rl_span span;
    ast_condition_sort sort;
    ast_word *element;         /* bypass at, repaired */
    struct ast_condition *next;
} ast_condition;

typedef enum ast_clause_sort {
    /* used fields in brackets */
    AST_C_REVISION,      /* number */
    AST_C_SUPPLY,        /* number, spread (NULL if absent) */
    AST_C_STATE,         /* state, number: loose 1%  (class, backfeed, pull) */
    AST_C_QUIET,         /* number */
    AST_C_FAILED,        /* number: prior of a load or kind */
    AST_C_JOINT,         /* state (sound|corroded), number, spread */
    AST_C_LIMIT,         /* number */
    AST_C_REPAIR,        /* number, text (may be NULL) */
    AST_C_BY,            /* number = area, second = length: of a class */
    AST_C_BEHAVES,       /* words */
    AST_C_DRAWS,         /* number */
    AST_C_CHECK,         /* number */
    AST_C_WHEN,          /* side, state, cells */
    AST_C_SHORT,         /* number, cells */
    AST_C_OTHERWISE,     /* cells (kind) or number (symptom, backfeed, pull) */
    AST_C_ACCESS,        /* number */
    AST_C_CLASS, AST_C_KIND, AST_C_IN, AST_C_OPERATED, AST_C_WIRE_CLASS,  /* words: one */
    AST_C_RETURNS,       /* path list */
    AST_C_FED,           /* path, one */
    AST_C_RATED, AST_C_TORQUE, AST_C_UPTO,   /* number */
    AST_C_NOTE, AST_C_CAUTION, AST_C_SOURCE, /* text */
    AST_C_DONOT,         /* words: probe bypass jumper swap disconnect */
    AST_C_CAUSE,         /* symptom's from: words = subject, side (return of/feed of, else BOTH), cells */
    AST_C_OF,            /* words: sorts of an inspection */
    AST_C_SHOWS,         /* words */
    AST_C_READS,         /* number = share (percent), second = plus */
    AST_C_MISREAD, AST_C_ZERO, AST_C_LEAKS,  /* number */
    AST_C_BANDS,         /* number list */
    AST_C_BELOW,         /* number: beeps below, expect below */
    AST_C_ABOVE,         /* number: expect above */
    /* evidence */
    AST_C_SURE, AST_C_SAID, AST_C_BATTERY,   /* number */
    AST_C_WITH,          /* conditions */
    AST_C_FROM, AST_C_TO,/* words: one (ends of a reading; to of backfeed and pull) */
    AST_C_AT,            /* number */
    AST_C_ALSO           /* words */
} ast_clause_sort;

typedef struct ast_clause {
    ast_clause_sort sort;
    rl_span span;
    ast_side side;
    ast_state state;
    ast_number *number;        /* first of a list for `bands` */
    ast_number *second;        /* plus, length */
    ast_number *spread;
    ast_word *words;
    ast_cell *cells;
    ast_path *path;
    ast_condition *conditions;
    const char *text;          /* a string, escapes resolved */
    struct ast_clause *next;
} ast_clause;

typedef enum ast_sort {
    AST_LANGUAGE,              /* number */
    AST_INCLUDE,               /* text */
    AST_REMOVE,                /* name */
    AST_VEHICLE, AST_CLASS, AST_KIND, AST_AREA,
    AST_POINT, AST_SPLICE, AST_CONNECTOR, AST_FEED, AST_LOAD,
    AST_SYMPTOM, AST_INSPECTION,
    AST_BACKFEED_RULE, AST_PULL_RULE,
    AST_GRADES,                /* number list; clauses note, caution, source */
    AST_JOINT,                 /* state; first clause JOINT (sound, corroded), QUIET (loose) or LEAKS (open);
                                  behind it only note, caution, source */
    AST_METER,                 /* name: volts, ohms, beeper */
    AST_BYPASS_RULE, AST_JUMPER_RULE, AST_SWAP_RULE,
    /* evidence */
    AST_CASE,                  /* text = case name, name = vehicle, label */
    AST_OCCASION,              /* name, label, clauses SAID BATTERY WITH */
    AST_SEEN,                  /* name = load | symptom | inspection; name2 = element of an inspection or NULL;
                                  outcomes, negated; clauses SURE, WITH */
    AST_OTHERS,                /* name = element after `of`, or NULL */
    AST_BACKFEED, AST_PULL,    /* name, clause TO, outcomes (present|absent), negated; SURE */
    AST_DROP, AST_RESISTANCE, AST_SUPPLY,   /* name; number, or NULL with outcomes = open; FROM TO AT ALSO */
    AST_CONTINUITY,            /* name; outcomes = beeps|silent */
    AST_OPENED,                /* name */
    AST_FOUND,                 /* name, state, only; name NULL: nothing */
    AST_EXPECT                 /* name; no clause: leads; ABOVE or BELOW */
} ast_sort;

typedef struct ast_stmt {
    ast_sort sort;
    rl_span span;              /* the whole statement */
    ast_word *name, *name2;
    const char *label;         /* the string after the name, or NULL */
    const char *text;
    ast_number *number;
    ast_word *outcomes;        /* joined by `or` */
    bool negated;              /* `not` before them */
    bool only;
    ast_state state;
    ast_clause *clauses;       /* in the order written */
    struct ast_stmt *next;
} ast_stmt;

typedef struct ast_file {
    uint32_t source;
    ast_stmt *first, *last;
    size_t count;
    bool damaged;              /* a syntax error was reported: the tree is what could be saved */
    bool refused;              /* too much, UTF-16 or of a later language: what was not read may declare
                                  names, which are not to be called unknown */
    ast_word *half_named;      /* names of statements that were dropped for an error in them:
                                  they count as declared, so that no second error follows */
} ast_file;

#endif
