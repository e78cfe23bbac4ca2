/* ringlug.h: the public face of the library, and the only installed header.
 *
 * What is opaque and what is immutable:
 *   rl_context  where memory, files and messages come from; outlives all else
 *   rl_model    one vehicle's rules, read only once built: any number of
 *               cases, on any number of threads, may share it
 *   rl_book     the cases of one file, parsed against a model
 *   rl_case     findings; the only thing that changes; one thread at a time
 * All text is UTF-8, NUL-terminated, owned by the object it was asked of and
 * valid until that object is freed (of a case: until it changes next).  The
 * library prints nothing, never exits, keeps no globals, reads no environment
 * and no clock.  Units: V, A, ohm, minutes; probabilities in [0, 1].
 */
#ifndef RINGLUG_H
#define RINGLUG_H

#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What a call came to.  One code for each kind of failure; rl_status_text names it. */
typedef enum rl_status {
    RL_OK = 0,
    RL_INPUT,          /* the input is at fault; every fault was said to the sink */
    RL_CONTRADICTION,  /* the findings have probability 0 together */
    RL_MISSING,        /* a loader's word: there is no such file */
    RL_REFUSED,        /* a loader's word: it may not or cannot be read */
    RL_MEMORY,         /* the allocator returned NULL */
    RL_WIDE,           /* the answer would pass the memory bound, and so would the bounded one */
    RL_USAGE           /* the caller broke a rule stated here */
} rl_status;
const char *rl_status_text(rl_status status);

typedef enum rl_severity { RL_NOTE, RL_WARNING, RL_ERROR } rl_severity;

/* One message.  `line_text` is the source line, `line_length` bytes without
 * its end; it may hold control characters.  Columns count characters from 1. */
typedef struct rl_report {
    int number;                 /* of docs/messages.md; its meaning never changes */
    rl_severity severity;
    const char *path;           /* NULL: no place */
    size_t line, column;
    size_t width;               /* characters to underline, at least 1 */
    const char *text;
    const char *line_text;
    size_t line_length;
    const char *other_path;     /* a second place, or NULL */
    size_t other_line, other_column;
} rl_report;

typedef struct rl_sink {
    void (*say)(void *user, const rl_report *report);
    void *user;
} rl_sink;

/* How files are read.  `read` sets *bytes and *length and returns RL_OK, or
 * RL_MISSING, RL_REFUSED or RL_MEMORY; `release` takes the bytes back. */
typedef struct rl_loader {
    rl_status (*read)(void *user, const char *path, char **bytes, size_t *length);
    void (*release)(void *user, char *bytes);
    void *user;
} rl_loader;

typedef struct rl_settings {
    void *(*take)(void *user, size_t size);  /* NULL: malloc */
    void (*give)(void *user, void *piece);   /* NULL: free */
    void *memory_user;
    rl_sink sink;
    rl_loader loader;
    const char *rules_folder;   /* where an include is looked for second; NULL: nowhere */
    size_t memory_bound;        /* bytes for exact inference; 0: 1 GiB */
    size_t error_limit;         /* errors said in one call; 0: 100 */
} rl_settings;

typedef struct rl_context rl_context;
typedef struct rl_model rl_model;
typedef struct rl_book rl_book;
typedef struct rl_case rl_case;

/* The settings are copied (rules_folder too).  RL_MEMORY or RL_OK. */
rl_status rl_context_new(const rl_settings *settings, rl_context **out);
void rl_context_free(rl_context *context);

/* ---- the model ---- */

/* Reads a rule file with its includes.  RL_OK, RL_INPUT (*out is NULL), RL_MEMORY.
 * Warnings are said either way. */
rl_status rl_model_read(rl_context *context, const char *path, rl_model **out);
void rl_model_free(rl_model *model);

typedef enum rl_sort { RL_POINT, RL_SPLICE, RL_CONNECTOR, RL_WIRE, RL_FEED, RL_LOAD } rl_sort;
enum { RL_SORTS = 6 };
const char *rl_sort_text(rl_sort sort);       /* "point" … */

/* The states of an element; a load has RL_SOUND and RL_FAILED only. */
typedef enum rl_state { RL_SOUND, RL_LOOSE, RL_CORRODED, RL_OPEN, RL_FAILED } rl_state;
enum { RL_STATES = 5 };
const char *rl_state_text(rl_state state);    /* "sound" … */

enum { RL_NO_PROBE = 1, RL_NO_BYPASS = 2, RL_NO_JUMPER = 4, RL_NO_SWAP = 8, RL_NO_DISCONNECT = 16 };

/* A list of texts, in the order written. */
typedef struct rl_texts {
    const char *const *text;
    size_t count;
} rl_texts;

typedef struct rl_area {
    const char *id, *label;     /* label: the id where none was written */
    double access;              /* minutes */
    unsigned forbidden;         /* RL_NO_… */
    rl_texts cautions, notes;
} rl_area;

typedef struct rl_element {
    const char *id, *label;
    rl_sort sort;
    const char *class_name;     /* of a load: its kind */
    double prior[RL_STATES];    /* sums to 1; a load uses sound and failed */
    int area;                   /* index, or -1; a wire lies in its load's area */
    unsigned forbidden;         /* RL_NO_…, its own and its area's */
    double limit;               /* V, customary drop over such a joint */
    double repair_minutes;      /* -1: not said */
    const char *repair_text;    /* NULL: not said */
    double torque;              /* Nm, 0: not said */
    double rated;               /* A, of a feed, 0: not said */
    double current;             /* A, of a load, 0: unknown */
    int wire;                   /* of a load: the element of its wire; else -1 */
    int load;                   /* of a wire: the element of its load; else -1 */
    int kind;                   /* of a load; else -1 */
    rl_texts cautions;          /* own, class or kind, area, then derived ones (design §6) */
    rl_texts notes, sources;
} rl_element;

typedef struct rl_kind {
    const char *id, *label;
    size_t levels;
    const char *const *level;   /* the normal one first */
    double check;               /* minutes */
} rl_kind;

typedef struct rl_symptom { const char *id, *label; double check; rl_texts cautions, notes; } rl_symptom;
typedef struct rl_inspection {
    const char *id, *label;
    unsigned sorts;             /* 1 << rl_sort */
    size_t outcomes;
    const char *const *outcome;
    double check;
} rl_inspection;

typedef struct rl_vehicle {
    const char *id, *label;
    const char *revision;       /* as written; NULL: not said */
    double supply, supply_spread;
    size_t elements, areas, kinds, symptoms, inspections;
} rl_vehicle;

/* Elements stand in the order of declaration, a load followed by its wire. */
const rl_vehicle *rl_model_vehicle(const rl_model *model);
const rl_element *rl_model_element(const rl_model *model, size_t index);
const rl_area *rl_model_area(const rl_model *model, size_t index);
const rl_kind *rl_model_kind(const rl_model *model, size_t index);
const rl_symptom *rl_model_symptom(const rl_model *model, size_t index);
const rl_inspection *rl_model_inspection(const rl_model *model, size_t index);
/* The element called `id`, or -1. */
int rl_model_find(const rl_model *model, const char *id);
/* Next element on the way to the battery: alternative `which` of a return or
 * the feed way.  Returns false past the last; sets *parent (-1: none). */
bool rl_model_way(const rl_model *model, size_t element, size_t which, int *parent,
                  const int **via, size_t *via_count);
/* Elements on every return path of a load, wire first: the set D of design §3. */
const int *rl_model_on_every_path(const rl_model *model, size_t load, size_t *count);
/* The words of the language, sorted. */
const char *const *rl_language_words(size_t *count);

/* ---- cases ---- */

/* Reads a case file.  Faulty cases are said to the sink and kept as damaged,
 * the others are whole: RL_OK, RL_INPUT (*out is set all the same unless the
 * file could not be read at all), RL_MEMORY. */
rl_status rl_book_read(rl_context *context, const rl_model *model, const char *path, rl_book **out);
void rl_book_free(rl_book *book);
size_t rl_book_count(const rl_book *book);
/* The case, owned by the book.  Damaged cases have their good lines. */
rl_case *rl_book_case(const rl_book *book, size_t index);
bool rl_case_damaged(const rl_case *c);

/* An empty case, owned by the caller. */
rl_status rl_case_new(rl_context *context, const rl_model *model, const char *name, rl_case **out);
void rl_case_free(rl_case *c);

/* Adds one statement of evidence (a finding, `occasion`, `opened`, `found`,
 * `expect`, or `case` to name it).  RL_OK, RL_INPUT (said to the sink; the case is as
 * before), RL_MEMORY (the case is as before).  Contradiction is not looked
 * for here.  `path` and `line` are what a message shows as the place. */
rl_status rl_case_add(rl_case *c, const char *text, size_t length, const char *path, size_t line);
/* Takes back line `index`; those behind it move up.  An occasion that still has lines is RL_USAGE. */
rl_status rl_case_withdraw(rl_case *c, size_t index);

typedef enum rl_line_sort {
    RL_LINE_OCCASION, RL_LINE_FINDING, RL_LINE_OPENED, RL_LINE_FOUND, RL_LINE_EXPECT
} rl_line_sort;

typedef struct rl_line {
    rl_line_sort sort;
    const char *text;           /* canonical */
    const char *path;           /* where it was read; NULL: nowhere */
    size_t line;
    size_t occasion;            /* from 0 */
    bool replaced;              /* a later line of the same observation counts instead */
} rl_line;
const char *rl_case_name(const rl_case *c);
const char *rl_case_label(const rl_case *c);     /* or NULL */
size_t rl_case_lines(const rl_case *c);
const rl_line *rl_case_line(const rl_case *c, size_t index);

/* ---- answers ---- */

typedef struct rl_belief {
    double p[RL_STATES];        /* posterior; of a load sound and failed */
    bool touched;               /* some finding reaches this element */
} rl_belief;

typedef struct rl_answer {
    double log_evidence;        /* ln P(findings); densities per V and per ohm */
    const rl_belief *belief;    /* one for each element of the model */
    bool bounded;               /* at most `faults` at once were looked at … */
    int faults;
    double neglected;           /* … and what was not looked at has at most this probability */
    size_t width;               /* variables of the widest table */
    double cells;               /* cells of all tables */
} rl_answer;
/* Exact posterior.  RL_OK, RL_CONTRADICTION, RL_WIDE, RL_MEMORY.  Owned by the case, valid
 * until the case changes. */
rl_status rl_case_answer(rl_case *c, const rl_answer **out);

/* P(at least one return element at fault), the same for feeds and loads, and
 * P(nothing at fault).  RL_OK or as rl_case_answer. */
typedef struct rl_shares { double of_return, of_feed, of_load, none; } rl_shares;
rl_status rl_case_shares(rl_case *c, const rl_shares **out);

/* After RL_CONTRADICTION: line numbers of a smallest contradicting set. */
rl_status rl_case_contradiction(rl_case *c, const size_t **lines, size_t *count);

typedef struct rl_fault { size_t element; rl_state state; } rl_fault;
typedef struct rl_explanation {
    double p;
    const rl_fault *faults;     /* suspects that are not sound, best suspect first */
    size_t count;
} rl_explanation;
/* The `most` best explanations, best first.  RL_OK or as rl_case_answer. */
rl_status rl_case_explain(rl_case *c, size_t most, const rl_explanation **out, size_t *count);
/* The suspects (design §4), the likeliest first. */
rl_status rl_case_suspects(rl_case *c, const size_t **elements, size_t *count);

typedef struct rl_weight {
    size_t line;                /* the finding */
    double db;                  /* 10 log10(odds with all / odds without it); may be infinite */
} rl_weight;
typedef struct rl_why {
    double prior, posterior;    /* P(not sound) */
    double prior_db;
    const rl_weight *weight;    /* in the order of the lines */
    size_t count;
} rl_why;
rl_status rl_case_why(rl_case *c, size_t element, const rl_why **out);

typedef enum rl_test_sort {
    RL_TEST_BEHAVIOUR, RL_TEST_SYMPTOM, RL_TEST_INSPECTION, RL_TEST_BACKFEED, RL_TEST_PULL,
    RL_TEST_DROP, RL_TEST_RESISTANCE, RL_TEST_CONTINUITY, RL_TEST_SUPPLY,
    RL_TEST_BYPASS, RL_TEST_BYPASS_AT, RL_TEST_SWAP, RL_TEST_JUMPER
} rl_test_sort;

/* An admissible test.  `text` is the evidence line up to where the outcome would stand. */
typedef struct rl_test {
    rl_test_sort sort;
    const char *text;
    double bits, minutes;       /* bits -1: not worked out, it would take too wide a table; last in the list */
    double check_minutes;       /* of the minutes: doing it; the rest is getting there */
    int subject;                /* element: the load; of an inspection its element; -1: a symptom */
    int other;                  /* element: of backfeed and pull; `at` of a bypass; else -1 */
    int named;                  /* index of the symptom or the inspection; else -1 */
    int from, to;               /* elements of a span; -1: the default end */
    int areas[2];               /* areas that must be opened for it, -1: none */
    /* drop and resistance, in V and ohm: 5 % to 95 % of what a healthy span and the
     * likeliest suspect would read; worked out for the 32 best tests, else 0 */
    double healthy_low, healthy_high;
    double suspect_low, suspect_high;
    int suspect;                /* element of the span most likely at fault; -1: none */
    double limit;               /* V, of drop: the highest customary limit of its elements */
    size_t measures;            /* tests with equal number measure the same elements */
} rl_test;
/* All admissible tests, best bits per minute first, ties by text.  */
rl_status rl_case_tests(rl_case *c, const rl_test **out, size_t *count);
/* The `most` best of them (0: all): the same tests and numbers, but only as many
 * are worked out as it takes to know which are the best of those that can be. */
rl_status rl_case_best_tests(rl_case *c, size_t most, const rl_test **out, size_t *count);
/* How many tests the last of these two calls tried and could not work out
 * within its tables, or (the best only) within what may be spent on a wide network. */
size_t rl_case_tests_unknown(const rl_case *c);

/* An `expect` line of the case: did it hold? */
typedef struct rl_expectation { size_t line; bool held; double p; size_t element; } rl_expectation;
rl_status rl_case_expectations(rl_case *c, const rl_expectation **out, size_t *count);

/* What `found` says: elements with a state, and whether all others were sound. */
rl_status rl_case_found(rl_case *c, const rl_fault **out, size_t *count, bool *only);

/* Statements of the rules that no case of those touched so far has used. */
typedef struct rl_untouched { const char *path; size_t line; const char *what; } rl_untouched;
/* `touched` has one flag for each element, then each symptom, then each
 * inspection; the call sets those that the findings of the case reach. */
size_t rl_model_flags(const rl_model *model);
rl_status rl_case_touch(rl_case *c, bool *touched);
/* Name of flag `index` and where it was declared. */
rl_untouched rl_model_flag(const rl_model *model, size_t index);

#ifdef __cplusplus
}
#endif
#endif
