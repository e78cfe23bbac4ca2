/* fold.h: which element of a span counts, found out one element at a time.
 *
 * A reading depends on many elements, but only through what the design calls
 * the way that counts and the element that counts in it.  A fold is the
 * machine that reads the elements in order and remembers no more than that:
 * a chain of small steps instead of one table over all of them.
 *
 * Invariant: every step's table is complete; states that no later step can
 * tell apart are one state; the last layer's states are `ends`.
 */
#ifndef RL_FOLD_H
#define RL_FOLD_H

#include "expr.h"
#include "reading.h"

typedef enum rl_end_sort {
    RL_END_NOTHING,   /* no true value: only misreadings (with `at`) */
    RL_END_OPEN,      /* the span is open */
    RL_END_LAW        /* the true value follows `law` */
} rl_end_sort;

typedef struct rl_end {
    rl_end_sort sort;
    rl_true law;
    int element;      /* that counts, or -1 */
    int way;          /* of the span's, that counts */
} rl_end;

/* What an element that is loose or corroded can bring into a way. */
typedef struct rl_candidate {
    double value;     /* current x median: the greater counts */
    double scale;     /* current of the element */
    double median, log_spread, low, high;
    int element;
} rl_candidate;
/* Loose (bin -1) or corroded in a bin of the frame. */
rl_candidate rl_candidate_make(const rl_frame *frame, int element, int bin, double current);
bool rl_candidate_same(const rl_candidate *a, const rl_candidate *b);
/* What is nominal over a way but for what counts: sum I (c + j). */
double rl_way_base(const rl_model *model, const rl_way *way, const double *current);
/* The true value over a way of that nominal value but for what counts. */
rl_end rl_candidate_end(const rl_candidate *counts, double base);
/* The true value over a way, with the current of each of its elements; `counts` NULL: all are sound. */
rl_end rl_way_end(rl_arena *arena, const rl_model *model, const rl_way *way, const double *current, const rl_candidate *counts);

typedef struct rl_step {
    int input;        /* expression, or `barred` of the reading */
    int values;       /* its rows */
    int from, to;     /* states before and after */
    const int *next;  /* [from][values] */
} rl_step;

typedef struct rl_fold {
    int steps;
    rl_step *step;    /* the first has one state before it */
    int ends;
    rl_end *end;
} rl_fold;

/* What a span reading is made of; currents in A. */
typedef struct rl_span_reading {
    const rl_stretch *stretch;
    rl_world *world;
    int load;
    double current;            /* the load's own: measured, or by the rules */
    bool measured;             /* `at` was given */
    const int *also;
    int also_count;
    int barred;                /* a helper (< 0) that is 1 where one of the stretch's `before` is open; 0: they are
                                * read one by one */
    bool dead;                 /* resistance, continuity: all currents are 1, the rest does not matter */
} rl_span_reading;

void rl_fold_make(rl_fold *fold, rl_arena *arena, rl_exprs *exprs, const rl_span_reading *reading);

#endif
