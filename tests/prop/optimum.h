/* optimum.h: the least expected minutes to a cure, by dynamic programming over what
 * may have been learned, for vehicles so small that every state can be looked at.
 *
 * Invariant: built on the oracle's enumeration and shares nothing with the
 * engine's advice.  A state is an outcome for each test done and a flag for each
 * repair made in vain; its belief is a weight for each joint state.
 */
#ifndef OPTIMUM_H
#define OPTIMUM_H

#include "../oracle/inside.h"

enum { OPT_TESTS = 10, OPT_MENDS = 8, OPT_AREAS = 8 };

typedef struct opt_mend {
    int element;
    int area;                  /* -1: none */
    double minutes;            /* without opening its area */
} opt_mend;

typedef struct opt_test {
    const oc_watch *watch;
    int outcomes;
    double minutes;            /* without opening areas */
    int areas[2];              /* -1: none */
    double *row;               /* by joint state, OC_OUTCOMES each */
} opt_test;

typedef struct opt_game {
    oc_case *c;
    int joints;
    double *weight;            /* given the complaint, and that a fault explains it; sums to 1 */
    unsigned *faulty;          /* by joint: bit m: repair m cures */
    opt_test test[OPT_TESTS];
    int tests;
    opt_mend mend[OPT_MENDS];
    int mends;
    double access[OPT_AREAS];
    size_t states;
    double *value;             /* by state; below 0: not yet */
} opt_game;

typedef struct opt_state {
    int outcome[OPT_TESTS];    /* -1: not done */
    unsigned mended;           /* in vain */
    unsigned open;             /* areas */
} opt_state;

typedef enum opt_fit { OPT_FITS, OPT_TOO_LARGE } opt_fit;

/* The game that begins with the complaint of the case.  `repair`: by element, minutes of
 * its repair without opening its area.  OPT_TOO_LARGE: more tests, repairs or work than are
 * bearable; nothing is held then. */
opt_fit opt_begin(opt_game *g, oc_case *c, const double *repair);
void opt_end(opt_game *g);
opt_state opt_start(const opt_game *g);

/* Expected minutes from here under the best play.  `weight`: the belief, of any sum. */
double opt_value(opt_game *g, const opt_state *s, const double *weight);

/* What a move costs and where it leads: the belief's new weights (joints long) and
 * the share of the old ones' sum. */
double opt_test_minutes(const opt_game *g, const opt_state *s, int test);
double opt_mend_minutes(const opt_game *g, const opt_state *s, int mend);
double opt_after_outcome(const opt_game *g, const opt_state *s, const double *weight, int test, int outcome,
                         opt_state *next, double *out);
double opt_after_mend(const opt_game *g, const opt_state *s, const double *weight, int mend, opt_state *next,
                      double *out);

#endif
