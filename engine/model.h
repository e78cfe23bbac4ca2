/* model.h: the rules of one vehicle, resolved, and the findings of a case.
 *
 * Invariant: an rl_model is filled by lower.c, its derived parts by model.c,
 * and never changes after rl_model_freeze.  All references are indices that
 * were checked: nothing behind this header can meet an unknown name, a cycle,
 * a row over 100 % or a span that does not exist.
 */
#ifndef RL_MODEL_H
#define RL_MODEL_H

#include "../grammar/ast.h"
#include "arena.h"
#include "diag.h"
#include "ringlug.h"

enum { RL_MAX_OCCASIONS = 8, RL_MAX_WAYS = 16, RL_MAX_LEVELS = 100, RL_MAX_EDGES = 100 };
#define RL_NO_MASS 1e-12  /* a bin with no more than this is impossible (design §1) */

/* A log-normal law of a resistance in ohm.  spread g: ln R ~ N(ln median, (ln g)^2). */
typedef struct rl_law {
    double median;   /* 0: no such law */
    double log_spread;
} rl_law;

typedef struct rl_alternative {
    int parent;               /* element; -1: the battery negative itself */
    int via_count;
    const int *via;           /* connectors, from here to the parent */
    double conductor;         /* ohm, from the element to the parent; 0: not said */
} rl_alternative;

typedef struct rl_node {
    rl_element info;          /* what the public sees */
    rl_span span;
    double quiet;
    rl_law sound, corroded;   /* its class's, else the default's; median 0: none */
    const double *bin_mass;   /* one for each bin, renormalised; 0: impossible */
    const double *bin_median; /* median of the corroded law cut to the bin (bins with mass); whole law's when laws are missing: 0 */
    /* way to the battery: point, splice, wire: returns; feed: its feed way (one at most).
     * A connector and a load have none (a load's returns stand on its wire). */
    int way_count;
    const rl_alternative *way;
    int coil;                 /* feed: the load that operates it; else -1 */
    rl_alternative feed;      /* load: parent = the feed named after `fed by` or -1, its via */
    bool in_return, in_feed;  /* connector: where it stands */
    /* load only, by rl_paths: */
    const int *on_every;      /* D(L): wire first, toward the battery */
    int on_every_count;
    const int *feed_chain;    /* feeds and via connectors of its feed way up to the battery, coils aside, each once */
    int feed_chain_count;
    /* where returns fork, by rl_paths: the next element on every way (-1: none),
     * and all that lies on some way between here and there */
    int join;
    const int *between;
    int between_count;
    /* feed only, by rl_paths: what some return path of each load fed by it passes */
    const int *in_common;
    int in_common_count;
} rl_node;

/* Rows are probabilities of the levels, the first level included (it takes the rest). */
typedef struct rl_shortfall { double volts; const double *row; } rl_shortfall;
typedef struct rl_behaviour {  /* a kind */
    rl_kind info;
    rl_span span;
    /* rows by side (0 return, 1 feed) and state (RL_LOOSE, RL_CORRODED, RL_OPEN); NULL: first level for certain.
     * A corroded row that is NULL takes the shortfall rows. */
    const double *row[2][RL_STATES];
    const double *failed, *otherwise;
    const rl_shortfall *shortfall;   /* ascending volts */
    int shortfalls;
} rl_behaviour;

typedef enum rl_subject { RL_OF_ELEMENT, RL_OF_LOAD, RL_OF_RETURN, RL_OF_FEED } rl_subject;
typedef struct rl_cause {
    rl_subject subject;
    int element;               /* an element, or the load of `return of`, `feed of` */
    double p[RL_STATES];       /* by state (RL_FAILED for a load); p[RL_SOUND] is 0 unless written */
} rl_cause;
typedef struct rl_sign {       /* a symptom */
    rl_symptom info;
    rl_span span;
    const rl_cause *cause;
    int causes;
    double otherwise;
} rl_sign;

typedef struct rl_look {       /* an inspection */
    rl_inspection info;
    rl_span span;
    const double *row[RL_STATES];  /* never NULL: a state without a row shows the first outcome */
} rl_look;

typedef struct rl_crosstalk {  /* backfeed, pull */
    bool given;
    double p[RL_STATES], otherwise, check;
} rl_crosstalk;

typedef struct rl_meter {
    bool given;
    double share, plus;        /* reads a (fraction) plus b (V or ohm) */
    double misread, zero, check;
    double limit;              /* beeper: beeps below, ohm */
    const double *band;        /* ascending edges */
    int bands;                 /* number of edges */
} rl_meter;

typedef struct rl_action {     /* bypass, jumper, swap */
    bool given;
    double check;              /* 1 min without a statement */
    double up_to;              /* A; infinity: no limit */
} rl_action;

struct rl_model {
    rl_arena arena;
    rl_context *context;
    rl_vehicle vehicle;
    int nodes, areas, kinds, signs, looks;
    rl_node *node;
    rl_area *area;
    rl_behaviour *kind;
    rl_sign *sign;
    rl_look *look;
    rl_crosstalk backfeed, pull;
    rl_meter volts, ohms, beeper;
    rl_action bypass, jumper, swap;
    int bins;                  /* 1 without `grades` */
    const double *edge;        /* bins + 1 edges, 0 first, infinity last */
    rl_law sound, corroded;    /* the defaults of the joint statements; median 0: none */
    double leaks;              /* of `joint open` */
    const double *bin_law_mass;/* the default corroded law's mass in each bin, not renormalised (bins long) */
    struct rl_names *names;    /* names.h: what each name means */
    const char *const *source; /* paths of the files read, by rl_span.source of a declaration */
    const struct rl_row_book *rows;  /* of rows.c: the kinds' rows for each load */
    const struct rl_crowd_book *crowd;   /* of crowd_book.c: what loads say that work */
    struct rl_band_book *bands;      /* of band_book.c: a memo that grows while cases ask */
    struct rl_roster_place *roster;  /* of roster.c: made when tests are first asked for */
};

typedef struct rl_conditions {
    bool bypass, swap, jumper;
    int bypass_at;             /* element, the first toward the battery of several; -1: none */
    const int *cut;            /* of a line that was said: all of `bypass at`, ascending */
    int cut_count;
    const int *repaired;       /* elements, ascending; the occasion's are not here */
    int repaired_count;
} rl_conditions;

typedef enum rl_evidence {
    RL_E_BEHAVIOUR, RL_E_SYMPTOM, RL_E_INSPECTION, RL_E_BACKFEED, RL_E_PULL,
    RL_E_DROP, RL_E_RESISTANCE, RL_E_CONTINUITY, RL_E_SUPPLY, RL_E_OTHERS,
    /* not evidence */
    RL_E_OPENED, RL_E_FOUND, RL_E_EXPECT, RL_E_OCCASION
} rl_evidence;

/* One line of a case. */
typedef struct rl_finding {
    rl_evidence sort;
    int occasion;
    rl_line line;              /* text and place, for the public */
    const char *key;           /* what it observes: canonical line without outcome, `at`, `sure` */
    rl_span span;
    int subject;               /* load; inspection, others, found, expect: element (-1: everything / nothing); opened: area */
    int other;                 /* backfeed, pull: the second load */
    int named;                 /* symptom, inspection */
    /* weights of what was seen, `sure` and `said` applied: levels of the kind;
     * outcomes of the inspection; {absent, present}.  P(seen) = sum weight x P(outcome). */
    const double *weight;
    int weights;
    bool first_named;          /* the first outcome is among those named */
    int from, to;              /* span ends; -1: default */
    double value;              /* the reading */
    bool open;                 /* resistance: open.  continuity: `value` 1 beeps, 0 silent */
    double at;                 /* measured current; 0: not said */
    const int *also;
    int also_count;
    rl_conditions with;
    rl_state state;            /* found */
    bool only;                 /* found only; found nothing has subject -1 */
    int expect;                /* 0 leads, 1 above, -1 below (value is the bound) */
    struct rl_known_end *known;   /* of a reading: densities worked out so far */
} rl_finding;

typedef struct rl_occasion {
    const char *id, *label;    /* NULL: the unnamed first one */
    double said;               /* 1 where missing */
    double battery;            /* V; 0: the vehicle's supply with its spread */
    const int *repaired;       /* ascending */
    int repaired_count;
} rl_occasion;

struct rl_case {
    rl_arena arena;            /* lines and occasions */
    rl_context *context;
    const rl_model *model;
    const char *name, *label;
    bool damaged;
    rl_occasion occasion[RL_MAX_OCCASIONS];
    int occasions;             /* at least 1 */
    rl_finding **finding;      /* every line, in order; those replaced carry line.replaced */
    int findings, finding_room;
    rl_finding **slot;         /* of evidence.c: a hash table of the lines that count, 2 * finding_room */
    struct rl_work *work;      /* what posterior.c keeps between questions; NULL: nothing yet */
};

struct rl_book {
    rl_arena arena;
    rl_case **kase;
    int cases;
    size_t passed;             /* cases of other vehicles, left out */
};

struct rl_context {
    rl_settings settings;
    rl_allocator allocator;
    char *rules_folder;
};

/* ---- evidence.c: statement to finding (rules: lower.h) ---- */

/* Turns one evidence statement into a line of the case, or says why not (false). */
bool rl_lower_line(rl_case *c, rl_diag *diag, const ast_stmt *stmt);

/* ---- paths.c: what follows from the shape of returns and feeds alone ---- */

/* Fills on_every, feed_chain, in_return, in_feed.  The ways are free of cycles. */
void rl_paths(rl_model *model);
/* Whether some return path of element `from` passes `through` (itself included). */
bool rl_passes(const rl_model *model, int from, int through);
/* Whether `element` lies on every return path of load `load` (D(load)). */
bool rl_on_every(const rl_model *model, int load, int element);

/* One way of a span: elements from the load toward the battery and the
 * conductor from each to the next element of the way. */
typedef struct rl_way { int count; const int *element; const double *conductor; } rl_way;
typedef struct rl_stretch {
    int ways;
    const rl_way *way;
    int before_count;          /* elements before `from`: they decide whether the load draws */
    const int *before;
    int to;                    /* the element written or -1: the end (battery post included) */
} rl_stretch;
typedef enum rl_stretch_fault {
    RL_STRETCH_OK, RL_STRETCH_FROM, RL_STRETCH_TO,   /* end not in D(load) */
    RL_STRETCH_ORDER,          /* from is not before to, or nothing lies between */
    RL_STRETCH_FORK,           /* the return forks before `from` */
    RL_STRETCH_WAYS,           /* more than 16 ways */
    RL_STRETCH_END             /* dead circuit: the ways end at different elements, `to` must be written */
} rl_stretch_fault;
/* The span of a reading (design §3).  `dead`: resistance and continuity, where
 * the default end is the last element, not included.  from, to: -1 = default. */
rl_stretch_fault rl_stretch_make(rl_arena *arena, const rl_model *model, int load, int from, int to,
                                 bool dead, rl_stretch *out);
/* Elements of D(a) and D(b) both, in D(a)'s order; *count of them. */
const int *rl_shared_returns(rl_arena *arena, const rl_model *model, int a, int b, int *count);
/* Those of them that a backfeed from a to b can show (design §3). */
const int *rl_backfeed_set(rl_arena *arena, const rl_model *model, int a, int b, int *count);
/* Feeds and connectors on both feed chains. */
const int *rl_shared_feeds(rl_arena *arena, const rl_model *model, int a, int b, int *count);
/* The last element of the load's return (the battery post); -1 where the ways end at different ones. */
int rl_last_element(const rl_model *model, int load);

/* ---- law.c: masses and medians of cut log-normal laws ---- */
double rl_law_mass(rl_law law, double low, double high);
double rl_law_cut_median(rl_law law, double low, double high);

#endif
