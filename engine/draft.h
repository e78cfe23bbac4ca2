/* draft.h: the product of factors that a case's findings come to, before and
 * after it becomes a net.
 *
 * Invariant: every factor is non-negative; helper variables are summed, never
 * maximised.  A base variable (an element, a load) that only factors of one
 * input touch stays out of the net: its own weights answer for it.
 */
#ifndef RL_DRAFT_H
#define RL_DRAFT_H

#include "absorb.h"
#include "crowd.h"
#include "expr.h"
#include "infer.h"
#include "table.h"

/* All that was said of one expression alone in one occasion (a bit of the frame). */
typedef struct rl_own {
    int expr, bit;
    int times;                  /* factors that it is the product of */
    const double *row;          /* a weight for each of the expression's rows */
} rl_own;

/* What is taken for granted of an element that may be loose. */
typedef enum rl_looseness {
    RL_FREE,
    RL_NOT_ACTIVE,              /* never loose and active: its state's weights say so already */
    RL_ACTIVE,                  /* loose, and active at least once: likewise */
    RL_ACTIVE_THEN              /* loose, and active in the chosen occasions of the frame and no others: likewise */
} rl_looseness;

typedef struct rl_draft {
    rl_arena *arena;
    rl_exprs *exprs;
    rl_cells *factor;           /* on several inputs, or on helpers */
    int factors, room;
    rl_own *own;
    int owns, own_room;
    int *own_of;                /* by expression: its newest, or -1 */
    int slots;                  /* length of own_of */
    int *helper_size;
    int helpers, helper_room;
    double most_cells;          /* of one factor, half of what all of paths may have together; 0: any */
    bool peel;                  /* no test will ask the net: paths that hang on the rest in one place only are
                                 * absorbed, as elements are */
    double log_scale;           /* ln of what constants came to */
    const rl_crowd *crowd;      /* loads that are no expressions: said all at once; NULL: none are */
    /* of each element: what its states weigh (prior x inspections), RL_STATES each */
    double (*state)[RL_STATES];
    const unsigned char *looseness;   /* by element: a rl_looseness; NULL: all are free */
    bool *inspected;            /* its own state was looked at: `state` is not the prior */
} rl_draft;

void rl_draft_make(rl_draft *draft, rl_arena *arena, rl_exprs *exprs);
int rl_draft_helper(rl_draft *draft, int size);        /* an input, < 0 */
/* A factor on what is seen in one occasion (a bit of the frame): expressions as
 * rows, or of any size where they are sound.  Its cells become the draft's. */
void rl_draft_add(rl_draft *draft, const rl_cells *table, int bit);
/* The same for a factor on one expression alone.  `row` must last as long as the
 * draft, and stays as it is. */
void rl_draft_add_own(rl_draft *draft, int expr, const double *row, int bit);
void rl_draft_scale(rl_draft *draft, double factor);
/* A draft of further lines: of the same expressions, its helpers numbered on from those of `draft`. */
void rl_draft_further(rl_draft *further, rl_draft *draft);
/* All that was said in a further draft, inspections aside. */
void rl_draft_join(rl_draft *draft, const rl_draft *further);

/* Writes inputs (rows) that are sound, calm or failed over what is behind them. */
void rl_draft_see_through(rl_arena *arena, const rl_exprs *exprs, rl_cells *table);
/* Input `at`, rows of one occasion, becomes values under a mask. */
void rl_draft_widen(rl_arena *arena, const rl_exprs *exprs, rl_cells *table, int at, rl_mask mask, int bit);
/* What stands behind a part of a path: of one that is failed, the load; else the part. */
int rl_draft_part(const rl_exprs *exprs, int part);
/* What stands behind the parts of a path: one of a calm path, else two. */
int rl_draft_parts(const rl_exprs *exprs, int expr, int part[2]);
/* What a path is (a value under `whole`) of what stands behind its parts:
 * map[value of the first][value of the second, if there are two]. */
const int *rl_draft_of_parts(rl_arena *arena, const rl_exprs *exprs, int expr, rl_mask whole,
                             rl_mask mask_a, rl_mask mask_b);
/* Writes a path (values under `whole`) over what stands behind its parts
 * (values under their masks) in place of input `at`. */
void rl_draft_write_out(rl_arena *arena, const rl_exprs *exprs, rl_cells *table, int at, rl_mask whole,
                        rl_mask mask_a, rl_mask mask_b);

/* The net of a draft. */
typedef struct rl_network {
    const rl_draft *draft;
    rl_net *net;
    int *of_expr;               /* variable of an expression, or -1; expr_count long */
    int *helper;                /* variable of a helper */
    rl_mask *mask;              /* occasions an expression is needed in: its values */
    int expr_count;
    int *base_of;               /* by element: its own expression, or -1: no factor uses it */
    double **weight;            /* base expressions: weights of the values, normalised; absorbed paths: what
                                 * was known of them; else NULL */
    rl_absorbed *absorbed;      /* in the order absorbed */
    int absorbed_count;
    int *absorbed_of;           /* by expression: its place in that list, or -1 */
    const bool *told;           /* by expression: the law of something absorbed speaks of it */
    double log_scale;           /* ln of everything that stays out of the net */
    const int *const *left;     /* by variable: those of its values that the net has; NULL: all (portion.c) */
    bool impossible;            /* that already came to 0 */
    bool wide;                  /* the factors would pass the draft's `most_cells`: no net was made */
} rl_network;

/* `keep`: elements that must be variables of the net if a factor needs them
 * (NULL: none).  `last`: expressions that, if needed at all, are needed in the
 * last occasion too (NULL: none). */
void rl_network_make(rl_network *network, rl_arena *arena, const rl_draft *draft, const bool *keep,
                     const bool *last);
/* Variable of an expression, or -1 if it is not in the net. */
static inline int rl_network_variable(const rl_network *network, int expr)
{
    return expr < network->expr_count ? network->of_expr[expr] : -1;
}

/* What value i of a variable, as the net has it, was before values were left out. */
static inline int rl_network_value(const rl_network *network, int variable, int i)
{
    return network->left ? network->left[variable][i] : i;
}

#endif
