/* infer_private.h: what the files of the inference layer share.
 *
 * Variables are renamed by their place in the elimination order: place 0 goes
 * first.  Every table lists its variables by rising place, the last changing
 * fastest, so that any table can be multiplied into a larger one by nested
 * loops over runs of variables; a run is the unit of a shape.
 * Bucket k holds the variable of place k and its separator, all of which have
 * later places; the first of the separator is the bucket's parent.  Each
 * variable is in its own bucket and in descendants of it only.
 */
#ifndef RL_INFER_PRIVATE_H
#define RL_INFER_PRIVATE_H

#include "infer.h"

struct rl_net {
    rl_arena *arena;
    int variables, variable_room;
    int *size;
    int factors, factor_room;
    rl_table *factor;
};

/* How a small table lies in a large one.  Group after group, outermost first,
 * the large table's variables are either all in the small one or all not, in
 * turn.  `big` and `small` are the cells one step apart; small is 0 for "not". */
typedef struct rl_group {
    size_t count, big, small;
} rl_group;
typedef struct rl_shape {
    int rank;               /* at least 1 */
    const rl_group *group;
} rl_shape;

/* `part` must be a subset of `whole`; both rise; `size` is by place. */
rl_shape rl_shape_make(rl_arena *arena, const int *size, int whole_count, const int *whole,
                       int part_count, const int *part);

/* What rl_fold does to each cell of the large table with the one of the small. */
typedef enum rl_fold_mode { RL_TIMES, RL_PLUS, RL_PLUS_LOG } rl_fold_mode;
void rl_fold(double *big, const double *small, rl_shape shape, rl_fold_mode mode);
/* small += sums of big over the variables that small lacks. */
void rl_project(double *small, const double *big, rl_shape shape);
/* Copies a table to the layout by rising place.  `place` is by variable. */
void rl_gather(double *out, const rl_table *table, const int *size, const int *place);

struct rl_plan {
    int variables;
    int *order;             /* variable by place */
    int *place;             /* place by variable */
    int *size;              /* by place */
    int *parent;            /* bucket, or -1 for a root */
    size_t *scope_start;    /* bucket k has scope[scope_start[k]] .. scope[scope_start[k + 1] - 1] */
    int *scope;             /* places, rising; the first is k itself */
    int *first_factor;      /* by place, -1 for none; ends the list in next_factor */
    int *next_factor;       /* by factor */
    double cells;
    size_t width;
};

/* Buckets up to this many cells keep their factors multiplied together and
 * their product beside their belief, so that only what a changed weight
 * touches is done again; larger ones live in one table. */
enum { RL_SMALL_BUCKET = 4096 };
#define RL_MOST_CELLS 1e300  /* counts of cells stop growing here */

static inline int rl_scope_count(const rl_plan *plan, int bucket)
{
    return (int)(plan->scope_start[bucket + 1] - plan->scope_start[bucket]);
}

static inline const int *rl_scope(const rl_plan *plan, int bucket)
{
    return plan->scope + plan->scope_start[bucket];
}

/* Where a bucket finds the belief of its separator. */
typedef enum rl_source { RL_FROM_NOTHING, RL_FROM_MARGINAL, RL_FROM_BELIEF, RL_FROM_PROJECTION } rl_source;

/* A factor kept apart, and how it lies in its bucket's table. */
typedef struct rl_operand {
    double *cells;
    rl_shape shape;
} rl_operand;

typedef struct rl_bucket {
    int parent, first_child, next_child;   /* buckets, -1 for none */
    size_t size, rest;                     /* values of its variable; cells of its separator */
    double *base;                          /* its factors' product, greatest cell 1; NULL if large or none */
    int operands;
    rl_operand *operand;                   /* factors not in base */
    double *weight;                        /* soft evidence, greatest 1 */
    double weight_log;
    bool weighted, barred;                 /* barred: all weights are 0 */
    bool changed;                          /* product and message are to be made again */
    double *table;                         /* room for the product */
    const double *product;                 /* table or base */
    double *message;                       /* product summed over the variable, by `scale` */
    double scale, loss;                    /* loss: bound on what underflow took from a message cell */
    double *belief;                        /* table itself if large */
    double *marginal;
    rl_shape up;                           /* separator in the parent's table */
    rl_source source;
} rl_bucket;

struct rl_tree {
    const rl_plan *plan;
    int buckets;
    rl_bucket *bucket;
    int *root;                             /* by bucket: the root above it */
    double *scratch;                       /* as large as the largest message */
    double base_log;                       /* ln of what was taken out of the factors */
    bool zero;                             /* a factor is 0 throughout */
};

#endif
