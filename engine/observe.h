/* observe.h: what each finding means, as factors over paths (design §3).
 *
 * Invariant: for every joint state of the elements the product of a finding's
 * factors, helpers summed out, is the likelihood of what was seen; helpers
 * come only where two sides of a cause are coupled, and no cell is negative.
 */
#ifndef RL_OBSERVE_H
#define RL_OBSERVE_H

#include "crowd.h"
#include "draft.h"
#include "rows.h"
#include "showing.h"

/* A row worked out for a load serves all that share its rows: the last one met stays in its slot. */
typedef struct rl_up_to {
    const double *const *rows;
    int end;
    const double *row;
} rl_up_to;
enum { RL_UP_TO_SLOTS = 64 };

/* A helper that is 1 where an element is open or the helper `beyond` is 1 (0: there is none), so that
 * readings which lose their current to the same elements have them in common. */
typedef struct rl_barred {
    int expr, beyond, bit, helper;
    struct rl_barred *next;
} rl_barred;

typedef struct rl_observer {
    rl_arena *arena;
    const rl_case *kase;
    const rl_model *model;
    const rl_frame *frame;
    rl_exprs *exprs;
    rl_draft *draft;
    const bool *left_out;   /* by line: as if it were not there (may be NULL) */
    bool forgotten;         /* `others` reaches the loads whose own line is left out */
    bool crowded;           /* loads that work may be said all at once (crowd.h) */
    bool apart;             /* readings have no helpers in common: the ways of tests are shorter so */
    rl_barred **barred;     /* else: those made so far; set by rl_observe_all */
    rl_up_to *up_to;        /* RL_UP_TO_SLOTS of them, as long as `arena`; NULL: nothing is kept */
} rl_observer;

/* Adds the factors of every line that counts and is not left out. */
void rl_observe_all(rl_observer *o);
/* The same of lines from `first` on, none of them an `others`. */
void rl_observe_further(rl_observer *o, int first);

/* ---- what tests share with findings ---- */

/* The three sides of a behaviour under conditions: expressions, 0 = sound. */
typedef struct rl_sides { int back, fed, own; } rl_sides;
rl_sides rl_observe_sides(const rl_observer *o, rl_world *world, int load, const rl_conditions *with);
/* Index into the model's rows (rows.h) of a row of the frame. */
int rl_observe_row(const rl_frame *frame, int row);
/* Distribution over the kind's levels given the rows of the three causes and the background. */
void rl_observe_levels(const rl_behaviour *kind, const double *back, const double *fed, bool failed, double *out);
/* The expression of a cause of a symptom. */
int rl_observe_subject(const rl_observer *o, rl_world *world, const rl_cause *cause);
/* The one or two expressions of a backfeed or a pull. */
int rl_observe_crosstalk(const rl_observer *o, rl_world *world, bool pull, int a, int b, int out[2]);
/* Chance that a cause fires whose expression has this row. */
double rl_observe_chance(const rl_observer *o, const double *p, int expr, int value);
/* What a supply reading on the load shows: row index of the feed path, and whether a current flows. */
void rl_observe_reading(const rl_observer *o, rl_finding *f);
/* What an inspection's line comes to for each state of its element. */
void rl_observe_seen(const rl_model *model, const rl_finding *f, double seen[RL_STATES]);
/* What the meter of a drop, supply, resistance or continuity line shows. */
rl_showing_sort rl_observe_meter(rl_evidence sort);
rl_end rl_observe_supply_end(rl_arena *arena, const rl_model *model, int load, int row, bool flows);
rl_world *rl_observe_world(const rl_observer *o, int occasion, const rl_conditions *with);
/* One step of a fold as a table: (before, input, after), `before` left out where it has one value. */
rl_cells rl_observe_step(rl_arena *arena, const rl_step *step, int before, int after);
/* The span of a reading as a fold; false if it has none (checked when the line was read). */
bool rl_observe_fold(const rl_observer *o, const rl_finding *reading, rl_world *world, rl_fold *fold);

#endif
