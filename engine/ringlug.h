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
#include <stdint.h>

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
    RL_USAGE,          /* the caller broke a rule stated here */
    RL_FOLDER          /* a loader's word: it is a folder */
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
 * RL_MISSING, RL_FOLDER, RL_REFUSED or RL_MEMORY; `release` takes the bytes back. */
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
    size_t reading_bound;       /* bytes for reading a file with its includes, and for its cases; 0: 1 GiB each */
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
    size_t derived;             /* how many of them, the last, are derived: of undoing the element alone */
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
/* The same, but cases of other vehicles are passed over and not faults. */
rl_status rl_book_read_own(rl_context *context, const rl_model *model, const char *path, rl_book **out);
/* How many were. */
size_t rl_book_passed(const rl_book *book);
void rl_book_free(rl_book *book);
size_t rl_book_count(const rl_book *book);
/* The case, owned by the book.  Damaged cases have their good lines. */
rl_case *rl_book_case(const rl_book *book, size_t index);
bool rl_case_damaged(const rl_case *c);

/* An empty case, owned by the caller. */
rl_status rl_case_new(rl_context *context, const rl_model *model, const char *name, rl_case **out);
void rl_case_free(rl_case *c);
/* Gives back the memory of answers: what they pointed at is gone, the lines stay, and
 * the next question is worked out anew.  For those who go through many cases. */
void rl_case_rest(rl_case *c);

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
    double posterior_db;        /* 10 log10 of the odds with all findings; may be infinite, as prior_db */
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
    /* drop, resistance and supply, in V and ohm: 5 % to 95 % of what a healthy span (a supply:
     * feed) and the likeliest suspect would read; worked out for the 32 best drops and
     * resistances and the 16 best supplies, else 0: see rl_case_ranges */
    double healthy_low, healthy_high;
    double suspect_low, suspect_high;
    int suspect;                /* element of the span or feed most likely at fault; -1: none */
    double limit;               /* V, of drop: the highest customary limit of its elements */
    size_t measures;            /* tests with equal number measure the same elements */
} rl_test;
/* A copy of a test from the case's newest list of tests, with its ranges worked out; of other
 * sorts than drop, resistance and supply just a copy.  RL_OK, RL_USAGE: no tests were
 * asked for, or RL_MEMORY. */
rl_status rl_case_ranges(rl_case *c, const rl_test *test, rl_test *out);
/* All admissible tests, best bits per minute first, ties by text.  */
rl_status rl_case_tests(rl_case *c, const rl_test **out, size_t *count);
/* The `most` best of them (0: all): the same tests and numbers, but only as many
 * are worked out as it takes to know which are the best of those that can be. */
rl_status rl_case_best_tests(rl_case *c, size_t most, const rl_test **out, size_t *count);
/* How many tests the last of these two calls tried and could not work out within its tables. */
size_t rl_case_tests_unknown(const rl_case *c);
/* How much of all probability the bits are of, at least: 1, but where the answer is not exact,
 * or fewer parts of it could be looked at for tests than for the answer. */
double rl_case_tests_share(const rl_case *c);

/* An `expect` line of the case: did it hold? */
typedef struct rl_expectation { size_t line; bool held; double p; size_t element; } rl_expectation;
rl_status rl_case_expectations(rl_case *c, const rl_expectation **out, size_t *count);

/* What `found` says: elements with a state, and whether all others were sound. */
rl_status rl_case_found(rl_case *c, const rl_fault **out, size_t *count, bool *only);

/* ---- what next: test on, or repair now; two tests ahead ---- */

/* A repair.  `p`: that it cures what is complained of; see rl_case_outlook. */
typedef struct rl_mend {
    size_t element;
    double p;
    double minutes;             /* opening its area if it is closed by then, the repair, the proof */
    double repair_minutes;      /* of them the repair alone */
    bool guessed;               /* the rules give no minutes: these are customary for its sort */
} rl_mend;

/* What is expected if this test comes first, and repairs follow in the order that is best then. */
typedef struct rl_course {
    rl_test test;
    double minutes;             /* of the test, and of all repairs until one has cured it */
} rl_course;

typedef struct rl_outlook {
    const rl_mend *mend;        /* repairs in the order of least expected minutes; none: nothing is suspected */
    size_t mends;
    double at_fault;            /* the sum of their p, at most 1 */
    double minutes;             /* of repairing in that order now */
    const rl_course *course;   /* best first */
    size_t courses;
    bool stop;                  /* stop testing: at_fault is 50 % or more, and no test looked at saves what it takes */
    const rl_course *advice;    /* the test to do next: of those that save what they take that of most
                                 * bits per minute; NULL: stop, or no test saves anything */
} rl_outlook;

/* Expected minutes to a confirmed repair: by repairing now, and with each of at most `tests`
 * tests before that (0: 6).  Of four times as many that are worth most bits per minute these are
 * the best half of them, and of the others those that tell most; of readings of one sort that
 * would show the same suspect at most two.
 *
 * What an element's repair may cure: p = (posterior - prior) / (1 - prior) of its not being
 * sound, 0 where the findings speak against it: what it was at fault before anything was seen
 * explains nothing.  What an occasion has `repaired` is not repaired again.  A repair takes the
 * minutes of its area, unless open by then, its own (rl_element; where not said point 15,
 * splice 20, connector 10, wire 30, feed 5, load 15) and the proof: the longest `check` of what
 * was seen amiss, 1 min if nothing was.  Repairs are ordered by p over minutes; one that has to
 * open an area takes its place with the best of the others there together.  Each is paid for by
 * the probability that something is still at fault: the sum of p left, at most 1.  After a
 * test the same holds in each of its outcomes, weighed by its probability, its areas open then,
 * for the elements that are suspected now.
 *
 * RL_OK or as rl_case_answer.  An answer that is bounded, or exact but put together from parts
 * for want of memory, has no courses, and never a stop.
 * Owned by the case, valid until it changes.  Costs some answers (rl_case_answer) for each test. */
rl_status rl_case_outlook(rl_case *c, size_t tests, const rl_outlook **out);

/* One outcome of a first test. */
typedef struct rl_follow {
    const char *outcome;        /* as a line of the case says it; NULL: a reading from `low` to `high` */
    double low, high;           /* V or ohm; may be infinite */
    double p;
    const rl_test *test;        /* the best test then; NULL: none tells anything, or it hardly comes to that */
} rl_follow;
/* Two tests, the second one chosen by what the first one showed. */
typedef struct rl_pair {
    const rl_test *first;
    double bits, minutes;       /* expected, of both; an area that both need is opened once */
    const rl_follow *follow;
    size_t follows;
} rl_pair;
/* Pairs that begin with one of the tests that rl_case_outlook would look at (`firsts`, 0: 6),
 * ordered by the geometric mean of the bits per minute of the pair and of its first test alone.
 * The second test is that of most bits per minute after the outcome of the first, areas
 * opened for the first being open.  bits = I(F; first) + the sum over its outcomes of
 * P(outcome) I(F; second | outcome), minutes likewise.  Outcomes of less than 0.1 % get no
 * second test.  Where the answer's tables have more than 300,000 cells, each second test is
 * dear: at most three first tests are looked at then, and outcomes of 5 % or more.
 * RL_OK or as rl_case_answer.  An answer that is bounded, or exact but put together from parts
 * for want of memory, has no pairs. */
rl_status rl_case_look_ahead(rl_case *c, size_t firsts, const rl_pair **out, size_t *count);

/* Whether the test is done from the driver's seat: it needs no access, and never did. */
bool rl_test_from_seat(const rl_test *test);

/* ---- what a finding has to do with a suspect ---- */

/* Where the suspect stands as seen from a finding, by the shape of the vehicle
 * alone; of several that fit the first. */
typedef enum rl_link {
    RL_LINK_ITSELF,         /* the finding is about the suspect (of a wire: about its load) */
    RL_LINK_MENDED,         /* on its path, but bridged, swapped or repaired in this finding */
    RL_LINK_WITHIN,         /* in the span of the reading, among the causes of the symptom */
    RL_LINK_OUTSIDE,        /* on the path of the reading's load, not in the span */
    RL_LINK_RETURN,         /* the load returns through it, on every way */
    RL_LINK_MAY_RETURN,     /* … on some way */
    RL_LINK_FEED,           /* the load is fed through it */
    RL_LINK_COIL,           /* the load is switched by a relay whose coil hangs on it */
    RL_LINK_BESIDE,         /* shares what the suspect itself hangs on, not the suspect */
    RL_LINK_NONE            /* shares nothing with it */
} rl_link;
enum { RL_LINKS = RL_LINK_NONE + 1 };
const char *rl_link_text(rl_link link);       /* "itself", "mended", "within", "outside", "return" … */

typedef enum rl_seen { RL_SEEN_RIGHT, RL_SEEN_AMISS, RL_SEEN_READ } rl_seen;   /* as it should be; not so; a number */

typedef struct rl_tie {
    size_t line;                /* the finding */
    rl_link link;
    rl_seen seen;
    bool others;                /* an `others` line */
    const int *load;            /* loads that it is about; of `others`: those it reaches that hang on the suspect */
    size_t loads;
    const int *shared;          /* of the suspect and all that it hangs on, nearest first: what the
                                 * finding hangs on too, its conditions aside */
    size_t shared_count;
} rl_tie;
/* A load that hangs on the suspect and of which no line of the case tells. */
typedef struct rl_unseen { int load; rl_link link; } rl_unseen;
/* A tie for each finding that counts, in the order of the lines (that of rl_case_why), and
 * the loads not looked at, by link and as declared.  Asks nothing of the numbers, so a case
 * that contradicts itself has them too.  Owned by the case until it changes.  RL_OK,
 * RL_USAGE (there is no such element), RL_MEMORY. */
typedef struct rl_ties {
    const rl_tie *tie;
    size_t count;
    const rl_unseen *unseen;
    size_t unseen_count;
} rl_ties;
rl_status rl_case_ties(rl_case *c, size_t element, const rl_ties **out);

/* ---- drawn vehicles ---- */

/* A vehicle whose states and hidden detail were drawn from the priors of its rules, given
 * that its driver complains of something.  Numbers `seed` and `number` make the same vehicle
 * on every machine.  RL_OK, RL_MEMORY, RL_INPUT (said to the sink: nothing can be complained of). */
typedef struct rl_drawn rl_drawn;
rl_status rl_drawn_new(rl_context *context, const rl_model *model, uint64_t seed, uint64_t number, rl_drawn **out);
void rl_drawn_free(rl_drawn *drawn);
/* What is not sound now, in the order of declaration; owned by the drawn vehicle until it changes. */
rl_status rl_drawn_faults(rl_drawn *drawn, const rl_fault **out, size_t *count);
/* The element becomes sound, as after a repair. */
void rl_drawn_repair(rl_drawn *drawn, size_t element);
/* Adds to the case's last occasion what the driver complains of: the loads and symptoms
 * that are not as they should be there.  RL_OK, RL_MEMORY, or as rl_case_add. */
rl_status rl_drawn_complain(rl_drawn *drawn, rl_case *c);
/* The line of evidence that the test brings in the case's last occasion (activities are drawn once
 * for each occasion); its text belongs to the drawn vehicle until the next call.  The same test
 * in the same occasion brings the same line: after a repair begin a new one.  RL_OK, RL_MEMORY. */
rl_status rl_drawn_take(rl_drawn *drawn, const rl_case *c, const rl_test *test, const char **line);
/* Fills an empty case: in each of `occasions` (1 to 8; with activities of its own) what every
 * load does (`others work` for most that work) and whether each symptom is present; in the
 * last one at most `findings` further tests, drawn among the admissible ones on what is amiss;
 * then `found only` of all that is not sound, or `found nothing`.  RL_OK, RL_USAGE, RL_MEMORY
 * or as rl_case_add (the case then holds some of it). */
rl_status rl_drawn_case(rl_drawn *drawn, rl_case *c, size_t occasions, size_t findings);

/* ---- the proof of a repair ---- */

/* Something that was amiss: a load, a symptom, a backfeed or a pull. */
typedef struct rl_complaint {
    const char *text;           /* the line of evidence up to where the outcome would stand */
    size_t line;                /* the line that said so first */
    size_t again;               /* the last line that looked again after a repair; SIZE_MAX: none did, or it
                                   was amiss, and something was repaired since */
    bool gone;                  /* … and there it was as it should be */
    bool must;                  /* it has to be seen: a symptom need not, where there are other complaints */
} rl_complaint;

/* A reading that would show whether the repaired element is good. */
typedef struct rl_proof_reading {
    rl_test test;               /* a drop or a supply, with its ranges and limit; bits -1, minutes as after the repair */
    const size_t *also;         /* loads to be switched on too */
    size_t also_count;
    double current;             /* A through the element, by the rules */
    double bound;               /* V: a drop should be no more (the customary limit, or the healthy 95 % if
                                   that is more), a supply no less (the healthy 1 %) */
    bool shows;                 /* nine in ten bad ones would read beyond the bound */
} rl_proof_reading;

typedef enum rl_taken_word {
    RL_TAKEN_GOOD,
    RL_TAKEN_BEYOND,            /* beyond the bound: it is not mended, or something beside it is bad */
    RL_TAKEN_FAINT              /* a drop below what one in a thousand healthy ones reads: the load does not draw */
} rl_taken_word;
/* A reading over the repaired element that an occasion after its repair holds.  Readings
 * up to one that was beyond its bound before the last repair are not among them. */
typedef struct rl_taken {
    size_t line;
    double value, bound;        /* V */
    double healthy_low, healthy_high;
    bool supply;                /* a supply: the bound is the least, not the most */
    bool shows;                 /* nine in ten bad ones would read beyond the bound: a good one is proof */
    rl_taken_word word;
} rl_taken;

typedef enum rl_verdict {
    RL_PROOF_NONE,              /* no occasion has the element repaired */
    RL_PROOF_FAILED,            /* a complaint is still there, or a reading is beyond its bound */
    RL_PROOF_OPEN,              /* something is still to be seen or measured */
    RL_PROOF_DOUBTFUL,          /* all is well, but something else is suspect, or the element was not it */
    RL_PROOF_CONFIRMED
} rl_verdict;

/* CONFIRMED is this rule: every complaint that has to be seen was looked at again after a repair,
 * and none is there still; no reading taken is beyond its bound, and one that shows is good, if there
 * is one that shows; at_fault is at least 0.9; and rest is no more than rest_before or than 0.05. */
typedef struct rl_proof {
    const size_t *repaired;     /* what the last occasion after a repair has repaired, in the order of declaration */
    size_t repaired_count;      /* 0: there is none */
    bool now;                   /* that occasion is the last one */
    const rl_complaint *complaint;  /* in the order of the lines */
    size_t complaints, still;   /* `still`: those seen again after a repair */
    size_t unseen;              /* those that have to be seen and were not looked at after a repair */
    const rl_proof_reading *reading;   /* over the element first, then of a whole return or feed */
    size_t readings;
    const rl_taken *taken;
    size_t takens;
    double at_fault;            /* P(the element was not sound before | findings) */
    double rest;                /* P(something else that the complaints hang on is at fault | findings) … */
    double rest_before;         /* … and before any finding; what is repaired is not counted */
    double none_else;           /* P(nothing but what is repaired is at fault | findings), the whole vehicle */
    int suspect;                /* of what is not repaired the likeliest suspect (design §4), -1: none */
    rl_verdict verdict;
} rl_proof;
/* What proves that `element` was at fault and is repaired, and how far that is proved; before an
 * occasion with it repaired: what will have to be seen.  Where the answer is bounded, rest
 * and 1 - none_else are upper bounds.  Owned by the case, valid until it changes.  RL_OK or
 * as rl_case_answer; RL_USAGE: no such element. */
rl_status rl_case_proof(rl_case *c, size_t element, const rl_proof **out);
/* Which areas the case has open (design §4): `open` has one flag for each area of the model.
 * RL_OK or RL_MEMORY. */
rl_status rl_case_open_areas(rl_case *c, bool *open);

/* ---- rehearsal: looking for the faults of drawn vehicles ---- */

/* How a fault is looked for. */
typedef enum rl_strategy {
    RL_ADVICE,         /* the best test, or the repair of a suspect where that is worth more */
    RL_WALK,           /* every ground point is looked at, cheapest access first, then RL_LIKELIEST */
    RL_LIKELIEST       /* no test: repairs in the order of probability */
} rl_strategy;
enum { RL_STRATEGIES = 3 };
const char *rl_strategy_text(rl_strategy strategy);   /* "advice" … */

/* A play ends when the repair of an element cures: it was at fault, and what the driver
 * complains of depends on it.  Who is at fault with more than `above` (0 to 1) is
 * mended at once; after `most_tests` tests nothing but repairs is left. */
typedef struct rl_play_rule { double above; size_t most_tests; } rl_play_rule;

typedef struct rl_play {
    size_t tests;
    size_t wrong;              /* repairs in vain */
    double minutes;            /* of tests, repairs and access, to the cure */
} rl_play;
typedef struct rl_played {
    rl_play of[RL_STRATEGIES];
    double bits;               /* -log2 P(the fault to be found | complaint); on average the entropy of it */
    size_t passed_over;        /* vehicles drawn before, whose complaint no fault explains */
} rl_played;

/* What plays with one model need again and again; one thread at a time, any number of
 * them with one model.  RL_OK, RL_MEMORY, RL_USAGE. */
typedef struct rl_rehearsal rl_rehearsal;
rl_status rl_rehearsal_new(rl_context *context, const rl_model *model, const rl_play_rule *rule, uint64_t seed,
                           rl_rehearsal **out);
void rl_rehearsal_free(rl_rehearsal *rehearsal);
/* Bits that no test can pass: log2 of the most outcomes. */
double rl_rehearsal_most_bits(const rl_rehearsal *rehearsal);
/* Plays fault `number` once with each strategy.  The result depends on model, rule, seed
 * and number alone.  As rl_drawn_new and rl_case_answer; RL_MISSING: vehicle after vehicle
 * was drawn, and no fault explains what is complained of. */
rl_status rl_rehearsal_play(rl_rehearsal *rehearsal, uint64_t number, rl_played *out);

/* ---- the rules looked at: what they cannot tell apart, and what to measure before trouble ---- */

/* What would tell faults apart that nothing (or no look) does. */
typedef enum rl_remedy {
    RL_REMEDY_TEST,             /* the admissible test `test` tells some of them apart */
    RL_REMEDY_RETURN,           /* a load that returns through `element` but not `other`: there is none */
    RL_REMEDY_FEED,             /* the same of feeds */
    RL_REMEDY_INSPECTION,       /* an inspection of `element`: there is none, or it is not allowed */
    RL_REMEDY_REPAIR            /* only the repair of one of them shows */
} rl_remedy;
/* A test of those that tell a group apart.  `part`: by fault of the group, then (with `as_sound`) a
 * sound vehicle: equal numbers are not told apart by this test and those before it. */
typedef struct rl_teller { const char *test; double minutes; const size_t *part; } rl_teller;
/* Two faults (indexes) that stay together; `second` may be the count of faults: a sound vehicle. */
typedef struct rl_untold {
    size_t first, second;
    rl_remedy remedy;           /* never RL_REMEDY_TEST; as of a group */
    int element, other;
    bool uninspected;
} rl_untold;
/* Single faults, all else sound, hidden detail summed out, whose laws are equal: for each look (a
 * behaviour, a symptom) or, with `by_all`, for each admissible test, those included that a load
 * amiss allows.  Of a reading the laws of what it is of are compared, not those of its bands. */
typedef struct rl_alike {
    bool by_all;
    bool as_sound;              /* nor are they told from a vehicle without a fault */
    double apart;               /* 0: laws are equal.  Else looks that they show in are the same, and an outcome
                                 * of any of them differs by at most so much probability (a twentieth) */
    double p;                   /* of its faults, summed */
    const rl_fault *faults;     /* in the order of declaration; at least 2, or 1 with `as_sound` */
    size_t count;
    rl_remedy remedy;
    int element, other;         /* -1: none */
    bool uninspected;           /* an inspection of `element` would tell too: there is none */
    const char *test;           /* NULL but for RL_REMEDY_TEST: the quickest of them */
    double minutes;             /* of the test, nothing being open yet */
    /* Tests that tell all apart that any test does, in the order of use: each time the one that
     * tells most further pairs apart, of equals the quickest. */
    const rl_teller *teller; size_t tellers;
    /* What stays together all the same: each two; with a sound vehicle among them each with that;
     * of more than 32 each with the first. */
    const rl_untold *pair; size_t pairs;
} rl_alike;

typedef enum rl_row_sort {
    RL_ROW_MILDER,              /* a more severe state, or a larger loss, behaves milder than `than` */
    RL_ROW_HARSH,               /* given outright: it leaves less normal than what corrosion costs the load does */
    RL_ROW_LENIENT              /* given outright: it leaves more normal than what corrosion costs the load does */
} rl_row_sort;
typedef struct rl_row_problem {
    rl_row_sort sort;
    size_t kind;
    const char *row, *than;     /* "short of 7 V", "when return corroded"; `than` NULL unless RL_ROW_MILDER */
    size_t level;               /* up to this level of the kind … */
    double p, other;            /* … the row comes to p, `than` (or what corrosion costs) to `other` */
    int load;                   /* the load that shows it, -1: all of the kind */
    const char *path;
    size_t line;                /* of the kind's declaration */
} rl_row_problem;

typedef enum rl_gap_sort {
    RL_GAP_CURRENT,             /* a load of unknown current whose kind has `short of` rows that it needs */
    RL_GAP_READINGS,            /* a load of unknown current: no drop, no supply, no bypass, no jumper */
    RL_GAP_BY                   /* readings of spans pass from `element` to `parent`, and no conductor is said */
} rl_gap_sort;
typedef struct rl_gap { rl_gap_sort sort; size_t element; int parent; } rl_gap;

/* An `or` of an element's returns: alternative `which` never counts beside alternative
 * `beside`, which is never worse (`always`), or each hides faults of the other. */
typedef struct rl_cover { size_t element, which, beside; bool always; } rl_cover;

typedef enum rl_left { RL_LEFT_EXACT, RL_LEFT_DRAWN, RL_LEFT_BOUND } rl_left;
typedef struct rl_audit_report {
    const rl_alike *alike; size_t alikes;       /* by all tests first, the most probable first */
    const size_t *unseen; size_t unseens;       /* elements of which no state shows in any look */
    const rl_row_problem *problem; size_t problems;
    const rl_gap *gap; size_t gaps;
    const rl_cover *cover; size_t covers;
    double prior_bits;          /* entropy of the states of all elements */
    /* Expected, after all tests that need no access were done once: behaviours, symptoms, and
     * inspections and readings for which no area is opened; of drops across the same elements one. */
    double left_bits;
    size_t inspections, readings;   /* of these tests */
    size_t left_out;            /* readings that would have taken too much: without them more is left */
    double left_error;          /* of RL_LEFT_DRAWN: one standard error, and what bounded answers may add; else 0 */
    rl_left left;               /* RL_LEFT_BOUND: at most so much */
    size_t drawn;               /* vehicles, of RL_LEFT_DRAWN */
} rl_audit_report;
typedef struct rl_audit rl_audit;
/* Looks through the rules.  `draws` (at least 2) vehicles, the same for a `seed` on every machine,
 * where left_bits cannot be had exactly.  RL_OK; RL_MEMORY.  Owned by the caller. */
rl_status rl_audit_new(rl_context *context, const rl_model *model, size_t draws, uint64_t seed, rl_audit **out);
const rl_audit_report *rl_audit_get(const rl_audit *audit);
void rl_audit_free(rl_audit *audit);

/* A round before trouble: drops under load and inspections that within some minutes would show
 * most of the prior probability of return faults.  A drop shows a fault as far as it would pass
 * the customary limit of its span more often than a healthy span; an inspection as far as it would
 * look other than its first outcome more often than where the element is sound.  What several
 * show is counted once, by the best of them. */
typedef struct rl_stop {
    rl_test test;               /* minutes: with what has to be opened for it, in this order; healthy_low …
                                 * limit are set for a drop; bits mean nothing */
    double gain;                /* prior probability that this stop adds, an element's expected faults summed */
    const size_t *covers;       /* elements of which it shows more than the stops before it, best first */
    size_t count;
} rl_stop;
typedef struct rl_round_report {
    const rl_stop *stop; size_t stops;  /* what needs no area first, then by access */
    double minutes;             /* of all stops */
    double covered, all;        /* expected return faults: shown by the stops; that there are */
    double reachable;           /* shown if every admissible drop and inspection were done */
} rl_round_report;
typedef struct rl_round rl_round;
/* RL_OK; RL_MEMORY; RL_USAGE: minutes below 0 or no number.  Owned by the caller. */
rl_status rl_round_new(rl_context *context, const rl_model *model, double minutes, rl_round **out);
const rl_round_report *rl_round_get(const rl_round *round);
void rl_round_free(rl_round *round);

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
