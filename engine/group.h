/* group.h: joint posteriors of a few of the network's variables, kept.
 *
 * The tests of one load ask about the same variables again and again.  A group
 * is their joint, taken from the network's tree once, or summed from a wider
 * group; small enough to be asked in the tree's stead.
 *
 * Invariant: lists of variables are ascending.  What a group says is exact.
 */
#ifndef RL_GROUP_H
#define RL_GROUP_H

#include "work.h"

#include <stdint.h>

enum { RL_GROUP_CELLS = 1 << 24 };   /* of the tables that a question may pass through */

/* The joint posterior of a few of the net's variables, as a tree of its own:
 * the tests of one load ask about the same ones. */
typedef struct rl_group {
    int count;
    int *variable;              /* ascending */
    uint64_t mask;              /* the same as a set, of variables modulo 64 */
    double cells;
    const double *joint;
    rl_tree *tree;              /* NULL: not asked yet */
} rl_group;

typedef struct rl_groups {
    rl_arena *arena;            /* of the groups alone */
    rl_group *at;
    int count, room;
    double cells;               /* of all joints; past a bound the groups are begun anew */
    double spent, most_spent;   /* cells of the tree, summed over the questions put to it; 0: no bound */
    rl_mark start;
    rl_recall *recall;          /* of the bench's tree; NULL: not asked yet */
    const int *hint;            /* variables that the next probes will ask about, ascending */
    int hint_count;
} rl_groups;

/* Whether so many cells more may be spent, or one more question be put to the whole tree; counts it. */
bool rl_group_may_spend_cells(rl_groups *groups, double cells);
bool rl_group_may_spend(rl_groups *groups, const rl_bench *bench);
/* The joint of these variables by the bench's own tree, not kept; false: through tables of more cells. */
bool rl_group_ask(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, double most_cells, int count,
                  const int *list, double *out);
/* A query to that tree, as rl_tree_query. */
bool rl_group_query(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const rl_extension *extension, double *out);
/* The group of exactly these variables; NULL: too large, or it would cost too much. */
const rl_group *rl_group_for(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const int *list, int count);
/* The joint of the smallest group that there is or can be made, through tables of no more cells; NULL as above. */
const double *rl_group_joint_within(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const int *list, int count,
                                    double most_cells);
/* The same through tables of RL_GROUP_CELLS. */
const double *rl_group_joint(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const int *list, int count);
/* The group's joint as a tree, for queries: variable i is list[i]. */
const rl_tree *rl_group_tree(rl_groups *groups, const rl_bench *bench, const rl_group *group);

/* Where the variable stands in an ascending list, or -1. */
int rl_place_in(const int *list, int count, int variable);
/* Puts a variable into an ascending list with room; returns the new count. */
int rl_place_insert(int *list, int count, int variable);

#endif
