/* inside.h: what the files of the oracle share: the resolved rules, a case,
 * and the joint state that the enumeration walks through.
 *
 * Invariant: an effective state is a number in the order of design §1: 0
 * sound, 1 loose, 2 + b corroded in bin b, 2 + bins open.
 */
#ifndef OC_INSIDE_H
#define OC_INSIDE_H

#include "../../grammar/parse.h"
#include "oracle.h"

enum { OC_BINS = 6, OC_LEVELS = 8, OC_BANDS = 12, OC_OCCASIONS = 8, OC_WAY = 32, OC_OUTCOMES = 16 };
#define OC_NO_MASS 1e-12

typedef struct oc_law { double median, log_spread; } oc_law;

typedef struct oc_alternative {
    int parent;                    /* -1: battery negative */
    int vias;
    int *via;
    double conductor;
} oc_alternative;

/* One way from a load's wire to the battery, each element once. */
typedef struct oc_way {
    int count;
    int element[OC_WAY];
    double conductor[OC_WAY];
} oc_way;

typedef struct oc_element {
    const char *id;
    rl_sort sort;
    double prior[RL_STATES], quiet;
    oc_law sound, corroded;
    double bin[OC_BINS], bin_median[OC_BINS];
    int area;
    unsigned forbidden;
    int alternatives;
    oc_alternative *alternative;   /* returns */
    oc_alternative feed;           /* `fed by` of a load or a feed; parent -1: none */
    int coil;                      /* of a feed, or -1 */
    int load;                      /* of a wire: its load; else -1 */
    int wire, kind;                /* of a load; else -1 */
    double current;                /* 0: unknown */
    oc_way *way;                   /* of a load */
    int ways;
    bool *every, *some;            /* of a load: elements on every, on some way */
    bool *chain;                   /* of a load: feeds and connectors of its feed chain */
} oc_element;

typedef struct oc_shortfall { double volts; double row[OC_LEVELS]; } oc_shortfall;
typedef struct oc_kind {
    const char *id;
    int levels;
    const char *level[OC_LEVELS];
    double check, failed_prior, current;
    bool given[2][RL_STATES];
    double row[2][RL_STATES][OC_LEVELS];
    double failed[OC_LEVELS], otherwise[OC_LEVELS];
    oc_shortfall *shortfall;       /* ascending */
    int shortfalls;
} oc_kind;

typedef enum oc_subject { OC_ELEMENT, OC_RETURN, OC_FEED } oc_subject;
typedef struct oc_cause { oc_subject subject; int element; double p[RL_STATES]; } oc_cause;
typedef struct oc_symptom {
    const char *id;
    double check, otherwise;
    oc_cause *cause;
    int causes;
} oc_symptom;

typedef struct oc_inspection {
    const char *id;
    unsigned sorts;
    int outcomes;
    const char *outcome[OC_LEVELS];
    double check, row[RL_STATES][OC_LEVELS];
} oc_inspection;

typedef struct oc_area { const char *id; double access; unsigned forbidden; } oc_area;
typedef struct oc_class {
    const char *id;
    double prior[RL_STATES], quiet;
    bool has_quiet;
    oc_law sound, corroded;
    double conductor;
} oc_class;
typedef struct oc_crosstalk { bool given; double p[RL_STATES], otherwise, check; } oc_crosstalk;
typedef struct oc_meter {
    bool given;
    double share, plus, misread, zero, check, limit, band[OC_BANDS];
    int bands;
} oc_meter;
typedef struct oc_action { double check, up_to; } oc_action;
typedef struct oc_memo oc_memo;

struct oc_model {
    rl_arena arena;
    rl_sink sink;
    rl_diag diag;
    const ast_stmt **stmt;         /* what counts, in order: includes, replacements and removals done */
    size_t stmts;
    oc_element *element;
    int elements;
    oc_class *class_;
    int classes;
    oc_kind *kind;
    int kinds;
    oc_symptom *symptom;
    int symptoms;
    oc_inspection *inspection;
    int inspections;
    oc_area *area;
    int areas;
    double supply, spread;
    double edge[OC_BINS + 1];
    int bins;
    oc_law sound, corroded;
    double quiet, leaks;
    oc_crosstalk backfeed, pull;
    oc_meter volts, ohms, beeper;
    oc_action bypass, jumper, swap;
    oc_memo *memo;                 /* readings worked out before */
};

/* ---- a case ---- */
typedef enum oc_sort {
    OC_BEHAVIOUR, OC_SYMPTOM, OC_INSPECTION, OC_BACKFEED, OC_PULL,
    OC_DROP, OC_RESISTANCE, OC_CONTINUITY, OC_SUPPLY
} oc_sort;

/* What is looked at: a test, or the observation behind a finding. */
typedef struct oc_watch {
    oc_sort sort;
    int occasion;
    int subject;                   /* load; of an inspection the element; -1 of a symptom */
    int other;                     /* backfeed, pull: the second load */
    int named;                     /* symptom, inspection */
    bool bypass, swap, jumper;
    bool *bypass_at;               /* `bypass at` each of these; NULL: none */
    bool *repaired;                /* by the line itself, for each element; NULL: none */
    int from, to;                  /* -1: default */
    double at;
    bool *also;                    /* flags, NULL: none */
    const char *key;               /* what it observes: two watches of one key are one observation */
    /* readings, filled by oc_span */
    oc_way *span;
    int spans;
    bool *within;                  /* elements of the span */
    int last;                      /* the one element that all its load's ways end at, or -1 */
} oc_watch;

typedef struct oc_finding {
    oc_watch watch;
    size_t line;                   /* of the file, where it was said */
    bool replaced, quantity, open;
    double weight[OC_OUTCOMES];    /* of each outcome, for what is not a quantity */
    double value;
    bool plain;                    /* written for this load alone, under no condition of its own */
    bool names_first;              /* the set contains the first level */
    bool from_others;
} oc_finding;

typedef struct oc_occasion {
    double said, battery;          /* battery 0: the vehicle's */
    bool *repaired;
} oc_occasion;

struct oc_case {
    oc_model *model;
    const char *name;
    oc_occasion occasion[OC_OCCASIONS];
    int occasions;
    oc_finding *finding;
    int findings;
    bool *opened;                  /* areas */
};

/* One joint state of all elements, hidden detail included. */
typedef struct oc_joint {
    rl_state *state;
    int *bin;
    unsigned *active;              /* bit o: loose makes and breaks in occasion o */
} oc_joint;

/* ---- rules.c ---- */
int oc_find(const oc_model *m, const char *id);
const ast_clause *oc_clause(const ast_stmt *s, ast_clause_sort sort);
unsigned oc_forbidden(const ast_stmt *s);
int oc_area_index(const oc_model *m, const char *id);
const ast_file *oc_parse(oc_model *m, const char *path);
/* ---- names.c ---- */
void oc_resolve(oc_model *m);
/* ---- ways.c ---- */
void oc_ways(oc_model *m);
bool oc_span(oc_model *m, oc_watch *w);    /* false: not a span of design §3 */
/* ---- quad.c ---- */
double oc_between(double low, double high);                 /* P(low < Z < high) */
double oc_mass(oc_law law, double low, double high);
double oc_cut_median(oc_law law, double low, double high);
/* U = base + sum scale_i exp(log_spread_i Z) (terms > 0), or base + factor X (factor > 0), else base */
typedef struct oc_u {
    double base;
    int terms;
    double scale[OC_WAY], log_spread[OC_WAY];
    double factor;
    oc_law law;
    double low, high;
} oc_u;
typedef enum oc_view { OC_PLAIN, OC_LOSS, OC_REST } oc_view;  /* U; s U/(U + n); s n/(U + n) */
typedef struct oc_show { oc_view view; double source, nominal, share, plus, spread; } oc_show;
double oc_density(oc_model *m, const oc_u *u, const oc_show *show, double v);
void oc_bands(oc_model *m, const oc_u *u, const oc_show *show, int bands, const double *edge, double *out);
double oc_below(const oc_u *u, double limit);
double oc_normal(double v, double mean, double sigma);
/* P(band) of a normal; share of [0, length] in each band */
void oc_normal_bands(double mean, double sigma, int bands, const double *edge, double *out);
void oc_length_bands(double length, int bands, const double *edge, double *out);
/* ---- looks.c, meters.c ---- */
int oc_effective(const oc_case *c, const oc_watch *w, const oc_joint *j, int element);
int oc_return_state(const oc_case *c, const oc_watch *w, const oc_joint *j, int load, bool own);
int oc_feed_state(const oc_case *c, const oc_watch *w, const oc_joint *j, int load, bool own);
rl_state oc_coarse(const oc_model *m, int effective);
int oc_outcomes(const oc_model *m, const oc_watch *w);
void oc_distribution(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out);
void oc_depends(const oc_case *c, const oc_watch *w, bool *on);
double oc_likelihood(const oc_case *c, const oc_finding *f, const oc_joint *j);
bool oc_is_reading(oc_sort sort);
void oc_meter_distribution(const oc_case *c, const oc_watch *w, const oc_joint *j, double *out);
double oc_meter_likelihood(const oc_case *c, const oc_finding *f, const oc_joint *j);
/* ---- cases.c ---- */
const char *oc_key(oc_model *m, const oc_watch *w);
/* ---- tests.c ---- */
oc_watch *oc_tests(oc_case *c, int *count);
double oc_minutes(oc_case *c, const oc_watch *w);

#endif
