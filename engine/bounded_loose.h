/* bounded_loose.h: a case of many occasions, parted by which elements are loose and active.
 *
 * Over K occasions a path has 2^K values only because elements may be loose: what is never
 * loose and active is the same in all of them.  So some elements, the outside, are taken
 * never to be active; the network then fits.  A set of them that is active at least once
 * each, the others never, is a part of everything with a network of its own.  Sets are looked
 * at one by one, and of those that are not a bound is known: an element that becomes active,
 * all else being the same, multiplies the likelihood by no more than its ratio.
 *
 * Invariant: the sets looked at and those below what waits do not overlap and are everything.
 */
#ifndef RL_BOUNDED_LOOSE_H
#define RL_BOUNDED_LOOSE_H

#include "heap.h"
#include "work.h"

/* Elements of the outside that are active, those before the last of them that are not, and the
 * rest of the outside, of which nothing is said: none of it is active in the sum. */
typedef struct rl_loose_set {
    int count;                       /* elements that are active */
    unsigned char *looseness;        /* by element: rl_looseness, the rest not active */
    int *rest, rests;                /* elements by falling ratio */
    double *ratio;                   /* by place in the rest: as in rl_loose, given what else is likely here */
    double *beyond;                  /* by place: ln of what those from there on multiply at most, each active or not */
    int apart;                       /* an active element whose activities are looked at one by one; -1: none */
    double log_sum;
    const struct rl_loose_set *next; /* of those looked at */
} rl_loose_set;

/* All factors that are on an expression alone or, helpers summed out, on few of them; or too many. */
typedef struct rl_loose_seen {
    rl_cells *table;
    int tables;
    struct rl_loose_long {           /* helpers not summed out */
        const int *expr;
        int exprs, bit;
        double range;                /* the greatest it can be over the least */
    } *chain;
    int chains;
} rl_loose_seen;

typedef struct rl_loose {
    rl_arena *arena;
    rl_bench *bench;                 /* too wide: its draft alone counts */
    double most;                     /* cells of a tree's tables */
    rl_loose_seen seen;
    rl_mask *heard;                  /* by element: occasions that the values of its network tell apart */
    double *ratio;                   /* by element: what it multiplies at most if it becomes active */
    double *odds;                    /* by element: the same if nothing becomes likelier: of being active at all */
    double growth;                   /* ln of what all elements together make likelier at most, their odds aside */
    bool *helps;                     /* by element: being active may make something likelier */
    const rl_loose_set *looked;
    rl_heap waiting;
    double passed;                   /* ln of at most what is in sets not looked at */
    int least_passed;                /* their least number of elements, but for those of no account */
    double steps;
    double log_unit, total;          /* sums are in units of the exponential of the first */
    double (*state)[RL_STATES];      /* by element: of the sets looked at, weighed */
    bool *touched;                   /* by element: a finding has */
    double share[4];                 /* as `state`: with the groups of rl_shares all sound */
    double cells;
    size_t width;
} rl_loose;

/* ---- bounded_loose.c ---- */

/* rl_loose_answer (work.h): RL_OK; RL_CONTRADICTION: proven; RL_WIDE: too wide though nothing is loose and active. */

/* ---- bounded_loose_seen.c ---- */

/* The factors of a draft with helpers summed out where little comes of it. */
void rl_loose_seen_make(rl_loose_seen *seen, rl_arena *arena, const rl_draft *draft);

/* ---- bounded_loose_ratio.c ---- */

/* Fills `heard`, `ratio`, `odds`, `growth` and `helps`. */
void rl_loose_ratios(rl_loose *l);
/* Fills the ratios of the set's rest, given how elements stand in it, but for an unknown part. */
void rl_loose_set_ratios(const rl_loose *l, rl_loose_set *set, const rl_belief *belief, double unknown);

#endif
