/* play.h: looking for the fault of one drawn vehicle, move by move.
 *
 * A move is a test or a repair.  A repair cures if the element was at fault and
 * what is complained of depends on it; one in vain shows that it was sound.
 *
 * Invariant: all that was learned stands in one occasion of the case, in which
 * what was mended in vain is forced sound: elements being independent, that is
 * the posterior given that it was sound.
 */
#ifndef RL_PLAY_H
#define RL_PLAY_H

#include "work.h"

/* ---- move.c: which move is advised ---- */

typedef struct rl_scene {
    const rl_model *model;
    const bool *suspect;       /* by element: what is complained of depends on it, and it was not mended */
    double above;              /* who is at fault with more than this is mended */
    bool may_test;
} rl_scene;

typedef struct rl_move {
    const rl_test *test;       /* owned by the case; NULL: mend */
    int element;               /* to mend; -1 with a test */
} rl_move;

/* At least one element is suspect.  RL_OK, or as rl_case_answer. */
rl_status rl_move_advised(const rl_scene *scene, rl_case *c, rl_move *out);
/* The suspect most likely at fault, ties: the first declared; -1: there is none. */
rl_status rl_move_likeliest(const rl_scene *scene, rl_case *c, int *element, double *p);
double rl_fault_share(const rl_belief *belief);   /* P(not sound) */

/* ---- play.c: one play ---- */

typedef struct rl_bout {
    rl_context *context;
    const rl_model *model;
    rl_arena *arena;           /* of this play; its bail is set */
    rl_play_rule rule;
    rl_drawn *drawn;
    const bool *touched;       /* by element: a finding of the complaint reaches it */
    const bool *cure;          /* by element: touched, and at fault */
    rl_case *c;                /* owned; NULL: none yet */
    bool *suspect, *open;
    bool *mended;              /* by element, in vain */
    double proof;              /* minutes of seeing again what was complained of, after each repair */
    rl_play score;
} rl_bout;

/* A case that holds the complaint alone. */
rl_status rl_bout_begin(rl_bout *bout);
/* Sets the elements that a finding of the case reaches. */
rl_status rl_bout_touch(rl_bout *bout, bool *touched);
/* Plays to the end, from the complaint alone.  `walk`: the tests of RL_WALK, in order.  After
 * RL_LIKELIEST the case still holds the complaint alone. */
rl_status rl_bout_play(rl_bout *bout, rl_strategy strategy, const rl_test *walk, int walks);
void rl_bout_end(rl_bout *bout);

#endif
