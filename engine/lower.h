/* lower.h: what the stages of lowering (syntax tree to model) share; private to them.
 *
 * Invariant: one `lower` lives as long as one reading of a rule file.  What
 * the model keeps is copied into `arena`; everything else is in `scratch` and
 * is dropped afterwards.  A stage that finds a fault says it once, puts a
 * harmless value in its place and goes on, so that one run finds every fault.
 */
#ifndef RL_LOWER_H
#define RL_LOWER_H

#include "model.h"
#include "names.h"
#include "reading.h"

#define RL_USUAL_LIMIT 0.1   /* V: the drop over a joint that is customarily let pass */
#define LOW_ANY_ELEMENT ((1u << RL_SORTS) - 1)

enum { LOW_MAX_DEPTH = 32, LOW_MAX_FILES = 1024, LOW_CYCLE_SHOWN = 12, LOW_USES_SHOWN = 8 };

/* Bytes that the loader lent; given back when the reading is over, however it ends. */
typedef struct low_loan {
    char *bytes;
    struct low_loan *next;
} low_loan;

typedef struct low_file {
    const char *path;          /* as read and as shown */
    const char *inside;        /* the same below its top folder, normalised */
    const char *top;           /* "" or a folder with its '/': includes never leave it */
    ast_file *tree;
    bool open;                 /* being read: including it again would be a cycle */
    uint64_t *reach;           /* set of the files it includes, directly or not */
} low_file;

/* A statement in reading order: an included file stands where it is included first. */
typedef struct low_stmt {
    const ast_stmt *stmt;
    int file;
    int key;                   /* what it declares or removes; -1: nothing */
} low_stmt;

/* Name spaces, and those statements of which only one may stand. */
typedef enum low_space {
    LOW_THINGS,                /* elements, loads, symptoms, inspections */
    LOW_CLASSES, LOW_KINDS, LOW_AREAS,
    LOW_SINGLES                /* "vehicle", "joint sound", … */
} low_space;

/* One declaration among those of the same name. */
typedef struct low_decl {
    int item;                  /* its low_stmt */
    struct low_decl *next;     /* read later */
} low_decl;

typedef struct low_key {
    low_space space;
    const char *text;
    low_decl *first, *last;
    const ast_stmt *standing;  /* the declaration that counts; NULL: none or removed */
    const ast_stmt *removed;   /* the `remove` that took it away */
    bool faulty;               /* a fault in its declarations was said: nothing more is */
    int index;                 /* in the model's array of its sort; of a load its element */
} low_key;

/* A name that is used and that nothing declares.  One error however often it is used:
 * what is wrong is one statement that is missing, or one word. */
typedef struct low_missed {
    const char *what, *text;   /* "point"; what is written where it is used first: the name, or NAME.wire */
    const char *name;
    const char *near;          /* what may be meant, or NULL */
    const ast_stmt *removed;   /* the `remove` that took it away, or NULL */
    rl_span use[LOW_USES_SHOWN];
    size_t uses;               /* more of them are counted only */
} low_missed;

/* A class, lowered once and shared by its elements. */
typedef struct low_class {
    const char *id;
    double prior[RL_STATES];
    double quiet;
    rl_law sound, corroded;
    double conductor;          /* of `by`; 0: none */
    double limit, repair_minutes;
    const char *repair_text;
    rl_texts cautions, notes, sources;
    const double *bin_mass, *bin_median;
} low_class;

/* What a kind gives its loads beside the behaviour. */
typedef struct low_kind {
    const ast_stmt *stmt;
    double failed;             /* -1: not said */
    double current;            /* 0: not said */
    double repair_minutes;
    const char *repair_text;
    rl_texts cautions, notes, sources;
    const ast_clause *shortfall;  /* the first `short of`, or NULL */
} low_kind;

typedef struct lower {
    const rl_context *context;
    rl_diag *diag;
    rl_arena *scratch, *arena;
    rl_model *model;
    low_loan **loans;
    low_file *file;
    int files, file_room;
    low_stmt *item;
    int items, item_room;
    rl_names *names;           /* (space, text) -> key */
    rl_names *half;            /* names of damaged statements */
    rl_names *said;            /* default classes already missed */
    rl_names *missed_names;    /* (space, text) -> place in `missed` */
    low_missed *missed;
    int misses, miss_room;
    low_key *key;
    int keys, key_room;
    low_class *klass;
    int classes;
    low_kind *kind;
    double quiet;              /* of `joint loose` */
    const ast_stmt **node_stmt;   /* by element; a wire has its load's */
    bool unread;               /* an include could not be read: unknown names may be its */
    bool full;                 /* there is too much to be read: nothing more is */
    bool evidence;             /* a file is one of cases: that it declares no vehicle is no news */
    bool damaged;              /* some statement was dropped for its syntax */
} lower;

/* ---- lower.c ---- */

/* Fills an empty model from the rule file at `path` and its includes.  False
 * after errors.  Both arenas' bail is set; what the loader lent hangs on *loans. */
bool rl_lower(rl_model *model, rl_diag *diag, const char *path, low_loan **loans);

/* ---- include.c ---- */

/* Reads `path` and what it includes; fills file and item.  False, said, if `path` itself
 * cannot be read or there is too much. */
bool low_read(lower *l, const char *path);
bool low_includes(const lower *l, int outer, int inner);

/* ---- lower_names.c: which declaration of a name stands, and what a name means ---- */

void low_declare(lower *l);
/* The key of (space, text), or -1. */
int low_key_of(const lower *l, low_space space, const char *text);
/* The standing statement that is the only one of its sort, or NULL. */
const ast_stmt *low_single(const lower *l, const char *text);
/* The index of class, kind or area `word`; -1 after noting that there is none. */
int low_named(lower *l, low_space space, const ast_word *word);
/* The element `word`, which has to be of one of `sorts` (1 << rl_sort), called
 * `wanted` ("a point or splice") in messages; -1 after saying or noting why not. */
int low_element(lower *l, const ast_word *word, unsigned sorts, const char *wanted);
/* Calls a place where names may be missing for a reason already said. */
bool low_excused(const lower *l, const char *text);
/* Says which names are used that nothing declares. */
void low_say_missed(lower *l);

/* ---- lower_values.c: numbers, rows, texts ---- */

typedef enum low_quantity {
    LOW_PROBABILITY, LOW_REVISION, LOW_SUPPLY, LOW_SUPPLY_SPREAD, LOW_JOINT, LOW_JOINT_SPREAD, LOW_LIMIT,
    LOW_REPAIR, LOW_CHECK, LOW_ACCESS, LOW_SECTION, LOW_LENGTH, LOW_DRAWS, LOW_SHORT, LOW_RATED, LOW_TORQUE,
    LOW_UPTO, LOW_GRADE, LOW_SHARE, LOW_PLUS_VOLTS, LOW_PLUS_OHMS, LOW_BAND_VOLTS, LOW_BAND_OHMS, LOW_BELOW
} low_quantity;

/* Sets *out to the number in the quantity's own unit; says what is wrong and
 * leaves *out alone otherwise. */
bool low_value(lower *l, const ast_number *number, low_quantity quantity, double *out);
/* The value of the statement's one clause of this sort, or `missing`. */
double low_clause_value(lower *l, const ast_stmt *stmt, ast_clause_sort sort, low_quantity quantity, double missing);
/* Strictly ascending numbers of a list, in the model's arena; *count of them. */
double *low_ascending(lower *l, const ast_number *list, low_quantity quantity, const char *what, int *count);
/* The probabilities of `cells` over `levels`, the first of which takes the rest. */
const double *low_row(lower *l, const ast_cell *cells, rl_span at, const char *const *level, size_t levels);
/* Adds probabilities that may not pass 100 % together: what is left for the rest. */
double low_rest(lower *l, double sum, rl_span at);
/* A law as a clause `joint …` gives it, else `missing`. */
rl_law low_law(lower *l, const ast_clause *clause, rl_law missing);
const ast_clause *low_clause(const ast_stmt *stmt, ast_clause_sort sort);
/* Says which clauses stand twice that may stand once. */
void low_check_clauses(lower *l, const ast_stmt *stmt);
/* "a point", "an area", …: a statement's sort in a message. */
const char *low_sort_words(ast_sort sort);
/* Says that a statement lacks what it cannot do without. */
void low_need(lower *l, const ast_stmt *stmt, const char *clause);
/* Copy in the model's arena; NULL stays NULL. */
const char *low_keep(lower *l, const char *text);
/* The texts of the clauses of one sort. */
rl_texts low_texts(lower *l, const ast_stmt *stmt, ast_clause_sort sort);
rl_texts low_join(lower *l, rl_texts a, rl_texts b);
const char *const *low_words(lower *l, const ast_word *words, size_t *count);
unsigned low_forbidden(const ast_stmt *stmt);
rl_state low_state(ast_state state);
const char *low_state_word(ast_state state);

/* ---- the statements, by what they need from each other ---- */

void low_vehicle_rules(lower *l);   /* lower_rules.c: vehicle, grades, joints */
void low_test_rules(lower *l);      /*                meters, actions, backfeed, pull */
void low_class_rules(lower *l);     /* lower_classes.c: areas, classes */
void low_kind_rules(lower *l);      /* lower_kinds.c: kinds */
double low_current(lower *l, const ast_stmt *stmt);  /* `draws` of a kind or load in A; 0: not said */
void low_sign_rules(lower *l);      /*                symptoms, inspections */
void low_number_elements(lower *l); /* lower_elements.c: gives every element its index */
void low_element_rules(lower *l);   /*                   fills them */

/* ---- checks.c: what only the whole can show ---- */

void low_check(lower *l);

/* ---- model.c ---- */

/* Mass and median of a corroded law in each bin of the model (design §1). */
void rl_model_bins(rl_model *model, rl_law law, const double **mass, const double **median);
/* Everything that is derived from a model without faults. */
void rl_model_freeze(rl_model *model, rl_arena *scratch);

#endif
