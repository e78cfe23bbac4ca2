/* infer.h: tables over variables of any size, and exact inference on them.
 *
 * Knows nothing of vehicles or of the language, only the arena.  A net is a
 * product of non-negative tables.  A plan is an elimination order with the
 * tables it will need; a tree is the plan with its memory, on which messages
 * are passed: collect (evidence), distribute (all marginals).  Messages are
 * scaled, so that hundreds of small factors do not underflow, and a product
 * that is 0 in truth is exactly 0 (all numbers are non-negative: nothing cancels).
 * Table cells are counted and indexed in size_t.
 */
#ifndef RL_INFER_H
#define RL_INFER_H

#include "arena.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct rl_net rl_net;
typedef struct rl_plan rl_plan;
typedef struct rl_tree rl_tree;

/* ---- factor.c: nets ---- */
rl_net *rl_net_new(rl_arena *arena);
/* A variable with `size` >= 1 values; returns its number, from 0 up. */
int rl_net_variable(rl_net *net, int size);
/* A net of the same variables and factors, to which more may be added. */
rl_net *rl_net_copy(rl_arena *arena, const rl_net *net);
int rl_net_variables(const rl_net *net);
int rl_net_size(const rl_net *net, int variable);
/* A factor over `count` >= 0 different variables; `cells` stay the caller's and
 * must outlive the net; the last variable changes fastest.  Cells are finite and >= 0. */
void rl_net_factor(rl_net *net, int count, const int *variable, const double *cells);
int rl_net_factors(const rl_net *net);
/* The variables of a factor; the net's own until the next factor is added. */
const int *rl_net_scope(const rl_net *net, int factor, int *count);

/* Sums a table over those of its variables that are not kept; the last changes fastest. */
void rl_table_sum(int count, const int *size, const bool *kept, const double *cells, double *out);

/* ---- order.c: in which order to sum out ---- */
/* Greedy order (weighted min-fill, ties by least cells), several tries when the
 * first is wide.  Takes little memory, whatever the tables would take. */
rl_plan *rl_plan_make(rl_arena *arena, const rl_net *net);
/* The same of a net that has grown since the plan `old` was made of it: variables and factors were added.
 * What the new ones do not reach stays as it was.  `old` must last as long as the new plan. */
rl_plan *rl_plan_grow(rl_arena *arena, const rl_net *net, const rl_plan *old);
double rl_plan_cells(const rl_plan *plan);     /* of all tables together: 8 bytes each */
size_t rl_plan_width(const rl_plan *plan);     /* variables of the widest */

/* ---- eliminate.c: messages ---- */
/* Takes all the memory that the tree will ever need, and copies the factors.
 * The plan must outlive the tree; the net and its cells need not. */
rl_tree *rl_tree_make(rl_arena *arena, const rl_net *net, const rl_plan *plan);
/* A tree of a plan that grew, from the tree of the plan before, which must last as long; it may not be used any
 * more.  NULL: it has to be made anew, because of weights, or because doubles did not do. */
rl_tree *rl_tree_grow(rl_arena *arena, const rl_net *net, const rl_plan *plan, const rl_tree *old);
/* Replaces the soft evidence on a variable: a weight >= 0 for each value, NULL for none.
 * The weights are copied.  Takes effect at the next collect. */
void rl_tree_weigh(rl_tree *tree, int variable, const double *weight);
/* Upward pass: ln of the sum of the whole product; -INFINITY if it is 0.  Only
 * what the weights changed since the last one is done again.  Marginals and
 * queries then wait for the next distribute. */
double rl_tree_collect(rl_tree *tree);
/* Downward pass; after it rl_tree_marginal and rl_tree_query may be asked.
 * Only after a collect that was not -INFINITY. */
void rl_tree_distribute(rl_tree *tree);
/* Normalised marginal of one variable. */
void rl_tree_marginal(const rl_tree *tree, int variable, double *out);

/* Puts the cells of `to` in the place of those of `from`, a net of the same variables and
 * scopes, where they differ. */
void rl_tree_exchange(rl_tree *tree, const rl_net *from, const rl_net *to);
/* After a distribute and then an exchange or new weights: what the sum of the whole product
 * was multiplied by, but for the greatest cell or weight that each of these had taken out of
 * it.  Goes up no farther than to where the changes meet.  The same changes taken back and
 * lifted again (that gain means nothing) leave the tree as it was.  False: not to be had in
 * doubles, or the sum is 0; nothing more may be asked of the tree. */
bool rl_tree_lift(rl_tree *tree, double *gain);

/* Extra factors that hang on the tree without changing it (they sum to 1 over
 * the extra variables for every value of the tree's): what is the
 * distribution of one extra variable?  Extra variables are numbered from
 * rl_net_variables(net) up, in the order of `size`. */
typedef struct rl_table { int count; const int *variable; const double *cells; } rl_table;
typedef struct rl_extension {
    int variables;             /* extra ones */
    const int *size;
    int tables;
    const rl_table *table;     /* over variables of the net and extra ones */
    int target;                /* number of the extra variable asked for */
    double most_cells;         /* no table wider than this; 0: any */
} rl_extension;
/* Scratch memory is taken from `arena` and given back.  `out` sums to 1.  False, and
 * `out` means nothing, where a table would be wider than allowed. */
bool rl_tree_query(const rl_tree *tree, rl_arena *arena, const rl_extension *extension, double *out);
/* Joint marginal of a few net variables (any subset), row-major, last fastest, sums to 1. */
bool rl_tree_joint_within(const rl_tree *tree, rl_arena *arena, double most_cells, int count, const int *variable,
                          double *out);
void rl_tree_joint(const rl_tree *tree, rl_arena *arena, int count, const int *variable, double *out);

/* ---- recall.c: many such joints of one tree ---- */
/* What they have in common is kept in `arena`, while the tree stays as it is. */
typedef struct rl_recall rl_recall;
rl_recall *rl_recall_make(rl_arena *arena, const rl_tree *tree);
/* As rl_tree_joint_within; `scratch` is another arena. */
bool rl_recall_joint(rl_recall *recall, rl_arena *scratch, double most_cells, int count, const int *variable, double *out);
/* As rl_tree_query. */
bool rl_recall_query(rl_recall *recall, rl_arena *scratch, const rl_extension *extension, double *out);

#endif
