/* march.h: a small machine that reads expressions along a ladder.
 *
 * The table holds the joint of the variables still needed and the machine's
 * states: entries, one for each combination of values that can be, and in each
 * a probability for every state.  Variables are brought in from the ladder
 * when an expression hangs on them and left behind when nothing later does.
 *
 * Invariant: a variable is brought in once, its parents before it; an entry's
 * cells are joint probabilities with whatever happened so far.
 */
#ifndef RL_MARCH_H
#define RL_MARCH_H

#include "trunk.h"

#include <stdint.h>

/* What all that marches on a case's network shares. */
typedef struct rl_bearings {
    rl_arena *arena, *scratch; /* of what lasts; what is given there to one question is the caller's to rewind */
    rl_observer *observer;     /* its arena lasts too */
    rl_world *world;
    const rl_belief *belief;   /* by element */
    rl_givens *givens;
    rl_ladders *ladders;
    rl_trunk *trunk;
} rl_bearings;

/* What a march will read: law i at reading at[i], ascending; a NULL law is none. */
typedef struct rl_route { int laws; const rl_given **law; int *at; } rl_route;
/* Places that are in by each of the readings and that something behind it hangs on, or is
 * brought in by: a bit for each. */
void rl_route_keep(const rl_route *route, const rl_ladder *ladder, uint64_t *keep, int readings);

typedef struct rl_march {
    rl_arena *arena;
    const rl_ladder *ladder;
    bool met[RL_LADDER_MOST];      /* by place: brought in */
    int live, place[RL_LADDER_MOST];
    int entries, states;
    uint16_t *digit;               /* [entries][live]: values */
    double *p;                     /* [entries][states] */
} rl_march;

/* One entry, one state, certain. */
void rl_march_start(rl_march *march, rl_arena *arena, const rl_ladder *ladder);
/* Brings in what the law hangs on.  False: too large. */
bool rl_march_bring(rl_march *march, const rl_given *given);
/* Reads the expression: state s becomes next[s * rows + row], -1: drops out.  Variables
 * not in `keep` (a bit for each place) are left behind.  False: too large. */
bool rl_march_read(rl_march *march, const rl_given *given, const int *next, int states, uint64_t keep);
/* States' sums, without those in which the expression is in its last row (NULL: all). */
void rl_march_sum(const rl_march *march, const rl_given *given, double *out);

#endif
