/* infer_private.h: what the files of the inference layer share.
 *
 * Variables are renamed by their place in the elimination order: place 0 goes
 * first.  Bucket k holds the variable of place k and its separator, all of
 * which have later places; the first of the separator is the bucket's parent.
 * Each variable is in its own bucket and in descendants of it only.
 *
 * A plan is also a program: parts (tables) and joins of two parts into a third.
 * A bucket's joins end in its message; its own part is what concerns its
 * variable alone.  Every part lists its variables by rising lay, the last
 * changing fastest: those of few values first, so that the innermost loops are
 * long; among the others, and in what is not a part of the program, by place.
 */
#ifndef RL_INFER_PRIVATE_H
#define RL_INFER_PRIVATE_H

#include "infer.h"

#include <assert.h>
#include <stdint.h>

struct rl_net {
    rl_arena *arena;
    int variables, variable_room;
    int *size;
    int factors, factor_room;
    rl_table *factor;
};

/* ---- factor.c ---- */

/* Copies a table to the layout by rising lay (NULL: by rising place).  `place` is by
 * variable, size and lay by place. */
void rl_gather(double *out, const rl_table *table, const int *size, const int *place, const int *lay);

/* ---- multiply.c: the one loop of the inference layer ---- */

/* An axis of a loop over three tables: how many values, and how many cells
 * apart they stand in each; 0 where a table does not have the variable. */
typedef struct rl_axis {
    size_t count, out, left, right;
} rl_axis;
/* Tables of more variables than this cannot exist unless their sizes are 1. */
enum { RL_MOST_AXES = 64 };

/* Axes are listed from the innermost outwards.  Adds one outside the others, joined to the one before if all
 * tables run on. */
static inline int rl_add_axis(rl_axis *axes, int rank, rl_axis axis)
{
    rl_axis *last = rank > 0 ? &axes[rank - 1] : NULL;
    if (last && axis.left == last->left * last->count && axis.right == last->right * last->count &&
        axis.out == last->out * last->count) {
        last->count *= axis.count;
        return rank;
    }
    assert(rank < RL_MOST_AXES);
    axes[rank] = axis;
    return rank + 1;
}
/* out = left * right over all values of the axes, summed over those that `out` does not have. */
void rl_multiply(double *out, const double *left, const double *right, const rl_axis *axis, int rank);
/* The same with the left or the right table of a join as the result: of out's bar and the other table. */
void rl_multiply_back(double *bar, const double *out_bar, const double *other, const rl_axis *axis, int rank, bool left);
/* The greatest of cells that are not negative; 0 of none. */
double rl_greatest(const double *cells, size_t count);
/* cells *= by. */
void rl_scale(double *cells, size_t count, double by);
/* cells *= by, cell by cell. */
void rl_times(double *cells, const double *by, size_t count);
/* The sum of left * right. */
double rl_dot(const double *left, const double *right, size_t count);

/* ---- sparse.c ---- */

/* A cell that is not 0, and the values of its variables, each in bits of its own. */
typedef struct rl_cell {
    uint64_t code;
    double value;
} rl_cell;

typedef struct rl_list {
    size_t count;
    rl_cell *cell;
} rl_list;

/* A variable's values and where its bits begin in a code. */
typedef struct rl_digit {
    size_t count;
    int shift;
} rl_digit;

/* How many bits a variable of so many values takes. */
static inline int rl_digit_bits(size_t count)
{
    int bits = 0;
    while ((size_t)1 << bits < count)
        bits++;
    return bits;
}

static inline uint64_t rl_digit_mask(const rl_digit *digit)
{
    return (((uint64_t)1 << rl_digit_bits(digit->count)) - 1) << digit->shift;
}

/* How many cells are not 0; and an estimate of it. */
size_t rl_filled(const double *cell, size_t count);
size_t rl_filled_about(const double *cell, size_t count);
/* The cells of a table that are not 0; the last digit changes fastest. */
rl_list rl_list_cells(rl_arena *arena, const double *cell, int count, const rl_digit *digit);
/* A list as a table. */
void rl_spread_cells(const rl_list *list, int count, const rl_digit *digit, double *out);
/* left * right, which have the variables of the mask `shared` in common, summed over those of `summed`. */
rl_list rl_join_lists(rl_arena *arena, const rl_list *left, const rl_list *right, uint64_t shared, uint64_t summed);

/* ---- order.c, program.c, grow.c ---- */

typedef struct rl_part {
    int count;
    const int *place;       /* by rising lay */
    size_t cells;
    int factor;             /* of the net, or -1: made by a join, or a bucket's own */
    int room;               /* of the tree's two, for a product of the moment; else -1 */
} rl_part;

/* out += left * right; `right` -1: left is only summed. */
typedef struct rl_join {
    int out, left, right;   /* parts */
    int rank;
    const rl_axis *axis;
} rl_join;

struct rl_plan {
    int variables, factors; /* of the net it was made for */
    const int *order;       /* variable by place */
    int *place;             /* place by variable */
    int *size, *lay;        /* by place */
    int *parent;            /* bucket, or -1 for a root */
    size_t *scope_start;    /* bucket k has scope[scope_start[k]] .. scope[scope_start[k + 1] - 1] */
    int *scope;             /* places, rising; the first is k itself */
    int *first_factor;      /* by place, -1 for none; ends the list in next_factor */
    int *next_factor;       /* by factor */
    int *child, *sibling;   /* first child, next sibling: by bucket, -1 for none */
    int parts;
    rl_part *part;          /* bucket k's own is part k, its message part variables + k */
    rl_join *join;
    int *first_join;        /* bucket k has join[first_join[k]] .. join[first_join[k + 1] - 1], at least one */
    int *own_join;          /* that of bucket k's own part, which is its left side */
    int *needed_join;       /* those from here on lead back to bucket k's children, or cannot be run back alone */
    size_t widest_product;  /* cells of the largest part that is neither own, message nor factor */
    double cells;
    size_t width;
    const int *was;         /* of a plan that grew (grow.c): by bucket, the one that it was before, unchanged; else -1 */
    int *from;              /* the same by part; NULL: the plan did not grow */
};

/* Products up to this many cells keep their values and bars. */
enum { RL_SMALL_PRODUCT = 1 << 14 };
#define RL_MOST_CELLS 1e300  /* counts of cells stop growing here */

static inline int rl_scope_count(const rl_plan *plan, int bucket)
{
    return (int)(plan->scope_start[bucket + 1] - plan->scope_start[bucket]);
}

static inline const int *rl_scope(const rl_plan *plan, int bucket)
{
    return plan->scope + plan->scope_start[bucket];
}

static inline int rl_message_part(const rl_plan *plan, int bucket)
{
    return plan->variables + bucket;
}

/* Whether what the own part's join makes is a product, with nothing summed. */
static inline bool rl_own_is_apart(const rl_plan *plan, int bucket)
{
    return plan->own_join[bucket] < plan->first_join[bucket + 1] - 1;
}

static inline bool rl_is_message(const rl_plan *plan, int part)
{
    return part >= plan->variables && part < 2 * plan->variables;
}

/* Whether a child speaks of its parent's variable alone: its message is one of the parent's own terms. */
static inline bool rl_speaks_of_one(const rl_plan *plan, int bucket)
{
    return rl_scope_count(plan, bucket) == 2;
}

/* The order of a net, in `order`. */
void rl_order(rl_arena *arena, const rl_net *net, int *order);
/* A plan of that order, its buckets known; parts and joins are still to be made. */
rl_plan *rl_plan_of_order(rl_arena *arena, const rl_net *net, const int *order);
/* Makes parts and joins of a plan whose buckets are known.  `old`: the plan that it grew from, or NULL. */
void rl_program_make(rl_arena *arena, rl_plan *plan, const rl_net *net, const rl_plan *old);
/* The axes of out += left * right.  `size` and `lay` are by place; without a lay the parts'
 * variables rise by place. */
int rl_axes_of(const int *size, const int *lay, const rl_part *out, const rl_part *left, const rl_part *right, rl_axis *axes);
/* The same with a bucket's table as `out`: its variable, then its separator as the message
 * has it.  Together the parts hold all variables of the bucket. */
int rl_bucket_axes(const rl_plan *plan, int bucket, const rl_part *left, const rl_part *right, rl_axis *axes);

/* ---- eliminate.c, back.c, logs.c ---- */

typedef struct rl_bucket {
    double *terms;          /* product of its unary factors, greatest 1 */
    double *weight;         /* soft evidence, greatest 1 */
    double weight_log;
    bool weighted, barred;  /* barred: all weights are 0 */
    bool changed;           /* the joins are to be made again */
    bool bare;              /* no factor and no child speaks of its variable alone: but for a weight, its own part is all 1 */
    double *apart_value, *apart_bar;   /* of what the own part's join makes, where that is not the message */
    int pending;            /* the bucket's joins before this one are not run back yet */
    bool settled;           /* `marginal` is made */
    double scale;           /* the message was divided by this */
    double lift;            /* bars of the bucket's joins are to be multiplied by this; all of them, so that it
                             * is seldom done */
    double loss;            /* bound on what underflow took from a message cell */
    double *marginal;
} rl_bucket;

struct rl_tree {
    const rl_plan *plan;
    rl_arena *arena;
    int buckets;
    rl_bucket *bucket;
    double **value;         /* by part */
    double **bar;           /* by part, of all but factors and large products: what the rest makes of it,
                             * so that value x bar is its belief; else NULL */
    double *room[2];        /* for products of the moment, and for the bars of products */
    int *root;              /* by bucket: the root above it */
    double base_log;        /* ln of what was taken out of the factors */
    bool zero;              /* a factor is 0 throughout */
    bool logs;              /* the last collect was made in logarithms: see logs.c */
};

/* Whether a bucket's own part is all 1. */
static inline bool rl_is_bare(const rl_tree *tree, int bucket)
{
    return tree->bucket[bucket].bare && !tree->bucket[bucket].weighted;
}

/* Whether a join of the bucket makes no more than a copy: a product of a part that is all 1. */
static inline bool rl_copies(const rl_tree *tree, int bucket, int join)
{
    return join == tree->plan->own_join[bucket] && rl_own_is_apart(tree->plan, bucket) && rl_is_bare(tree, bucket);
}

/* Cells of a bucket's table: its variable, then its separator as the message has it. */
static inline size_t rl_bucket_cells(const rl_tree *tree, int bucket)
{
    const rl_plan *plan = tree->plan;
    return (size_t)plan->size[bucket] * plan->part[rl_message_part(plan, bucket)].cells;
}

/* The joint of the variables of one factor, as in infer.h; false where it is not at hand. */
bool rl_factor_joint(const rl_tree *tree, rl_arena *arena, int count, const int *variable, double *out);
/* The product of all that has arrived in a bucket, rl_bucket_cells long. */
void rl_bucket_product(const rl_tree *tree, int bucket, double *out);
/* That product summed over the bucket's variable, cell by cell. */
static inline double rl_bucket_sum(const rl_tree *tree, int bucket, size_t cell)
{
    return tree->logs ? 1 : tree->value[rl_message_part(tree->plan, bucket)][cell] * tree->bucket[bucket].scale;
}
/* The upward pass without underflow; returns the sum's ln. */
double rl_collect_logs(rl_tree *tree);
void rl_distribute_logs(rl_tree *tree);
void rl_law_from_logs(const rl_tree *tree, int bucket, double *out);

#endif
