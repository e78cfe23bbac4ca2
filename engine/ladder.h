/* ladder.h: the joint posterior of a few of the net's variables, as a product of small laws.
 *
 * The first variable has its marginal, each further one a law given some of
 * those before it, which separate it from the others in the net.  What a
 * case's findings do not couple stays apart, so a return of many elements
 * takes tables of two or three variables where their joint would take all.
 *
 * Invariant: the product of a ladder's laws is exactly the joint of its variables.
 */
#ifndef RL_LADDER_H
#define RL_LADDER_H

#include "given.h"

enum { RL_LADDER_MOST = 32 };

/* P(variable | parents) */
typedef struct rl_rung {
    int variable, size;
    int parents, parent[RL_LADDER_MOST];   /* variables of the net, ascending */
    int parent_size[RL_LADDER_MOST];
    size_t cells;
    const double *p;                       /* [parents...][value] */
    struct rl_rung *next;                  /* of the same variable, other parents */
} rl_rung;

typedef struct rl_ladder {
    int count;
    const rl_rung *rung[RL_LADDER_MOST];   /* parents stand before their children */
} rl_ladder;

/* A list of variables, each once, and when each is wanted. */
typedef struct rl_wanted {
    int count, variable[RL_LADDER_MOST], turn[RL_LADDER_MOST];
    bool full;                             /* there were more */
} rl_wanted;

/* What ladders share: the net as a graph, and the laws made so far. */
typedef struct rl_ladders {
    rl_arena *arena, *scratch;
    const rl_bench *bench;
    rl_groups *groups;
    int variables;
    int *factor_start, *factor;            /* by variable: factors that have it */
    int *scope_start, *scope;              /* by factor: its variables */
    int *small, smalls;                    /* variables of few values */
    rl_wanted parted;                      /* what made the last ladder fall apart */
    rl_rung **rung;                        /* by variable: a list */
    struct rl_flow *flow;                  /* cut.c: the net as a flow; NULL: not asked yet */
    struct rl_made *made;                  /* ladders made so far */
    struct rl_aside *aside;                /* trees made for them */
    double aside_cells;                    /* of these */
    double cells;                          /* of all laws kept */
} rl_ladders;

void rl_ladders_make(rl_ladders *ladders, rl_arena *arena, rl_arena *scratch, const rl_bench *bench, rl_groups *groups);

void rl_wanted_put(rl_wanted *wanted, int variable, int turn);
/* Puts what a law hangs on into the list, if it is not there yet. */
void rl_wanted_add(rl_wanted *wanted, const rl_given *given, int turn);

/* A ladder on which a variable stands behind all that are wanted more than one turn
 * earlier.  The variables of each of `together` are wanted; they will stand in one
 * law.  Further variables of the net may be on it, where that makes laws smaller.
 * False: too large. */
bool rl_ladder_make(rl_ladder *ladder, rl_ladders *ladders, const rl_wanted *wanted, const rl_given *const *together,
                    int togethers);
/* The same of the variables wanted alone; false where the laws would come to more cells. */
bool rl_ladder_lay(rl_ladder *ladder, rl_ladders *ladders, const rl_wanted *wanted, double most_cells);
/* Place of a variable, or -1. */
int rl_ladder_place(const rl_ladder *ladder, int variable);

#endif
