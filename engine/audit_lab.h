/* audit_lab.h: what a test shows when we say what each element is (private to
 * audit*.c and round.c).
 *
 * A lab is a vehicle whose rows (frame.h) are set by hand.  A trial is one
 * test made ready: the expressions it hangs on and the elements that these
 * hang on.  Nothing is inferred here: a row goes in, a law comes out.
 *
 * Invariant: between calls every row of a lab is sound, and every value of an
 * expression that no trial is busy with means nothing.
 */
#ifndef RL_AUDIT_LAB_H
#define RL_AUDIT_LAB_H

#include "admit.h"

typedef struct rl_lab {
    rl_arena *arena, *scratch;  /* of what lasts as long as the lab; of one trial */
    const rl_model *model;
    const rl_case *kase;        /* tests are asked in its last occasion */
    rl_frame frame;
    rl_exprs exprs;
    rl_observer observer;       /* takes memory from `scratch` */
    rl_world *world;
    int *row;                   /* by element: a row of the frame; of a load 0 or 1 */
    int *value;                 /* by expression */
    unsigned *stamp, now;       /* by expression: reached */
    int room;                   /* of value and stamp */
} rl_lab;

typedef struct rl_trial {
    const rl_test *test;
    int inputs, *input;         /* expressions, in the order that the law wants */
    int count, *reach;          /* expressions it hangs on, ascending */
    int elements, *element;     /* and elements */
    rl_fold fold;               /* of a span */
} rl_trial;

/* What is hidden of a fault: rows of the frame and their probabilities. */
typedef struct rl_detail {
    int count;
    int *row;
    double *p;
} rl_detail;

/* `kase` outlives the lab and does not change. */
void rl_lab_make(rl_lab *lab, rl_arena *arena, rl_arena *scratch, const rl_case *kase);
/* The trial of a test, in `arena` (the lab's, or its scratch). */
void rl_trial_make(rl_lab *lab, rl_arena *arena, const rl_test *test, rl_trial *out);
/* Whether what it shows is read off a meter. */
bool rl_trial_reads(const rl_trial *trial);
/* Outcomes of what is no reading. */
int rl_trial_outcomes(const rl_lab *lab, const rl_trial *trial);
/* Probabilities of its outcomes, the rows being as they are; not for inspections and readings. */
void rl_trial_law(rl_lab *lab, const rl_trial *trial, double *out);
/* What a reading is of, the rows being as they are. */
rl_end rl_trial_end(rl_lab *lab, const rl_trial *trial);
/* The hidden detail of an element in a state, in the lab's arena. */
rl_detail rl_lab_detail(const rl_lab *lab, rl_arena *arena, int element, rl_state state);

#endif
