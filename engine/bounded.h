/* bounded.h: a case too wide for one tree, answered region by region.
 *
 * Invariant: the regions open, later, stuck and done do not overlap, and what
 * is in none of them has weight 0.
 */
#ifndef RL_BOUNDED_H
#define RL_BOUNDED_H

#include "bounded_box.h"
#include "heap.h"
#include "work.h"

/* A part of everything: a box, said by what sets it apart from a greater one. */
typedef struct rl_region {
    rl_rank rank;                 /* first: what waits in the heap */
    const struct rl_region *up;   /* NULL: the whole net */
    int variable, low, high;      /* values left; -1: all of all */
    int faults;                   /* at least so many elements are not at value 0 */
    double ceiling;               /* ln of an upper bound on its sum */
    double log_sum;               /* of one looked at: ln of its sum */
} rl_region;

typedef struct rl_regions {
    rl_region **at;
    int count, room;
} rl_regions;

typedef struct rl_bounded {
    rl_arena *arena;
    double most;                  /* cells of a tree's tables */
    rl_bench bench;               /* of the same findings, with every element a variable */
    rl_plan *plan;                /* of its whole net */
    rl_boxes boxes;
    rl_box whole;                 /* pruned */
    int elements;                 /* that are variables of the net … */
    int *element, *variable;      /* … which, and as what */
    int *cut, cuts;               /* variables whose values set regions apart */
    double narrow;                /* combinations of the cut's values with which a tree was too wide */
    rl_heap open;                 /* regions to be looked at, the next one first */
    rl_regions later, done;       /* of no account by their ceilings; looked at */
    rl_regions stuck;             /* too wide, and not to be split */
    double log_unit;              /* the sums below are in units of its exponential */
    double total;                 /* of the regions done */
    double *value;                /* marginals, weighed: as the values of a box */
    double share[4];              /* with the groups of rl_shares all sound */
    double cells;
    size_t width;
} rl_bounded;

/* Looks at regions of the findings of `bench`, which was too wide, within the
 * context's bound and a fixed amount of work.  RL_OK; RL_CONTRADICTION: proven;
 * RL_WIDE: no region could be looked at, or not the one without faults. */
rl_status rl_bounded_look(rl_bounded **out, rl_arena *arena, rl_bench *bench);
/* Fills what rl_answer says, beliefs aside. */
void rl_bounded_words(const rl_bounded *b, rl_answer *answer);
/* States of one element over the regions looked at. */
void rl_bounded_states(const rl_bounded *b, rl_arena *arena, int element, double out[RL_STATES]);

/* ln of what was found in the regions looked at; -INFINITY: nothing. */
double rl_bounded_found(const rl_bounded *b);
/* ln of at most what the others hold; sets the number of faults at once up to
 * which all was looked at, or its ceiling found to be of no account. */
double rl_bounded_left(const rl_bounded *b, int *faults);
enum { RL_OF_RETURNS, RL_OF_FEEDS, RL_OF_LOADS, RL_OF_ALL };
/* The group of rl_shares that an element of the sort counts to. */
static inline int rl_bounded_group(rl_sort sort)
{
    return sort == RL_FEED ? RL_OF_FEEDS : sort == RL_LOAD ? RL_OF_LOADS : RL_OF_RETURNS;
}
/* Occasions that the values of an element's variable tell apart. */
static inline rl_mask rl_bounded_mask(const rl_bounded *b, int element)
{
    return b->bench.network.mask[rl_bench_base(&b->bench, element)];
}
/* The box of a region, pruned; false: it holds nothing. */
bool rl_region_box(const rl_bounded *b, rl_arena *arena, const rl_region *region, rl_box *out);

/* Weighs the element's variable so that only state `s` is left. */
void rl_region_restrict(const rl_bounded *b, rl_arena *arena, rl_tree *tree, const rl_box *box, int element,
                        rl_state s);
/* The variable of an element, or -1: nothing joins it to others. */
static inline int rl_bounded_variable(const rl_bounded *b, int element)
{
    int base = rl_bench_base(&b->bench, element);
    return base < 0 ? -1 : rl_network_variable(&b->bench.network, base);
}

#endif
